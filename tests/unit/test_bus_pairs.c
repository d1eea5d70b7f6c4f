/* Lines that move together. All traffic is invented; which pins of the 34-way bus neighbour
 * each other, and that a bridge between two lines is wired-AND: handbook, "Cable assembly
 * faults" (derived there).
 */
#include "bus_wires.h"

static const struct line_pair *pair_of(const struct bus_story *s, enum line a, enum line b)
{
    for (size_t i = 0; i < s->pair_count; i++) {
        if ((s->pair[i].a == a && s->pair[i].b == b) ||
            (s->pair[i].a == b && s->pair[i].b == a)) {
            return &s->pair[i];
        }
    }
    return NULL;
}

static void a_healthy_access_has_no_pairs(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    for (int i = 0; i < 6; i++) {
        wires_set(&w, LINE_MOTOR, LOW); /* at the very moment of select */
        wires_select(&w, LOW);
        wires_restore(&w, 255);
        wires_turn(&w, 3);
        wires_seek(&w, 5);
        for (int k = 0; k < 2000; k++) {
            wires_pulse(&w, LINE_RDATA, 400);
            wires_wait(&w, 4 * US);
        }
        wires_set(&w, LINE_MOTOR, HIGH);
        wires_select(&w, HIGH);
        wires_wait(&w, 100 * MS);
    }
    wires_close(&w, &s);
    assert_int_equal(s.pair_count, 0);
    bus_story_release(&s);
}

static void bridged_lines_are_the_same(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 200, NULL, NULL);
    wires_select(&w, LOW);
    for (int i = 0; i < 50; i++) {
        wires_set(&w, LINE_DIR, LOW);
        wires_wait(&w, 40);
        wires_pulse(&w, LINE_STEP, 4 * US);
        wires_wait(&w, 40);
        wires_set(&w, LINE_DIR, HIGH);
        wires_wait(&w, 3 * MS);
    }
    wires_close(&w, &s);
    assert_int_equal(s.pair_count, 1);
    const struct line_pair *p = pair_of(&s, LINE_DIR, LINE_STEP);
    assert_non_null(p);
    assert_true(p->same);
    assert_false(p->wired_and);
    assert_int_equal(p->both, 100);
    bus_story_release(&s);
}

static void a_line_seen_on_its_neighbour_is_wired_and(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 8, NULL, NULL);
    wires_select(&w, LOW);
    for (int i = 0; i < 10; i++) { /* TRK00 appears on WPROT, which moves by itself too */
        wires_set(&w, LINE_TRK00, LOW);
        wires_set(&w, LINE_WPROT, LOW);
        wires_wait(&w, 20 * MS);
        wires_set(&w, LINE_TRK00, HIGH);
        wires_set(&w, LINE_WPROT, HIGH);
        wires_wait(&w, 20 * MS);
        wires_pulse(&w, LINE_WPROT, 5 * MS);
        wires_wait(&w, 20 * MS);
    }
    wires_close(&w, &s);
    const struct line_pair *p = pair_of(&s, LINE_TRK00, LINE_WPROT);
    assert_non_null(p);
    assert_false(p->same);
    assert_true(p->wired_and);
    assert_int_equal(p->both, 20);
    assert_int_equal(p->edges_a, 20);
    assert_int_equal(p->edges_b, 40);
    bus_story_release(&s);
}

static void outputs_that_select_gates_are_no_pair(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 0, NULL, NULL);
    for (int i = 0; i < 20; i++) { /* polled at track 0 with a protected disk */
        wires_set(&w, LINE_SELECT0, LOW);
        wires_wait(&w, 150);
        wires_set(&w, LINE_TRK00, LOW);
        wires_set(&w, LINE_WPROT, LOW);
        wires_wait(&w, 5 * MS);
        wires_set(&w, LINE_SELECT0, HIGH);
        wires_wait(&w, 150);
        wires_set(&w, LINE_TRK00, HIGH);
        wires_set(&w, LINE_WPROT, HIGH);
        wires_wait(&w, 50 * MS);
    }
    wires_set(&w, LINE_SELECT0, LOW);
    for (int i = 0; i < 3; i++) { /* each by itself, too */
        wires_wait(&w, MS);
        wires_pulse(&w, LINE_TRK00, MS);
        wires_wait(&w, MS);
        wires_pulse(&w, LINE_WPROT, MS);
    }
    wires_close(&w, &s);
    assert_int_equal(s.pair_count, 0);
    bus_story_release(&s);
}

static void two_selects_that_go_together_are_a_pair(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES | BIT(LINE_SELECT1), 5, NULL, NULL);
    for (int i = 0; i < 4; i++) {
        wires_set(&w, LINE_SELECT0, LOW);
        wires_set(&w, LINE_SELECT1, LOW);
        wires_wait(&w, 50 * MS);
        wires_set(&w, LINE_SELECT0, HIGH);
        wires_set(&w, LINE_SELECT1, HIGH);
        wires_wait(&w, 50 * MS);
    }
    wires_close(&w, &s);
    assert_non_null(pair_of(&s, LINE_SELECT0, LINE_SELECT1));
    assert_true(pair_of(&s, LINE_SELECT0, LINE_SELECT1)->same);
    bus_story_release(&s);
}

static void a_slow_line_is_not_paired_with_read_data_by_chance(void **state)
{
    struct wires w;
    struct bus_story s;
    (void)state;
    wires_open(&w, USUAL_LINES, 5, NULL, NULL);
    wires_select(&w, LOW);
    for (int i = 0; i < 2; i++) { /* four edges that happen to meet a read pulse's */
        for (int k = 0; k < 1000; k++) {
            wires_pulse(&w, LINE_RDATA, 400);
            wires_wait(&w, 1500);
        }
        wires_set(&w, LINE_RDATA, LOW);
        wires_set(&w, LINE_DIR, LOW);
        wires_wait(&w, 400);
        wires_set(&w, LINE_RDATA, HIGH);
        wires_set(&w, LINE_DIR, HIGH);
        wires_wait(&w, 2 * US);
    }
    wires_close(&w, &s);
    assert_null(pair_of(&s, LINE_DIR, LINE_RDATA));
    bus_story_release(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_healthy_access_has_no_pairs),
        cmocka_unit_test(bridged_lines_are_the_same),
        cmocka_unit_test(a_line_seen_on_its_neighbour_is_wired_and),
        cmocka_unit_test(outputs_that_select_gates_are_no_pair),
        cmocka_unit_test(two_selects_that_go_together_are_a_pair),
        cmocka_unit_test(a_slow_line_is_not_paired_with_read_data_by_chance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
