/* Decimal text to whole numbers, without a float on the way. */
#include "capture/decimal.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>

#include <cmocka.h>

static void check(const char *text, int places, int64_t want)
{
    int64_t got = -77;
    assert_int_equal(decimal_scaled(text, strlen(text), places, '.', &got), DECIMAL_OK);
    assert_true(got == want);
}

static void numbers_are_scaled_exactly(void **state)
{
    (void)state;
    check("0", 3, 0);
    check("4.98", 3, 4980);
    check("-4.98", 3, -4980);
    check("+1", 0, 1);
    check(".5", 3, 500);
    check("5.", 3, 5000);
    check("1e3", 0, 1000);
    check("1E-3", 3, 1);
    check("123456.123456789012", 12, INT64_C(123456123456789012));
    check("9223372036854775807", 0, INT64_MAX);
    check("0.000000000000000000000000000000009223372036854775807", 51, INT64_MAX);
    check("00000000000000000000000000000000000000000000000001", 0, 1);
    check("1000000000000000000000000000000000000000e-39", 0, 1);
}

static void rounding_is_to_nearest_and_halves_go_away_from_zero(void **state)
{
    (void)state;
    check("0.4999", 0, 0);
    check("0.5", 0, 1);
    check("-0.5", 0, -1);
    check("1.4999999999999999999999999999999999999", 0, 1);
    check("2.5", 0, 3);
    check("1e-99", 12, 0);
    check("9e-9999", 12, 0);
    check("0e9999", 12, 0);
}

static void what_does_not_fit_is_told_apart_from_what_is_no_number(void **state)
{
    (void)state;
    int64_t untouched = 5;
    static const char *const BIG[] = {"9223372036854775808", "1e19", "1e9999",
                                      "1e99999999999999999999",
                                      "99999999999999999999999999999999999999999999"};
    static const char *const NONE[] = {"",   "-",   "+",   ".",   "e5",  "1e",  "1e+", "1x",
                                       "x1", "nan", "inf", "1 2", "1,5", "--1", "0x10"};
    for (size_t i = 0; i < sizeof BIG / sizeof BIG[0]; i++)
        assert_int_equal(decimal_scaled(BIG[i], strlen(BIG[i]), 0, '.', &untouched),
                         DECIMAL_RANGE);
    for (size_t i = 0; i < sizeof NONE / sizeof NONE[0]; i++)
        assert_int_equal(decimal_scaled(NONE[i], strlen(NONE[i]), 0, '.', &untouched),
                         DECIMAL_NONE);
    assert_true(untouched == 5);
}

static void a_comma_may_be_the_decimal_mark(void **state)
{
    (void)state;
    int64_t got = 0;
    assert_int_equal(decimal_scaled("1,5", 3, 1, ',', &got), DECIMAL_OK);
    assert_true(got == 15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_are_scaled_exactly),
        cmocka_unit_test(rounding_is_to_nearest_and_halves_go_away_from_zero),
        cmocka_unit_test(what_does_not_fit_is_told_apart_from_what_is_no_number),
        cmocka_unit_test(a_comma_may_be_the_decimal_mark),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
