/* The mean of the last turns, its trend, and how sure both are. */
#include "signal/turn_window.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static uint64_t seed = 1;

/* Nearly Gauss: twelve even ones, less six. */
static double gauss(void)
{
    double sum = -6;
    for (int i = 0; i < 12; i++) {
        seed = seed * 6364136223846793005u + 1442695040888963407u;
        sum += (double)(seed >> 11) / 9007199254740992.0;
    }
    return sum;
}

/* Turns at start_rpm, changing by trend a second, each with its own error. */
static void turns(struct turn_window *w, int n, double start_rpm, double trend, double error)
{
    double t = 1e9;
    turn_window_begin(w, 300, 0);
    (void)turn_window_add(w, (int64_t)t);
    for (int i = 0; i < n; i++) {
        double rpm = start_rpm + trend * (t / 1e9 - 1 + 0.1) + error * gauss();
        t += 60e9 / rpm;
        (void)turn_window_add(w, (int64_t)t);
    }
}

static void test_even_turns_are_certain_and_steady(void **state)
{
    (void)state;
    struct turn_window w;
    struct turn_figures f;
    turns(&w, 20, 300, 0, 0);
    assert_true(turn_window_figures(&w, 10, &f));
    assert_int_equal(f.turns, 10);
    assert_true(fabs(f.rpm - 300) < 1e-6);
    assert_true(f.uncertainty_rpm < 1e-5);
    assert_true(f.steady || fabs(f.trend_rpm_s) < 1e-5);
}

static void test_three_turns_are_the_least(void **state)
{
    (void)state;
    struct turn_window w;
    struct turn_figures f;
    turns(&w, 2, 300, 0, 0);
    assert_false(turn_window_figures(&w, 10, &f));
    turns(&w, 3, 300, 0, 0);
    assert_true(turn_window_figures(&w, 10, &f));
    assert_int_equal(f.turns, 3);
}

static void test_a_screw_that_is_turned_shows_as_a_trend(void **state)
{
    (void)state;
    struct turn_window w;
    struct turn_figures f;
    turns(&w, 30, 291, 1.5, 0);
    assert_true(turn_window_figures(&w, 10, &f));
    assert_true(fabs(f.trend_rpm_s - 1.5) < 0.01);
    assert_false(f.steady);
    assert_true(f.uncertainty_rpm < 0.01); /* the trend itself is no uncertainty */
    turns(&w, 30, 309, -1.5, 0);
    assert_true(turn_window_figures(&w, 10, &f));
    assert_true(fabs(f.trend_rpm_s + 1.5) < 0.01);
}

/* What an interval of 95 % means: it holds the true value in 95 of 100 series. 2,000 series:
 * four standard deviations are 2 %. */
static void test_the_intervals_hold_the_truth_as_often_as_they_say(void **state)
{
    (void)state;
    struct turn_window w;
    struct turn_figures f;
    int mean = 0;
    int trend = 0;
    int steady = 0;
    for (int i = 0; i < 2000; i++) {
        turns(&w, 10, 300, 0, 0.2);
        assert_true(turn_window_figures(&w, 10, &f));
        mean += fabs(f.rpm - 300) <= f.uncertainty_rpm;
        trend += fabs(f.trend_rpm_s) <= f.trend_uncertainty_rpm_s;
        steady += f.steady;
    }
    assert_in_range(mean, 1860, 1940);
    assert_in_range(trend, 1860, 1940);
    assert_int_equal(steady, trend);
}

static void test_a_missing_pulse_begins_the_window_anew(void **state)
{
    (void)state;
    struct turn_window w;
    struct turn_figures f;
    turns(&w, 5, 300, 0, 0);
    int64_t t = w.fall_ns[w.falls - 1];
    assert_false(turn_window_add(&w, t + 400000000));
    assert_int_equal(w.odd, 1);
    assert_false(turn_window_figures(&w, 10, &f));
    for (int i = 1; i <= 3; i++)
        assert_true(turn_window_add(&w, t + 400000000 + i * 200000000LL));
    assert_true(turn_window_figures(&w, 10, &f));
    assert_true(fabs(f.rpm - 300) < 1e-6);
}

static void test_a_pulse_too_many_is_passed_over(void **state)
{
    (void)state;
    struct turn_window w;
    struct turn_figures f;
    turns(&w, 5, 300, 0, 0);
    int64_t t = w.fall_ns[w.falls - 1];
    assert_false(turn_window_add(&w, t + 50000000));
    assert_true(turn_window_add(&w, t + 200000000));
    assert_true(turn_window_figures(&w, 10, &f));
    assert_int_equal(f.turns, 6);
    assert_true(fabs(f.rpm - 300) < 1e-3);
}

static void test_either_speed_of_a_drive_that_has_two_is_a_turn(void **state)
{
    (void)state;
    struct turn_window w;
    turn_window_begin(&w, 360, 300);
    assert_false(turn_window_add(&w, 0));
    assert_true(turn_window_add(&w, 166666667));
    assert_true(turn_window_add(&w, 366666667));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_even_turns_are_certain_and_steady),
        cmocka_unit_test(test_three_turns_are_the_least),
        cmocka_unit_test(test_a_screw_that_is_turned_shows_as_a_trend),
        cmocka_unit_test(test_the_intervals_hold_the_truth_as_often_as_they_say),
        cmocka_unit_test(test_a_missing_pulse_begins_the_window_anew),
        cmocka_unit_test(test_a_pulse_too_many_is_passed_over),
        cmocka_unit_test(test_either_speed_of_a_drive_that_has_two_is_a_turn),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
