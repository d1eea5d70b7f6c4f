/* MFM: cells and check bytes as the standards and makers' sheets give them, through the whole
 * decoder. */
#include "unit/flux_check.h"

/* Sectors behind literal cells: gap, sync, the words, gap. */
static void words_in_gaps(struct made *m, const uint16_t *word, size_t n)
{
    make_plain(m, false, 0x4E, 60);
    make_plain(m, false, 0x00, 12);
    for (size_t i = 0; i < n; i++) {
        make_word(m, word[i]);
    }
    make_plain(m, false, 0x4E, 22);
}

/* Source: handbook MFM-A1, MFM-C2 (clock bytes 0A and 14 in the SA810 manual, figs. 6-7 and
 * 6-8), MFM-CELLS-1. */
static void the_makers_words_are_what_bytes_become(void **state)
{
    (void)state;
    static const struct {
        uint8_t before, byte;
        uint16_t word;
    } cells[] = {
        {0x00, 0x00, 0xAAAA}, {0x01, 0x00, 0x2AAA}, {0x4E, 0x4E, 0x9254}, {0x01, 0x4E, 0x1254},
        {0x01, 0xFF, 0x5555}, {0x00, 0xE5, 0x5491}, {0xFF, 0xE5, 0x5491}, {0x00, 0xA1, 0x44A9},
        {0x00, 0xC2, 0x52A4}, {0xA1, 0xFE, 0x5554}, {0xA1, 0xFB, 0x5545}, {0xA1, 0xF8, 0x554A},
        {0xA1, 0xFA, 0x5544}, {0xA1, 0xF9, 0x5549}, {0xC2, 0xFC, 0x5552},
    };
    for (size_t i = 0; i < sizeof cells / sizeof cells[0]; i++) {
        struct made m = {0};
        unsigned word = 0;
        make_mfm(&m, cells[i].before);
        make_mfm(&m, cells[i].byte);
        for (size_t c = 16; c < 32; c++) {
            word = word << 1 | m.cell[c];
        }
        assert_int_equal(word, cells[i].word);
        free(m.cell);
    }
}

/* Source: handbook MFM-IDCELLS, the whole field A1* A1* A1* FE 00 00 01 02 CA 6F. */
static void an_identifier_in_the_standards_cells_is_read(void **state)
{
    (void)state;
    static const uint16_t id[] = {0x4489, 0x4489, 0x4489, 0x5554, 0xAAAA,
                                  0xAAAA, 0xAAA9, 0x2AA4, 0x5244, 0x9455};
    struct made m = {0};
    struct flux_read r;
    words_in_gaps(&m, id, sizeof id / sizeof id[0]);
    make_plain(&m, false, 0x4E, 100);
    decode_cells(&m, &r);
    assert_int_equal(r.sector_count, 1);
    assert_true(r.sector[0].id_good);
    assert_int_equal(r.sector[0].cylinder, 0);
    assert_int_equal(r.sector[0].side, 0);
    assert_int_equal(r.sector[0].sector, 1);
    assert_int_equal(r.sector[0].size_code, 2);
    assert_int_equal(r.sector[0].data, FIELD_ABSENT);
    assert_false(r.sector[0].cut);
    assert_int_equal(r.quality.encoding, ENC_MFM);
    assert_int_equal(r.quality.data_rate, 250000);
    flux_read_release(&r);
    free(m.cell);
}

/* A1 with all its clocks (44A9) is data. Source: handbook MFM-INT-A1N. */
static void bytes_with_all_clocks_are_no_mark(void **state)
{
    (void)state;
    static const uint16_t id[] = {0x44A9, 0x44A9, 0x44A9, 0x5554, 0xAAAA,
                                  0xAAAA, 0xAAA9, 0x2AA4, 0x5244, 0x9455};
    struct made m = {0};
    struct flux_read r;
    words_in_gaps(&m, id, sizeof id / sizeof id[0]);
    decode_cells(&m, &r);
    assert_int_equal(r.sector_count, 0);
    flux_read_release(&r);
    free(m.cell);
}

/* Source: handbook MFM-UNIQ-5224: data bytes 00 14 80 hold C2's cells half a bit out. */
static void index_marks_are_counted_and_look_alikes_are_not(void **state)
{
    (void)state;
    static const uint16_t mark[] = {0x5224, 0x5224, 0x5224, 0x5552}; /* MFM-IAMCELLS */
    struct made m = {0};
    struct flux_read r;
    words_in_gaps(&m, mark, sizeof mark / sizeof mark[0]);
    decode_cells(&m, &r);
    assert_int_equal(r.index_marks, 1);
    flux_read_release(&r);
    m.count = 0;
    make_plain(&m, false, 0x4E, 60);
    for (int i = 0; i < 200; i++) {
        make_plain(&m, false, 0x00, 1);
        make_plain(&m, false, 0x14, 1);
        make_plain(&m, false, 0x80, 1);
    }
    decode_cells(&m, &r);
    assert_int_equal(r.index_marks, 0);
    assert_int_equal(r.sector_count, 0);
    flux_read_release(&r);
    free(m.cell);
}

