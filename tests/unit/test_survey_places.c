/* What a survey says of several places of the head, and of one that it comes back to. All of it
 * is invented data. */
#include "report/report.h"
#include "unit/flux_capture.h"

#define TURN_CELLS 100000 /* 200 ms of 2 us cells */
#define SIDE_NS    2000000

/* Turns of one track from a time on; returns when they end. */
static int64_t add_turns(struct events *e, const struct track_made *t, const struct play *p,
                         struct dice *d, int64_t ns)
{
    struct flux_made f;
    make_flux(&t->m, p, d, &f);
    ns = events_flux(e, &f, ns) + 1000000;
    free(f.interval_ps);
    return ns;
}

static void make_track(struct track_made *t, int cylinder, int side, int turns, struct dice *d)
{
    const struct layout l = {.sectors = 9,
                             .size_code = 2,
                             .gap3 = 80,
                             .cylinder = (uint8_t)cylinder,
                             .side = (uint8_t)side,
                             .index_mark = true};
    *t = (struct track_made){0};
    make_truth(t, &l, d);
    for (int i = 0; i < turns; i++) {
        make_turn(t, &l, d, TURN_CELLS);
    }
}

/* ---- side against side, cylinder beside cylinder */

static const struct place {
    double jitter_ns, lost, added;
} place[2][2] = {{{60, 0, 0}, {120, 0, 0}}, {{60, 0.003, 0}, {120, 0, 0.003}}};

static struct survey *four_places(void)
{
    struct dice d = {10};
    struct events e = {0};
    int64_t ns = EVENTS_START_NS;
    for (int cylinder = 0; cylinder < 2; cylinder++) {
        for (int side = 0; side < 2; side++) {
            const struct place *x = &place[cylinder][side];
            const struct play p = {.cell_ns = 2000,
                                   .speed = 1,
                                   .jitter_ns = x->jitter_ns,
                                   .lost = x->lost,
                                   .added = x->added};
            struct track_made t;
            make_track(&t, cylinder, side, 3, &d);
            events_add(&e, ns, 'h', side == 0 ? '1' : '0');
            ns = add_turns(&e, &t, &p, &d, ns + SIDE_NS);
            make_release(&t);
        }
        if (cylinder == 0) {
            events_add(&e, ns + 25000, 't', '1');
            ns = events_step(&e, ns, true);
        }
    }
    return events_survey(&e, "rsdth");
}

static void each_place_has_figures_of_its_own(void **state)
{
    (void)state;
    struct survey *s = four_places();
    struct buf text;
    const struct text_style style = {0};
    assert_int_equal(s->place_count, 4);
    for (size_t i = 0; i < 4; i++) {
        const struct place_figures *f = &s->place[i];
        const struct place *x = &place[i / 2][i % 2];
        assert_int_equal(f->cylinder, i / 2);
        assert_int_equal(f->side, i % 2);
        assert_true(fabs(f->quality.jitter_ns / x->jitter_ns - 1) < 0.05);
        assert_true(fabs(f->quality.jitter_ns - x->jitter_ns) <= f->quality.jitter_u_ns + 1);
        /* some 115,000 transitions a place */
        assert_int_equal(f->longer > 100, x->lost > 0);
        assert_int_equal(f->shorter > 100, x->added > 0);
    }
    buf_init(&text, 1 << 20);
    assert_int_equal(report_measure_text("four places", s, &style, &text), ERR_OK);
    assert_non_null(strstr(text.data, "side    jitter"));
    buf_release(&text);
    survey_done(s);
}

/* ---- a track that the head comes back to */

#define PASSES 4

enum between { NOTHING, ANOTHER_TRACK, WRITING };

/* Passes of one turn each: sectors that come out, and how many of them repaired. */
static int come_out(enum between between, int passes, int *out_repaired)
{
    int out = 0;
    *out_repaired = 0;
    for (uint64_t seed = 20; seed < 24; seed++) {
        struct dice d = {seed};
        struct dice noise = {seed + 100};
        struct events e = {0};
        struct track_made t;
        const struct play p = {.cell_ns = 2000, .speed = 1, .jitter_ns = 340};
        int64_t ns = EVENTS_START_NS;
        make_track(&t, 0, 0, 1, &d);
        for (int pass = 0; pass < passes; pass++) {
            ns = add_turns(&e, &t, &p, &noise, ns);
            if (between == ANOTHER_TRACK) {
                events_add(&e, ns + 25000, 't', '1');
                ns = events_step(&e, ns, true);
                events_add(&e, ns + 25000, 't', '0');
                ns = events_step(&e, ns, false);
            } else if (between == WRITING) {
                events_pulse(&e, ns, 'w', 1000000);
                ns += 2000000;
            }
        }
        struct survey *s = events_survey(&e, "rsdthw");
        assert_int_equal(s->track_count, 1);
        for (size_t i = 0; i < s->track[0].sector_count; i++) {
            const struct track_sector *x = &s->track[0].sector[i];
            out += x->id_good && (x->data == FIELD_GOOD || x->data == FIELD_REPAIRED);
            *out_repaired += x->data == FIELD_REPAIRED;
            assert_int_equal(x->data == FIELD_REPAIRED, x->odds_false > 0);
        }
        make_release(&t);
        survey_done(s);
    }
    return out;
}

/* Cells of a later pass join those of an earlier one, whatever lay between; but not when the
 * head wrote there. */
static void passes_are_put_together_unless_something_was_written(void **state)
{
    (void)state;
    int repaired[4];
    int once = come_out(NOTHING, 1, &repaired[0]);
    int together = come_out(NOTHING, PASSES, &repaired[1]);
    int apart = come_out(ANOTHER_TRACK, PASSES, &repaired[2]);
    int written = come_out(WRITING, PASSES, &repaired[3]);
    print_message("of 36 sectors: one pass %d (%d repaired), four %d (%d), four with a seek "
                  "between %d (%d), with a write between %d (%d)\n",
                  once, repaired[0], together, repaired[1], apart, repaired[2], written,
                  repaired[3]);
    assert_true(apart > once + 8);
    assert_true(abs(apart - together) <= 3);
    assert_true(written < apart - 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_place_has_figures_of_its_own),
        cmocka_unit_test(passes_are_put_together_unless_something_was_written),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
