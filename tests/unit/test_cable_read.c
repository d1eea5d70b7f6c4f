/* What a walk over a cable's pins says, from counts made here; the cables are invented. Whole
 * cables through the simulated adapter: tests/selfcheck. */
#include "adapter/cable_read.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define PINS 10

struct bench {
    struct cable_plan plan;
    struct cable_seen seen;
    struct cable_reading reading;
    int net[CABLE_NODES]; /* 0: ground; equal: joined */
};

/* Ten pins, odd ones ground, straight. */
static void straight(struct bench *b)
{
    memset(b, 0, sizeof *b);
    b->plan.pins[0] = b->plan.pins[1] = PINS;
    for (unsigned p = 1; p <= PINS; p++) {
        b->plan.far[p] = (uint8_t)p;
        b->plan.carried[p] = p % 2 == 0;
        b->plan.ground[0][p] = b->plan.ground[1][p] = p % 2 == 1;
        b->net[cable_node(0, p)] = b->net[cable_node(1, p)] = p % 2 == 0 ? (int)p : 0;
    }
}

static void ground_apart(struct bench *b)
{
    b->plan.apart = true;
    for (unsigned p = 1; p <= PINS; p++) {
        b->plan.carried[p] = true;
        b->net[cable_node(0, p)] = b->net[cable_node(1, p)] = (int)p;
    }
}

/* One pass over the nets as they are now. */
static void pass(struct bench *b)
{
    for (unsigned i = 0; i < 2 * PINS; i++) {
        unsigned a = cable_node(i / PINS, i % PINS + 1);
        b->seen.idle[a] += b->net[a] == 0;
        for (unsigned k = 0; k < 2 * PINS; k++) {
            unsigned c = cable_node(k / PINS, k % PINS + 1);
            b->seen.low[a][c] += b->net[a] != 0 && b->net[a] == b->net[c];
        }
    }
    b->seen.passes++;
}

static const struct cable_fault *only(struct bench *b)
{
    cable_read(&b->plan, &b->seen, &b->reading);
    assert_int_equal(b->reading.faults, 1);
    return &b->reading.fault[0];
}

static void test_a_sound_cable_has_no_fault(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    pass(&b);
    cable_read(&b.plan, &b.seen, &b.reading);
    assert_int_equal(b.reading.faults, 0);
    for (unsigned p = 2; p <= PINS; p += 2)
        assert_true(b.reading.sound[p]);
}

static void test_without_a_look_nothing_is_said(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    cable_read(&b.plan, &b.seen, &b.reading);
    assert_int_equal(b.reading.faults, 0);
    assert_false(b.reading.sound[2]);
}

static void test_an_open_ground_is_named_where_grounds_are_wired_apart(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    ground_apart(&b);
    b.net[cable_node(1, 5)] = 100;
    pass(&b);
    const struct cable_fault *f = only(&b);
    assert_int_equal(f->kind, CABLE_OPEN);
    assert_int_equal(f->pin, 5);
}

static void test_a_signal_on_a_ground_wired_apart_touches_it(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    ground_apart(&b);
    b.net[cable_node(0, 7)] = b.net[cable_node(1, 7)] = 8;
    pass(&b);
    const struct cable_fault *f = only(&b);
    assert_int_equal(f->kind, CABLE_JOINED);
    assert_int_equal(f->pin, 7);
    assert_int_equal(f->other, 8);
    assert_false(b.reading.sound[8]);
}

static void test_grounds_wired_apart_may_touch_one_another(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    ground_apart(&b);
    b.net[cable_node(0, 7)] = b.net[cable_node(1, 7)] = 5;
    pass(&b);
    cable_read(&b.plan, &b.seen, &b.reading);
    assert_int_equal(b.reading.faults, 0);
}

static void test_plugs_are_seen_without_a_common_ground(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    ground_apart(&b);
    for (unsigned p = 1; p <= PINS; p++)
        b.net[cable_node(1, PINS + 1 - p)] = (int)p;
    pass(&b);
    const struct cable_fault *f = only(&b);
    assert_int_equal(f->kind, CABLE_REVERSED);
    assert_true(f->by_arrival);

    straight(&b);
    ground_apart(&b);
    for (unsigned p = 1; p <= PINS; p++) /* odd pins meet even ones, these hang in the air */
        b.net[cable_node(1, p)] = p % 2 == 0 ? (int)p - 1 : 100;
    pass(&b);
    f = only(&b);
    assert_int_equal(f->kind, CABLE_OFF_BY_ROW);
    assert_true(f->by_arrival);
}

