/* The judge's arithmetic against worked examples of the handbook's diagnosis page, section 2,
 * that another program computed there: W14, W16, W17.
 */
#include "judge/engine.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#define NEAR(a, b, eps) assert_true(fabs((a) - (b)) <= (eps))

/* ---- W14: a test of 0.134 bit (inputs read from a textbook exercise, result our own) */
static void a_test_can_tell_little(void **state)
{
    static const double prior[] = {0.7, 0.3}, passes[] = {0.8, 0.2, 0.35, 0.65};
    static const int each[] = {0, 1};

    (void)state;
    NEAR(engine_gain_bits(prior, each, 2, 2, passes, 2), 0.13438, 1e-5);
}

/* ---- W16: toy isolator, end to end (our own; another program's arithmetic) */
static const double toy_prior[] = {0.40, 0.15, 0.25, 0.05, 0.10, 0.05};
static const double toy_test[3][6] = {{0.85, 0.03, 0.03, 0.70, 0.03, 0.30},
                                      {0.98, 0.98, 0.98, 0.15, 0.98, 0.70},
                                      {0.97, 0.20, 0.10, 0.97, 0.97, 0.60}};
static const int toy_end[] = {0, 1, 2, 3, 4, 5};

/* Joint of the tests in a set of bits. */
static void toy_joint(unsigned tests, double *ln)
{
    for (int i = 0; i < 6; i++) {
        ln[i] = log(toy_prior[i]);
        for (int t = 0; t < 3; t++)
            ln[i] += tests & (1u << t) ? log(toy_test[t][i]) : 0;
    }
}

static double toy_drive(unsigned tests)
{
    double ln[6];

    toy_joint(tests, ln);
    return engine_odds_decibans(ln, toy_end, 6, 0);
}

static void toy_isolator_matches(void **state)
{
    static const double after[3][6] = {{0.8395, 0.0111, 0.0185, 0.0864, 0.0074, 0.0370},
                                       {0.9163, 0.0121, 0.0202, 0.0144, 0.0081, 0.0289},
                                       {0.9532, 0.0026, 0.0022, 0.0150, 0.0084, 0.0186}};
    static const double without[] = {9.78, 4.68, 2.70}, gain[] = {0.5445, 0.1843, 0.5781};
    double ln[6], p[6], answer[12];

    (void)state;
    for (unsigned t = 0; t < 3; t++) {
        toy_joint((2u << t) - 1, ln);
        engine_posterior(ln, 6, p);
        for (int i = 0; i < 6; i++)
            NEAR(p[i], after[t][i], 6e-5);
        NEAR(toy_drive(7) - toy_drive(7 & ~(1u << t)), without[t], 6e-3);
        for (int i = 0; i < 6; i++) {
            answer[2 * i] = toy_test[t][i];
            answer[2 * i + 1] = 1 - toy_test[t][i];
        }
        NEAR(engine_gain_bits(toy_prior, toy_end, 6, 6, answer, 2), gain[t], 6e-5);
    }
    NEAR(toy_drive(7) - toy_drive(0), 14.85, 6e-3);
}

/* ---- W17: substitution, reseating and swap-back (our own) */
static void swap_back_matches(void **state)
{
    static const double prior[] = {0.30, 0.15, 0.15, 0.15, 0.25};
    static const double cured[] = {0.829, 0.153, 0.018}, returned[] = {0.935, 0.044, 0.021},
                        away[] = {0.141, 0.856, 0.003};
    double ten = pow(0.7, 10), ln[3][5], p[5];
    const double vanish[] = {0.931, 0.931, 0.5 + 0.5 * ten, ten, 0.02};
    const double back[] = {0.98, 1 - ten, 0.25, 1 - ten, 0.98};
    const double *const want[] = {cured, returned, away};

    (void)state;
    for (int i = 0; i < 5; i++) {
        ln[0][i] = log(prior[i] * vanish[i]);
        ln[1][i] = ln[0][i] + log(back[i]);
        ln[2][i] = ln[0][i] + log(1 - back[i]);
    }
    for (int k = 0; k < 3; k++) {
        engine_posterior(ln[k], 5, p);
        NEAR(p[0] + p[1], want[k][0], 6e-4);
        NEAR(p[2], want[k][1], 6e-4);
        NEAR(p[3] + p[4], want[k][2], 6e-4);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_test_can_tell_little),
        cmocka_unit_test(toy_isolator_matches),
        cmocka_unit_test(swap_back_matches),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
