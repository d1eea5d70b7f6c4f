/* The write gate: each test tries to have it active where it must not be. */
#include "unit/device_bench.h"

#define GATE WIRE_BIT(WIRE_WGATE)

static bool gate_was_active(const struct bench *b)
{
    for (size_t i = 0; i < b->changes; i++)
        if (b->log[i].driven & GATE)
            return true;
    return false;
}

static enum refusal arm_one(struct bench *b, const char *name)
{
    return bench_ask(b, REQ_ARM_ONE, 0, name, strlen(name));
}

static uint32_t challenge(struct bench *b)
{
    uint8_t reply[STATUS_BYTES];
    assert_int_equal(device_control_in(&b->d, REQ_STATUS, 0, reply, sizeof reply),
                     STATUS_BYTES);
    return get_u32(reply + STATUS_CHALLENGE);
}

static uint32_t answer_to(uint32_t challenge, const char *name)
{
    uint8_t p[4];
    put_u32(p, challenge);
    return wire_crc32(wire_crc32(0, p, 4), (const uint8_t *)name, strlen(name));
}

static enum refusal arm_two(struct bench *b, uint32_t answer)
{
    uint8_t p[4];
    put_u32(p, answer);
    return bench_ask(b, REQ_ARM_TWO, 0, p, sizeof p);
}

/* Pulses 4 us apart, for so many microseconds. */
static void give_data(struct bench *b, uint32_t us)
{
    uint8_t block[PROTO_FRAME_MAX];
    uint32_t sequence = b->d.play.sequence;
    while (us > 0) {
        size_t items = 0;
        for (; us > 0 && items < 400; us -= us < 4 ? us : 4)
            items += item_put_fall(block + PROTO_BLOCK_HEAD + items, 4);
        assert_true(device_block(&b->d, block, block_close(block, items, sequence++)));
    }
}

static enum refusal write_for(struct bench *b, bool at_index, uint32_t us)
{
    uint8_t p[4];
    put_u32(p, us);
    return bench_ask(b, REQ_WRITE, at_index, p, sizeof p);
}

/* Armed twice with 5 ms of data. */
static struct bench *armed(void)
{
    struct bench *b = bench_at(10);
    assert_int_equal(arm_one(b, "scratch 7"), REFUSE_NOTHING);
    assert_int_equal(arm_two(b, answer_to(challenge(b), "scratch 7")), REFUSE_NOTHING);
    give_data(b, 5000);
    return b;
}

static void test_two_armings_and_the_name_open_it_once(void **state)
{
    (void)state;
    struct bench *b = armed();
    uint64_t from = b->now;
    assert_int_equal(write_for(b, false, 20000), REFUSE_NOTHING);
    assert_true(b->driven & GATE);
    bench_ms(b, 20);
    assert_false(b->driven & GATE);
    assert_int_equal(b->pulses, 1250);
    assert_true(b->first_pulse > from);
    /* The gate shut when the data was out, behind the last pulse. */
    const struct bench_change *shut = &b->log[b->changes - 1];
    assert_true(shut->at > b->last_pulse && shut->at - b->last_pulse < 100);
    /* and that arming is used up */
    give_data(b, 1000);
    assert_int_equal(write_for(b, false, 1000), REFUSE_NOT_ARMED);
    free(b);
}

static void test_with_the_link_open_as_shipped_nothing_arms(void **state)
{
    (void)state;
    struct bench *b = bench_at(10);
    b->c.flags &= (uint16_t)~CAPF_WRITE_LINK;
    assert_int_equal(arm_one(b, "scratch"), REFUSE_WRITE_LINK);
    assert_int_equal(arm_two(b, answer_to(challenge(b), "scratch")), REFUSE_WRITE_LINK);
    give_data(b, 1000);
    assert_int_equal(write_for(b, false, 1000), REFUSE_WRITE_LINK);
    /* opened between arming and write */
    free(b);
    b = armed();
    b->c.flags &= (uint16_t)~CAPF_WRITE_LINK;
    assert_int_equal(write_for(b, false, 1000), REFUSE_WRITE_LINK);
    bench_ms(b, 10);
    assert_false(gate_was_active(b));
    free(b);
}

