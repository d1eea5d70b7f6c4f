/* Two taps of one session. The session is invented; the twist is that of this project's cable
 * profile. */
#include "bus_session.h"

#include <math.h>

static struct session session;

static void compare(const struct ear *machine, const struct ear *drive, bool same_clock,
                    struct tap_compare *out)
{
    struct tap_edges *m = session_hear(&session, machine, NULL);
    struct tap_edges *d = session_hear(&session, drive, NULL);
    assert_int_equal(tap_compare(m, d, NULL, same_clock, out), ERR_OK);
    tap_edges_free(m);
    tap_edges_free(d);
}

static void all_same_but(const struct tap_compare *c, line_set other)
{
    static const enum line MOVING[] = {LINE_SELECT0, LINE_MOTOR, LINE_DIR,   LINE_STEP,
                                       LINE_SIDE,    LINE_INDEX, LINE_TRK00, LINE_RDATA};
    for (size_t i = 0; i < sizeof MOVING / sizeof MOVING[0]; i++) {
        const struct tap_line *l = tap_of(c, MOVING[i]);
        if ((other & BIT(MOVING[i])) == 0) {
            assert_non_null(l);
            assert_int_equal(l->relation, TAP_SAME);
        }
    }
}

static void one_clock_needs_no_search(void **state)
{
    struct tap_compare c;
    (void)state;
    compare(&(struct ear){0}, &(struct ear){.offset_ns = 40}, true, &c);
    assert_true(c.aligned);
    assert_int_equal(c.offset_ns, 40);
    assert_float_equal(c.drift_ppm, 0, 1e-9);
    all_same_but(&c, 0);
}

static void a_dead_line_is_named_by_the_end_where_it_is_quiet(void **state)
{
    struct tap_compare c;
    (void)state;
    for (int same = 0; same < 2; same++) {
        compare(&(struct ear){.dead = BIT(LINE_INDEX)}, &(struct ear){.dead = BIT(LINE_STEP)},
                same != 0, &c);
        assert_true(c.aligned);
        assert_int_equal(tap_of(&c, LINE_INDEX)->relation, TAP_QUIET_MACHINE);
        assert_int_equal(tap_of(&c, LINE_INDEX)->matched, 0);
        assert_int_equal(tap_of(&c, LINE_STEP)->relation, TAP_QUIET_DRIVE);
        all_same_but(&c, BIT(LINE_INDEX) | BIT(LINE_STEP));
    }
}

static void two_clocks_are_aligned_with_offset_and_drift(void **state)
{
    static const struct ear FAR[] = {
        {.offset_ns = 3210 * MS, .drift = 150e-6},
        {.offset_ns = 8765432100, .drift = -200e-6, .sample_ns = 1000},
        {.offset_ns = 123, .drift = 20e-6, .sample_ns = 125},
        {.offset_ns = 60000 * MS, .drift = 0, .dead = BIT(LINE_INDEX) | BIT(LINE_SELECT0)},
    };
    struct tap_compare c;
    (void)state;
    for (size_t i = 0; i < sizeof FAR / sizeof FAR[0]; i++) {
        compare(&(struct ear){.sample_ns = 42}, &FAR[i], false, &c);
        assert_true(c.aligned);
        assert_true(llabs((long long)(c.offset_ns - FAR[i].offset_ns)) < 2 * US);
        assert_true(fabs(c.drift_ppm - FAR[i].drift * 1e6) < 0.5);
        assert_true(c.residual_ns <= 1000);
        all_same_but(&c, FAR[i].dead);
    }
}

static void a_wrong_word_of_one_clock_is_found_out(void **state)
{
    struct tap_compare c;
    (void)state;
    compare(&(struct ear){0}, &(struct ear){.offset_ns = 500 * MS, .drift = 30e-6}, true, &c);
    assert_true(c.aligned);
    assert_true(llabs((long long)(c.offset_ns - 500 * MS)) < 2 * US);
    all_same_but(&c, 0);
}

static void taps_that_began_and_ended_at_other_times_still_align(void **state)
{
    static struct session late;
    struct tap_compare c;
    const struct ear drive = {.offset_ns = -2000 * MS, .drift = 50e-6};
    (void)state;
    late = (struct session){.now_ns = session.now_ns};
    for (int i = 0; i < LINE_COUNT; i++) { /* the drive end's tap is switched on 2.1 s later */
        session_add(&late, 0, (enum line)i, HIGH);
        late.edge[late.count - 1].ns = 2100 * MS;
    }
    for (size_t i = 0; i < session.count; i++) {
        if (session.edge[i].ns > 2100 * MS) {
            late.edge[late.count++] = session.edge[i];
        }
    }
    struct tap_edges *m = session_hear(&session, &(struct ear){0}, NULL);
    struct tap_edges *d = session_hear(&late, &drive, NULL);
    assert_int_equal(tap_compare(m, d, NULL, false, &c), ERR_OK);
    tap_edges_free(m);
    tap_edges_free(d);
    assert_true(c.aligned);
    assert_true(llabs((long long)(c.offset_ns - drive.offset_ns)) < 5 * US);
    assert_int_equal(tap_of(&c, LINE_STEP)->relation, TAP_SAME);
    assert_int_equal(tap_of(&c, LINE_STEP)->only_machine, 0);
}

