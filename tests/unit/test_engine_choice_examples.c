/* The judge's arithmetic against worked examples of the handbook's diagnosis page, section 2,
 * on what to do next and how often it fails: W13, W15, W18.
 */
#include "judge/engine.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#define NEAR(a, b, eps) assert_true(fabs((a) - (b)) <= (eps))

/* ---- W13: fault signatures, candidates and useful tests (read: tables 1 to 3 and section 3.3
 * of a paper on board repair, Decision Support Systems, 1999). Five defects, four tests; `U` is
 * an entry that nobody knows. */
#define DEFECTS 5
static const char *const known[DEFECTS] = {"0000", "0001", "0011", "0111", "1111"};
static const char *const partly[DEFECTS] = {"UUU0", "UU01", "U011", "0111", "1111"};
static const int each[DEFECTS] = {0, 1, 2, 3, 4};

/* The row of a test: chance of its two answers under every defect. */
static void row(const char *const *table, int test, double answer[2 * DEFECTS])
{
    for (int d = 0; d < DEFECTS; d++) {
        answer[2 * d] = table[d][test] == 'U' ? 0.5 : table[d][test] == '0';
        answer[2 * d + 1] = 1 - answer[2 * d];
    }
}

static double gain(const char *const *table, int test, const double *posterior)
{
    double answer[2 * DEFECTS];

    row(table, test, answer);
    return engine_gain_bits(posterior, each, DEFECTS, DEFECTS, answer, 2);
}

/* Candidates that are left, as bits, after one more answer; posterior is brought up to date. */
static unsigned make_test(const char *const *table, int test, int result, double *posterior)
{
    double answer[2 * DEFECTS], ln[DEFECTS];
    unsigned left = 0;

    row(table, test, answer);
    for (int d = 0; d < DEFECTS; d++)
        ln[d] = log(posterior[d]) + log(answer[2 * d + result]);
    engine_posterior(ln, DEFECTS, posterior);
    for (int d = 0; d < DEFECTS; d++)
        left |= posterior[d] > 0 ? 1u << d : 0;
    return left;
}

static int tells_most(const char *const *table, const double *posterior)
{
    int best = 0;

    for (int t = 1; t < 4; t++)
        if (gain(table, t, posterior) > gain(table, best, posterior) + 1e-12)
            best = t;
    return best;
}

/* Tests in an order (NULL: always the one that tells most) until one defect is left; one that
 * tells nothing is passed over. */
static int tests_until_found(const char *const *table, const int *order, int truth)
{
    double posterior[DEFECTS] = {0.2, 0.2, 0.2, 0.2, 0.2};
    unsigned left = (1u << DEFECTS) - 1;
    int made = 0;

    for (int i = 0; i < 4 && left & (left - 1); i++) {
        int test = order ? order[i] : tells_most(table, posterior);

        if (gain(table, test, posterior) < 1e-12)
            continue;
        made++;
        left = make_test(table, test, known[truth][test] == '1', posterior);
    }
    return made;
}

static void signatures_leave_the_published_candidates(void **state)
{
    double posterior[DEFECTS] = {0.2, 0.2, 0.2, 0.2, 0.2};

    (void)state;
    assert_int_equal(make_test(known, 0, 0, posterior), 0x0f); /* read: removes 5, */
    assert_int_equal(make_test(known, 1, 0, posterior), 0x07); /* 4, */
    assert_int_equal(make_test(known, 2, 1, posterior), 0x04); /* 1 and 2 */
}

static void a_test_that_cannot_part_the_candidates_tells_nothing(void **state)
{
    static const int first_two[] = {1, 2, 0, 3}, in_turn[] = {0, 1, 2, 3};
    double posterior[DEFECTS] = {0.2, 0.2, 0.2, 0.2, 0.2};

    (void)state;
    make_test(known, 1, 0, posterior);
    NEAR(gain(known, 0, posterior), 0, 1e-12); /* read: test 1 became useless */
    assert_int_equal(tests_until_found(known, first_two, 2), 2);
    assert_int_equal(tests_until_found(partly, in_turn, 2), 4);
}