static void test_one_arming_is_none(void **state)
{
    (void)state;
    struct bench *b = bench_at(10);
    give_data(b, 1000);
    assert_int_equal(write_for(b, false, 1000), REFUSE_NOT_ARMED);
    assert_int_equal(arm_two(b, answer_to(0, "x")), REFUSE_NOT_ARMED);
    assert_int_equal(arm_one(b, "x"), REFUSE_NOTHING);
    give_data(b, 1000);
    assert_int_equal(write_for(b, false, 1000), REFUSE_NOT_ARMED);
    bench_ms(b, 10);
    assert_false(gate_was_active(b));
    free(b);
}

static void test_a_wrong_answer_has_one_try(void **state)
{
    (void)state;
    struct bench *b = bench_at(10);
    assert_int_equal(arm_one(b, "scratch"), REFUSE_NOTHING);
    uint32_t right = answer_to(challenge(b), "scratch");
    assert_int_equal(arm_two(b, answer_to(challenge(b), "another")), REFUSE_NOT_ARMED);
    assert_int_equal(arm_two(b, right), REFUSE_NOT_ARMED);
    /* the answer of last time is none of this time */
    assert_int_equal(arm_one(b, "scratch"), REFUSE_NOTHING);
    assert_int_not_equal(answer_to(challenge(b), "scratch"), right);
    assert_int_equal(arm_two(b, right), REFUSE_NOT_ARMED);
    free(b);
}

static void test_a_name_is_text_of_its_length(void **state)
{
    (void)state;
    struct bench *b = bench_at(10);
    char name[ARM_NAME_MAX + 2];
    memset(name, 'a', sizeof name);
    name[sizeof name - 1] = '\0';
    assert_int_equal(arm_one(b, name), REFUSE_MALFORMED);
    assert_int_equal(arm_one(b, ""), REFUSE_MALFORMED);
    assert_int_equal(arm_one(b, "a\nb"), REFUSE_MALFORMED);
    free(b);
}

static void test_late_armings_are_none(void **state)
{
    (void)state;
    struct bench *b = bench_at(10);
    assert_int_equal(arm_one(b, "scratch"), REFUSE_NOTHING);
    uint32_t right = answer_to(challenge(b), "scratch");
    bench_ms(b, ARM_WITHIN_MS + 1);
    assert_int_equal(arm_two(b, right), REFUSE_NOT_ARMED);
    free(b);
    b = armed();
    bench_ms(b, ARM_HOLDS_MS + 1);
    assert_int_equal(write_for(b, false, 1000), REFUSE_NOT_ARMED);
    assert_false(gate_was_active(b));
    free(b);
}

static void test_disarming_a_silent_host_and_a_reset_disarm(void **state)
{
    (void)state;
    struct bench *b = armed();
    assert_int_equal(bench_ask(b, REQ_DISARM, 0, NULL, 0), REFUSE_NOTHING);
    give_data(b, 1000);
    assert_int_equal(write_for(b, false, 1000), REFUSE_NOT_ARMED);
    free(b);
    b = armed();
    b->host_gone = true;
    bench_ms(b, 600);
    assert_int_equal(write_for(b, false, 1000), REFUSE_ROLE);
    free(b);
    b = armed();
    device_bus_event(&b->d);
    assert_int_equal(write_for(b, false, 1000), REFUSE_ROLE);
    assert_false(gate_was_active(b));
    free(b);
}

static void test_a_protected_disk_is_not_written(void **state)
{
    (void)state;
    struct bench *b = bench_at(10);
    b->protect = true;
    bench_ms(b, 1);
    assert_int_equal(arm_one(b, "scratch"), REFUSE_WPROT);
    free(b);
    b = armed();
    b->protect = true; /* another disk since the arming */
    bench_settle(b);
    assert_int_equal(write_for(b, false, 1000), REFUSE_WPROT);
    assert_false(gate_was_active(b));
    free(b);
    b = armed(); /* pulled out under the head */
    assert_int_equal(write_for(b, false, 5000), REFUSE_NOTHING);
    bench_ms(b, 1);
    b->protect = true;
    bench_ms(b, 1);
    assert_false(b->driven & GATE);
    free(b);
}

