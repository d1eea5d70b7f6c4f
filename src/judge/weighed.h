/* Private to src/judge: a case read, and every hypothesis weighed, with nothing said of it yet.
 */
#ifndef WHICHEND_JUDGE_WEIGHED_H
#define WHICHEND_JUDGE_WEIGHED_H

#include "judge/infer.h"

struct weighed {
    struct gathered g;
    struct catalogue faults;
    struct inference n; /* borrows both */
};

/* Warnings go to v. Release also after an error; errors as judge_case(). */
enum err weigh_case(const struct case_file *c, const struct judge_options *o,
                    struct weighed *out, struct verdict *v, struct err_msg *e);
void weighed_release(struct weighed *w);

#endif
