/* Private to src/judge: the next test. */
#ifndef WHICHEND_JUDGE_NEXT_H
#define WHICHEND_JUDGE_NEXT_H

#include "judge/infer.h"

/* Rank the catalogue of tests (profiles/tests) by bits a minute on the ends; fills v->next. */
enum err next_tests(const struct case_file *c, const struct inference *n,
                    const struct profile_path *path, struct verdict *v, struct err_msg *e);

#endif