static void what_one_tap_did_not_record_is_not_compared(void **state)
{
    struct tap_compare c;
    (void)state;
    compare(&(struct ear){.unheard = BIT(LINE_RDATA)}, &(struct ear){.unheard = BIT(LINE_DIR)},
            true, &c);
    assert_int_equal(tap_of(&c, LINE_RDATA)->relation, TAP_NOT_COMPARED);
    assert_int_equal(tap_of(&c, LINE_DIR)->relation, TAP_NOT_COMPARED);
    assert_int_equal(tap_of(&c, LINE_WPROT)->relation, TAP_NOT_COMPARED); /* moves at neither */
}

static void edges_while_the_other_tap_did_not_record_are_left_out(void **state)
{
    static struct session part;
    struct tap_compare c;
    (void)state;
    part = session;
    for (size_t i = 0; i < part.count;
         i++) { /* the drive end's STEP is recorded for 2 s only */
        if (part.edge[i].line == LINE_STEP && part.edge[i].ns > 2000 * MS) {
            part.edge[i].level = LEVEL_UNKNOWN;
        }
    }
    struct tap_edges *m = session_hear(&session, &(struct ear){0}, NULL);
    struct tap_edges *d = session_hear(&part, &(struct ear){0}, NULL);
    assert_int_equal(tap_compare(m, d, NULL, true, &c), ERR_OK);
    assert_int_equal(tap_of(&c, LINE_STEP)->relation, TAP_SAME);
    assert_int_equal(tap_of(&c, LINE_STEP)->only_machine, 0);
    assert_true(tap_of(&c, LINE_STEP)->matched > 20);
    tap_edges_free(m);
    tap_edges_free(d);
}

static void read_data_is_compared_by_how_much_of_it_there_is(void **state)
{
    struct tap_compare c;
    (void)state;
    compare(&(struct ear){0}, &(struct ear){.offset_ns = 1234567891, .drift = 100e-6}, false,
            &c);
    assert_int_equal(tap_of(&c, LINE_RDATA)->relation, TAP_SAME);
    compare(&(struct ear){.dead = BIT(LINE_RDATA)}, &(struct ear){.offset_ns = 1234567891},
            false, &c);
    assert_int_equal(tap_of(&c, LINE_RDATA)->relation, TAP_QUIET_MACHINE);
}

static void lines_that_rest_at_other_levels_say_so(void **state)
{
    struct tap_edges *m = NULL;
    struct tap_edges *d = NULL;
    struct tap_compare c;
    (void)state;
    assert_int_equal(tap_edges_new(&m), ERR_OK);
    assert_int_equal(tap_edges_new(&d), ERR_OK);
    assert_int_equal(tap_edges_add(m, 0, LINE_WPROT, HIGH), ERR_OK);
    assert_int_equal(tap_edges_add(d, 0, LINE_WPROT, LOW), ERR_OK);
    assert_int_equal(tap_edges_add(m, 0, LINE_READY, LOW), ERR_OK);
    assert_int_equal(tap_edges_add(d, 0, LINE_READY, LOW), ERR_OK);
    assert_int_equal(tap_edges_end(m, 1000 * MS), ERR_OK);
    assert_int_equal(tap_edges_end(d, 1000 * MS), ERR_OK);
    assert_int_equal(tap_compare(m, d, NULL, true, &c), ERR_OK);
    assert_true(c.aligned);
    assert_int_equal(tap_of(&c, LINE_WPROT)->relation, TAP_LEVELS);
    assert_int_equal(tap_of(&c, LINE_READY)->relation, TAP_NOT_COMPARED);
    tap_edges_free(m);
    tap_edges_free(d);
}

static void one_single_change_that_coincides_counts(void **state)
{
    struct tap_compare c;
    (void)state;
    compare(&(struct ear){0}, &(struct ear){0}, true, &c);
    assert_int_equal(tap_of(&c, LINE_MOTOR)->matched, 1);
    assert_int_equal(tap_of(&c, LINE_MOTOR)->relation, TAP_SAME);
}

