#include "judge/questions.h"

#include "judge/ask.h"
#include "judge/weighed.h"

#include <stdlib.h>

static int by_bits(const void *a, const void *b)
{
    const struct question_rank *x = a, *y = b;

    if (x->bits > y->bits || x->bits < y->bits)
        return x->bits < y->bits ? 1 : -1;
    return (x->row > y->row) - (x->row < y->row);
}

static size_t rank(const struct case_file *c, const struct asking *a, struct question_rank *out)
{
    size_t count = 0;

    for (int q = 0; q < TOLD_QUESTIONS; q++) {
        const struct told_row *row = told_row((enum told_question)q);
        struct feature f = {.kind = FEATURE_TOLD,
                            .group = row->group,
                            .sig = SIG_COUNT,
                            .sig2 = q,
                            .run = -1,
                            .answers = row->answers};

        double *answer;

        if (case_told(c, row->section, row->key) != NULL)
            continue;
        answer = asking_answers(a, &f);
        out[count++] = (struct question_rank){row, asking_bits(a, &f, answer)};
        free(answer);
    }
    qsort(out, count, sizeof *out, by_bits);
    return count;
}

enum err judge_questions(const struct case_file *c, const struct judge_options *o,
                         struct question_rank *out, size_t *count, struct err_msg *e)
{
    struct weighed w;
    struct asking a = {.n = NULL};
    struct verdict v = {.line = LINE_NONE};
    enum err err = weigh_case(c, o, &w, &v, e);

    if (err == ERR_OK)
        err = asking_begin(&w.n, &a);
    *count = err == ERR_OK ? rank(c, &a, out) : 0;
    asking_release(&a);
    weighed_release(&w);
    return err == ERR_OK ? ERR_OK
                         : err_set(e, err, "cannot rank the questions: %s", err_text(err));
}
