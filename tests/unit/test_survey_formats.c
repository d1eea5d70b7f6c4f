/* Odd disks through a whole survey: what is on them is read, and what is neither FM nor MFM is
 * called what it is and never damage. All of it is invented data. */
#include "report/report.h"
#include "unit/flux_capture.h"

#define TURN_CELLS 100000 /* 200 ms of 2 us cells */
#define TURN_NS    200e6
#define TURNS      4

static void turns_make(struct track_made *t, const struct layout *l, struct dice *d)
{
    for (int i = 0; i < TURNS; i++) {
        make_turn(t, l, d, TURN_CELLS);
    }
}

static const struct layout nine = {.sectors = 9, .size_code = 2, .gap3 = 80, .cylinder = 1};

static struct survey *survey_of(const struct track_made *t, double jitter, double index_ns,
                                struct dice *d)
{
    const struct play p = {.cell_ns = 2000, .speed = 1, .jitter_ns = jitter};
    struct events e = {0};
    struct flux_made f;
    make_flux(&t->m, &p, d, &f);
    (void)events_flux(&e, &f, EVENTS_START_NS);
    if (index_ns >= 0) {
        events_index(&e, EVENTS_START_NS + index_ns, TURN_NS, TURNS);
    }
    free(f.interval_ps);
    return events_survey(&e, index_ns >= 0 ? "ri" : "r");
}

static struct track_sector *sector_of(const struct survey *s, int number)
{
    for (size_t i = 0; s->track_count == 1 && i < s->track[0].sector_count; i++) {
        if (s->track[0].sector[i].sector == number) {
            return &s->track[0].sector[i];
        }
    }
    return NULL;
}

static void every_sector_is_good(const struct survey *s)
{
    assert_int_equal(s->track_count, 1);
    assert_int_equal(s->track[0].sector_count, 9);
    for (int i = 1; i <= 9; i++) {
        const struct track_sector *x = sector_of(s, i);
        assert_non_null(x);
        assert_int_equal(x->seen, TURNS);
        assert_int_equal(x->good, TURNS);
        assert_false(x->twice);
    }
    assert_true(fabs(s->rotation.rpm / 300 - 1) < 20e-6);
}

/* Anywhere in the turn, so in the middle of sectors too; or not recorded at all. */
static void the_index_may_come_anywhere(void **state)
{
    (void)state;
    struct dice d = {10};
    struct track_made t = {0};
    make_truth(&t, &nine, &d);
    turns_make(&t, &nine, &d);
    for (int i = 0; i < 8; i++) {
        struct survey *s = survey_of(&t, 60, i * TURN_NS / 8.3, &d);
        every_sector_is_good(s);
        assert_int_equal(s->rotation.from, ROTATION_INDEX);
        assert_int_equal(s->index.missing + s->index.extra, 0);
        survey_done(s);
    }
    struct survey *s = survey_of(&t, 60, -1, &d);
    every_sector_is_good(s);
    assert_int_equal(s->rotation.from, ROTATION_SECTORS);
    survey_done(s);
    make_release(&t);
}

/* Two sectors 5 a turn, with data of their own: whole by itself or not at all. */
static void identifiers_that_come_twice_a_turn_are_told(void **state)
{
    int repaired_all = 0;
    (void)state;
    for (int other = 0; other < 9; other++) { /* where the second one is */
        struct dice d = {20 + (uint64_t)other};
        struct track_made t = {0};
        int repaired = 0;
        make_truth(&t, &nine, &d);
        t.sector[other].sector = 5;
        turns_make(&t, &nine, &d);
        struct survey *s = survey_of(&t, 60, 0, &d);
        for (int i = 1; i <= 9; i++) {
            const struct track_sector *x = sector_of(s, i);
            bool twice = i == 5 && other != 4;
            assert_true(x != NULL ? x->twice == twice : i == other + 1);
            assert_true(x == NULL || x->good == (twice ? 2 * TURNS : TURNS));
        }
        survey_done(s);
        s = survey_of(&t, 310, 0, &d);
        for (int i = 1; i <= 9; i++) {
            const struct track_sector *x = sector_of(s, i);
            repaired += x != NULL && x->data == FIELD_REPAIRED;
        }
        repaired_all += repaired;
        assert_true(other == 4 || sector_of(s, 5)->data != FIELD_REPAIRED);
        survey_done(s);
        make_release(&t);
    }
    assert_true(repaired_all > 9);
}

static void deleted_data_and_missing_fields_are_told(void **state)
{
    (void)state;
    struct dice d = {30};
    struct track_made t = {0};
    make_truth(&t, &nine, &d);
    t.sector[2].mark = 0xF8;
    t.sector[3].no_data = true;
    t.sector[6].no_id = true;
    turns_make(&t, &nine, &d);
    struct survey *s = survey_of(&t, 60, 0, &d);
    assert_int_equal(s->track[0].sector_count, 8);
    for (int i = 1; i <= 9; i++) {
        const struct track_sector *x = sector_of(s, i);
        assert_int_equal(x == NULL, i == 7);
        if (x != NULL) {
            assert_int_equal(x->deleted, i == 3);
            assert_int_equal(x->data, i == 4 ? FIELD_ABSENT : FIELD_GOOD);
        }
    }
    assert_int_equal(s->visit[0].data_damaged, 0);
    survey_done(s);
    make_release(&t);
}

