/* FM: cells, marks and check bytes as the makers' sheets give them, through the whole decoder.
 */
#include "unit/flux_check.h"

static unsigned word_of(unsigned byte, unsigned clock)
{
    struct made m = {0};
    unsigned word = 0;
    make_fm(&m, byte, clock);
    for (size_t c = 0; c < 16; c++) {
        word = word << 1 | m.cell[c];
    }
    free(m.cell);
    return word;
}

/* Source: handbook FM-CELLS; clocks C7 and D7 in the FD179X sheet's control-byte table. */
static void the_makers_words_are_what_bytes_become(void **state)
{
    (void)state;
    assert_int_equal(word_of(0xFC, 0xD7), 0xF77A);
    assert_int_equal(word_of(0xFE, 0xC7), 0xF57E);
    assert_int_equal(word_of(0xFB, 0xC7), 0xF56F);
    assert_int_equal(word_of(0xF8, 0xC7), 0xF56A);
    assert_int_equal(word_of(0xF9, 0xC7), 0xF56B);
    assert_int_equal(word_of(0xFA, 0xC7), 0xF56E);
    assert_int_equal(word_of(0x00, 0xFF), 0xAAAA);
    assert_int_equal(word_of(0xFF, 0xFF), 0xFFFF);
    assert_int_equal(word_of(0xE5, 0xFF), 0xFEBB);
    assert_int_equal(word_of(0x4E, 0xFF), 0xBAFE);
}

/* Source: handbook FM-IDCELLS, the field FE 00 00 01 00 D2C3. */
static void an_identifier_in_the_standards_cells_is_read(void **state)
{
    (void)state;
    static const uint16_t id[] = {0xF57E, 0xAAAA, 0xAAAA, 0xAAAB, 0xAAAA, 0xFBAE, 0xFAAF};
    struct made m = {0};
    struct flux_read r;
    make_plain(&m, true, 0xFF, 60);
    make_plain(&m, true, 0x00, 6);
    for (size_t i = 0; i < sizeof id / sizeof id[0]; i++) {
        make_word(&m, id[i]);
    }
    make_plain(&m, true, 0xFF, 100);
    decode_cells(&m, &r);
    assert_int_equal(r.sector_count, 1);
    assert_true(r.sector[0].id_good);
    assert_int_equal(r.sector[0].sector, 1);
    assert_int_equal(r.sector[0].size_code, 0);
    assert_int_equal(r.sector[0].encoding, ENC_FM);
    assert_int_equal(r.quality.encoding, ENC_FM);
    assert_int_equal(r.quality.data_rate, 250000);
    flux_read_release(&r);
    free(m.cell);
}

/* Source: handbook CRC-DFM-*, 128 bytes of one value. All marks F8 to FB open a data field
 * (FD179X sheet). */
static void data_fields_of_the_handbook_check(void **state)
{
    (void)state;
    static const struct {
        uint8_t mark, fill;
        uint16_t crc;
    } field[] = {{0xFB, 0xE5, 0x5D30}, {0xFB, 0x00, 0x4829}, {0xF8, 0xE5, 0x063D}};
    for (size_t i = 0; i < sizeof field / sizeof field[0]; i++) {
        struct made m = {0};
        struct flux_read r;
        const uint8_t id[4] = {0, 0, 1, 0};
        make_plain(&m, true, 0xFF, 40);
        make_field(&m, true, 0xFE, id, 4, 0);
        make_plain(&m, true, 0xFF, 11);
        make_plain(&m, true, 0x00, 6);
        make_fm(&m, field[i].mark, 0xC7);
        make_plain(&m, true, field[i].fill, 128);
        make_plain(&m, true, field[i].crc >> 8, 1);
        make_plain(&m, true, field[i].crc & 0xFFu, 1);
        make_plain(&m, true, 0xFF, 40);
        decode_cells(&m, &r);
        assert_int_equal(r.sector_count, 1);
        assert_int_equal(r.sector[0].data, FIELD_GOOD);
        assert_int_equal(r.sector[0].mark, field[i].mark);
        assert_int_equal(r.sector[0].deleted, field[i].mark == 0xF8);
        assert_int_equal(r.sector[0].bytes[127], field[i].fill);
        flux_read_release(&r);
        free(m.cell);
    }
}

static void each_of_the_marks_is_told_from_the_others(void **state)
{
    (void)state;
    struct dice d = {8};
    struct layout l = {
        .fm = true, .sectors = 4, .size_code = 0, .gap3 = 27, .index_mark = true};
    struct track_made t = {0};
    struct flux_read r;
    make_truth(&t, &l, &d);
    for (int i = 0; i < 4; i++) {
        t.sector[i].mark = (uint8_t)(0xF8 + i);
    }
    make_turn(&t, &l, &d, 0);
    make_plain(&t.m, true, 0xFF, 40);
    decode_cells(&t.m, &r);
    assert_int_equal(r.index_marks, 1);
    assert_int_equal(count_read(&r, &t).good, 4);
    assert_int_equal(count_read(&r, &t).wrong_bytes, 0);
    flux_read_release(&r);
    make_release(&t);
}

/* Source of the layout: handbook LAY-8FM-26, an 8-inch track of 26 sectors (FD179X sheet states
 * a gap 4 of 247 bytes); cells of 2 us, 360 rpm. */
