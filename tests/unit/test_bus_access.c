/* Seeks and accesses, told from the lines. All traffic is invented. */
#include "bus_wires.h"

static size_t count_kind(const struct bus_story *s, enum access_kind kind)
{
    size_t n = 0;
    for (size_t i = 0; i < s->access_count; i++) {
        n += s->access[i].kind == kind;
    }
    return n;
}

static const struct access *nth(const struct bus_story *s, enum access_kind kind, size_t n)
{
    for (size_t i = 0; i < s->access_count; i++) {
        if (s->access[i].kind == kind && n-- == 0) {
            return &s->access[i];
        }
    }
    fail_msg("no such access");
    return NULL;
}

static void motor_on(struct wires *w)
{
    wires_set(w, LINE_MOTOR, LOW);
    wires_wait(w, 10 * US);
}

static void a_whole_access_is_told_in_order(void **state)
{
    static const enum access_kind ORDER[] = {ACCESS_IDLE,    ACCESS_SPIN_UP, ACCESS_READ,
                                             ACCESS_RESTORE, ACCESS_READ,    ACCESS_SEEK,
                                             ACCESS_READ,    ACCESS_WRITE,   ACCESS_IDLE};
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    wires_wait(&w, 100 * MS);
    wires_select(&w, LOW);
    motor_on(&w);
    wires_turn(&w, 6); /* 1.2 s: spin-up is over after 1 s */
    wires_restore(&w, 255);
    wires_wait(&w, 50 * MS);
    wires_seek(&w, 20);
    wires_turn(&w, 2);
    wires_pulse(&w, LINE_WGATE, 17 * MS);
    wires_wait(&w, MS);
    wires_set(&w, LINE_MOTOR, HIGH);
    wires_select(&w, HIGH);
    wires_wait(&w, 300 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.access_count, sizeof ORDER / sizeof ORDER[0]);
    for (size_t i = 0; i < s.access_count; i++) {
        assert_int_equal(s.access[i].kind, ORDER[i]);
    }
    assert_int_equal(nth(&s, ACCESS_RESTORE, 0)->steps, -8);
    assert_int_equal(nth(&s, ACCESS_RESTORE, 0)->end, ACCESS_DONE);
    assert_int_equal(nth(&s, ACCESS_SEEK, 0)->steps, 20);
    assert_int_equal(wires_cylinder(&s, nth(&s, ACCESS_READ, 2)->place), 20);
    assert_int_equal(nth(&s, ACCESS_READ, 2)->index_pulses, 2);
    assert_int_equal(nth(&s, ACCESS_SPIN_UP, 0)->index_pulses, 4);
    assert_int_equal(nth(&s, ACCESS_WRITE, 0)->unit, 0);
    assert_int_equal(s.restores, 1);
    assert_int_equal(s.index_before_first_step, 6);
    assert_int_equal(s.write_gates, 1);
    assert_int_equal(s.write_gate_ns, 17 * MS);
    assert_int_equal(s.retries, 0);
    bus_story_release(&s);
}

static void a_restore_that_finds_no_track_0_ends_at_its_limit(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 30, NULL, NULL);
    w.trk00_dead = true;
    wires_select(&w, LOW);
    motor_on(&w);
    wires_restore(&w, 255);
    wires_wait(&w, 500 * MS);
    wires_restore(&w, 255);
    wires_wait(&w, 500 * MS);
    wires_close(&w, &s);
    assert_int_equal(count_kind(&s, ACCESS_RESTORE), 2);
    assert_int_equal(nth(&s, ACCESS_RESTORE, 1)->end, ACCESS_LIMIT);
    assert_int_equal(nth(&s, ACCESS_RESTORE, 1)->steps, -255);
    assert_int_equal(s.restores_failed, 2);
    bus_story_release(&s);
}

static void a_long_seek_from_a_known_place_is_no_failed_restore(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    wires_select(&w, LOW);
    motor_on(&w);
    wires_wait(&w, 500 * MS);
    wires_seek(&w, 81);
    wires_wait(&w, 300 * MS);
    wires_seek(&w, -80);
    wires_wait(&w, 300 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.restores, 0);
    assert_int_equal(count_kind(&s, ACCESS_SEEK), 2);
    bus_story_release(&s);
}

static void a_machine_that_waits_for_ever_leaves_a_read_open(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    wires_select(&w, LOW);
    motor_on(&w);
    wires_restore(&w, 255);
    wires_wait(&w, 3000 * MS);
    wires_close(&w, &s);
    const struct access *last = &s.access[s.access_count - 1];
    assert_int_equal(last->kind, ACCESS_READ);
    assert_int_equal(last->end, ACCESS_OPEN);
    assert_true(last->end_ns - last->start_ns > 2000 * MS);
    assert_int_equal(last->index_pulses, 0);
    bus_story_release(&s);
}

