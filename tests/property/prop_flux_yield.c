/* The decoder beside one who knows the true clock, on the same transitions. bench_flux_yield
 * prints the whole table. */
#include "unit/flux_yield.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>

#include <cmocka.h>

#define TURNS 8

/* Eight turns are 72 sectors: 5 points are four of them, and chance sets two readers of the
 * same transitions two apart where nearly all comes out. */
#define POINTS_5 4
#define CHANCE   2

static void jitter_costs_no_more_than_with_the_clock_known(void **state)
{
    int ours = 0;
    int nearest = 0;
    (void)state;
    for (size_t c = 0; c < YIELD_CONDITIONS; c++) {
        for (size_t j = 1; j < YIELD_JITTERS; j += 2) {
            struct dice d = {20260700 + 10 * c + j};
            struct yield_row r = {0};
            for (int i = 0; i < TURNS; i++) {
                yield_turn(&yield_condition[c], yield_jitter_ns[j], &d, &r);
            }
            printf("%s, %.0f ns: %d of %d; nearest %d, run lengths %d, phase %d\n",
                   yield_condition[c].name, yield_jitter_ns[j], r.ours, TURNS * YIELD_SECTORS,
                   r.reference[REFERENCE_NEAREST], r.reference[REFERENCE_RUN_LENGTH],
                   r.reference[REFERENCE_PHASE]);
            assert_int_equal(r.wrong, 0);
            assert_true(r.ours >= r.reference[REFERENCE_NEAREST] - CHANCE);
            assert_true(r.ours >= r.reference[REFERENCE_RUN_LENGTH] - POINTS_5);
            ours += r.ours;
            nearest += r.reference[REFERENCE_NEAREST];
        }
    }
    assert_true(ours > nearest + nearest / 8);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(jitter_costs_no_more_than_with_the_clock_known),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
