/* Private to src/judge: what to put right, and in which order.
 */
#ifndef WHICHEND_JUDGE_WORK_H
#define WHICHEND_JUDGE_WORK_H

#include "judge/infer.h"

/* Fills v->work: kinds of work (profiles/tests/work.ini), what cures most for its minutes
 * first. */
enum err list_work(const struct inference *n, const struct profile_path *path,
                   struct verdict *v, struct err_msg *e);

#endif