static void test_a_pin_that_does_not_follow_itself_is_not_tested(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    pass(&b);
    for (unsigned n = 0; n < CABLE_NODES; n++)
        b.seen.low[cable_node(0, 4)][n] = b.seen.low[n][cable_node(0, 4)] = 0;
    const struct cable_fault *f = only(&b);
    assert_int_equal(f->kind, CABLE_PIN_DEAD);
    assert_int_equal(f->pin, 4);
}

static void test_a_conductor_that_arrives_elsewhere_is_misplaced(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    b.plan.far[10] = 0; /* nothing is wanted of 10, so 8 may sit there */
    b.plan.carried[10] = false;
    b.net[cable_node(0, 10)] = 101;
    b.net[cable_node(1, 8)] = 102;
    b.net[cable_node(1, 10)] = 8;
    pass(&b);
    const struct cable_fault *f = only(&b);
    assert_int_equal(f->kind, CABLE_MISPLACED);
    assert_int_equal(f->pin, 8);
    assert_int_equal(f->other_far, 10);
}

static void test_contact_that_is_lost_once_is_told_with_its_share(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    for (int i = 0; i < 9; i++)
        pass(&b);
    b.net[cable_node(1, 6)] = 103;
    pass(&b);
    const struct cable_fault *f = only(&b);
    assert_int_equal(f->kind, CABLE_OPEN);
    assert_true(f->at_times);
    assert_int_equal(f->pin, 6);
    assert_int_equal(f->seen, 2); /* looked at from either end */
    assert_int_equal(f->of, 20);
}

static void test_ground_at_one_plug_alone_is_open_too(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    b.net[cable_node(0, 6)] = 0;
    pass(&b);
    cable_read(&b.plan, &b.seen, &b.reading);
    assert_int_equal(b.reading.faults, 2);
    assert_int_equal(b.reading.fault[0].kind, CABLE_GROUNDED);
    assert_int_equal(b.reading.fault[1].kind, CABLE_OPEN);
    assert_int_equal(b.reading.fault[1].pin, 6);
}

static void test_conductors_that_touch_at_one_plug_only_are_named(void **state)
{
    (void)state;
    struct bench b;
    straight(&b);
    b.net[cable_node(0, 4)] = 104; /* 4 is open; beyond the break it touches 6 */
    b.net[cable_node(1, 4)] = 6;
    pass(&b);
    cable_read(&b.plan, &b.seen, &b.reading);
    assert_int_equal(b.reading.faults, 2);
    assert_int_equal(b.reading.fault[0].kind, CABLE_OPEN);
    assert_int_equal(b.reading.fault[0].pin, 4);
    assert_int_equal(b.reading.fault[1].kind, CABLE_JOINED);
    assert_int_equal(b.reading.fault[1].pin, 4);
    assert_int_equal(b.reading.fault[1].other, 6);
}

static void test_random_counts_are_read_without_harm(void **state)
{
    (void)state;
    struct bench b;
    uint32_t r = 1;
    for (int round = 0; round < 200; round++) {
        straight(&b);
        b.plan.twisted = round % 2 != 0;
        b.plan.pins[1] = round % 3 == 0 ? CABLE_PINS_MAX : PINS;
        b.seen.passes = 3;
        for (unsigned i = 0; i < CABLE_NODES; i++) {
            b.seen.idle[i] = (r = r * 1664525u + 1013904223u) >> 30;
            for (unsigned k = 0; k < CABLE_NODES; k++)
                b.seen.low[i][k] = (r = r * 1664525u + 1013904223u) >> 30;
        }
        cable_read(&b.plan, &b.seen, &b.reading);
        assert_true(b.reading.faults <= CABLE_FAULTS_MAX);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_sound_cable_has_no_fault),
        cmocka_unit_test(test_without_a_look_nothing_is_said),
        cmocka_unit_test(test_an_open_ground_is_named_where_grounds_are_wired_apart),
        cmocka_unit_test(test_a_signal_on_a_ground_wired_apart_touches_it),
        cmocka_unit_test(test_grounds_wired_apart_may_touch_one_another),
        cmocka_unit_test(test_plugs_are_seen_without_a_common_ground),
        cmocka_unit_test(test_a_pin_that_does_not_follow_itself_is_not_tested),
        cmocka_unit_test(test_a_conductor_that_arrives_elsewhere_is_misplaced),
        cmocka_unit_test(test_contact_that_is_lost_once_is_told_with_its_share),
        cmocka_unit_test(test_ground_at_one_plug_alone_is_open_too),
        cmocka_unit_test(test_conductors_that_touch_at_one_plug_only_are_named),
        cmocka_unit_test(test_random_counts_are_read_without_harm),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
