/* Where the head may go, and how fast: the device counts, whatever the host believes. */
#include "unit/device_bench.h"

#define ALL_OUT (BENCH_LAST + LIMITS_OUTWARD_MORE)

static void test_no_step_inward_before_track_0_was_seen(void **state)
{
    (void)state;
    struct bench *b = bench_as_machine();
    assert_int_equal(bench_steps(b, false, 1), REFUSE_LOST_HEAD);
    assert_int_equal(bench_steps(b, true, 3), REFUSE_NOTHING);
    bench_ms(b, 100);
    assert_int_equal(bench_steps(b, false, 1), REFUSE_LOST_HEAD);
    assert_int_equal(b->head, 17);
    free(b);
}

static void test_never_inward_past_the_last_cylinder(void **state)
{
    (void)state;
    struct bench *b = bench_at(0);
    assert_int_equal(bench_steps(b, false, BENCH_LAST + 1), REFUSE_LIMIT);
    assert_int_equal(bench_steps(b, false, 65535), REFUSE_LIMIT);
    assert_int_equal(bench_steps(b, false, BENCH_LAST), REFUSE_NOTHING);
    bench_ms(b, 500);
    assert_int_equal(b->head, BENCH_LAST);
    assert_int_equal(bench_steps(b, false, 1), REFUSE_LIMIT);
    assert_int_equal(b->innermost, BENCH_LAST);
    free(b);
}

static void test_limits_are_believed_once_and_within_reason(void **state)
{
    (void)state;
    struct bench *b = bench_at(BENCH_LAST);
    assert_int_equal(bench_limits(b, 200, 3000), REFUSE_BUSY);
    free(b);
    b = bench_new();
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_AS_MACHINE, NULL, 0), REFUSE_NOTHING);
    assert_int_equal(bench_limits(b, 245, 3000), REFUSE_LIMIT); /* never 255 steps */
    assert_int_equal(bench_limits(b, 79, LIMITS_STEP_US_MIN - 1), REFUSE_LIMIT);
    assert_int_equal(bench_limits(b, 244, 3000), REFUSE_NOTHING);
    free(b);
}

static void test_a_search_for_track_0_ends_after_two_tries(void **state)
{
    (void)state;
    struct bench *b = bench_as_machine();
    b->track0_dead = true;
    assert_int_equal(bench_steps(b, true, ALL_OUT + 1), REFUSE_LIMIT);
    assert_int_equal(bench_steps(b, true, 255), REFUSE_LIMIT);
    assert_int_equal(bench_steps(b, true, ALL_OUT), REFUSE_NOTHING);
    bench_ms(b, 500);
    assert_int_equal(b->d.role, WIRE_ROLE_AS_MACHINE);
    assert_int_equal(bench_steps(b, true, ALL_OUT), REFUSE_NOTHING);
    bench_ms(b, 500);
    assert_int_equal(b->driven, 0);
    assert_int_equal(b->d.released, RELEASE_TRAVEL);
    assert_int_equal(b->steps, 2 * ALL_OUT);
    free(b);
}

static void test_small_steps_do_not_get_around_it(void **state)
{
    (void)state;
    struct bench *b = bench_as_machine();
    b->track0_dead = true;
    unsigned taken = 0;
    for (int i = 0; i < 300; i++) {
        taken += bench_steps(b, true, 1) == REFUSE_NOTHING;
        bench_ms(b, 10);
    }
    assert_int_equal(b->d.released, RELEASE_TRAVEL);
    assert_true(taken <= LIMITS_RESTORES);
    free(b);
}

/* "Known at 0" by a sensor that lies would let the head be driven inward from wherever it is.
 */
static void test_a_track_0_that_stays_active_stops_the_head(void **state)
{
    (void)state;
    struct bench *b = bench_as_machine();
    b->head = 30;
    b->track0_stuck = true;
    bench_ms(b, 1);
    assert_int_equal(bench_steps(b, true, ALL_OUT), REFUSE_NOTHING);
    bench_ms(b, 100);
    assert_int_equal(bench_steps(b, false, BENCH_LAST), REFUSE_NOTHING);
    bench_ms(b, 500);
    assert_int_equal(b->driven, 0);
    assert_int_equal(b->d.released, RELEASE_TRACK0);
    assert_true(b->head <= 30 + LIMITS_TRACK0_WITHIN);
    free(b);
}

static void test_never_faster_than_the_limits(void **state)
{
    (void)state;
    struct bench *b = bench_at(0);
    for (int i = 0; i < 10; i++) { /* one at a time, as fast as a host can ask */
        assert_int_equal(bench_steps(b, false, 3), REFUSE_NOTHING);
        while (b->d.motion.phase != STEP_IDLE)
            bench_run(b, 7);
        assert_int_equal(bench_steps(b, true, 1), REFUSE_NOTHING);
        while (b->d.motion.phase != STEP_IDLE)
            bench_run(b, 7);
    }
    assert_true(b->least_gap >= 3000);
    assert_int_equal(b->head, 20);
    free(b);
}

