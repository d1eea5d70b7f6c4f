/* The trade's FM and MFM layouts, each through the whole decoder: two turns, a usual jitter, a
 * usual tap. The layouts' sources stand beside them; the bytes in the sectors are invented. */
#include "unit/flux_check.h"

#include <stdio.h>

#define RPM_300 300
#define RPM_360 360

/* Sources: S1 FD179X sheet; S2 SA810 manual p. 6-5; S3 LPC47S45x sheet table 24; S4 parameter
 * table of INT 1E (public interrupt list); CP common practice; FM from memory. Lengths of the
 * turns: handbook LAY-*. */
static const struct row {
    const char *name;
    bool fm;
    int32_t rate;
    int rpm, sectors, size_code, gap2, gap3, turn_bytes;
} row[] = {
    {"8 in FM 26 x 128 (S1)", true, 250000, RPM_360, 26, 0, 11, 27, 5208},
    {"8 in FM 15 x 256 (FM)", true, 250000, RPM_360, 15, 1, 11, 42, 5208},
    {"8 in FM 8 x 512 (FM)", true, 250000, RPM_360, 8, 2, 11, 58, 5208},
    {"8 in MFM 26 x 256 (S1, S2)", false, 500000, RPM_360, 26, 1, 22, 54, 10416},
    {"8 in MFM 15 x 512 (S2)", false, 500000, RPM_360, 15, 2, 22, 84, 10416},
    {"8 in MFM 8 x 1024 (S2)", false, 500000, RPM_360, 8, 3, 22, 116, 10416},
    {"5.25 in FM 16 x 128 (S3)", true, 125000, RPM_300, 16, 0, 11, 25, 3125},
    {"5.25 in FM 10 x 256 (CP)", true, 125000, RPM_300, 10, 1, 11, 10, 3125},
    {"5.25 in MFM 16 x 256 (S3)", false, 250000, RPM_300, 16, 1, 22, 50, 6250},
    {"5.25 in MFM 18 x 256 (S3)", false, 250000, RPM_300, 18, 1, 22, 12, 6250},
    {"5.25 in MFM 9 x 512 (S3)", false, 250000, RPM_300, 9, 2, 22, 80, 6250},
    {"5.25 in MFM 4 x 1024 (S3)", false, 250000, RPM_300, 4, 3, 22, 240, 6250},
    {"5.25 in MFM 15 x 512 (S2)", false, 500000, RPM_360, 15, 2, 22, 84, 10416},
    {"5.25 in MFM 9 x 512, turned at 360 (CP)", false, 300000, RPM_360, 9, 2, 22, 80, 6250},
    {"5.25 in FM 16 x 128, turned at 360 (CP)", true, 150000, RPM_360, 16, 0, 11, 25, 3125},
    {"3.5 in FM 15 x 128 (S3)", true, 125000, RPM_300, 15, 0, 11, 27, 3125},
    {"3.5 in FM 9 x 256 (S3)", true, 125000, RPM_300, 9, 1, 11, 42, 3125},
    {"3.5 in FM 5 x 512 (S3)", true, 125000, RPM_300, 5, 2, 11, 58, 3125},
    {"3.5 in MFM 15 x 256 (S3)", false, 250000, RPM_300, 15, 1, 22, 54, 6250},
    {"3.5 in MFM 9 x 512 (S3)", false, 250000, RPM_300, 9, 2, 22, 84, 6250},
    {"3.5 in MFM 10 x 512 (CP)", false, 250000, RPM_300, 10, 2, 22, 30, 6250},
    {"3.5 in MFM 5 x 1024 (S3)", false, 250000, RPM_300, 5, 3, 22, 116, 6250},
    {"3.5 in MFM 18 x 512 (S4)", false, 500000, RPM_300, 18, 2, 22, 108, 12500},
    {"3.5 in MFM 8 x 1024 at 360 (FM)", false, 500000, RPM_360, 8, 3, 22, 116, 10416},
    {"3.5 in MFM 36 x 512 (FM)", false, 1000000, RPM_300, 36, 2, 41, 83, 25000},
    {"FM at 500 kbit/s (invented)", true, 500000, RPM_300, 20, 2, 11, 58, 12500},
    {"MFM 2 x 2048 (invented)", false, 250000, RPM_300, 2, 4, 22, 240, 6250},
    {"MFM 1 x 4096 (invented)", false, 250000, RPM_300, 1, 5, 22, 240, 6250},
    {"MFM 1 x 8192 (invented)", false, 500000, RPM_300, 1, 6, 22, 240, 12500},
    {"FM 1 x 2048 (invented)", true, 125000, RPM_300, 1, 4, 11, 58, 3125},
    {"MFM 28 x 128 (invented)", false, 250000, RPM_300, 28, 0, 22, 20, 6250},
};
#define ROWS (sizeof row / sizeof row[0])