static void test_a_sagging_supply_forbids_it(void **state)
{
    (void)state;
    struct bench *b = armed();
    b->v5 = 4300;
    assert_int_equal(write_for(b, false, 1000), REFUSE_NO_SUPPLY);
    assert_int_equal(arm_one(b, "scratch"), REFUSE_NO_SUPPLY);
    free(b);
}

static void test_it_needs_one_unit_and_a_head_whose_place_is_known(void **state)
{
    (void)state;
    struct bench *b = armed();
    uint32_t other = WIRE_BIT(WIRE_SELECT1);
    assert_int_equal(bench_drive(b, other, other), REFUSE_NOTHING);
    assert_int_equal(write_for(b, false, 1000), REFUSE_SELECT);
    free(b);
    b = armed();
    assert_int_equal(bench_drive(b, WIRE_BIT(WIRE_SELECT0), 0), REFUSE_NOTHING);
    assert_int_equal(write_for(b, false, 1000), REFUSE_SELECT);
    free(b);
    b = armed();
    assert_int_equal(bench_drive(b, WIRE_BIT(WIRE_SELECT0) | other, other), REFUSE_NOTHING);
    assert_int_equal(write_for(b, false, 1000), REFUSE_LOST_HEAD);
    assert_false(gate_was_active(b));
    free(b);
    b = bench_as_machine(); /* never restored */
    assert_int_equal(arm_one(b, "x"), REFUSE_NOTHING);
    assert_int_equal(arm_two(b, answer_to(challenge(b), "x")), REFUSE_NOTHING);
    give_data(b, 1000);
    assert_int_equal(write_for(b, false, 1000), REFUSE_LOST_HEAD);
    free(b);
}

static void test_a_head_that_moves_or_swings_does_not_write(void **state)
{
    (void)state;
    struct bench *b = armed();
    assert_int_equal(bench_steps(b, false, 5), REFUSE_NOTHING);
    assert_int_equal(write_for(b, false, 1000), REFUSE_BUSY);
    free(b);
    b = armed();
    assert_int_equal(bench_steps(b, false, 1), REFUSE_NOTHING);
    bench_ms(b, 10); /* of 15 to settle */
    assert_int_equal(write_for(b, false, 1000), REFUSE_SETTLE);
    assert_false(gate_was_active(b));
    free(b);
}

static void test_the_gate_has_its_longest_time(void **state)
{
    (void)state;
    struct bench *b = armed();
    assert_int_equal(write_for(b, false, 220001), REFUSE_LIMIT);
    free(b);
    b = armed();
    assert_int_equal(write_for(b, false, 0), REFUSE_LIMIT);
    free(b);
    b = armed();
    assert_int_equal(write_for(b, false, 2000), REFUSE_NOTHING); /* and 5 ms of data */
    uint64_t from = b->now;
    bench_ms(b, 10);
    assert_false(b->driven & GATE);
    assert_int_equal(b->log[b->changes - 1].at - from, 2000);
    assert_true(b->last_pulse < from + 2000);
    free(b);
}

static void test_without_data_no_gate(void **state)
{
    (void)state;
    struct bench *b = bench_at(10);
    assert_int_equal(arm_one(b, "x"), REFUSE_NOTHING);
    assert_int_equal(arm_two(b, answer_to(challenge(b), "x")), REFUSE_NOTHING);
    assert_int_equal(write_for(b, false, 1000), REFUSE_NO_DATA);
    assert_false(gate_was_active(b));
    free(b);
}