static void coming_back_to_the_place_just_read_is_a_retry(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    wires_select(&w, LOW);
    motor_on(&w);
    wires_restore(&w, 255);
    wires_seek(&w, 20);
    wires_turn(&w, 5);
    for (int i = 0; i < 2; i++) {
        wires_restore(&w, 255);
        wires_wait(&w, 15 * MS);
        wires_seek(&w, 20);
        wires_turn(&w, 5);
    }
    wires_seek(&w, 1);
    wires_turn(&w, 5);
    wires_close(&w, &s);
    assert_int_equal(s.retries, 2);
    assert_int_equal(s.restores, 3);
    bus_story_release(&s);
}

static void hammering_the_stop_is_neither_restore_nor_retry(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    wires_select(&w, LOW);
    motor_on(&w);
    wires_restore(&w, 255);
    wires_turn(&w, 3);
    wires_seek(&w, -20); /* meant inward, DIR does not arrive */
    wires_turn(&w, 3);
    wires_close(&w, &s);
    assert_int_equal(s.restores, 1);
    assert_int_equal(s.retries, 0);
    bus_story_release(&s);
}

static void a_change_of_direction_or_a_pause_parts_seeks(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 30, NULL, NULL);
    wires_select(&w, LOW);
    wires_seek(&w, 5);
    wires_seek(&w, -3);
    wires_wait(&w, 150 * MS);
    wires_seek(&w, -4);
    wires_wait(&w, 150 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.seek_count, 3);
    assert_int_equal(s.seek[0].steps, 5);
    assert_int_equal(s.seek[0].direction, 1);
    assert_int_equal(s.seek[1].steps, 3);
    assert_int_equal(s.seek[1].direction, -1);
    assert_int_equal(s.seek[2].steps, 4);
    assert_int_equal(s.seek[0].min_dir_setup_ns, 28 * US); /* to the trailing edge */
    assert_int_equal(s.seek[2].min_dir_setup_ns, -1);
    assert_int_equal(s.seek[0].min_interval_ns, 3 * MS);
    bus_story_release(&s);
}

static void slow_steps_make_one_seek(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 30, NULL, NULL);
    wires_select(&w, LOW);
    motor_on(&w);
    wires_set(&w, LINE_DIR, LOW);
    wires_wait(&w, MS);
    for (int i = 0; i < 10; i++) {
        wires_pulse(&w, LINE_STEP, 4 * US);
        wires_wait(&w, 40 * MS);
    }
    wires_wait(&w, 300 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.seek_count, 1);
    assert_int_equal(s.seek[0].steps, 10);
    assert_int_equal(count_kind(&s, ACCESS_READ), 1);
    bus_story_release(&s);
}

static void polling_between_steps_does_not_part_a_seek(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES | BIT(LINE_SELECT1), 30, NULL, NULL);
    wires_select(&w, LOW);
    motor_on(&w);
    wires_set(&w, LINE_DIR, LOW);
    wires_wait(&w, MS);
    for (int i = 0; i < 10; i++) {
        wires_pulse(&w, LINE_STEP, 4 * US);
        wires_wait(&w, MS);
        wires_set(&w, LINE_SELECT0, HIGH);
        wires_pulse(&w, LINE_SELECT1, 200 * US);
        wires_set(&w, LINE_SELECT0, LOW);
        wires_wait(&w, 5 * MS);
    }
    wires_wait(&w, 300 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.seek_count, 1);
    assert_int_equal(s.seek[0].steps, 10);
    const struct access *last = &s.access[s.access_count - 1];
    assert_int_equal(last->kind, ACCESS_READ);
    assert_int_equal(last->unit, 0);
    bus_story_release(&s);
}

static void trk00_is_followed_step_by_step(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    wires_select(&w, LOW);
    wires_restore(&w, 255);
    wires_wait(&w, 50 * MS);
    wires_seek(&w, 3);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.seek[0].trk00_before, HIGH);
    assert_int_equal(s.seek[0].trk00_after, LOW);
    assert_int_equal(s.seek[0].trk00_step, 8);
    assert_int_equal(s.seek[0].trk00_late_ns, 1900 * US);
    assert_int_equal(s.seek[1].trk00_before, LOW);
    assert_int_equal(s.seek[1].trk00_after, HIGH);
    assert_int_equal(s.seek[1].trk00_release_step, 1);
    assert_int_equal(s.seek[1].trk00_step, -1);
    bus_story_release(&s);
}