static struct layout layout_of(const struct row *w)
{
    return (struct layout){.fm = w->fm,
                           .sectors = w->sectors,
                           .size_code = w->size_code,
                           .gap2 = w->gap2,
                           .gap3 = w->gap3,
                           .cylinder = 9,
                           .side = 1,
                           .index_mark = true,
                           .rewritten = true};
}

static void row_is_read(const struct row *w, double jitter, double speed)
{
    struct dice d = {(uint64_t)(w - row) + 300};
    const struct layout l = layout_of(w);
    struct track_made t = {0};
    struct flux_read r;
    int64_t period[64];
    const double cell_ns = 5e8 / w->rate;
    const struct play p = {.cell_ns = cell_ns,
                           .speed = speed,
                           .jitter_ns = jitter * cell_ns,
                           .sample_ns = cell_ns > 600 ? 40 : 20};
    make_truth(&t, &l, &d);
    size_t most = (size_t)w->turn_bytes * 16;
    make_turn(&t, &l, &d, most);
    assert_int_equal(t.m.count, most); /* the table is right: the layout fits its turn */
    make_turn(&t, &l, &d, most);
    play_and_decode(&t.m, &p, &d, &r);
    struct counted c = count_read(&r, &t);
    if (c.good != 2 * w->sectors || c.ids_good != c.good || c.ids_bad + c.wrong_bytes != 0 ||
        r.quality.data_rate != w->rate || r.quality.encoding != (w->fm ? ENC_FM : ENC_MFM)) {
        fail_msg("%s, jitter %.2f, speed %.2f: %d identifiers, %d fields, %d wrong, %s at %d",
                 w->name, jitter, speed, c.ids_good, c.good, c.wrong_bytes,
                 encoding_name(r.quality.encoding), (int)r.quality.data_rate);
    }
    assert_int_equal(r.index_marks, 2);
    size_t n = rotation_from_sectors(&r, period, 64);
    assert_int_equal(n, w->sectors);
    for (size_t i = 0; i < n; i++) {
        assert_true(fabs(60e9 / (double)period[i] / (w->rpm * speed) - 1) < 1e-3);
    }
    flux_read_release(&r);
    make_release(&t);
}

static void every_layout_of_the_trade_is_read(void **state)
{
    (void)state;
    for (size_t i = 0; i < ROWS; i++) {
        row_is_read(&row[i], 0.05, 1);
        row_is_read(&row[i], 0.08, 1.03);
        row_is_read(&row[i], 0.08, 0.97);
    }
}

/* ---- odd ones */

/* What is on the track comes back in its order, and nothing else. */
static void all_come_back(const struct track_made *t, double cell_ns)
{
    struct dice d = {31};
    struct flux_read r;
    const struct play p = {.cell_ns = cell_ns, .speed = 1.01, .jitter_ns = 0.06 * cell_ns};
    play_and_decode(&t->m, &p, &d, &r);
    assert_int_equal(r.sector_count, t->sectors);
    for (int i = 0; i < t->sectors; i++) {
        const struct sector_read *s = &r.sector[i];
        const struct truth *x = &t->sector[i];
        assert_true(s->id_good);
        assert_int_equal(s->cylinder, x->cylinder);
        assert_int_equal(s->side, x->side);
        assert_int_equal(s->sector, x->sector);
        assert_int_equal(s->size_code, x->size_code);
        assert_int_equal(s->mark, x->mark);
        assert_int_equal(s->deleted, x->mark == 0xF8);
        assert_int_equal(s->data, FIELD_GOOD);
        assert_memory_equal(s->bytes, x->bytes, (size_t)128 << x->size_code);
    }
    flux_read_release(&r);
}

