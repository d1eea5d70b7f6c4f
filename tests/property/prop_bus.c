/* Properties of the tracker and of the comparison of two taps, over random traffic (seeded, so
 * that a failure comes again). All of it is invented.
 */
#include "../unit/bus_session.h"

#include <stdio.h>

#define ROUNDS 60

static uint64_t next_random(uint64_t *seed)
{
    *seed ^= *seed << 13;
    *seed ^= *seed >> 7;
    *seed ^= *seed << 17;
    return *seed;
}

static int below(uint64_t *seed, int n)
{
    return (int)(next_random(seed) % (uint64_t)n);
}

/* Waits from nothing to seconds, short ones most often. */
static int64_t random_wait(uint64_t *seed)
{
    static const int64_t SCALE[] = {0, 100, 1000, 100000, 3000000, 50000000, 2000000000};
    int64_t most = SCALE[below(seed, 7)];
    return most > 0 ? (int64_t)(next_random(seed) % (uint64_t)most) : 0;
}

struct tally {
    int64_t edges[LINE_COUNT], falls[LINE_COUNT];
    enum level level[LINE_COUNT];
};

static void tally_edge(struct tally *n, enum line line, enum level level)
{
    enum level before = n->level[line];
    if (before != level && before != LEVEL_UNKNOWN && level != LEVEL_UNKNOWN) {
        n->edges[line]++;
        n->falls[line] += level == LOW;
    }
    n->level[line] = level;
}

static void story_adds_up(const struct bus_story *s, const struct tally *n)
{
    int32_t steps = 0;
    for (int i = 0; i < LINE_COUNT; i++) {
        const struct line_stats *l = &s->line[i];
        assert_int_equal(l->edges, n->edges[i]);
        assert_int_equal(l->falls, n->falls[i]);
        assert_int_equal(l->low_ns + l->high_ns + l->unknown_ns, s->end_ns - s->start_ns);
        assert_true(l->falls_selected + l->falls_unselected <= l->falls);
        assert_true(l->low_selected_ns <= l->selected_ns &&
                    l->low_unselected_ns <= l->unselected_ns);
        assert_true(l->selected_ns + l->unselected_ns <= l->low_ns + l->high_ns);
        assert_true(l->glitches <= l->edges);
    }
    for (size_t i = 0; i < s->seek_count; i++) {
        assert_true(s->seek[i].steps > 0 && s->seek[i].end_ns >= s->seek[i].start_ns);
        assert_true(i == 0 || s->seek[i].start_ns >= s->seek[i - 1].end_ns);
        steps += s->seek[i].steps;
    }
    assert_true(steps >= s->steps_in + s->steps_out); /* those without DIR are in seeks only */
    assert_true(s->restores >= s->restores_failed);
    for (size_t i = 0; i < s->access_count; i++) {
        const struct access *a = &s->access[i];
        assert_true(a->start_ns >= s->start_ns && a->end_ns <= s->end_ns &&
                    a->start_ns <= a->end_ns);
        assert_true(i == 0 || a->start_ns >= s->access[i - 1].start_ns);
        assert_true(a->index_pulses >= 0);
    }
    assert_true(s->write_gate_ns == s->line[LINE_WGATE].low_ns);
    assert_true(s->longest_write_gate_ns <= s->write_gate_ns);
    assert_true(s->motor_ns <= s->end_ns - s->start_ns);
}

static void any_edges_make_a_story_that_adds_up(void **state)
{
    (void)state;
    for (uint64_t round = 1; round <= ROUNDS; round++) {
        uint64_t seed = round * 0x9E3779B97F4A7C15u;
        struct bus_tracker *t = NULL;
        struct bus_story s;
        struct tally n = {{0}, {0}, {0}};
        int64_t ns = 0;
        line_set lines = next_random(&seed) & (LINE_BIT(LINE_COUNT) - 1);
        for (int i = 0; i < LINE_COUNT; i++) {
            n.level[i] = LEVEL_UNKNOWN;
        }
        assert_int_equal(bus_tracker_new(NULL, NULL, lines, &t), ERR_OK);
        for (int i = 0; i < 4000; i++) {
            /* STEP, TRK00 and the selects more often than chance */
            static const enum line OFTEN[] = {LINE_STEP,  LINE_STEP,  LINE_TRK00, LINE_SELECT0,
                                              LINE_MOTOR, LINE_WGATE, LINE_DIR};
            enum line line = below(&seed, 2) != 0 ? OFTEN[below(&seed, 7)]
                                                  : (enum line)below(&seed, LINE_COUNT);
            enum level level =
                below(&seed, 40) == 0 ? LEVEL_UNKNOWN : (enum level)below(&seed, 2);
            ns += random_wait(&seed);
            assert_int_equal(bus_tracker_edge(t, ns, line, level), ERR_OK);
            tally_edge(&n, line, level);
        }
        assert_int_equal(bus_tracker_finish(t, ns + random_wait(&seed), &s), ERR_OK);
        bus_tracker_free(t);
        story_adds_up(&s, &n);
        bus_story_release(&s);
    }
}

/* Legal seeks at legal speed, anywhere the drive can go: the count is the head, at every
 * moment. */
