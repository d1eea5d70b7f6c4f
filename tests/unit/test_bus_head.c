/* Where the head stands, as the lines tell it. All traffic is invented. */
#include "bus_wires.h"

static void a_restore_fixes_the_place_before_and_after_it(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 12, NULL, NULL);
    wires_select(&w, LOW);
    int32_t at_start = wires_raw(&w);
    wires_restore(&w, 255);
    int32_t at_zero = wires_raw(&w);
    wires_wait(&w, 50 * MS);
    wires_seek(&w, 20);
    int32_t at_end = wires_raw(&w);
    wires_close(&w, &s);
    assert_true(s.place_known);
    assert_int_equal(wires_cylinder(&s, at_start), 12);
    assert_int_equal(wires_cylinder(&s, at_zero), 0);
    assert_int_equal(wires_cylinder(&s, at_end), 20);
    assert_int_equal(s.steps_in, 20);
    assert_int_equal(s.steps_out, 12);
    assert_int_equal(s.longest_in_with_trk00, 0);
    assert_int_equal(s.trk00_at_other_place, 0);
    assert_int_equal(s.trk00_missing_at_zero, 0);
    bus_story_release(&s);
}

static void outward_steps_at_track_0_push_against_the_stop(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 3, NULL, NULL);
    wires_select(&w, LOW);
    wires_seek(&w, -10);
    wires_wait(&w, 50 * MS);
    wires_seek(&w, 7);
    int32_t raw = wires_raw(&w);
    wires_close(&w, &s);
    assert_int_equal(wires_cylinder(&s, raw), 7);
    bus_story_release(&s);
}

static void a_head_that_starts_at_track_0_is_known_without_a_restore(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    wires_seek(&w, 4);
    int32_t raw = wires_raw(&w);
    wires_close(&w, &s);
    assert_true(s.place_known);
    assert_int_equal(wires_cylinder(&s, raw), 4);
    bus_story_release(&s);
}

static void a_head_that_never_moves_off_track_0_is_known_too(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    int32_t raw = wires_raw(&w);
    wires_close(&w, &s);
    assert_true(s.place_known);
    assert_int_equal(wires_cylinder(&s, raw), 0);
    bus_story_release(&s);
}

static void without_trk00_the_place_stays_unknown(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 30, NULL, NULL);
    w.trk00_dead = true;
    wires_select(&w, LOW);
    wires_restore(&w, 255);
    int32_t raw = wires_raw(&w);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_false(s.place_known);
    assert_int_equal(wires_cylinder(&s, raw), -1);
    assert_int_equal(s.longest_out_without_trk00, 255);
    assert_int_equal(s.restores_failed, 1);
    assert_int_equal(s.step_limit_seen, 255);
    bus_story_release(&s);
}

static void steps_of_an_unselected_drive_do_not_move_it(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 6, NULL, NULL);
    wires_select(&w, LOW);
    wires_restore(&w, 255);
    wires_wait(&w, 30 * MS);
    wires_select(&w, HIGH);
    w.stuck = true; /* another drive steps */
    wires_set(&w, LINE_DIR, LOW);
    for (int i = 0; i < 9; i++) {
        wires_pulse(&w, LINE_STEP, 4 * US);
        wires_wait(&w, 3 * MS);
    }
    w.stuck = false;
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    int32_t raw = wires_raw(&w);
    wires_close(&w, &s);
    assert_int_equal(wires_cylinder(&s, raw), 0);
    assert_int_equal(s.steps_unselected, 9);
    assert_int_equal(s.steps_in, 9);
    bus_story_release(&s);
}

static void pulses_too_narrow_to_be_steps_are_not_counted(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 6, NULL, NULL);
    wires_select(&w, LOW);
    wires_restore(&w, 255);
    wires_wait(&w, 30 * MS);
    for (int i = 0; i < 4; i++) {
        wires_pulse(&w, LINE_STEP, 100);
        wires_wait(&w, 3 * MS);
    }
    int32_t raw = wires_raw(&w);
    wires_close(&w, &s);
    assert_int_equal(wires_cylinder(&s, raw), 0);
    assert_int_equal(s.steps_out, 6);
    bus_story_release(&s);
}

