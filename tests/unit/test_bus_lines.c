/* Statistics of single lines. All traffic is invented. */
#include "bus_wires.h"

static const struct line_stats *only(struct bus_story *s, struct wires *w, enum line line)
{
    wires_close(w, s);
    return &s->line[line];
}

static void a_line_that_stays_high_is_never_active(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 5, NULL, NULL);
    wires_wait(&w, 100 * MS);
    const struct line_stats *l = only(&s, &w, LINE_WPROT);
    assert_int_equal(l->state, LINE_NEVER_ACTIVE);
    assert_int_equal(l->edges, 0);
    assert_int_equal(l->high_ns, 100 * MS);
    assert_int_equal(s.line[LINE_DSKCHG].state, LINE_NOT_RECORDED);
    bus_story_release(&s);
}

static void a_line_that_stays_low_is_always_active(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, BIT(LINE_INDEX), 5, NULL, NULL);
    bus_tracker_free(w.tracker);
    assert_int_equal(bus_tracker_new(NULL, NULL, BIT(LINE_INDEX), &w.tracker), ERR_OK);
    wires_set(&w, LINE_INDEX, LOW);
    wires_wait(&w, MS);
    const struct line_stats *l = only(&s, &w, LINE_INDEX);
    assert_int_equal(l->state, LINE_ALWAYS_ACTIVE);
    assert_int_equal(l->low_ns, MS);
    bus_story_release(&s);
}

static void pulses_are_counted_with_their_widths(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 5, NULL, NULL);
    wires_turn(&w, 5);
    const struct line_stats *l = only(&s, &w, LINE_INDEX);
    assert_int_equal(l->state, LINE_TOGGLES);
    assert_int_equal(l->edges, 10);
    assert_int_equal(l->falls, 5);
    assert_int_equal(l->median_low_ns, 3 * MS);
    assert_int_equal(l->shortest_low_ns, 3 * MS);
    assert_int_equal(l->shortest_high_ns, 197 * MS);
    assert_int_equal(l->low_ns + l->high_ns, w.now_ns);
    assert_int_equal(l->glitches, 0);
    bus_story_release(&s);
}

static void one_spike_does_not_make_a_line_active(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 5, NULL, NULL);
    wires_wait(&w, MS);
    wires_pulse(&w, LINE_WPROT, 50);
    wires_wait(&w, MS);
    const struct line_stats *l = only(&s, &w, LINE_WPROT);
    assert_int_equal(l->state, LINE_NEVER_ACTIVE);
    assert_int_equal(l->glitches, 1);
    bus_story_release(&s);
}

static void read_pulses_on_another_line_make_it_erratic(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 5, NULL, NULL);
    for (int i = 0; i < 1000; i++) {
        wires_pulse(&w, LINE_WPROT, 400);
        wires_wait(&w, 4 * US);
    }
    const struct line_stats *l = only(&s, &w, LINE_WPROT);
    assert_int_equal(l->state, LINE_ERRATIC);
    assert_int_equal(l->glitches, 1000);
    bus_story_release(&s);
}

static void a_few_glitches_among_many_pulses_are_only_counted(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 200, NULL, NULL);
    wires_seek(&w, -150);
    for (int i = 0; i < 5; i++) {
        wires_pulse(&w, LINE_STEP, 100);
        wires_wait(&w, MS);
    }
    const struct line_stats *l = only(&s, &w, LINE_STEP);
    assert_int_equal(l->state, LINE_TOGGLES);
    assert_int_equal(l->glitches, 5);
    assert_int_equal(s.steps_out, 150);
    bus_story_release(&s);
}

static void time_not_recorded_is_neither_level_and_breaks_pulses(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 5, NULL, NULL);
    wires_wait(&w, 10 * MS);
    wires_set(&w, LINE_RDATA, LEVEL_UNKNOWN);
    wires_wait(&w, 5 * MS);
    wires_set(&w, LINE_RDATA, LOW);
    wires_wait(&w, 10);
    wires_set(&w, LINE_RDATA, HIGH);
    const struct line_stats *l = only(&s, &w, LINE_RDATA);
    assert_int_equal(l->edges, 1); /* only low to high was seen */
    assert_int_equal(l->unknown_ns, 5 * MS);
    assert_int_equal(l->low_ns, 10);
    assert_int_equal(l->glitches, 0); /* the pulse's start was not seen */
    assert_int_equal(l->falls, 0);
    bus_story_release(&s);
}

