/* Outputs fall off by themselves, and come on only where nobody else is: each test tries to
 * have it otherwise. The rules are those of the bench: common practice. */
#include "unit/device_bench.h"

static void all_let_go(const struct bench *b, enum release why)
{
    assert_int_equal(b->driven, 0);
    assert_int_equal(b->d.role, WIRE_ROLE_NONE);
    assert_int_equal(b->d.released, why);
    assert_false(b->pull_ups);
}

static void test_a_silent_host_loses_its_outputs(void **state)
{
    (void)state;
    struct bench *b = bench_as_machine();
    bench_ms(b, 1500);
    assert_int_equal(b->driven, BENCH_ON);
    b->host_gone = true;
    bench_ms(b, PROTO_WATCHDOG_MS - 110);
    assert_int_equal(b->driven, BENCH_ON);
    bench_ms(b, 112);
    all_let_go(b, RELEASE_SILENCE);
    assert_int_equal(bench_drive(b, BENCH_ON, BENCH_ON), REFUSE_ROLE);
    free(b);
}

static void test_noise_on_the_control_pipe_is_no_sign_of_life(void **state)
{
    (void)state;
    struct bench *b = bench_as_machine();
    uint8_t reply[CAP_BYTES];
    b->host_gone = true;
    for (int i = 0; i < 60; i++) {
        bench_ms(b, 10);
        assert_int_equal(bench_ask(b, 0x7e, 0, NULL, 0), REFUSE_UNKNOWN);
        assert_int_equal(bench_ask(b, REQ_DRIVE, 0, "abc", 3), REFUSE_MALFORMED);
        assert_int_equal(device_control_in(&b->d, 0x7e, 0, reply, sizeof reply), -1);
    }
    all_let_go(b, RELEASE_SILENCE);
    free(b);
}

static void test_reset_suspend_and_unplugging_let_everything_go(void **state)
{
    (void)state;
    struct bench *b = bench_as_machine();
    assert_int_equal(bench_ask(b, REQ_PULL_UPS, 1, NULL, 0), REFUSE_NOTHING);
    device_bus_event(&b->d);
    all_let_go(b, RELEASE_BUS);
    /* power-on */
    device_init(&b->d, &BENCH_HW, b, &b->c);
    all_let_go(b, RELEASE_START);
    free(b);
}

static void test_another_role_begins_with_nothing_driven(void **state)
{
    (void)state;
    for (unsigned role = 0; role < WIRE_ROLES; role++) {
        struct bench *b = bench_as_machine();
        assert_int_equal(bench_ask(b, REQ_ROLE, (uint16_t)role, NULL, 0), REFUSE_NOTHING);
        assert_int_equal(b->driven, 0);
        bench_ms(b, 100);
        assert_int_equal(b->driven, 0);
        free(b);
    }
}

static void test_in_line_no_output_is_ever_driven(void **state)
{
    (void)state;
    struct bench *b = bench_new();
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_INLINE, NULL, 0), REFUSE_NOTHING);
    assert_int_equal(bench_limits(b, BENCH_LAST, 3000), REFUSE_ROLE);
    bench_ms(b, 2500);
    for (unsigned l = 0; l < WIRE_LINES; l++)
        assert_int_equal(bench_drive(b, WIRE_BIT(l), WIRE_BIT(l)), REFUSE_ROLE);
    assert_int_equal(bench_steps(b, true, 1), REFUSE_ROLE);
    assert_int_equal(bench_ask(b, REQ_PLAY, 1, NULL, 0), REFUSE_ROLE);
    assert_int_equal(bench_ask(b, REQ_ARM_ONE, 0, "x", 1), REFUSE_ROLE);
    bench_ms(b, 100);
    assert_int_equal(b->changes, 0);
    free(b);
}

static void test_gate_data_and_step_are_never_driven_by_hand(void **state)
{
    (void)state;
    struct bench *b = bench_as_machine();
    static const unsigned never[] = {WIRE_WGATE, WIRE_WDATA, WIRE_STEP, WIRE_DIR,
                                     WIRE_INDEX, WIRE_RDATA, WIRE_WPROT};
    for (size_t i = 0; i < sizeof never / sizeof never[0]; i++)
        assert_int_equal(bench_drive(b, WIRE_BIT(never[i]), WIRE_BIT(never[i])), REFUSE_LINE);
    /* active lines that the mask does not name */
    assert_int_equal(
        bench_drive(b, WIRE_BIT(WIRE_SIDE), WIRE_BIT(WIRE_SIDE) | WIRE_BIT(WIRE_WGATE)),
        REFUSE_MALFORMED);
    assert_int_equal(b->driven, BENCH_ON);
    free(b);
}

