/* Private to src/judge: when to speak. */
#ifndef WHICHEND_JUDGE_GATES_H
#define WHICHEND_JUDGE_GATES_H

#include "judge/infer.h"

/* Fills end, also, leading, probability, grade, gate list and explains_complaint of v. */
enum err gates_apply(const struct case_file *c, const struct inference *n, struct verdict *v);

/* The likeliest hypothesis of an end, or overall (END_COUNT); SIZE_MAX none. */
size_t likeliest_of(const struct inference *n, enum end e);

#endif
