/* Private to src/judge: what would change the verdict, and what would disprove it.
 */
#ifndef WHICHEND_JUDGE_CHANGE_H
#define WHICHEND_JUDGE_CHANGE_H

#include "judge/infer.h"

/* From the findings and the next tests of v, both filled before. */
void list_changes(const struct case_file *c, const struct inference *n, struct verdict *v);

#endif