/* Steps alone, evenly spaced, could lie any number of steps apart. */
static void taps_that_share_only_a_regular_train_are_not_aligned(void **state)
{
    static struct session even;
    struct tap_compare c;
    (void)state;
    even = (struct session){.seed = 1};
    session_add(&even, 0, LINE_STEP, HIGH);
    session_steps(&even, 200);
    struct tap_edges *m = session_hear(&even, &(struct ear){0}, NULL);
    struct tap_edges *d = session_hear(&even, &(struct ear){.offset_ns = 900 * MS}, NULL);
    assert_int_equal(tap_compare(m, d, NULL, false, &c), ERR_OK);
    assert_false(c.aligned);
    assert_int_equal(tap_of(&c, LINE_STEP)->relation, TAP_NOT_COMPARED);
    tap_edges_free(m);
    tap_edges_free(d);
}

static void taps_of_different_sessions_are_not_aligned(void **state)
{
    static struct session other;
    struct tap_compare c;
    (void)state;
    other = (struct session){.seed = 99};
    for (int i = 0; i < LINE_COUNT; i++) {
        session_add(&other, 0, (enum line)i, HIGH);
    }
    for (int i = 0; i < 10; i++) {
        session_turns(&other, 3);
        session_pause(&other);
        session_add(&other, MS, LINE_DIR, i % 2 == 0 ? LOW : HIGH);
        session_pause(&other);
        session_add(&other, MS, LINE_TRK00, i % 2 == 0 ? LOW : HIGH);
        session_pause(&other);
        session_add(&other, MS, LINE_SIDE, i % 2 == 0 ? LOW : HIGH);
    }
    struct tap_edges *m = session_hear(&session, &(struct ear){0}, NULL);
    struct tap_edges *d = session_hear(&other, &(struct ear){0}, NULL);
    assert_int_equal(tap_compare(m, d, NULL, false, &c), ERR_OK);
    assert_false(c.aligned);
    tap_edges_free(m);
    tap_edges_free(d);
}

static struct profile *twisted;

static enum line at_drive(enum line line)
{
    return cable_to_drive(twisted, line);
}

static void lines_are_compared_through_the_cables_map(void **state)
{
    static struct session crossed;
    struct profile_path *path = NULL;
    struct err_msg e = {.code = ERR_OK};
    struct tap_compare c;
    (void)state;
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_CABLE, "ribbon-34-twisted", &twisted, &e),
                     ERR_OK);
    /* The machine works the far unit: its names are those of the machine's plug. */
    session_make(&crossed, 6);
    for (size_t i = 0; i < crossed.count; i++) {
        crossed.edge[i].line = crossed.edge[i].line == LINE_MOTOR    ? LINE_MOTOR0
                               : crossed.edge[i].line == LINE_MOTOR0 ? LINE_MOTOR
                                                                     : crossed.edge[i].line;
    }
    struct tap_edges *m = session_hear(&crossed, &(struct ear){0}, NULL);
    struct tap_edges *d =
        session_hear(&crossed, &(struct ear){.offset_ns = 700 * MS, .drift = 10e-6}, at_drive);
    assert_int_equal(tap_compare(m, d, twisted, false, &c), ERR_OK);
    assert_true(c.aligned);
    const struct tap_line *select = tap_of(&c, LINE_SELECT0);
    assert_int_equal(select->drive_line, cable_to_drive(twisted, LINE_SELECT0));
    assert_true(select->drive_line != LINE_SELECT0);
    assert_int_equal(select->relation, TAP_SAME);
    assert_int_equal(tap_of(&c, LINE_MOTOR0)->relation, TAP_SAME);
    assert_int_equal(tap_of(&c, LINE_STEP)->drive_line, LINE_STEP);
    tap_edges_free(m);
    tap_edges_free(d);
    profile_free(twisted);
    profile_path_free(path);
}

/* A tap that looks every sample_ns: what came and went between two looks is lost, and so is
 * all behind its last look, at the session's last edge. */
static struct tap_edges *hear_looks(const struct session *s, const struct ear *e)
{
    enum level told[LINE_COUNT];
    enum level now[LINE_COUNT];
    struct tap_edges *t = NULL;
    assert_int_equal(tap_edges_new(&t), ERR_OK);
    for (int l = 0; l < LINE_COUNT; l++) {
        told[l] = now[l] = LEVEL_UNKNOWN;
    }
    for (size_t i = 0; i < s->count; i++) {
        int64_t at = ear_time(e, s->edge[i].ns);
        now[s->edge[i].line] = s->edge[i].level;
        if (i + 1 < s->count && ear_time(e, s->edge[i + 1].ns) == at) {
            continue;
        }
        for (int l = 0; l < LINE_COUNT; l++) {
            if (now[l] != told[l]) {
                assert_int_equal(tap_edges_add(t, at, (enum line)l, now[l]), ERR_OK);
                told[l] = now[l];
            }
        }
    }
    tap_edges_sampled(t, e->sample_ns);
    assert_int_equal(tap_edges_end(t, ear_time(e, s->now_ns)), ERR_OK);
    return t;
}