static void an_edge_that_rings_is_one_step(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 50, NULL, NULL);
    wires_select(&w, LOW);
    wires_set(&w, LINE_DIR, LOW);
    wires_wait(&w, 24 * US);
    for (int i = 0; i < 5; i++) {
        wires_pulse(&w, LINE_STEP, 4 * US);
        wires_wait(&w, 100);
        wires_pulse(&w, LINE_STEP, US);
        wires_wait(&w, 3 * MS);
    }
    wires_close(&w, &s);
    assert_int_equal(s.steps_in, 5);
    bus_story_release(&s);
}

static void lost_steps_are_seen_when_trk00_comes_too_soon(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    wires_seek(&w, 20);
    wires_wait(&w, 200 * MS);
    w.cylinder = 12; /* eight steps did not take */
    wires_restore(&w, 255);
    wires_pulse(&w, LINE_RDATA, 400); /* time passes only with edges */
    int32_t raw = wires_raw(&w);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.trk00_at_other_place, 1);
    assert_int_equal(wires_cylinder(&s, raw), 0);
    bus_story_release(&s);
}

static void trk00_missing_where_the_count_says_0_is_noted(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    wires_seek(&w, 20);
    wires_wait(&w, 200 * MS);
    w.trk00_dead = true;
    wires_seek(&w, -20);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.trk00_missing_at_zero, 1);
    bus_story_release(&s);
}

static void trk00_that_stays_while_the_head_goes_in_is_counted(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    w.stuck = true;
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    wires_seek(&w, 20);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_int_equal(s.longest_in_with_trk00, 20);
    assert_int_equal(s.trk00_at_other_place, 1);
    bus_story_release(&s);
}

static void a_short_dip_of_trk00_moves_no_anchor(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    wires_seek(&w, 20);
    wires_wait(&w, 50 * MS);
    wires_seek(&w, -3);
    wires_pulse(&w, LINE_TRK00, 20 * US);
    wires_wait(&w, 200 * MS);
    int32_t raw = wires_raw(&w);
    wires_close(&w, &s);
    assert_int_equal(wires_cylinder(&s, raw), 17);
    assert_int_equal(s.trk00_at_other_place, 0);
    bus_story_release(&s);
}

static void trk00_that_comes_while_the_head_goes_in_fixes_nothing(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 10, NULL, NULL);
    wires_select(&w, LOW);
    wires_seek(&w, 5);
    wires_set(&w, LINE_TRK00, LOW);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_false(s.place_known);
    bus_story_release(&s);
}

static void two_units_have_a_head_each(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES | BIT(LINE_SELECT1), 4, NULL, NULL);
    wires_select(&w, LOW);
    wires_restore(&w, 255);
    wires_seek(&w, 10);
    wires_wait(&w, 200 * MS);
    wires_select(&w, HIGH);
    wires_set(&w, LINE_SELECT1, LOW); /* the other drive; its TRK00 stays away */
    wires_wait(&w, MS);
    wires_seek(&w, 5);
    int32_t other = wires_raw(&w);
    wires_wait(&w, 200 * MS);
    wires_set(&w, LINE_SELECT1, HIGH);
    wires_select(&w, LOW);
    int32_t raw = wires_raw(&w);
    wires_close(&w, &s);
    assert_int_equal(wires_cylinder(&s, raw), 10);
    assert_int_equal(wires_cylinder(&s, other), -1);
    assert_false(bus_same_epoch(raw, other));
    assert_int_equal(s.units_used, 3);
    bus_story_release(&s);
}

static void without_dir_the_place_is_lost(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES & ~BIT(LINE_DIR), 0, NULL, NULL);
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    int32_t before = wires_raw(&w);
    wires_seek(&w, 5);
    int32_t after = wires_raw(&w);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_int_equal(wires_cylinder(&s, before), 0);
    assert_int_equal(wires_cylinder(&s, after), -1);
    assert_int_equal(s.seek[0].direction, 0);
    bus_story_release(&s);
}

