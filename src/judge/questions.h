/* Which question to a person would help this case most.
 */
#ifndef WHICHEND_JUDGE_QUESTIONS_H
#define WHICHEND_JUDGE_QUESTIONS_H

#include "evidence/told.h"
#include "judge/judge.h"

struct question_rank {
    const struct told_row *row;
    double bits; /* what its answer is expected to tell of the ends */
};

/* Every question that the case leaves open, the one that tells most first; equal ones in the
 * order of enum told_question. out has room for TOLD_QUESTIONS. Errors as judge_case(). */
enum err judge_questions(const struct case_file *c, const struct judge_options *o,
                         struct question_rank *out, size_t *count, struct err_msg *e);

#endif