static void sectors_of_several_sizes_share_a_track(void **state)
{
    (void)state;
    static const uint8_t code[] = {3, 0, 2, 1, 4, 0, 1, 2};
    for (int fm = 0; fm < 2; fm++) {
        struct dice d = {40};
        struct layout l = {
            .fm = fm != 0, .sectors = 8, .size_code = 4, .gap3 = 30, .index_mark = true};
        struct track_made t = {0};
        make_truth(&t, &l, &d);
        for (int i = 0; i < t.sectors; i++) {
            t.sector[i].size_code = code[i]; /* its first bytes */
            t.sector[i].mark = i % 3 == 1 ? 0xF8 : 0xFB;
        }
        make_turn(&t, &l, &d, 0);
        make_plain(&t.m, l.fm, l.fm ? 0xFF : 0x4E, 80);
        all_come_back(&t, fm != 0 ? 4000 : 2000);
        make_release(&t);
    }
}

/* Gaps of any length and content that a controller takes: the sync field alone is needed. */
static void gaps_may_be_odd(void **state)
{
    (void)state;
    static const struct {
        int gap2, gap3, fill;
    } gap[] = {{22, 1, 0x4E},  {8, 3, 0x4E},   {30, 255, 0x4E}, {22, 80, 0x00},
               {22, 80, 0xFF}, {22, 80, 0xE5}, {22, 24, 0xA1},  {22, 24, 0xC2}};
    for (size_t g = 0; g < sizeof gap / sizeof gap[0]; g++) {
        struct dice d = {50 + g};
        struct layout l = {.sectors = 9,
                           .size_code = 1,
                           .gap2 = gap[g].gap2,
                           .gap3 = gap[g].gap3,
                           .fill = (uint8_t)gap[g].fill,
                           .fill_zero = gap[g].fill == 0};
        struct track_made t = {0};
        make_truth(&t, &l, &d);
        make_turn(&t, &l, &d, 0);
        make_plain(&t.m, false, 0x4E, 80);
        all_come_back(&t, 2000);
        make_release(&t);
    }
}

/* Identifiers may say anything: another cylinder and side, the same twice, no order. */
static void identifiers_may_say_anything(void **state)
{
    (void)state;
    static const uint8_t id[][3] = {{9, 1, 5},  {9, 1, 5},     {200, 7, 0}, {9, 1, 255},
                                    {0, 0, 17}, {255, 255, 1}, {9, 1, 5}};
    struct dice d = {60};
    struct layout l = {.sectors = 7, .size_code = 2, .gap3 = 80, .index_mark = true};
    struct track_made t = {0};
    make_truth(&t, &l, &d);
    for (int i = 0; i < t.sectors; i++) {
        t.sector[i].cylinder = id[i][0];
        t.sector[i].side = id[i][1];
        t.sector[i].sector = id[i][2];
    }
    make_turn(&t, &l, &d, 0);
    make_plain(&t.m, false, 0x4E, 80);
    all_come_back(&t, 2000);
    make_release(&t);
}

/* Data fields without identifiers, identifiers without data fields. */
static void a_field_without_the_other_is_told(void **state)
{
    (void)state;
    for (int fm = 0; fm < 2; fm++) {
        struct dice d = {70};
        struct layout l = {.fm = fm != 0, .sectors = 6, .size_code = 1, .gap3 = 54};
        struct track_made t = {0};
        struct flux_read r;
        const double cell_ns = fm != 0 ? 4000 : 2000;
        const struct play p = {.cell_ns = cell_ns, .speed = 1, .jitter_ns = 0.05 * cell_ns};
        make_truth(&t, &l, &d);
        t.sector[1].no_data = t.sector[4].no_data = true;
        t.sector[2].no_id = t.sector[5].no_id = true;
        make_turn(&t, &l, &d, 0);
        make_plain(&t.m, l.fm, l.fm ? 0xFF : 0x4E, 80);
        play_and_decode(&t.m, &p, &d, &r);
        struct counted c = count_read(&r, &t);
        assert_int_equal(r.sector_count, 4);
        assert_int_equal(c.ids_good, 4);
        assert_int_equal(c.good, 2);
        assert_int_equal(c.absent, 2);
        assert_int_equal(c.damaged, 0);
        assert_int_equal(r.lone_data_marks, 2);
        flux_read_release(&r);
        make_release(&t);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_layout_of_the_trade_is_read),
        cmocka_unit_test(sectors_of_several_sizes_share_a_track),
        cmocka_unit_test(gaps_may_be_odd),
        cmocka_unit_test(identifiers_may_say_anything),
        cmocka_unit_test(a_field_without_the_other_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
