/* Read pulses taken at once tell the same story as one by one. Invented edges at random. */
#include "bus/bus.h"
#include "unit/flux_make.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>

#include <cmocka.h>

#define ROW_MAX 600

struct two {
    struct bus_tracker *single, *rows;
    size_t at_once, all;
};

static void edge_both(struct two *t, int64_t ns, enum line line, enum level level)
{
    assert_int_equal(bus_tracker_edge(t->single, ns, line, level), ERR_OK);
    assert_int_equal(bus_tracker_edge(t->rows, ns, line, level), ERR_OK);
}

static size_t row_taken(struct bus_tracker *t, const int64_t *ns, size_t n, enum level first)
{
    int32_t after_ns[ROW_MAX];
    for (size_t i = 0; i < n; i++) {
        after_ns[i] = (int32_t)(ns[i] - ns[0]);
    }
    const struct read_row row = {ns[0], after_ns, n, first};
    return bus_tracker_reads(t, &row) ? n : 0;
}

static void row_both(struct two *t, const int64_t *ns, size_t n, enum level first)
{
    const enum level other = first == LEVEL_LOW ? LEVEL_HIGH : LEVEL_LOW;
    for (size_t i = 0; i < n; i++) {
        assert_int_equal(bus_tracker_edge(t->single, ns[i], LINE_RDATA, i % 2 ? other : first),
                         ERR_OK);
    }
    for (size_t i = 0; i < n;) {
        enum level level = i % 2 ? other : first;
        size_t taken = row_taken(t->rows, ns + i, n - i, level);
        t->at_once += taken;
        if (taken == 0) {
            assert_int_equal(bus_tracker_edge(t->rows, ns[i], LINE_RDATA, level), ERR_OK);
            taken = 1;
        }
        i += taken;
    }
    t->all += n;
}

static void lines_equal(const struct bus_story *a, const struct bus_story *b)
{
    for (int i = 0; i < LINE_COUNT; i++) {
        const struct line_stats *x = &a->line[i];
        const struct line_stats *y = &b->line[i];
        assert_int_equal(x->state, y->state);
        assert_int_equal(x->edges, y->edges);
        assert_int_equal(x->falls, y->falls);
        assert_int_equal(x->low_ns, y->low_ns);
        assert_int_equal(x->high_ns, y->high_ns);
        assert_int_equal(x->unknown_ns, y->unknown_ns);
        assert_int_equal(x->glitches, y->glitches);
        assert_int_equal(x->shortest_low_ns, y->shortest_low_ns);
        assert_int_equal(x->shortest_high_ns, y->shortest_high_ns);
        assert_int_equal(x->median_low_ns, y->median_low_ns);
        assert_int_equal(x->selected_ns, y->selected_ns);
        assert_int_equal(x->low_selected_ns, y->low_selected_ns);
        assert_int_equal(x->unselected_ns, y->unselected_ns);
        assert_int_equal(x->low_unselected_ns, y->low_unselected_ns);
        assert_int_equal(x->falls_selected, y->falls_selected);
        assert_int_equal(x->falls_unselected, y->falls_unselected);
        assert_int_equal(x->first, y->first);
        assert_int_equal(x->last, y->last);
    }
}

static void pairs_equal(const struct bus_story *a, const struct bus_story *b)
{
    assert_int_equal(a->pair_count, b->pair_count);
    for (size_t i = 0; i < a->pair_count; i++) {
        assert_int_equal(a->pair[i].a, b->pair[i].a);
        assert_int_equal(a->pair[i].b, b->pair[i].b);
        assert_int_equal(a->pair[i].both, b->pair[i].both);
        assert_int_equal(a->pair[i].edges_a, b->pair[i].edges_a);
    }
}

/* Rows of read pulses between edges of other lines, some of which come together with one. */
static void play(struct two *t, struct dice *d, int rows)
{
    static const enum line other[] = {LINE_INDEX, LINE_SELECT0, LINE_STEP,  LINE_DIR,
                                      LINE_TRK00, LINE_SIDE,    LINE_MOTOR, LINE_WPROT};
    enum level level[LINE_COUNT] = {LEVEL_LOW};
    int64_t now = 0;
    for (int l = 0; l < LINE_COUNT; l++) {
        level[l] = LEVEL_HIGH;
        edge_both(t, now, (enum line)l, LEVEL_HIGH);
    }
    for (int r = 0; r < rows; r++) {
        int64_t ns[ROW_MAX];
        size_t n = 1 + (size_t)dice_below(d, ROW_MAX - 1);
        enum line line = other[dice_below(d, 8)];
        enum level first = level[LINE_RDATA] == LEVEL_LOW ? LEVEL_HIGH : LEVEL_LOW;
        for (size_t i = 0; i < n; i++) {
            now += 20 + dice_below(d, i % 2 ? 900 : 7000);
            ns[i] = now;
        }
        row_both(t, ns, n, first);
        level[LINE_RDATA] = n % 2 ? first : level[LINE_RDATA];
        now += dice_below(d, 2) ? dice_below(d, 150) : dice_below(d, 4000);
        level[line] = level[line] == LEVEL_LOW ? LEVEL_HIGH : LEVEL_LOW;
        edge_both(t, now, line, level[line]);
        if (dice_below(d, 20) == 0) { /* a pause, in which something falls due */
            now += INT64_C(1) + dice_below(d, 300000000);
        }
    }
    struct bus_story a;
    struct bus_story b;
    assert_int_equal(bus_tracker_finish(t->single, now, &a), ERR_OK);
    assert_int_equal(bus_tracker_finish(t->rows, now, &b), ERR_OK);
    lines_equal(&a, &b);
    pairs_equal(&a, &b);
    assert_int_equal(a.seek_count, b.seek_count);
    assert_int_equal(a.access_count, b.access_count);
    bus_story_release(&a);
    bus_story_release(&b);
}

static void read_pulses_at_once_tell_the_same_story(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 40; seed++) {
        struct dice d = {seed};
        struct two t = {0};
        assert_int_equal(bus_tracker_new(NULL, NULL, 0, &t.single), ERR_OK);
        assert_int_equal(bus_tracker_new(NULL, NULL, 0, &t.rows), ERR_OK);
        play(&t, &d, 150);
        assert_true(t.at_once > t.all / 2);
        bus_tracker_free(t.single);
        bus_tracker_free(t.rows);
    }
}

/* Until the widths for the median are full, and behind a level that came unseen. */
static void the_first_pulses_are_given_by_themselves(void **state)
{
    (void)state;
    struct bus_tracker *t = NULL;
    int64_t ns[64];
    for (int i = 0; i < 64; i++) {
        ns[i] = 1000 + 500 * i;
    }
    assert_int_equal(bus_tracker_new(NULL, NULL, 0, &t), ERR_OK);
    assert_int_equal(row_taken(t, ns, 64, LEVEL_LOW), 0);
    assert_int_equal(bus_tracker_edge(t, 0, LINE_RDATA, LEVEL_HIGH), ERR_OK);
    assert_int_equal(row_taken(t, ns, 64, LEVEL_LOW), 0);
    bus_tracker_free(t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(read_pulses_at_once_tell_the_same_story),
        cmocka_unit_test(the_first_pulses_are_given_by_themselves),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