static void an_eight_inch_track_is_read_whole(void **state)
{
    (void)state;
    struct dice d = {9};
    struct layout l = {.fm = true,
                       .sectors = 26,
                       .size_code = 0,
                       .gap3 = 27,
                       .cylinder = 76,
                       .index_mark = true};
    struct track_made t = {0};
    struct flux_read r;
    const struct play p = {.cell_ns = 2000, .speed = 0.98, .jitter_ns = 150, .sample_ns = 62.5};
    make_truth(&t, &l, &d);
    make_turn(&t, &l, &d, 5208 * 16);
    make_turn(&t, &l, &d, 5208 * 16);
    play_and_decode(&t.m, &p, &d, &r);
    struct counted c = count_read(&r, &t);
    assert_int_equal(c.ids_good, 52);
    assert_int_equal(c.good, 52);
    assert_int_equal(c.wrong_bytes, 0);
    int64_t period[64];
    size_t n = rotation_from_sectors(&r, period, 64);
    assert_int_equal(n, 26);
    for (size_t i = 0; i < n; i++) { /* 5208 bytes of 16 cells of 2 us, 2 % slow */
        assert_true(fabs((double)period[i] / (5208 * 32000 / 0.98) - 1) < 20e-6);
    }
    flux_read_release(&r);
    make_release(&t);
}

/* A disk whose first track is FM and whose rest is MFM, in one stretch. */
static void fm_and_mfm_on_one_stretch_are_both_read(void **state)
{
    (void)state;
    struct dice d = {10};
    struct layout fm = {
        .fm = true, .sectors = 16, .size_code = 0, .gap3 = 25, .index_mark = true};
    struct layout mfm = {
        .sectors = 9, .size_code = 2, .gap3 = 80, .cylinder = 1, .index_mark = true};
    struct track_made a = {0};
    struct track_made b = {0};
    struct flux_made f[2];
    struct flux_made all;
    struct flux_read r;
    const struct play slow = {.cell_ns = 4000, .speed = 1, .jitter_ns = 60};
    const struct play fast = {.cell_ns = 2000, .speed = 1, .jitter_ns = 60};
    make_truth(&a, &fm, &d);
    make_turn(&a, &fm, &d, 50000);
    make_truth(&b, &mfm, &d);
    make_turn(&b, &mfm, &d, 100000);
    make_flux(&a.m, &slow, &d, &f[0]);
    make_flux(&b.m, &fast, &d, &f[1]);
    all.count = f[0].count + f[1].count;
    all.interval_ps = malloc(all.count * sizeof *all.interval_ps);
    assert_non_null(all.interval_ps);
    memcpy(all.interval_ps, f[0].interval_ps, f[0].count * sizeof *all.interval_ps);
    memcpy(all.interval_ps + f[0].count, f[1].interval_ps,
           f[1].count * sizeof *all.interval_ps);
    decode_flux(&all, 0, &r);
    assert_int_equal(r.quality.encoding, ENC_MIXED);
    int good[2] = {0, 0};
    for (size_t i = 0; i < r.sector_count; i++) {
        good[r.sector[i].encoding == ENC_MFM] += r.sector[i].data == FIELD_GOOD;
        assert_true(i == 0 || r.sector[i].id_ns > r.sector[i - 1].id_ns);
    }
    assert_int_equal(good[0], 16);
    assert_int_equal(good[1], 9);
    flux_read_release(&r);
    free(all.interval_ps);
    free(f[0].interval_ps);
    free(f[1].interval_ps);
    make_release(&a);
    make_release(&b);
}

/* The edge of the window is three and a quarter standard deviations away. A clock that took
 * the intervals' own noise for speed ran slow here, and 40 of 100 fields came out. */
static void heavy_jitter_does_not_slow_the_clock(void **state)
{
    (void)state;
    struct dice d = {11};
    struct layout l = {.fm = true, .sectors = 16, .gap3 = 25, .index_mark = true};
    const struct play p = {.cell_ns = 4000, .speed = 1, .jitter_ns = 620};
    int good = 0;
    for (int turn = 0; turn < 6; turn++) {
        struct track_made t = {0};
        struct flux_read r;
        make_truth(&t, &l, &d);
        make_turn(&t, &l, &d, TURN_CELLS / 2);
        play_and_decode(&t.m, &p, &d, &r);
        assert_int_equal(count_read(&r, &t).wrong_bytes, 0);
        assert_true(fabs(r.quality.cell_ns / 4000 - 1) < 300e-6);
        good += count_read(&r, &t).good;
        flux_read_release(&r);
        make_release(&t);
    }
    assert_true(good > 6 * 16 * 85 / 100);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_makers_words_are_what_bytes_become),
        cmocka_unit_test(an_identifier_in_the_standards_cells_is_read),
        cmocka_unit_test(data_fields_of_the_handbook_check),
        cmocka_unit_test(each_of_the_marks_is_told_from_the_others),
        cmocka_unit_test(an_eight_inch_track_is_read_whole),
        cmocka_unit_test(fm_and_mfm_on_one_stretch_are_both_read),
        cmocka_unit_test(heavy_jitter_does_not_slow_the_clock),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