static void test_pull_ups_need_the_drives_own_supply(void **state)
{
    (void)state;
    struct bench *b = bench_new();
    assert_int_equal(bench_ask(b, REQ_PULL_UPS, 1, NULL, 0), REFUSE_ROLE);
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_AS_MACHINE, NULL, 0), REFUSE_NOTHING);
    b->v5 = 200;
    assert_int_equal(bench_ask(b, REQ_PULL_UPS, 1, NULL, 0), REFUSE_NO_SUPPLY);
    b->v5 = WIRE_NO_METER; /* it cannot know */
    assert_int_equal(bench_ask(b, REQ_PULL_UPS, 1, NULL, 0), REFUSE_NO_SUPPLY);
    assert_false(b->pull_ups);
    b->v5 = 5000;
    assert_int_equal(bench_ask(b, REQ_PULL_UPS, 1, NULL, 0), REFUSE_NOTHING);
    assert_true(b->pull_ups);
    b->v5 = 3000; /* the drive is switched off under it */
    bench_ms(b, 2);
    assert_false(b->pull_ups);
    free(b);
}

static void test_a_silent_host_loses_its_pull_ups(void **state)
{
    (void)state;
    struct bench *b = bench_new();
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_INLINE, NULL, 0), REFUSE_NOTHING);
    assert_int_equal(bench_ask(b, REQ_PULL_UPS, 1, NULL, 0), REFUSE_NOTHING);
    b->host_gone = true;
    bench_ms(b, PROTO_WATCHDOG_MS + 2);
    assert_false(b->pull_ups);
    free(b);
}

static void test_an_output_that_does_not_follow_releases_all(void **state)
{
    (void)state;
    for (unsigned l = WIRE_SELECT0; l <= WIRE_MOTOR; l += WIRE_MOTOR - WIRE_SELECT0) {
        struct bench *b = bench_as_machine();
        b->dead = WIRE_BIT(l);
        bench_ms(b, 2);
        all_let_go(b, RELEASE_READBACK);
        free(b);
    }
    struct bench *b = bench_as_machine();
    b->dead = WIRE_BIT(WIRE_STEP);
    assert_int_equal(bench_steps(b, true, 5), REFUSE_NOTHING);
    bench_ms(b, 2);
    all_let_go(b, RELEASE_READBACK);
    free(b);
}

static void test_a_line_that_stays_low_releases_all(void **state)
{
    (void)state;
    struct bench *b = bench_as_machine();
    uint32_t side = WIRE_BIT(WIRE_SIDE);
    assert_int_equal(bench_drive(b, side, side), REFUSE_NOTHING);
    b->foreign = side; /* begins while it is low anyway: no edge tells of it */
    bench_ms(b, 5);
    assert_int_equal(b->d.role, WIRE_ROLE_AS_MACHINE);
    assert_int_equal(bench_drive(b, side, 0), REFUSE_NOTHING);
    bench_ms(b, 2);
    all_let_go(b, RELEASE_CLASH);
    free(b);
}

static void test_a_pin_that_does_not_follow_releases_all(void **state)
{
    (void)state;
    struct bench *b = bench_new();
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_BOTH_PLUGS, NULL, 0), REFUSE_NOTHING);
    assert_int_equal(bench_ask(b, REQ_PIN, 1 | 8 << 8, "\1", 1), REFUSE_NOTHING);
    bench_ms(b, 5);
    assert_int_equal(b->pins_low[1], 1u << 7);
    b->pins_held_high[1] = 1u << 7; /* a supply on it, by now */
    bench_ms(b, 2);
    all_let_go(b, RELEASE_READBACK);
    assert_int_equal(b->pins_low[1], 0);
    free(b);
}

static void test_no_cable_under_voltage_is_driven(void **state)
{
    (void)state;
    struct bench *b = bench_new();
    b->pin_voltage[9] = 4;
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_BOTH_PLUGS, NULL, 0), REFUSE_VOLTAGE);
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_LOOP, NULL, 0), REFUSE_VOLTAGE);
    assert_int_equal(bench_ask(b, REQ_PIN, 1 << 8, "\1", 1), REFUSE_ROLE);
    b->pin_voltage[9] = 0;
    b->c.flags &= (uint16_t)~CAPF_PINS_FLOAT; /* it could not see one */
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_BOTH_PLUGS, NULL, 0), REFUSE_ROLE);
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_LOOP, NULL, 0), REFUSE_ROLE);
    assert_int_equal(b->pins_low[0] | b->pins_low[1] | b->driven, 0);
    free(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_silent_host_loses_its_outputs),
        cmocka_unit_test(test_noise_on_the_control_pipe_is_no_sign_of_life),
        cmocka_unit_test(test_reset_suspend_and_unplugging_let_everything_go),
        cmocka_unit_test(test_another_role_begins_with_nothing_driven),
        cmocka_unit_test(test_in_line_no_output_is_ever_driven),
        cmocka_unit_test(test_gate_data_and_step_are_never_driven_by_hand),
        cmocka_unit_test(test_pull_ups_need_the_drives_own_supply),
        cmocka_unit_test(test_a_silent_host_loses_its_pull_ups),
        cmocka_unit_test(test_an_output_that_does_not_follow_releases_all),
        cmocka_unit_test(test_a_line_that_stays_low_releases_all),
        cmocka_unit_test(test_a_pin_that_does_not_follow_releases_all),
        cmocka_unit_test(test_no_cable_under_voltage_is_driven),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