static void nothing_else_changes(struct bench *b)
{
    uint32_t side = WIRE_BIT(WIRE_SIDE);
    assert_int_equal(bench_steps(b, false, 1),
                     b->driven & GATE ? REFUSE_BUSY : REFUSE_ERASE_DELAY);
    assert_int_equal(bench_drive(b, side, side), REFUSE_ERASE_DELAY);
    assert_int_equal(bench_drive(b, WIRE_BIT(WIRE_SELECT0), 0), REFUSE_ERASE_DELAY);
    assert_int_equal(bench_drive(b, WIRE_BIT(WIRE_MOTOR), 0), REFUSE_ERASE_DELAY);
    assert_int_equal(b->driven & ~GATE, BENCH_ON);
}

static void test_nothing_else_changes_during_the_gate_and_the_erase_delay(void **state)
{
    (void)state;
    struct bench *b = armed();
    assert_int_equal(write_for(b, false, 20000), REFUSE_NOTHING);
    nothing_else_changes(b);
    while (b->driven & GATE)
        bench_run(b, 100);
    nothing_else_changes(b);
    bench_run(b, 850);
    nothing_else_changes(b);
    bench_run(b, 200);
    assert_int_equal(bench_steps(b, false, 1), REFUSE_NOTHING);
    free(b);
}

/* Whatever makes it let go: the gate at once, what the erase head needs a moment later. */
static void lets_go_in_order(struct bench *b, uint64_t at)
{
    assert_false(b->driven & GATE);
    assert_int_equal(b->driven, BENCH_ON);
    assert_int_equal(b->d.role, WIRE_ROLE_NONE);
    bench_run(b, 900 - (b->now - at));
    assert_int_equal(b->driven, BENCH_ON);
    bench_run(b, 200);
    assert_int_equal(b->driven, 0);
}

static void test_a_release_while_writing_lets_the_gate_go_first(void **state)
{
    (void)state;
    struct bench *b = armed();
    assert_int_equal(write_for(b, false, 20000), REFUSE_NOTHING);
    bench_ms(b, 1);
    assert_int_equal(bench_ask(b, REQ_RELEASE, 0, NULL, 0), REFUSE_NOTHING);
    lets_go_in_order(b, b->now);
    free(b);
    b = armed();
    assert_int_equal(write_for(b, false, 20000), REFUSE_NOTHING);
    bench_ms(b, 1);
    device_bus_event(&b->d);
    lets_go_in_order(b, b->now);
    free(b);
    b = armed();
    assert_int_equal(write_for(b, false, 20000), REFUSE_NOTHING);
    bench_ms(b, 1);
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_INLINE, NULL, 0), REFUSE_NOTHING);
    assert_int_equal(b->driven, BENCH_ON);
    bench_ms(b, 2);
    assert_int_equal(b->driven, 0);
    free(b);
}

static void test_a_host_that_falls_silent_while_writing_stops_it(void **state)
{
    (void)state;
    struct bench *b = armed();
    b->host_gone = true;
    bench_ms(b, 495);
    b->turns = false; /* INDEX, which it waits for, never comes */
    assert_int_equal(write_for(b, true, 220000), REFUSE_NOTHING);
    bench_ms(b, 600);
    assert_int_equal(b->driven, 0);
    assert_int_equal(b->d.released, RELEASE_SILENCE);
    assert_false(gate_was_active(b));
    free(b);
}

static void test_a_gate_that_does_not_follow_or_stays_releases_all(void **state)
{
    (void)state;
    struct bench *b = armed();
    b->dead = GATE;
    assert_int_equal(write_for(b, false, 20000), REFUSE_NOTHING);
    bench_ms(b, 4);
    assert_int_equal(b->d.released, RELEASE_READBACK);
    assert_int_equal(b->driven, 0);
    free(b);
    b = armed();
    assert_int_equal(write_for(b, false, 20000), REFUSE_NOTHING);
    bench_ms(b, 1);
    b->foreign = GATE; /* it will not come back high */
    bench_ms(b, 20);
    assert_int_equal(b->d.released, RELEASE_CLASH);
    assert_int_equal(b->driven, 0);
    free(b);
}