/* One sector, its check bytes written out. Source: handbook CRC-D-* (512 bytes and others of
 * one value). */
static void data_fields_of_the_handbook_check(void **state)
{
    (void)state;
    static const struct {
        uint8_t mark, fill, size_code;
        uint16_t crc;
    } field[] = {
        {0xFB, 0xE5, 2, 0xC40B}, {0xFB, 0x00, 2, 0xDA6E}, {0xFB, 0xF6, 2, 0x2BF6},
        {0xFB, 0x4E, 2, 0x8284}, {0xFB, 0xFF, 2, 0xA5CF}, {0xFB, 0x6D, 2, 0x102A},
        {0xF8, 0xE5, 2, 0x656C}, {0xF8, 0x00, 2, 0x7B09}, {0xFB, 0xE5, 1, 0x7827},
        {0xFB, 0x00, 1, 0xE122}, {0xFB, 0xE5, 3, 0x1B30}, {0xFB, 0x00, 3, 0x2722},
        {0xFB, 0xE5, 0, 0x62A7},
    };
    for (size_t i = 0; i < sizeof field / sizeof field[0]; i++) {
        struct made m = {0};
        struct flux_read r;
        const uint8_t id[4] = {0, 0, 1, field[i].size_code};
        make_plain(&m, false, 0x4E, 80);
        make_field(&m, false, 0xFE, id, 4, 0);
        make_plain(&m, false, 0x4E, 22);
        make_plain(&m, false, 0x00, 12);
        for (int a = 0; a < 3; a++) {
            make_word(&m, 0x4489);
        }
        make_plain(&m, false, field[i].mark, 1);
        make_plain(&m, false, field[i].fill, 128 << field[i].size_code);
        make_plain(&m, false, field[i].crc >> 8, 1);
        make_plain(&m, false, field[i].crc & 0xFFu, 1);
        make_plain(&m, false, 0x4E, 80);
        decode_cells(&m, &r);
        assert_int_equal(r.sector_count, 1);
        assert_int_equal(r.sector[0].data, FIELD_GOOD);
        assert_int_equal(r.sector[0].mark, field[i].mark);
        assert_int_equal(r.sector[0].deleted, field[i].mark == 0xF8);
        assert_int_equal(r.sector[0].bytes[0], field[i].fill);
        flux_read_release(&r);
        free(m.cell);
    }
}

static void every_size_from_128_to_8192_is_read(void **state)
{
    (void)state;
    for (int code = 0; code <= 6; code++) {
        struct dice d = {(uint64_t)code + 5};
        struct layout l = {
            .sectors = code < 5 ? 5 : 1, .size_code = code, .gap3 = 54, .index_mark = true};
        struct track_made t = {0};
        struct flux_read r;
        make_truth(&t, &l, &d);
        make_turn(&t, &l, &d, 0);
        make_plain(&t.m, false, 0x4E, 100);
        decode_cells(&t.m, &r);
        struct counted c = count_read(&r, &t);
        assert_int_equal(c.good, t.sectors);
        assert_int_equal(c.wrong_bytes, 0);
        flux_read_release(&r);
        make_release(&t);
    }
}

/* Wrong check bytes, no data field, and a data field without its identifier, each told apart.
 */
static void what_is_wrong_is_said_of_each_field(void **state)
{
    (void)state;
    struct dice d = {3};
    struct layout l = {.sectors = 5, .size_code = 2, .gap3 = 80, .cylinder = 39, .side = 1};
    struct track_made t = {0};
    struct flux_read r;
    make_truth(&t, &l, &d);
    t.sector[1].id_wrong = true;
    t.sector[2].data_wrong = true;
    t.sector[3].no_data = true;
    t.sector[4].mark = 0xF8;
    make_turn(&t, &l, &d, 0);
    make_field(&t.m, false, 0xFB, t.sector[0].bytes, 512, 0); /* far from any identifier */
    make_plain(&t.m, false, 0x4E, 100);
    decode_cells(&t.m, &r);
    struct counted c = count_read(&r, &t);
    assert_int_equal(r.sector_count, 5);
    assert_int_equal(c.ids_good, 4);
    assert_false(r.sector[1].id_good);
    assert_int_equal(r.sector[1].data, FIELD_GOOD);
    assert_int_equal(r.sector[2].data, FIELD_DAMAGED);
    assert_int_equal(r.sector[3].data, FIELD_ABSENT);
    assert_false(r.sector[3].cut);
    assert_true(r.sector[4].deleted);
    assert_int_equal(r.sector[4].cylinder, 39);
    assert_int_equal(r.sector[4].side, 1);
    assert_int_equal(r.lone_data_marks, 1);
    assert_int_equal(c.wrong_bytes, 0);
    flux_read_release(&r);
    make_release(&t);
}

