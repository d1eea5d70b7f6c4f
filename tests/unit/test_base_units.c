/* Exact time: conversions at both ends of what a tick may be. */
#include "base/units.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void ticks_have_bounds(void **state)
{
    (void)state;
    assert_true(tick_valid((struct tick){1, 1}));
    assert_true(tick_valid((struct tick){100 * FS_PER_S, 1}));
    assert_true(tick_valid((struct tick){FS_PER_S, INT64_C(1) << 40}));
    assert_false(tick_valid((struct tick){0, 1}));
    assert_false(tick_valid((struct tick){1, 0}));
    assert_false(tick_valid((struct tick){-1, 1}));
    assert_false(tick_valid((struct tick){100 * FS_PER_S + 1, 1}));
    assert_false(tick_valid((struct tick){1, (INT64_C(1) << 40) + 1}));
}

static void one_femtosecond_ticks_round_to_nearest(void **state)
{
    (void)state;
    const struct tick fs = {1, 1};
    int64_t v;
    assert_true(ticks_to_ns(0, fs, &v));
    assert_int_equal(v, 0);
    assert_true(ticks_to_ns(499999, fs, &v));
    assert_int_equal(v, 0);
    assert_true(ticks_to_ns(500000, fs, &v));
    assert_int_equal(v, 1);
    assert_true(ticks_to_ps(1499, fs, &v));
    assert_int_equal(v, 1);
    /* 2^63-1 fs are 9223 s, 372 ms and so on. */
    assert_true(ticks_to_ns(INT64_MAX, fs, &v));
    assert_int_equal(v, INT64_C(9223372036855));
    assert_true(ns_to_ticks(INT64_C(9223372036854), fs, &v));
    assert_int_equal(v, INT64_C(9223372036854000000));
    assert_false(ns_to_ticks(INT64_C(9223372036855), fs, &v));
}

static void hundred_second_ticks_say_what_does_not_fit(void **state)
{
    (void)state;
    const struct tick slow = {100 * FS_PER_S, 1};
    int64_t v;
    assert_true(ticks_to_ns(1, slow, &v));
    assert_int_equal(v, 100 * NS_PER_S);
    /* 2^63 ns are 92,233,720.4 such ticks. */
    assert_true(ticks_to_ns(92233720, slow, &v));
    assert_int_equal(v, INT64_C(9223372000000000000));
    assert_false(ticks_to_ns(92233721, slow, &v));
    assert_false(ticks_to_ns(INT64_MAX, slow, &v));
    assert_false(ticks_to_ps(INT64_MAX, slow, &v));
    assert_true(ns_to_ticks(INT64_MAX, slow, &v));
    assert_int_equal(v, 92233720);
}

static void a_rational_tick_does_not_drift(void **state)
{
    (void)state;
    /* A 24 MHz analyser: 10^15/24e6 fs, no whole number. 24e6 ticks are one second, whatever
     * came before. */
    const struct tick t = {FS_PER_S, 24000000};
    int64_t v;
    for (int64_t s = 0; s <= 4000; s += 125) {
        assert_true(ticks_to_ns(s * 24000000, t, &v));
        assert_int_equal(v, s * NS_PER_S);
    }
    assert_true(ticks_to_ns(1, t, &v));
    assert_int_equal(v, 42); /* 41.67 */
    assert_true(ticks_to_ps(1, t, &v));
    assert_int_equal(v, 41667);
    assert_float_equal(tick_ns(t), 41.666667, 1e-6);
}

static void there_and_back_is_the_same_tick(void **state)
{
    (void)state;
    static const struct tick TICKS[] = {{1000000, 1},
                                        {FS_PER_S, 24000000},
                                        {FS_PER_S, 200000000},
                                        {FS_PER_S, 15667200},
                                        {10000000, 1}};
    for (size_t i = 0; i < sizeof TICKS / sizeof TICKS[0]; i++) {
        for (int64_t n = 1; n < INT64_C(1) << 50; n = n * 3 + 7) {
            int64_t ns, back;
            assert_true(ticks_to_ns(n, TICKS[i], &ns));
            assert_true(ns_to_ticks(ns, TICKS[i], &back));
            assert_int_equal(back, n);
        }
    }
}

static void what_is_no_position_is_refused(void **state)
{
    (void)state;
    int64_t v = 77;
    assert_false(ticks_to_ns(-1, (struct tick){1, 1}, &v));
    assert_false(ticks_to_ps(-1, (struct tick){1, 1}, &v));
    assert_false(ns_to_ticks(-1, (struct tick){1, 1}, &v));
    assert_false(ticks_to_ns(1, (struct tick){0, 1}, &v));
    assert_false(ns_to_ticks(1, (struct tick){1, 0}, &v));
    assert_int_equal(v, 77);
}

static void sums_and_products_that_do_not_fit_are_refused(void **state)
{
    (void)state;
    int64_t v;
    size_t s;
    assert_true(add_i64(INT64_MAX - 1, 1, &v));
    assert_int_equal(v, INT64_MAX);
    assert_false(add_i64(INT64_MAX, 1, &v));
    assert_false(add_i64(INT64_MIN, -1, &v));
    assert_true(mul_i64(INT64_MAX, 1, &v));
    assert_false(mul_i64(INT64_MAX / 2, 3, &v));
    assert_false(mul_i64(INT64_MIN, -1, &v));
    assert_true(mul_size(SIZE_MAX / 2, 2, &s));
    assert_false(mul_size(SIZE_MAX / 2 + 1, 2, &s));
}

/* Beside the conversions with a division, at odd ticks and up to the last position that fits.
 */
static void scales_convert_as_divisions_do(void **state)
{
    (void)state;
    static const struct tick tick[] = {
        {1, 1},      {10000000, 1}, {125000000, 3},     {41666667, 1},
        {999999, 7}, {FS_PER_S, 1}, {1, 1099511627775}, {62500000, 997}};
    for (size_t t = 0; t < sizeof tick / sizeof tick[0]; t++) {
        struct tick_scale ns = tick_scale_ns(tick[t]);
        struct tick_scale ps = tick_scale_ps(tick[t]);
        uint64_t most = ns.most < ps.most ? ns.most : ps.most;
        uint64_t at = 1;
        for (int i = 0; i < 20000; i++) {
            at = at * 6364136223846793005u + 1442695040888963407u;
            uint64_t position = i % 2 == 0 ? at % (most + 1) : most - at % (most / 2 + 1);
            int64_t v = -1;
            assert_true(ticks_to_ns((int64_t)position, tick[t], &v));
            assert_int_equal(tick_scaled(&ns, (int64_t)position), v);
            assert_true(ticks_to_ps((int64_t)position, tick[t], &v));
            assert_int_equal(tick_scaled(&ps, (int64_t)position), v);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(scales_convert_as_divisions_do),
        cmocka_unit_test(ticks_have_bounds),
        cmocka_unit_test(one_femtosecond_ticks_round_to_nearest),
        cmocka_unit_test(hundred_second_ticks_say_what_does_not_fit),
        cmocka_unit_test(a_rational_tick_does_not_drift),
        cmocka_unit_test(there_and_back_is_the_same_tick),
        cmocka_unit_test(what_is_no_position_is_refused),
        cmocka_unit_test(sums_and_products_that_do_not_fit_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
