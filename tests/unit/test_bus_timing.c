/* Timing against profiles. Limits come from this project's own profiles; the traffic is
 * invented. */
#include "bus_wires.h"

struct profiles {
    struct profile *drive, *machine;
};

static int load(void **state)
{
    static struct profiles p;
    struct profile_path *path = NULL;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_DRIVE, "drive-35-dd", &p.drive, &e), ERR_OK);
    assert_int_equal(
        profile_load(path, PROFILE_CONTROLLER, "controller-wd177x", &p.machine, &e), ERR_OK);
    profile_path_free(path);
    *state = &p;
    return 0;
}

static int unload(void **state)
{
    struct profiles *p = *state;
    profile_free(p->drive);
    profile_free(p->machine);
    return 0;
}

static const struct timing_check *check_of(const struct bus_story *s, enum line line,
                                           const char *what, const char *source)
{
    for (size_t i = 0; i < s->timing_count; i++) {
        if (s->timing[i].line == line && strcmp(s->timing[i].what, what) == 0 &&
            strcmp(s->timing[i].source, source) == 0) {
            return &s->timing[i];
        }
    }
    return NULL;
}

static const struct timing_check *drives(const struct bus_story *s, const struct profiles *p,
                                         enum line line, const char *what)
{
    const struct limit *l = profile_limit(p->drive, what);
    assert_non_null(l);
    const struct timing_check *c = check_of(s, line, what, l->source);
    assert_non_null(c);
    return c;
}

static void steps_within_limits_break_none(void **state)
{
    const struct profiles *p = *state;
    struct wires w;
    struct bus_story s;
    wires_open(&w, USUAL_LINES, 20, p->drive, p->machine);
    wires_select(&w, LOW);
    wires_restore(&w, 255);
    wires_wait(&w, 50 * MS);
    wires_seek(&w, 20);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_true(s.timing_count > 4);
    for (size_t i = 0; i < s.timing_count; i++) {
        assert_int_equal(s.timing[i].broken, 0);
        assert_false(s.timing[i].below_min || s.timing[i].above_max);
        assert_non_null(s.timing[i].source);
    }
    /* 3 ms exactly is not below 3 ms */
    assert_int_equal(drives(&s, p, LINE_STEP, "step_interval_ms")->count, 19 + 19);
    bus_story_release(&s);
}

static void steps_too_fast_for_the_drive_are_counted_with_the_worst(void **state)
{
    const struct profiles *p = *state;
    struct wires w;
    struct bus_story s;
    wires_open(&w, USUAL_LINES, 20, p->drive, p->machine);
    wires_select(&w, LOW);
    wires_set(&w, LINE_DIR, LOW);
    wires_wait(&w, 24 * US);
    for (int i = 0; i < 10; i++) {
        wires_pulse(&w, LINE_STEP, 4 * US);
        wires_wait(&w, i == 4 ? 1500 * US : 2000 * US);
    }
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    const struct timing_check *c = drives(&s, p, LINE_STEP, "step_interval_ms");
    assert_true(c->below_min);
    assert_false(c->above_max);
    assert_int_equal(c->count, 9);
    assert_int_equal(c->broken, 9);
    assert_float_equal(c->worst, 1.504, 1e-9);
    assert_float_equal(c->limit, profile_min(p->drive, "step_interval_ms", 0), 1e-9);
    bus_story_release(&s);
}

static void turning_round_too_soon_and_moving_dir_too_late_show(void **state)
{
    const struct profiles *p = *state;
    struct wires w;
    struct bus_story s;
    wires_open(&w, USUAL_LINES, 20, p->drive, p->machine);
    wires_select(&w, LOW);
    wires_seek(&w, 2);
    wires_set(&w, LINE_DIR, HIGH);
    wires_wait(&w,
               200); /* 0.2 us, and STEP 0.3 us: DIR moves 0.5 us before the trailing edge */
    wires_pulse(&w, LINE_STEP, 500);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_true(drives(&s, p, LINE_STEP, "step_reverse_ms")->below_min);
    assert_true(drives(&s, p, LINE_DIR, "dir_setup_us")->below_min);
    assert_float_equal(drives(&s, p, LINE_DIR, "dir_setup_us")->worst, 0.7, 1e-9);
    assert_true(drives(&s, p, LINE_STEP, "step_width_us")->below_min);
    bus_story_release(&s);
}

static void a_write_before_the_head_has_settled_shows(void **state)
{
    const struct profiles *p = *state;
    struct wires w;
    struct bus_story s;
    wires_open(&w, USUAL_LINES, 20, p->drive, p->machine);
    wires_select(&w, LOW);
    wires_seek(&w, 1);
    wires_wait(&w, 2 * MS); /* 5 ms after the step */
    wires_set(&w, LINE_WGATE, LOW);
    wires_wait(&w, 2 * US);
    wires_pulse(&w, LINE_WDATA, 300);
    wires_wait(&w, 10 * MS);
    wires_set(&w, LINE_WGATE, HIGH);
    wires_wait(&w, 300 * US); /* erase heads still at work */
    wires_pulse(&w, LINE_STEP, 4 * US);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_true(drives(&s, p, LINE_WGATE, "settle_ms")->below_min);
    assert_true(drives(&s, p, LINE_WGATE, "erase_delay_us")->below_min);
    assert_float_equal(drives(&s, p, LINE_WGATE, "erase_delay_us")->worst, 300, 1e-9);
    assert_false(drives(&s, p, LINE_WDATA, "write_first_us")->above_max);
    bus_story_release(&s);
}

static void a_late_trk00_and_a_narrow_index_show(void **state)
{
    const struct profiles *p = *state;
    struct wires w;
    struct bus_story s;
    wires_open(&w, USUAL_LINES, 1, p->drive, p->machine);
    wires_select(&w, LOW);
    w.trk00_dead = true;
    wires_seek(&w, -1);
    w.trk00_dead = false;
    wires_wait(&w, 5 * MS);
    wires_trk00(&w);
    wires_wait(&w, 200 * MS);
    wires_pulse(&w, LINE_INDEX, 200 * US);
    wires_wait(&w, 200 * MS);
    wires_close(&w, &s);
    assert_true(drives(&s, p, LINE_TRK00, "trk00_valid_ms")->above_max);
    assert_true(drives(&s, p, LINE_INDEX, "index_width_us")->below_min);
    /* Controllers accept 20 us (wd177x.idx_pw of the handbook). */
    const struct timing_check *c =
        check_of(&s, LINE_INDEX, "index_width_min_us",
                 profile_limit(p->machine, "index_width_min_us")->source);
    assert_non_null(c);
    assert_false(c->below_min);
    bus_story_release(&s);
}

static void without_profiles_nothing_is_held_against_a_limit(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 20, NULL, NULL);
    wires_select(&w, LOW);
    wires_restore(&w, 255);
    wires_close(&w, &s);
    assert_int_equal(s.timing_count, 0);
    bus_story_release(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steps_within_limits_break_none),
        cmocka_unit_test(steps_too_fast_for_the_drive_are_counted_with_the_worst),
        cmocka_unit_test(turning_round_too_soon_and_moving_dir_too_late_show),
        cmocka_unit_test(a_write_before_the_head_has_settled_shows),
        cmocka_unit_test(a_late_trk00_and_a_narrow_index_show),
        cmocka_unit_test(without_profiles_nothing_is_held_against_a_limit),
    };
    return cmocka_run_group_tests(tests, load, unload);
}