static void falls_are_told_apart_by_select(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 5, NULL, NULL);
    wires_turn(&w, 3);
    wires_select(&w, LOW);
    wires_turn(&w, 2);
    wires_select(&w, HIGH);
    const struct line_stats *l = only(&s, &w, LINE_INDEX);
    assert_int_equal(l->falls_unselected, 3);
    assert_int_equal(l->falls_selected, 2);
    assert_int_equal(l->low_selected_ns, 6 * MS);
    assert_int_equal(l->low_unselected_ns, 9 * MS);
    assert_int_equal(l->selected_ns, s.selected_ns);
    assert_int_equal(s.line[LINE_SELECT0].falls_selected, 1);
    bus_story_release(&s);
}

static void what_follows_a_release_within_2_us_belongs_to_neither(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 5, NULL, NULL);
    wires_select(&w, LOW);
    wires_set(&w, LINE_SELECT0, HIGH);
    wires_wait(&w, 500);
    wires_pulse(&w, LINE_RDATA, 400);
    wires_wait(&w, 10 * US);
    const struct line_stats *l = only(&s, &w, LINE_RDATA);
    assert_int_equal(l->falls, 1);
    assert_int_equal(l->falls_selected, 0);
    assert_int_equal(l->falls_unselected, 0);
    /* 10.9 us after the release, and 0 before the first select: all but 2 us of it count. */
    assert_int_equal(l->unselected_ns, 10900 - 2 * US);
    bus_story_release(&s);
}

static void without_a_select_line_all_counts_as_selected(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES & ~BIT(LINE_SELECT0), 5, NULL, NULL);
    wires_turn(&w, 2);
    const struct line_stats *l = only(&s, &w, LINE_INDEX);
    assert_int_equal(l->falls_selected, 2);
    assert_int_equal(l->unselected_ns, 0);
    assert_int_equal(s.selected_ns, 0);
    bus_story_release(&s);
}

static void edges_that_run_back_or_name_no_line_are_refused(void **state)
{
    struct bus_tracker *t = NULL;
    (void)state;
    assert_int_equal(bus_tracker_new(NULL, NULL, USUAL_LINES, &t), ERR_OK);
    assert_int_equal(bus_tracker_edge(t, 100, LINE_STEP, HIGH), ERR_OK);
    assert_int_equal(bus_tracker_edge(t, 99, LINE_STEP, LOW), ERR_INTERNAL);
    assert_int_equal(bus_tracker_edge(t, 100, LINE_COUNT, LOW), ERR_INTERNAL);
    assert_int_equal(bus_tracker_edge(t, BUS_NS_MAX, LINE_STEP, LOW), ERR_OK);
    assert_int_equal(bus_tracker_edge(t, INT64_MAX, LINE_STEP, HIGH), ERR_FORMAT);
    bus_tracker_free(t);
}

static void states_are_named_by_the_contract(void **state)
{
    (void)state;
    assert_string_equal(line_state_name(LINE_TOGGLES), "toggles");
    assert_string_equal(line_state_name(LINE_NEVER_ACTIVE), "never-active");
    assert_string_equal(line_state_name(LINE_ALWAYS_ACTIVE), "always-active");
    assert_string_equal(line_state_name(LINE_ERRATIC), "erratic");
    assert_string_equal(line_state_name(LINE_NOT_RECORDED), "not-recorded");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_line_that_stays_high_is_never_active),
        cmocka_unit_test(a_line_that_stays_low_is_always_active),
        cmocka_unit_test(pulses_are_counted_with_their_widths),
        cmocka_unit_test(one_spike_does_not_make_a_line_active),
        cmocka_unit_test(read_pulses_on_another_line_make_it_erratic),
        cmocka_unit_test(a_few_glitches_among_many_pulses_are_only_counted),
        cmocka_unit_test(time_not_recorded_is_neither_level_and_breaks_pulses),
        cmocka_unit_test(falls_are_told_apart_by_select),
        cmocka_unit_test(what_follows_a_release_within_2_us_belongs_to_neither),
        cmocka_unit_test(without_a_select_line_all_counts_as_selected),
        cmocka_unit_test(edges_that_run_back_or_name_no_line_are_refused),
        cmocka_unit_test(states_are_named_by_the_contract),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
