/* Two masters on one bus: the adapter listens before it drives, and gives way. */
#include "unit/device_bench.h"

static struct bench *listening(void)
{
    struct bench *b = bench_new();
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_AS_MACHINE, NULL, 0), REFUSE_NOTHING);
    assert_int_equal(bench_limits(b, BENCH_LAST, 3000), REFUSE_NOTHING);
    return b;
}

static void test_it_listens_two_seconds_first(void **state)
{
    (void)state;
    struct bench *b = listening();
    for (int i = 0; i < 19; i++) {
        bench_ms(b, 100);
        assert_int_equal(bench_drive(b, BENCH_ON, BENCH_ON), REFUSE_BUS_ALIVE);
    }
    assert_int_equal(bench_steps(b, true, 1), REFUSE_BUS_ALIVE);
    assert_int_equal(bench_ask(b, REQ_ARM_ONE, 0, "x", 1), REFUSE_BUS_ALIVE);
    assert_int_equal(b->changes, 0);
    bench_ms(b, 101);
    assert_int_equal(bench_drive(b, BENCH_ON, BENCH_ON), REFUSE_NOTHING);
    free(b);
}

static void test_without_limits_nothing_is_driven(void **state)
{
    (void)state;
    struct bench *b = bench_new();
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_AS_MACHINE, NULL, 0), REFUSE_NOTHING);
    bench_ms(b, 2500);
    assert_int_equal(bench_drive(b, BENCH_ON, BENCH_ON), REFUSE_NO_LIMITS);
    assert_int_equal(bench_steps(b, true, 1), REFUSE_NO_LIMITS);
    assert_int_equal(b->changes, 0);
    free(b);
}

static void test_every_machine_line_that_moves_or_is_held_forbids_driving(void **state)
{
    (void)state;
    for (unsigned l = 0; l <= WIRE_FAULTRESET; l++) {
        struct bench *b = listening();
        bench_ms(b, 1900);
        b->foreign = WIRE_BIT(l); /* a blink in the last moment begins it anew */
        bench_run(b, 50);
        b->foreign = 0;
        bench_ms(b, 1900);
        assert_int_equal(bench_drive(b, BENCH_ON, BENCH_ON), REFUSE_BUS_ALIVE);
        bench_ms(b, 102);
        b->foreign = WIRE_BIT(l);
        bench_ms(b, 3000); /* held for ever so long: still another's */
        assert_int_equal(bench_drive(b, BENCH_ON, BENCH_ON), REFUSE_BUS_ALIVE);
        assert_int_equal(b->changes, 0);
        free(b);
    }
}

static void test_another_master_who_comes_later_has_the_bus(void **state)
{
    (void)state;
    for (unsigned l = 0; l <= WIRE_FAULTRESET; l++) {
        struct bench *b = bench_as_machine();
        if (b->driven & WIRE_BIT(l)) {
            free(b);
            continue;
        }
        b->foreign = WIRE_BIT(l);
        bench_run(b, 20);
        assert_int_equal(b->driven, 0);
        assert_int_equal(b->d.released, RELEASE_CLASH);
        free(b);
    }
}

/* ---- as a drive ---- */

static struct bench *as_drive(void)
{
    struct bench *b = bench_new();
    b->head = 99; /* the bench's drive is not there: nothing of it is to be seen */
    b->turns = false;
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_AS_DRIVE | 0 << 8, NULL, 0),
                     REFUSE_NOTHING);
    assert_int_equal(bench_limits(b, BENCH_LAST, 3000), REFUSE_NOTHING);
    bench_ms(b, 50);
    return b;
}

static void test_as_a_drive_it_is_silent_until_selected_and_protects(void **state)
{
    (void)state;
    struct bench *b = as_drive();
    uint32_t ready = WIRE_BIT(WIRE_READY);
    assert_int_equal(bench_drive(b, ready, ready), REFUSE_NOTHING);
    bench_ms(b, 500);
    b->foreign = WIRE_BIT(WIRE_SELECT1); /* another unit is meant */
    bench_ms(b, 500);
    assert_int_equal(b->changes, 0);
    b->foreign = WIRE_BIT(WIRE_SELECT0);
    bench_ms(b, 30);
    /* nobody told it to protect: it does so by itself */
    assert_int_equal(b->driven, ready | WIRE_BIT(WIRE_TRK00) | WIRE_BIT(WIRE_WPROT));
    b->foreign = 0;
    bench_ms(b, 1);
    assert_int_equal(b->driven, 0);
    free(b);
}

static void test_protection_goes_only_when_told(void **state)
{
    (void)state;
    struct bench *b = as_drive();
    b->foreign = WIRE_BIT(WIRE_SELECT0);
    bench_ms(b, 30);
    assert_true(b->driven & WIRE_BIT(WIRE_WPROT));
    assert_int_equal(bench_drive(b, WIRE_BIT(WIRE_WPROT), 0), REFUSE_NOTHING);
    assert_false(b->driven & WIRE_BIT(WIRE_WPROT));
    free(b);
}

static void test_where_a_drive_answers_that_select_it_never_does(void **state)
{
    (void)state;
    for (unsigned l = WIRE_INDEX; l < WIRE_LINES; l++) {
        struct bench *b = as_drive();
        for (int i = 0; i < 30; i++) { /* polled again and again; a line answers each time */
            b->foreign = WIRE_BIT(WIRE_SELECT0);
            bench_ms(b, 2);
            b->foreign |= WIRE_BIT(l);
            bench_ms(b, 10);
            b->foreign = 0;
            bench_ms(b, 10);
        }
        b->foreign = WIRE_BIT(WIRE_SELECT0) | WIRE_BIT(l);
        bench_ms(b, 1000);
        assert_int_equal(b->changes, 0);
        free(b);
    }
}

static void test_a_drive_that_wakes_up_beside_it_has_the_bus(void **state)
{
    (void)state;
    struct bench *b = as_drive();
    b->foreign = WIRE_BIT(WIRE_SELECT0);
    bench_ms(b, 30);
    assert_int_not_equal(b->driven, 0);
    b->foreign |= WIRE_BIT(WIRE_INDEX);
    bench_run(b, 20);
    assert_int_equal(b->driven, 0);
    assert_int_equal(b->d.released, RELEASE_CLASH);
    free(b);
}

static void test_as_a_drive_machine_lines_are_not_driven(void **state)
{
    (void)state;
    struct bench *b = as_drive();
    for (unsigned l = 0; l <= WIRE_FAULTRESET; l++)
        assert_int_equal(bench_drive(b, WIRE_BIT(l), WIRE_BIT(l)), REFUSE_LINE);
    assert_int_equal(bench_steps(b, true, 1), REFUSE_ROLE);
    assert_int_equal(bench_ask(b, REQ_ARM_ONE, 0, "x", 1), REFUSE_ROLE);
    free(b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_it_listens_two_seconds_first),
        cmocka_unit_test(test_without_limits_nothing_is_driven),
        cmocka_unit_test(test_every_machine_line_that_moves_or_is_held_forbids_driving),
        cmocka_unit_test(test_another_master_who_comes_later_has_the_bus),
        cmocka_unit_test(test_as_a_drive_it_is_silent_until_selected_and_protects),
        cmocka_unit_test(test_protection_goes_only_when_told),
        cmocka_unit_test(test_where_a_drive_answers_that_select_it_never_does),
        cmocka_unit_test(test_a_drive_that_wakes_up_beside_it_has_the_bus),
        cmocka_unit_test(test_as_a_drive_machine_lines_are_not_driven),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
