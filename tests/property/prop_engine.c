/* What must hold of the judge's arithmetic, whatever the numbers: handbook, diagnosis, 1.9.
 * Drawn at random; SEED=n draws others.
 */
#include "judge/engine.h"
#include "sim/rng.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static uint64_t seed(void)
{
    const char *text = getenv("SEED");

    return text ? strtoull(text, NULL, 10) : 1;
}

#define HYPS    9
#define ENDS    4
#define ANSWERS 3

struct table {
    double prior[HYPS], ln[HYPS], answer[HYPS * ANSWERS];
    int end_of[HYPS];
};

static void draw_row(struct rng *r, double *answer)
{
    double sum = 0;

    for (int k = 0; k < ANSWERS; k++)
        sum += answer[k] = sim_rng_range(r, 0.001, 1);
    for (int k = 0; k < ANSWERS; k++)
        answer[k] /= sum;
}

static void draw_table(struct rng *r, struct table *t)
{
    for (int i = 0; i < HYPS; i++) {
        t->ln[i] = log(sim_rng_range(r, 1e-6, 1));
        t->end_of[i] = i < ENDS ? i : (int)sim_rng_between(r, 0, ENDS - 1);
        draw_row(r, t->answer + ANSWERS * i);
    }
    engine_posterior(t->ln, HYPS, t->prior);
}

static void chances_sum_to_one(void **state)
{
    struct rng r;
    struct table t;

    (void)state;
    sim_rng_seed(&r, seed(), 1);
    for (int i = 0; i < 200; i++) {
        double sum = 0;

        draw_table(&r, &t);
        for (int h = 0; h < HYPS; h++)
            sum += t.prior[h];
        assert_true(fabs(sum - 1) < 1e-12);
    }
}

/* An answer as likely under every cause leaves all as it was; one as likely under every end as
 * a whole leaves the ends. */
static void an_answer_that_all_give_alike_says_nothing(void **state)
{
    struct rng r;
    struct table t;

    (void)state;
    sim_rng_seed(&r, seed(), 2);
    for (int i = 0; i < 200; i++) {
        double alike = log(sim_rng_range(&r, 1e-9, 1)), ln[HYPS], after[HYPS];

        draw_table(&r, &t);
        for (int h = 0; h < HYPS; h++)
            ln[h] = t.ln[h] + alike;
        engine_posterior(ln, HYPS, after);
        for (int h = 0; h < HYPS; h++)
            assert_true(fabs(after[h] - t.prior[h]) < 1e-12);
        for (int e = 0; e < ENDS; e++)
            assert_true(fabs(engine_odds_decibans(ln, t.end_of, HYPS, e) -
                             engine_odds_decibans(t.ln, t.end_of, HYPS, e)) < 1e-9);
    }
}

static void a_test_tells_nothing_exactly_if_every_end_answers_alike(void **state)
{
    struct rng r;
    struct table t;

    (void)state;
    sim_rng_seed(&r, seed(), 3);
    for (int i = 0; i < 200; i++) {
        double row[ANSWERS];

        draw_table(&r, &t);
        assert_true(engine_gain_bits(t.prior, t.end_of, HYPS, ENDS, t.answer, ANSWERS) > 1e-9);
        draw_row(&r, row);
        for (int h = 0; h < HYPS; h++)
            memcpy(t.answer + ANSWERS * h, row, sizeof row);
        assert_true(engine_gain_bits(t.prior, t.end_of, HYPS, ENDS, t.answer, ANSWERS) < 1e-12);
    }
}

static void a_cause_split_in_two_changes_no_end(void **state)
{
    struct rng r;
    struct table t;

    (void)state;
    sim_rng_seed(&r, seed(), 4);
    for (int i = 0; i < 200; i++) {
        int which = (int)sim_rng_between(&r, 0, HYPS - 1), ends[HYPS + 1];
        double ln[HYPS + 1];

        draw_table(&r, &t);
        memcpy(ln, t.ln, sizeof t.ln);
        memcpy(ends, t.end_of, sizeof t.end_of);
        ln[HYPS] = ln[which] = t.ln[which] - log(2);
        ends[HYPS] = ends[which];
        for (int e = 0; e < ENDS; e++)
            assert_true(fabs(engine_odds_decibans(ln, ends, HYPS + 1, e) -
                             engine_odds_decibans(t.ln, t.end_of, HYPS, e)) < 1e-9);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chances_sum_to_one),
        cmocka_unit_test(an_answer_that_all_give_alike_says_nothing),
        cmocka_unit_test(a_test_tells_nothing_exactly_if_every_end_answers_alike),
        cmocka_unit_test(a_cause_split_in_two_changes_no_end),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
