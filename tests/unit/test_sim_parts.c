/* The simulator's parts by themselves: cells and check bytes against the standards' handbook,
 * names, random numbers, tracks, separator. */
#include "sim/cells.h"
#include "sim/disk.h"
#include "sim/fault.h"
#include "sim/rng.h"
#include "sim/separator.h"
#include "sim/sim.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const struct disk_content SEED_7 = {.seed = 7};
static const struct disk_format DD9 = {.cell_ns = 2000,
                                       .turn_ns = 200e6,
                                       .sectors = 9,
                                       .size_code = 2,
                                       .gap3 = 80,
                                       .cylinders = 80,
                                       .sides = 2};
static const struct disk_format FM26 = {.fm = true,
                                        .cell_ns = 2000,
                                        .turn_ns = 166.7e6,
                                        .sectors = 26,
                                        .gap3 = 27,
                                        .cylinders = 77,
                                        .sides = 1};

static bool holds(const struct cells *c, const uint16_t *word, size_t words)
{
    for (size_t at = 0; at + 16 * words <= c->count; at++) {
        size_t k = 0;
        while (k < 16 * words && c->cell[at + k] == ((word[k / 16] >> (15 - k % 16)) & 1))
            k++;
        if (k == 16 * words)
            return true;
    }
    return false;
}

/* Standards handbook, key MFM-IDCELLS: A1* A1* A1* FE 00 00 01 02 CA 6F. */
static void mfm_identifier_has_the_cells_of_the_standard(void **state)
{
    (void)state;
    static const uint16_t id[] = {0x4489, 0x4489, 0x4489, 0x5554, 0xAAAA,
                                  0xAAAA, 0xAAA9, 0x2AA4, 0x5244, 0x9455};
    struct cells c = {0};
    sim_cells_track(&c, &DD9, &SEED_7, 0, 0, 0);
    assert_false(c.failed);
    assert_true(holds(&c, id, 10));
    sim_cells_release(&c);
}

/* Standards handbook, key FM-IDCELLS: FE 00 00 01 00 with check bytes D2 C3. */
static void fm_identifier_has_the_cells_of_the_standard(void **state)
{
    (void)state;
    static const uint16_t id[] = {0xF57E, 0xAAAA, 0xAAAA, 0xAAAB, 0xAAAA, 0xFBAE, 0xFAAF};
    struct cells c = {0};
    sim_cells_track(&c, &FM26, &SEED_7, 0, 0, 0);
    assert_true(holds(&c, id, 7));
    sim_cells_release(&c);
}

/* Standards handbook, column "used" of the LAY- keys. */
static void tracks_have_the_lengths_of_the_layouts(void **state)
{
    (void)state;
    static const struct {
        bool fm;
        int sectors, size_code, gap3;
        size_t bytes;
    } layout[] = {{false, 9, 2, 80, 6032},   {false, 18, 2, 101, 12296},
                  {false, 15, 2, 84, 10016}, {false, 26, 1, 54, 9818},
                  {true, 26, 0, 27, 4961},   {true, 16, 0, 25, 3049}};
    for (size_t i = 0; i < sizeof layout / sizeof layout[0]; i++) {
        struct disk_format f = DD9;
        struct cells c = {0};
        f.fm = layout[i].fm;
        f.sectors = layout[i].sectors;
        f.size_code = layout[i].size_code;
        f.gap3 = layout[i].gap3;
        sim_cells_track(&c, &f, &SEED_7, 5, 1, 0);
        assert_int_equal(c.count, layout[i].bytes * 16);
        sim_cells_release(&c);
    }
}

/* Standards handbook, keys CRC-D-E5 and calc.crc_idam of the timing table. */
static void check_bytes_agree_with_the_handbook(void **state)
{
    (void)state;
    uint16_t crc = 0xFFFF;
    for (int i = 0; i < 3; i++)
        crc = sim_crc16(crc, 0xA1);
    assert_int_equal(crc, 0xCDB4);
    assert_int_equal(sim_crc16(crc, 0xFE), 0xB230);
    crc = sim_crc16(crc, 0xFB);
    for (int i = 0; i < 512; i++)
        crc = sim_crc16(crc, 0xE5);
    assert_int_equal(crc, 0xC40B);
}

/* Published first outputs of SplitMix64 for the seed 1234567 (from memory). */
static void random_numbers_are_those_of_the_published_generator(void **state)
{
    (void)state;
    struct rng r = {1234567};
    assert_true(sim_rng_u64(&r) == UINT64_C(6457827717110365317));
    assert_true(sim_rng_u64(&r) == UINT64_C(3203168211198807973));
}

static void gauss_has_mean_zero_and_unit_deviation(void **state)
{
    (void)state;
    struct rng r;
    double sum = 0;
    double square = 0;
    sim_rng_seed(&r, 3, 4);
    for (int i = 0; i < 20000; i++) {
        double g = sim_rng_gauss(&r);
        sum += g;
        square += g * g;
    }
    assert_true(sum / 20000 < 0.03 && sum / 20000 > -0.03);
    assert_true(square / 20000 > 0.96 && square / 20000 < 1.04);
}