static void the_test_that_tells_most_needs_fewest(void **state)
{
    static const int in_turn[] = {0, 1, 2, 3};
    int best = 0, fixed = 0;

    (void)state;
    for (int d = 0; d < DEFECTS; d++) {
        best += tests_until_found(known, NULL, d);
        fixed += tests_until_found(known, in_turn, d);
    }
    assert_int_equal(best, 12); /* our own, by the paper's recursion: 2.4 on average */
    assert_int_equal(fixed, 14);
}

/* ---- W15: expected cost of repair (read: inputs of a textbook exercise on troubleshooting;
 * figures our own) */
static const double cause[] = {0.80, 0.15, 0.05}; /* program, virus, hardware */
static const double cost[] = {1, 2, 25, 500};
static const double cure[] = {1, 0, 0, 0, 0.95, 0, 0.99, 0.99, 0, 1, 1, 1};

static void work_goes_by_what_it_cures_for_its_cost(void **state)
{
    static const size_t without_third[] = {0, 1, 3}, other[] = {1, 0, 2, 3};
    double left[3];
    size_t order[4];

    (void)state;
    engine_work_order(cause, 3, cure, cost, 4, left, order);
    for (size_t i = 0; i < 4; i++)
        assert_int_equal(order[i], i);
    NEAR(engine_work_cost(cause, 3, cure, cost, order, 4), 27.875, 1e-9);
    NEAR(engine_work_cost(cause, 3, cure, cost, without_third, 3), 30.15, 1e-9);
    NEAR(engine_work_cost(cause, 3, cure, cost, other, 4), 29.3325, 1e-9);
}

/* A second exercise, two causes: the first is looked at first exactly if it is likelier for its
 * cost, and then costs less (our own, by exchange). */
static void of_two_causes_the_likelier_for_its_cost_goes_first(void **state)
{
    static const double whole[] = {1, 0, 0, 1}, pairs[][2] = {{3, 8}, {10, 1}, {5, 6}};
    static const size_t first_then[] = {0, 1}, second_then[] = {1, 0};

    (void)state;
    for (int p = 1; p < 10; p += 2) {
        for (size_t k = 0; k < 3; k++) {
            double of[] = {p / 10.0, 1 - p / 10.0}, left[2];
            double a = engine_work_cost(of, 2, whole, pairs[k], first_then, 2);
            double b = engine_work_cost(of, 2, whole, pairs[k], second_then, 2);
            size_t order[2];

            engine_work_order(of, 2, whole, pairs[k], 2, left, order);
            assert_int_equal(order[0] == 0, of[0] / pairs[k][0] > of[1] / pairs[k][1]);
            assert_int_equal(order[0] == 0, a < b);
        }
    }
}

/* ---- W18: failures at a rate that nobody knows against a background rate (our own; another
 * program's arithmetic) */
static void few_failures_weigh_as_computed(void **state)
{
    static const struct {
        int bad, tries;
        double decibans;
    } want[] = {{0, 20, -3.34}, {1, 20, 2.93}, {2, 20, 14.15}, {3, 100, 6.61}, {0, 200, -4.05}};

    (void)state;
    for (size_t i = 0; i < sizeof want / sizeof *want; i++)
        NEAR((engine_tries_ln(want[i].bad, want[i].tries, 0.5, 4.5) -
              engine_tries_at_rate_ln(want[i].bad, want[i].tries, 0.005)) /
                 NAT_PER_DECIBAN,
             want[i].decibans, 6e-3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(signatures_leave_the_published_candidates),
        cmocka_unit_test(a_test_that_cannot_part_the_candidates_tells_nothing),
        cmocka_unit_test(the_test_that_tells_most_needs_fewest),
        cmocka_unit_test(work_goes_by_what_it_cures_for_its_cost),
        cmocka_unit_test(of_two_causes_the_likelier_for_its_cost_goes_first),
        cmocka_unit_test(few_failures_weigh_as_computed),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