static void trk00_that_goes_with_select_is_no_release(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    wires_select(&w, LOW);
    wires_restore(&w, 255);
    wires_wait(&w, 10 * MS);
    wires_select(&w, HIGH);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.seek_count, 1);
    assert_int_equal(s.seek[0].trk00_after, LOW);
    assert_int_equal(s.seek[0].trk00_release_step, -1);
    assert_int_equal(s.restores, 1);
    bus_story_release(&s);
}

static void trk00_that_comes_with_select_answers_no_step(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    for (int i = 0; i < 3; i++) { /* no drive hears these */
        wires_pulse(&w, LINE_STEP, 4 * US);
        wires_wait(&w, 3 * MS);
    }
    wires_select(&w, LOW);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.seek_count, 1);
    assert_false(s.seek[0].selected);
    assert_int_equal(s.seek[0].trk00_step, -1);
    assert_int_equal(s.seek[0].trk00_late_ns, -1);
    bus_story_release(&s);
}

static void gates_in_a_row_are_one_write(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    wires_select(&w, LOW);
    motor_on(&w);
    wires_wait(&w, 1500 * MS);
    for (int i = 0; i < 3; i++) {
        wires_set(&w, LINE_WGATE, LOW);
        wires_wait(&w, 2 * US);
        for (int k = 0; k < 100; k++) {
            wires_pulse(&w, LINE_WDATA, 300);
            wires_wait(&w, 4 * US);
        }
        wires_set(&w, LINE_WGATE, HIGH);
        wires_wait(&w, 5 * MS);
    }
    wires_pulse(&w, LINE_WDATA, 300);
    wires_wait(&w, 50 * MS);
    wires_close(&w, &s);
    assert_int_equal(count_kind(&s, ACCESS_WRITE), 1);
    assert_int_equal(s.write_gates, 3);
    assert_int_equal(s.write_pulses_in_gate, 300);
    assert_int_equal(s.write_pulses_outside_gate, 1);
    bus_story_release(&s);
}

static void a_write_gate_that_never_ends_is_an_open_write(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    wires_select(&w, LOW);
    motor_on(&w);
    wires_wait(&w, 1500 * MS);
    wires_set(&w, LINE_WGATE, LOW);
    wires_wait(&w, 2000 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.access[s.access_count - 1].kind, ACCESS_WRITE);
    assert_int_equal(s.access[s.access_count - 1].end, ACCESS_OPEN);
    assert_int_equal(s.longest_write_gate_ns, 2000 * MS);
    bus_story_release(&s);
}

static void a_capture_of_nothing_is_an_empty_story(void **state)
{
    struct bus_tracker *t = NULL;
    struct bus_story s;
    (void)state;
    assert_int_equal(bus_tracker_new(NULL, NULL, USUAL_LINES, &t), ERR_OK);
    assert_int_equal(bus_tracker_finish(t, 5 * MS, &s), ERR_OK);
    bus_tracker_free(t);
    assert_int_equal(s.access_count, 0);
    assert_int_equal(s.seek_count, 0);
    assert_int_equal(s.motor_on_ns, -1);
    assert_int_equal(s.line[LINE_STEP].state, LINE_NOT_RECORDED);
    bus_story_release(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_whole_access_is_told_in_order),
        cmocka_unit_test(a_restore_that_finds_no_track_0_ends_at_its_limit),
        cmocka_unit_test(a_long_seek_from_a_known_place_is_no_failed_restore),
        cmocka_unit_test(a_machine_that_waits_for_ever_leaves_a_read_open),
        cmocka_unit_test(coming_back_to_the_place_just_read_is_a_retry),
        cmocka_unit_test(hammering_the_stop_is_neither_restore_nor_retry),
        cmocka_unit_test(a_change_of_direction_or_a_pause_parts_seeks),
        cmocka_unit_test(slow_steps_make_one_seek),
        cmocka_unit_test(polling_between_steps_does_not_part_a_seek),
        cmocka_unit_test(trk00_is_followed_step_by_step),
        cmocka_unit_test(trk00_that_goes_with_select_is_no_release),
        cmocka_unit_test(trk00_that_comes_with_select_answers_no_step),
        cmocka_unit_test(gates_in_a_row_are_one_write),
        cmocka_unit_test(a_write_gate_that_never_ends_is_an_open_write),
        cmocka_unit_test(a_capture_of_nothing_is_an_empty_story),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