static void sine_is_a_sine(void **state)
{
    (void)state;
    static const double known[][2] = {
        {0, 0}, {1.0 / 12, 0.5}, {0.25, 1}, {1.0 / 3, 0.866025}, {0.75, -1}, {2.125, 0.707107}};
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        double d = sim_sine_turns(known[i][0]) - known[i][1];
        assert_true(d < 2e-3 && d > -2e-3);
    }
}

static void every_listed_fault_is_known_and_the_list_is_sorted(void **state)
{
    (void)state;
    const char *const *name = NULL;
    size_t count = sim_faults(&name);
    assert_true(count > 150);
    for (size_t i = 0; i < count; i++) {
        struct fault f;
        struct err_msg e = {0};
        assert_int_equal(sim_fault_parse(name[i], &f, &e), ERR_OK);
        assert_int_equal(f.kind == FAULT_NONE, strcmp(name[i], "none") == 0);
        if (i > 0)
            assert_true(strcmp(name[i - 1], name[i]) < 0);
    }
}

static void unknown_faults_are_refused_with_a_reason(void **state)
{
    (void)state;
    static const char *const bad[] = {"cable.INDEX",
                                      "cable.BLUE.open",
                                      "drive.INDEX.open",
                                      "",
                                      "controller.driver.INDEX.dead",
                                      "cable.INDEX+.short",
                                      "cable.STEP+STEP.short",
                                      "setup.lead..open"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct fault f;
        struct err_msg e = {0};
        assert_int_equal(sim_fault_parse(bad[i], &f, &e), ERR_USAGE);
        assert_true(e.text[0] != '\0');
    }
}

static void joined_pairs_name_both_lines(void **state)
{
    (void)state;
    struct fault f;
    assert_int_equal(sim_fault_parse("cable.DIR+STEP.short", &f, NULL), ERR_OK);
    assert_int_equal(f.kind, FAULT_CABLE_JOIN);
    assert_int_equal(f.a, LINE_DIR);
    assert_int_equal(f.b, LINE_STEP);
}

/* A turn of a track through the separator: good identifiers and data fields. */
static void read_turn(const struct disk_format *f, double speed, double free_run, int *ids,
                      int *good)
{
    struct cells c = {0};
    struct separator s;
    sim_cells_track(&c, f, &SEED_7, 3, 0, 0);
    sim_separator_start(&s, f->fm, f->cell_ns, 0.06, free_run, 0);
    *ids = *good = 0;
    for (size_t i = 0; i < c.count; i++) {
        if (c.cell[i])
            sim_separator_pulse(&s, (int64_t)(5000 + (double)i * f->cell_ns * speed));
        *ids += s.id_new && s.id.good && s.id.cylinder == 3;
        *good += s.data_new && s.data_good;
        s.id_new = s.data_new = false;
    }
    sim_cells_release(&c);
}

static void separator_follows_within_its_range_only(void **state)
{
    (void)state;
    int ids;
    int good;
    read_turn(&DD9, 1.0, 0, &ids, &good);
    assert_int_equal(ids, 9);
    assert_int_equal(good, 9);
    read_turn(&FM26, 1.03, 0, &ids, &good);
    assert_int_equal(good, 26);
    read_turn(&DD9, 0.95, 0, &ids, &good);
    assert_int_equal(good, 9);
    read_turn(&DD9, 0.87, 0, &ids, &good);
    assert_int_equal(good, 0);
    read_turn(&DD9, 1.0, 0.84, &ids, &good);
    assert_int_equal(good, 0);
}

static void writing_replaces_an_arc_also_across_the_index(void **state)
{
    (void)state;
    struct track t = {.pos = calloc(4, sizeof(int32_t)), .count = 4};
    static const int32_t before[] = {100, 400, 600, 900};
    static const double fresh[] = {2850, 2950, 3050, 3150};
    static const int32_t after[] = {50, 150, 400, 600, 850, 950};
    memcpy(t.pos, before, sizeof before);
    assert_int_equal(sim_track_write(&t, 1000, 2800, 3200, fresh, 4), ERR_OK);
    assert_int_equal(t.count, 6);
    assert_memory_equal(t.pos, after, sizeof after);
    free(t.pos);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(mfm_identifier_has_the_cells_of_the_standard),
        cmocka_unit_test(fm_identifier_has_the_cells_of_the_standard),
        cmocka_unit_test(tracks_have_the_lengths_of_the_layouts),
        cmocka_unit_test(check_bytes_agree_with_the_handbook),
        cmocka_unit_test(random_numbers_are_those_of_the_published_generator),
        cmocka_unit_test(gauss_has_mean_zero_and_unit_deviation),
        cmocka_unit_test(sine_is_a_sine),
        cmocka_unit_test(every_listed_fault_is_known_and_the_list_is_sorted),
        cmocka_unit_test(unknown_faults_are_refused_with_a_reason),
        cmocka_unit_test(joined_pairs_name_both_lines),
        cmocka_unit_test(separator_follows_within_its_range_only),
        cmocka_unit_test(writing_replaces_an_arc_also_across_the_index),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