static void the_count_follows_any_legal_seeks(void **state)
{
    (void)state;
    for (uint64_t round = 1; round <= ROUNDS; round++) {
        uint64_t seed = round * 0xD1B54A32D192ED03u;
        struct wires w;
        struct bus_story s;
        int32_t raw[40];
        int cylinder[40];
        bool reach_zero = below(&seed, 8) != 0;
        bool zeroed = false;
        wires_open(&w, USUAL_LINES, 1 + below(&seed, 79), NULL, NULL);
        wires_select(&w, LOW);
        for (int i = 0; i < 40; i++) {
            int to = reach_zero && below(&seed, 5) == 0 ? 0 : 1 + below(&seed, 79);
            if (to != w.cylinder) {
                wires_seek(&w, to - w.cylinder);
            }
            zeroed = zeroed || to == 0;
            wires_wait(&w, random_wait(&seed));
            if (below(&seed, 4) == 0) { /* another unit is served meanwhile, or none */
                wires_select(&w, HIGH);
                wires_wait(&w, random_wait(&seed));
                wires_select(&w, LOW);
            }
            wires_pulse(&w, LINE_RDATA, 400);
            raw[i] = wires_raw(&w);
            cylinder[i] = w.cylinder;
        }
        wires_wait(&w, 50 * MS);
        wires_close(&w, &s);
        assert_int_equal(s.place_known, zeroed);
        for (int i = 0; i < 40; i++) {
            assert_int_equal(wires_cylinder(&s, raw[i]), zeroed ? cylinder[i] : -1);
        }
        assert_int_equal(s.trk00_at_other_place, 0);
        assert_int_equal(s.trk00_missing_at_zero, 0);
        assert_int_equal(s.longest_in_with_trk00, 0);
        assert_int_equal(s.restores_failed, 0);
        bus_story_release(&s);
    }
}

/* Whatever is fed to the two taps, comparing them ends, and its counts stay within what was
 * fed. */
static void any_two_taps_can_be_compared(void **state)
{
    (void)state;
    for (uint64_t round = 1; round <= ROUNDS; round++) {
        uint64_t seed = round * 0xA24BAED4963EE407u;
        struct tap_edges *tap[2];
        struct tap_compare c;
        int edges = below(&seed, 3000);
        for (int k = 0; k < 2; k++) {
            int64_t ns = 0;
            assert_int_equal(tap_edges_new(&tap[k]), ERR_OK);
            for (int i = 0; i < edges; i++) {
                ns += random_wait(&seed);
                assert_int_equal(tap_edges_add(tap[k], ns, (enum line)below(&seed, LINE_COUNT),
                                               (enum level)below(&seed, 3)),
                                 ERR_OK);
            }
        }
        assert_int_equal(tap_compare(tap[0], tap[1], NULL, below(&seed, 2) != 0, &c), ERR_OK);
        for (size_t i = 0; i < c.line_count; i++) {
            const struct tap_line *l = &c.line[i];
            assert_true(l->matched + l->only_machine <= edges &&
                        l->matched + l->only_drive <= edges);
            assert_true(l->relation == TAP_NOT_COMPARED || c.aligned);
            assert_true(l->relation != TAP_QUIET_DRIVE || l->only_machine > 0);
            assert_true(l->relation != TAP_QUIET_MACHINE || l->only_drive > 0);
        }
        tap_edges_free(tap[0]);
        tap_edges_free(tap[1]);
    }
}

/* One session heard with any offset, drift within 200 ppm, sampling and dead lines: the true
 * clocks are found, and a line that only one end could hear is told. */
static void any_clocks_are_found_again(void **state)
{
    static struct session session;
    static const enum line MAY_DIE[] = {LINE_SELECT0, LINE_MOTOR, LINE_DIR,  LINE_STEP,
                                        LINE_SIDE,    LINE_INDEX, LINE_TRK00};
    (void)state;
    for (uint64_t round = 1; round <= 25; round++) {
        uint64_t seed = round * 0xC2B2AE3D27D4EB4Fu;
        enum line dead = MAY_DIE[below(&seed, 7)];
        bool at_drive = below(&seed, 2) != 0;
        struct ear m = {.sample_ns = below(&seed, 500), .dead = at_drive ? 0 : BIT(dead)};
        struct ear d = {.offset_ns = (int64_t)(next_random(&seed) % 20000000000u),
                        .drift = ((double)below(&seed, 400) - 200) * 1e-6,
                        .sample_ns = below(&seed, 500),
                        .dead = at_drive ? BIT(dead) : 0};
        struct tap_compare c;
        session_make(&session, 3 + below(&seed, 10));
        struct tap_edges *machine = session_hear(&session, &m, NULL);
        struct tap_edges *drive = session_hear(&session, &d, NULL);
        assert_int_equal(tap_compare(machine, drive, NULL, false, &c), ERR_OK);
        assert_true(c.aligned);
        assert_true(llabs((long long)(c.offset_ns - d.offset_ns)) < 3 * US);
        for (size_t i = 0; i < c.line_count; i++) {
            const struct tap_line *l = &c.line[i];
            enum tap_relation quiet = at_drive ? TAP_QUIET_DRIVE : TAP_QUIET_MACHINE;
            if (l->machine_line == dead) {
                assert_int_equal(l->relation, quiet);
            } else {
                assert_true(l->relation == TAP_SAME || l->relation == TAP_NOT_COMPARED);
            }
        }
        tap_edges_free(machine);
        tap_edges_free(drive);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_edges_make_a_story_that_adds_up),
        cmocka_unit_test(the_count_follows_any_legal_seeks),
        cmocka_unit_test(any_two_taps_can_be_compared),
        cmocka_unit_test(any_clocks_are_found_again),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