static void the_end_of_the_recording_cuts_and_does_not_damage(void **state)
{
    (void)state;
    struct dice d = {3};
    struct layout l = {.sectors = 2, .size_code = 2, .gap3 = 80};
    struct track_made t = {0};
    make_truth(&t, &l, &d);
    make_turn(&t, &l, &d, 0);
    size_t end = t.m.count;
    for (size_t back = 16 * 85; back < 16 * 640; back += 16 * 37) {
        struct flux_read r;
        t.m.count = end - back;
        decode_cells(&t.m, &r);
        assert_int_equal(r.sector[0].data, FIELD_GOOD);
        if (r.sector_count == 2) {
            assert_true(r.sector[1].cut);
            assert_int_equal(r.sector[1].data, FIELD_ABSENT);
        }
        flux_read_release(&r);
    }
    t.m.count = end;
    make_release(&t);
}

/* Source of the window: FD179X sheet, the data mark within 43 bytes of the identifier in MFM;
 * gap 2 of 41 bytes at 1 Mbit/s (LPC47M10x sheet p. 49) needs 56. */
static void data_mark_counts_within_the_window_only(void **state)
{
    (void)state;
    static const struct {
        int gap;
        enum field_state data;
    } gap[] = {{22, FIELD_GOOD}, {28, FIELD_GOOD}, {41, FIELD_GOOD}, {60, FIELD_ABSENT}};
    for (size_t i = 0; i < sizeof gap / sizeof gap[0]; i++) {
        struct made m = {0};
        struct flux_read r;
        const uint8_t id[4] = {1, 0, 1, 0};
        const uint8_t data[128] = {1, 2, 3};
        make_plain(&m, false, 0x4E, 80);
        make_field(&m, false, 0xFE, id, 4, 0);
        make_plain(&m, false, 0x4E, gap[i].gap);
        make_field(&m, false, 0xFB, data, sizeof data, 0);
        make_plain(&m, false, 0x4E, 80);
        decode_cells(&m, &r);
        assert_int_equal(r.sector_count, 1);
        assert_int_equal(r.sector[0].data, gap[i].data);
        assert_int_equal(r.lone_data_marks, gap[i].data == FIELD_ABSENT);
        flux_read_release(&r);
        free(m.cell);
    }
}

/* A length code that no format has must not lead anywhere: two bits of it count. */
static void odd_length_codes_stay_in_bounds(void **state)
{
    (void)state;
    for (unsigned code = 7; code < 256; code += 31) {
        struct made m = {0};
        struct flux_read r;
        const uint8_t id[4] = {1, 0, 1, (uint8_t)code};
        const uint8_t data[1024] = {9};
        make_plain(&m, false, 0x4E, 80);
        make_field(&m, false, 0xFE, id, 4, 0);
        make_plain(&m, false, 0x4E, 22);
        make_field(&m, false, 0xFB, data, (size_t)128 << (code & 3), 0);
        make_plain(&m, false, 0x4E, 80);
        decode_cells(&m, &r);
        assert_int_equal(r.sector_count, 1);
        assert_int_equal(r.sector[0].size_code, code & 3);
        assert_int_equal(r.sector[0].data, FIELD_GOOD);
        flux_read_release(&r);
        free(m.cell);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_makers_words_are_what_bytes_become),
        cmocka_unit_test(an_identifier_in_the_standards_cells_is_read),
        cmocka_unit_test(bytes_with_all_clocks_are_no_mark),
        cmocka_unit_test(index_marks_are_counted_and_look_alikes_are_not),
        cmocka_unit_test(data_fields_of_the_handbook_check),
        cmocka_unit_test(every_size_from_128_to_8192_is_read),
        cmocka_unit_test(what_is_wrong_is_said_of_each_field),
        cmocka_unit_test(the_end_of_the_recording_cuts_and_does_not_damage),
        cmocka_unit_test(data_mark_counts_within_the_window_only),
        cmocka_unit_test(odd_length_codes_stay_in_bounds),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