/* Cylinder 0 in FM, cylinder 1 in MFM, a step between them. */
static void a_first_track_in_fm_and_the_rest_in_mfm_are_both_read(void **state)
{
    (void)state;
    const struct layout l[2] = {
        {.fm = true, .sectors = 16, .gap3 = 25, .index_mark = true},
        {.sectors = 16, .size_code = 1, .gap3 = 50, .cylinder = 1, .index_mark = true}};
    struct dice d = {40};
    struct events e = {0};
    int64_t ns = EVENTS_START_NS;
    for (int i = 0; i < 2; i++) {
        struct track_made t = {0};
        struct flux_made f;
        const struct play p = {
            .cell_ns = i == 0 ? 4000 : 2000, .speed = 1, .jitter_ns = i == 0 ? 150 : 80};
        make_truth(&t, &l[i], &d);
        for (int turn = 0; turn < 2; turn++) {
            make_turn(&t, &l[i], &d, i == 0 ? TURN_CELLS / 2 : TURN_CELLS);
        }
        make_flux(&t.m, &p, &d, &f);
        ns = events_flux(&e, &f, ns) + 1000000;
        if (i == 0) {
            events_pulse(&e, ns, 's', 10000);
            events_add(&e, ns + 20000, 't', '1');
            ns += 18000000;
        }
        free(f.interval_ps);
        make_release(&t);
    }
    struct survey *s = events_survey(&e, "rsdt");
    assert_int_equal(s->track_count, 2);
    assert_int_equal(s->flux.encoding, ENC_MIXED);
    for (size_t i = 0; i < 2; i++) {
        assert_int_equal(s->track[i].cylinder, i);
        assert_int_equal(s->track[i].quality.encoding, i == 0 ? ENC_FM : ENC_MFM);
        assert_int_equal(s->track[i].sector_count, 16);
        for (size_t k = 0; k < 16; k++) {
            assert_int_equal(s->track[i].sector[k].good, 2);
            assert_int_equal(s->track[i].sector[k].encoding, i == 0 ? ENC_FM : ENC_MFM);
        }
    }
    survey_done(s);
}

/* ---- what is neither FM nor MFM */

enum strange { UNKNOWN_CODE, NOISE, UNRECORDED, ONE_LENGTH, STRANGES };

/* Four turns of it. Groups of one to three cells of 3.7 us; pulses at random; none at all; and
 * one length alone, which zeros give in either code. */
static void strange_flux(enum strange what, struct dice *d, struct flux_made *out)
{
    double ps = 0;
    double late = 0;
    *out = (struct flux_made){.interval_ps = malloc(sizeof(uint32_t) << 19)};
    assert_non_null(out->interval_ps);
    while (what != UNRECORDED && ps < TURNS * TURN_NS * 1e3) {
        double u = dice_unit(d);
        double next = 90e3 * dice_normal(d);
        double apart = what == NOISE          ? 1e6 - 7e6 * log(u)
                       : what == UNKNOWN_CODE ? 3.7e6 * (u < 0.5   ? 1
                                                         : u < 0.8 ? 2
                                                                   : 3)
                                              : 4e6;
        uint32_t interval = (uint32_t)(apart + (what == NOISE ? 0 : next - late));
        late = next;
        out->interval_ps[out->count++] = interval;
        ps += interval;
    }
}

static void what_is_neither_is_called_what_it_is(void **state)
{
    (void)state;
    static const struct {
        enum encoding encoding;
        const char *words;
    } want[STRANGES] = {{ENC_REGULAR_OTHER, "a regular code that is neither FM nor MFM"},
                        {ENC_UNSTEADY, "pulses without a clock"},
                        {ENC_NONE, "1 transitions, code: none"},
                        {ENC_FM, "FM without identifiers"}};
    const struct text_style style = {0};
    for (int i = 0; i < STRANGES; i++) {
        struct dice d = {50 + (uint64_t)i};
        struct events e = {0};
        struct flux_made f;
        struct buf text;
        strange_flux((enum strange)i, &d, &f);
        events_add(&e, EVENTS_START_NS - 5000000, 't', '0');
        (void)events_flux(&e, &f, EVENTS_START_NS);
        events_index(&e, EVENTS_START_NS, TURN_NS, TURNS + 1);
        struct survey *s = events_survey(&e, "rishdt");
        assert_int_equal(s->flux.encoding, want[i].encoding);
        assert_int_equal(s->track_count, i != UNRECORDED);
        assert_true(i == UNRECORDED || s->track[0].sector_count == 0);
        for (size_t v = 0; v < s->visit_count; v++) {
            assert_int_equal(s->visit[v].ids_bad + s->visit[v].data_damaged, 0);
        }
        buf_init(&text, 1 << 20);
        assert_int_equal(report_measure_text("strange", s, &style, &text), ERR_OK);
        assert_non_null(strstr(text.data, want[i].words));
        assert_null(strstr(text.data, "damaged"));
        buf_release(&text);
        survey_done(s);
        free(f.interval_ps);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_index_may_come_anywhere),
        cmocka_unit_test(identifiers_that_come_twice_a_turn_are_told),
        cmocka_unit_test(deleted_data_and_missing_fields_are_told),
        cmocka_unit_test(a_first_track_in_fm_and_the_rest_in_mfm_are_both_read),
        cmocka_unit_test(what_is_neither_is_called_what_it_is),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