static void test_at_the_index_it_opens_with_the_pulse(void **state)
{
    (void)state;
    struct bench *b = armed();
    while (b->index_low || b->index_at - b->now < 50000)
        bench_ms(b, 1);
    uint64_t index = b->index_at;
    assert_int_equal(write_for(b, true, 20000), REFUSE_NOTHING);
    assert_int_equal(write_for(b, true, 20000), REFUSE_BUSY);
    assert_int_equal(arm_one(b, "x"), REFUSE_BUSY);
    assert_int_equal(bench_steps(b, false, 1), REFUSE_BUSY);
    assert_int_equal(bench_drive(b, WIRE_BIT(WIRE_SELECT0), 0), REFUSE_BUSY);
    bench_run(b, index - b->now - 1);
    assert_false(b->driven & GATE);
    bench_run(b, 2);
    assert_true(b->driven & GATE);
    bench_ms(b, 10);
    assert_int_equal(b->pulses, 1250);
    assert_true(b->first_pulse - index < 100);
    free(b);
}

static void test_without_an_index_it_gives_up(void **state)
{
    (void)state;
    struct bench *b = armed();
    b->turns = false;
    assert_int_equal(write_for(b, true, 20000), REFUSE_NOTHING);
    bench_ms(b, 1100);
    assert_int_equal(b->d.refusal, REFUSE_NO_INDEX);
    b->turns = true;
    b->index_at = b->now + 10;
    bench_ms(b, 300);
    assert_false(gate_was_active(b));
    free(b);
}

static void test_what_holds_at_the_request_must_hold_at_the_index(void **state)
{
    (void)state;
    struct bench *b = armed();
    assert_int_equal(write_for(b, true, 20000), REFUSE_NOTHING);
    b->protect = true;
    bench_ms(b, 300);
    assert_int_equal(b->d.refusal, REFUSE_WPROT);
    assert_false(gate_was_active(b));
    free(b);
    b = armed();
    assert_int_equal(write_for(b, true, 20000), REFUSE_NOTHING);
    assert_int_equal(bench_ask(b, REQ_DISARM, 0, NULL, 0), REFUSE_NOTHING);
    bench_ms(b, 300);
    assert_false(gate_was_active(b));
    free(b);
}

/* Pulses that would come late are not left out in silence. */
static void test_a_late_poll_ends_the_write_with_a_word(void **state)
{
    (void)state;
    struct bench *b = armed();
    assert_int_equal(write_for(b, false, 20000), REFUSE_NOTHING);
    bench_run(b, 500);
    b->now += 4000;
    device_poll(&b->d);
    bench_settle(b);
    assert_false(b->driven & GATE);
    free(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_two_armings_and_the_name_open_it_once),
        cmocka_unit_test(test_with_the_link_open_as_shipped_nothing_arms),
        cmocka_unit_test(test_one_arming_is_none),
        cmocka_unit_test(test_a_wrong_answer_has_one_try),
        cmocka_unit_test(test_a_name_is_text_of_its_length),
        cmocka_unit_test(test_late_armings_are_none),
        cmocka_unit_test(test_disarming_a_silent_host_and_a_reset_disarm),
        cmocka_unit_test(test_a_protected_disk_is_not_written),
        cmocka_unit_test(test_a_sagging_supply_forbids_it),
        cmocka_unit_test(test_it_needs_one_unit_and_a_head_whose_place_is_known),
        cmocka_unit_test(test_a_head_that_moves_or_swings_does_not_write),
        cmocka_unit_test(test_the_gate_has_its_longest_time),
        cmocka_unit_test(test_without_data_no_gate),
        cmocka_unit_test(test_nothing_else_changes_during_the_gate_and_the_erase_delay),
        cmocka_unit_test(test_a_release_while_writing_lets_the_gate_go_first),
        cmocka_unit_test(test_a_host_that_falls_silent_while_writing_stops_it),
        cmocka_unit_test(test_a_gate_that_does_not_follow_or_stays_releases_all),
        cmocka_unit_test(test_at_the_index_it_opens_with_the_pulse),
        cmocka_unit_test(test_without_an_index_it_gives_up),
        cmocka_unit_test(test_what_holds_at_the_request_must_hold_at_the_index),
        cmocka_unit_test(test_a_late_poll_ends_the_write_with_a_word),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