/* Firmware that was busy elsewhere must not make up for it. */
static void test_late_polls_make_no_step_shorter(void **state)
{
    (void)state;
    struct bench *b = bench_at(0);
    assert_int_equal(bench_steps(b, false, 20), REFUSE_NOTHING);
    for (int i = 0; i < 40; i++) {
        b->now += 4700;
        device_poll(&b->d);
        bench_settle(b);
    }
    bench_ms(b, 300);
    assert_int_equal(b->head, 20);
    assert_true(b->least_gap >= 3000);
    for (size_t i = 1; i < b->changes; i++) /* STEP low for its time */
        if ((b->log[i - 1].driven & ~b->log[i].driven) & WIRE_BIT(WIRE_STEP))
            assert_true(b->log[i].at - b->log[i - 1].at >= 10);
    free(b);
}

static void test_a_turn_round_waits_longer(void **state)
{
    (void)state;
    struct bench *b = bench_at(10);
    assert_int_equal(bench_steps(b, false, 1), REFUSE_NOTHING);
    while (b->d.motion.phase != STEP_IDLE)
        bench_run(b, 1);
    uint64_t before = b->last_step;
    assert_int_equal(bench_steps(b, true, 1), REFUSE_NOTHING);
    bench_ms(b, 10);
    assert_true(b->last_step - before >= 4000);
    free(b);
}

/* Steps that no drive takes would be counted, and the count is what keeps the head in. */
static void test_steps_need_exactly_one_select(void **state)
{
    (void)state;
    struct bench *b = bench_at(40);
    uint32_t both = WIRE_BIT(WIRE_SELECT0) | WIRE_BIT(WIRE_SELECT1);
    assert_int_equal(bench_drive(b, both, 0), REFUSE_NOTHING);
    assert_int_equal(bench_steps(b, true, 40), REFUSE_SELECT);
    assert_int_equal(bench_drive(b, both, both), REFUSE_NOTHING);
    assert_int_equal(bench_steps(b, true, 40), REFUSE_SELECT);
    assert_int_equal(b->head, 40);
    free(b);
}

static void test_another_units_head_is_somewhere_else(void **state)
{
    (void)state;
    struct bench *b = bench_at(40);
    uint32_t selects = WIRE_BIT(WIRE_SELECT0) | WIRE_BIT(WIRE_SELECT1);
    assert_int_equal(bench_drive(b, selects, WIRE_BIT(WIRE_SELECT1)), REFUSE_NOTHING);
    assert_int_equal(bench_steps(b, false, 1), REFUSE_LOST_HEAD);
    assert_int_equal(bench_drive(b, selects, WIRE_BIT(WIRE_SELECT0)), REFUSE_NOTHING);
    assert_int_equal(bench_steps(b, false, 1), REFUSE_LOST_HEAD); /* and it was forgotten */
    free(b);
}

static void test_select_and_motor_stay_while_the_head_moves(void **state)
{
    (void)state;
    struct bench *b = bench_at(0);
    assert_int_equal(bench_steps(b, false, 50), REFUSE_NOTHING);
    bench_ms(b, 20);
    assert_int_equal(bench_drive(b, WIRE_BIT(WIRE_SELECT0), 0), REFUSE_BUSY);
    assert_int_equal(bench_drive(b, WIRE_BIT(WIRE_MOTOR), 0), REFUSE_BUSY);
    assert_int_equal(bench_steps(b, true, 1), REFUSE_BUSY);
    bench_ms(b, 300);
    assert_int_equal(b->head, 50);
    free(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_no_step_inward_before_track_0_was_seen),
        cmocka_unit_test(test_never_inward_past_the_last_cylinder),
        cmocka_unit_test(test_limits_are_believed_once_and_within_reason),
        cmocka_unit_test(test_a_search_for_track_0_ends_after_two_tries),
        cmocka_unit_test(test_small_steps_do_not_get_around_it),
        cmocka_unit_test(test_a_track_0_that_stays_active_stops_the_head),
        cmocka_unit_test(test_never_faster_than_the_limits),
        cmocka_unit_test(test_late_polls_make_no_step_shorter),
        cmocka_unit_test(test_a_turn_round_waits_longer),
        cmocka_unit_test(test_steps_need_exactly_one_select),
        cmocka_unit_test(test_another_units_head_is_somewhere_else),
        cmocka_unit_test(test_select_and_motor_stay_while_the_head_moves),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