/* Coming back to track 0 later says nothing of where it stood in between. */
static void without_dir_a_later_track_0_tells_nothing_of_before(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES & ~BIT(LINE_DIR), 0, NULL, NULL);
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    wires_seek(&w, 5);
    wires_wait(&w, 200 * MS);
    int32_t away = wires_raw(&w);
    wires_seek(&w, -5);
    wires_wait(&w, 200 * MS);
    int32_t back = wires_raw(&w);
    wires_close(&w, &s);
    assert_int_equal(wires_cylinder(&s, away), -1);
    assert_int_equal(wires_cylinder(&s, back), 0);
    bus_story_release(&s);
}

static void a_gap_in_the_recording_of_step_loses_the_place_until_trk00(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    wires_select(&w, LOW);
    wires_wait(&w, 30 * MS);
    wires_seek(&w, 5);
    wires_wait(&w, 200 * MS);
    wires_set(&w, LINE_STEP, LEVEL_UNKNOWN);
    wires_wait(&w, 500 * MS);
    w.cylinder = 9;
    wires_set(&w, LINE_STEP, HIGH);
    int32_t lost = wires_raw(&w);
    wires_wait(&w, MS);
    wires_close(&w, &s);
    assert_int_equal(wires_cylinder(&s, lost), -1);
    bus_story_release(&s);
}

static void a_place_changes_its_serial_and_settles_later(void **state)
{
    struct wires w;
    struct bus_story s;
    uint64_t before = 0;
    uint64_t moved = 0;
    uint64_t settled = 0;
    (void)state;
    wires_open(&w, USUAL_LINES, 9, NULL, NULL);
    wires_select(&w, LOW);
    assert_true(bus_tracker_place(w.tracker, &before)->settled);
    wires_seek(&w, 1);
    const struct bus_place *p = bus_tracker_place(w.tracker, &moved);
    assert_true(moved != before);
    assert_false(p->settled);
    assert_int_equal(p->unit, 0);
    assert_int_equal(p->side, 0);
    int64_t step_ns = p->since_ns;
    wires_wait(&w, 100 * MS);
    wires_pulse(&w, LINE_RDATA, 400);
    p = bus_tracker_place(w.tracker, &settled);
    assert_true(settled != moved);
    assert_true(p->settled);
    assert_int_equal(p->since_ns, step_ns + 18 * MS);
    wires_set(&w, LINE_SIDE, LOW);
    wires_set(&w, LINE_WGATE, LOW);
    assert_int_equal(p->side, 1);
    assert_true(p->writing);
    wires_select(&w, HIGH);
    assert_int_equal(p->unit, -2);
    wires_close(&w, &s);
    bus_story_release(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_restore_fixes_the_place_before_and_after_it),
        cmocka_unit_test(outward_steps_at_track_0_push_against_the_stop),
        cmocka_unit_test(a_head_that_starts_at_track_0_is_known_without_a_restore),
        cmocka_unit_test(a_head_that_never_moves_off_track_0_is_known_too),
        cmocka_unit_test(without_trk00_the_place_stays_unknown),
        cmocka_unit_test(steps_of_an_unselected_drive_do_not_move_it),
        cmocka_unit_test(pulses_too_narrow_to_be_steps_are_not_counted),
        cmocka_unit_test(an_edge_that_rings_is_one_step),
        cmocka_unit_test(lost_steps_are_seen_when_trk00_comes_too_soon),
        cmocka_unit_test(trk00_missing_where_the_count_says_0_is_noted),
        cmocka_unit_test(trk00_that_stays_while_the_head_goes_in_is_counted),
        cmocka_unit_test(a_short_dip_of_trk00_moves_no_anchor),
        cmocka_unit_test(trk00_that_comes_while_the_head_goes_in_fixes_nothing),
        cmocka_unit_test(two_units_have_a_head_each),
        cmocka_unit_test(without_dir_the_place_is_lost),
        cmocka_unit_test(without_dir_a_later_track_0_tells_nothing_of_before),
        cmocka_unit_test(a_gap_in_the_recording_of_step_loses_the_place_until_trk00),
        cmocka_unit_test(a_place_changes_its_serial_and_settles_later),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