/* The machine deselects as the very last thing: SELECT0 has but two edges, and the clocks'
 * offset alone would put one of them outside of what both taps saw. */
static void the_last_edge_of_a_recording_is_not_one_sided(void **state)
{
    static const int64_t OFFSET[] = {20, -20, 0, 900};
    static struct session ends;
    struct tap_compare c;
    (void)state;
    session_make(&ends, 6);
    session_add(&ends, MS, LINE_SELECT0, HIGH);
    for (size_t i = 0; i < sizeof OFFSET / sizeof OFFSET[0]; i++) {
        struct tap_edges *m = hear_looks(&ends, &(struct ear){.sample_ns = 10});
        struct tap_edges *d =
            hear_looks(&ends, &(struct ear){.offset_ns = OFFSET[i], .sample_ns = 40});
        assert_int_equal(tap_compare(m, d, NULL, true, &c), ERR_OK);
        const struct tap_line *select = tap_of(&c, LINE_SELECT0);
        assert_int_equal(select->relation, TAP_SAME);
        assert_int_equal(select->matched, 2);
        assert_int_equal(select->only_machine + select->only_drive, 0);
        all_same_but(&c, 0);
        tap_edges_free(m);
        tap_edges_free(d);
    }
}

/* Edges that are truly one end's own are still found: the machine deselects once more. */
static void one_edge_too_many_still_counts(void **state)
{
    static struct session more;
    struct tap_compare c;
    (void)state;
    more = session;
    session_add(&more, 5 * US, LINE_SELECT0, HIGH);
    session_add(&more, 5 * US, LINE_SELECT0, LOW);
    session_add(&more, 100 * MS, LINE_MOTOR, HIGH);
    struct tap_edges *m = hear_looks(&more, &(struct ear){.sample_ns = 10});
    more.edge[more.count - 3].level = LOW;
    struct tap_edges *d = hear_looks(&more, &(struct ear){.sample_ns = 10});
    assert_int_equal(tap_compare(m, d, NULL, true, &c), ERR_OK);
    assert_int_equal(tap_of(&c, LINE_SELECT0)->relation, TAP_DIFFER);
    assert_int_equal(tap_of(&c, LINE_SELECT0)->only_machine, 2);
    assert_int_equal(tap_of(&c, LINE_SELECT0)->only_drive, 0);
    tap_edges_free(m);
    tap_edges_free(d);
}

/* Read pulses of 400 ns between the looks of a tap with 1 MS/s: it says nothing of RDATA. */
static void pulses_too_short_for_one_tap_are_not_compared(void **state)
{
    struct tap_compare c;
    (void)state;
    for (int slow_drive = 0; slow_drive < 2; slow_drive++) {
        const struct ear fine = {.sample_ns = 40};
        const struct ear coarse = {.sample_ns = 1000};
        struct tap_edges *m = hear_looks(&session, slow_drive != 0 ? &fine : &coarse);
        struct tap_edges *d = hear_looks(&session, slow_drive != 0 ? &coarse : &fine);
        assert_int_equal(tap_compare(m, d, NULL, true, &c), ERR_OK);
        assert_true(c.aligned);
        assert_int_equal(tap_of(&c, LINE_RDATA)->relation, TAP_NOT_COMPARED);
        all_same_but(&c, BIT(LINE_RDATA));
        tap_edges_free(m);
        tap_edges_free(d);
    }
}

static int make(void **state)
{
    (void)state;
    session_make(&session, 6);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_clock_needs_no_search),
        cmocka_unit_test(a_dead_line_is_named_by_the_end_where_it_is_quiet),
        cmocka_unit_test(two_clocks_are_aligned_with_offset_and_drift),
        cmocka_unit_test(a_wrong_word_of_one_clock_is_found_out),
        cmocka_unit_test(taps_that_began_and_ended_at_other_times_still_align),
        cmocka_unit_test(what_one_tap_did_not_record_is_not_compared),
        cmocka_unit_test(edges_while_the_other_tap_did_not_record_are_left_out),
        cmocka_unit_test(read_data_is_compared_by_how_much_of_it_there_is),
        cmocka_unit_test(lines_that_rest_at_other_levels_say_so),
        cmocka_unit_test(one_single_change_that_coincides_counts),
        cmocka_unit_test(taps_that_share_only_a_regular_train_are_not_aligned),
        cmocka_unit_test(taps_of_different_sessions_are_not_aligned),
        cmocka_unit_test(the_last_edge_of_a_recording_is_not_one_sided),
        cmocka_unit_test(one_edge_too_many_still_counts),
        cmocka_unit_test(pulses_too_short_for_one_tap_are_not_compared),
        cmocka_unit_test(lines_are_compared_through_the_cables_map),
    };
    return cmocka_run_group_tests(tests, make, NULL);
}
