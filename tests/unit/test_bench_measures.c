/* How the fault bench scores forecasts, against worked examples of the handbook's diagnosis
 * page, section 2: W10, W11, W12.
 */
#include "bench/faults/faults.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#define NEAR(a, b, eps) assert_true(fabs((a) - (b)) <= (eps))

/* ---- W10: proper scores (read: doctests of a library of statistics, an encyclopedia) */
static void quadratic_scores_match(void **state)
{
    static const double first[] = {0.1, 0.9, 0.8, 0.3}, second[] = {0.1, 0.9, 0.8, 0.4};
    static const int came[] = {0, 1, 1, 0};
    double a = 0, b = 0;

    (void)state;
    /* there the score is of one class; the sum over both is twice that */
    for (int i = 0; i < 4; i++) {
        a += measure_quadratic((double[]){1 - first[i], first[i]}, 2, came[i]) / 8;
        b += measure_quadratic((double[]){1 - second[i], second[i]}, 2, came[i]) / 8;
    }
    NEAR(a, 0.0375, 1e-12);
    NEAR(b, 0.055, 1e-12);
    NEAR(measure_quadratic((double[]){0.3, 0.7}, 2, 1) / 2, 0.09, 1e-12);
    NEAR(measure_quadratic((double[]){0.7, 0.3}, 2, 1) / 2, 0.49, 1e-12);
    NEAR(measure_quadratic((double[]){0.5, 0.5}, 2, 1) / 2, 0.25, 1e-12);
}

static void log_scores_match(void **state)
{
    static const double said[4][2] = {{0.1, 0.9}, {0.9, 0.1}, {0.8, 0.2}, {0.35, 0.65}};
    static const double weight[] = {1.5, 2, 1, 0.5};
    static const int truth[] = {1, 0, 0, 1};
    double plain = 0, weighted = 0;

    (void)state;
    for (int i = 0; i < 4; i++) {
        plain += measure_log(said[i], truth[i]) / 4;
        weighted += weight[i] * measure_log(said[i], truth[i]) / 5;
    }
    NEAR(plain, 0.21616187468057912, 1e-12);
    NEAR(weighted, 0.16145936283256573, 1e-12);
}

/* ---- W11: calibration error (read: docstrings of a library of measures) */
static void errors(const struct bins *b, int bins, int count, double *squares, double *most)
{
    *squares = *most = 0;
    for (int i = 0; i < bins; i++) {
        double off = b->count[i] ? fabs(b->sum[i] - b->hits[i]) / b->count[i] : 0;

        *squares += off * off * b->count[i] / count;
        *most = fmax(*most, off);
    }
    *squares = sqrt(*squares);
}

static void calibration_errors_match(void **state)
{
    static const double two_class[] = {0.25, 0.25, 0.55, 0.75, 0.75};
    static const double top_label[] = {0.55, 0.55, 0.60, 0.90};
    static const bool came[] = {false, false, true, true, true};
    static const bool right[] = {false, false, true, true};
    struct bins b;
    double squares, most;

    (void)state;
    NEAR(measure_calibration(two_class, came, 5, 2, &b), 0.2900, 5e-5);
    errors(&b, 2, 5, &squares, &most);
    NEAR(squares, 0.2918, 5e-5);
    NEAR(most, 0.3167, 5e-5);
    NEAR(measure_calibration(top_label, right, 4, 3, &b), 0.2000, 5e-5);
    errors(&b, 3, 4, &squares, &most);
    NEAR(squares, 0.2082, 5e-5);
    NEAR(most, 0.2333, 5e-5);
}

/* ---- W12: utility of a group that cannot be told apart (read: guide and scenario file of a
 * diagnosis competition). 33 gates; either of two single gates is the truth. */
static double worth(int blamed, int of_the_two)
{
    /* an answer against each of the two truths: it holds that gate or not */
    double sum = 0;

    for (int truth = 0; truth < 2; truth++) {
        int hit = truth < of_the_two;

        sum += measure_utility(blamed, blamed - hit, 1 - hit, 33) / 2;
    }
    return sum;
}

static void utility_of_an_ambiguity_group_matches(void **state)
{
    double itself = worth(1, 1); /* mean over the pairs of the group with itself */

    (void)state;
    NEAR(itself, 0.7348484848, 5e-11);
    NEAR(worth(0, 0) / itself, 0.6598, 5e-5);   /* our own: nothing wrong, */
    NEAR(worth(1, 1) / itself, 1, 1e-12);       /* one of the two, */
    NEAR(worth(33, 2) / itself, 0.00125, 5e-6); /* everything */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quadratic_scores_match),
        cmocka_unit_test(log_scores_match),
        cmocka_unit_test(calibration_errors_match),
        cmocka_unit_test(utility_of_an_ambiguity_group_matches),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
