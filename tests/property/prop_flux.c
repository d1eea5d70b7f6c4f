/* Tracks at random in, the same sectors out; rotation at random likewise. The seed is printed;
 * give another as the first argument. */
#include "unit/flux_check.h"

#include <stdio.h>

static uint64_t seed = 20260101;

#define ROUNDS 60

struct format {
    bool fm;
    double cell_ns;
    int sectors, size_code, gap3;
};
/* Layouts of the handbook's chapter 6 (LAY-*), and two odd ones. */
static const struct format format[] = {
    {false, 2000, 9, 2, 80},     {false, 2000, 16, 1, 50}, {false, 2000, 18, 1, 12},
    {false, 2000, 4, 3, 240},    {false, 1000, 15, 2, 84}, {false, 1000, 18, 2, 108},
    {false, 1666.667, 9, 2, 80}, {false, 500, 36, 2, 83},  {true, 4000, 16, 0, 25},
    {true, 4000, 9, 1, 42},      {true, 2000, 26, 0, 27},  {false, 2000, 10, 2, 30},
    {false, 2000, 1, 5, 200},    {true, 2000, 5, 2, 58},
};
#define FORMATS ((int)(sizeof format / sizeof format[0]))

static struct track_made track_at_random(struct dice *d, const struct format *f,
                                         struct layout *l)
{
    struct track_made t = {0};
    *l = (struct layout){.fm = f->fm,
                         .sectors = f->sectors,
                         .size_code = f->size_code,
                         .gap3 = f->gap3,
                         .cylinder = (uint8_t)dice_below(d, 84),
                         .side = (uint8_t)dice_below(d, 2),
                         .index_mark = dice_below(d, 2) == 0,
                         .rewritten = dice_below(d, 2) == 0};
    make_truth(&t, l, d);
    for (int i = 0; i < t.sectors; i++) {
        t.sector[i].id_wrong = dice_below(d, 25) == 0;
        t.sector[i].data_wrong = dice_below(d, 25) == 0;
        t.sector[i].no_data = dice_below(d, 40) == 0;
        t.sector[i].mark = dice_below(d, 10) == 0 ? 0xF8 : 0xFB;
        if (dice_below(d, 4) == 0) { /* one byte all through, as on fresh disks */
            memset(t.sector[i].bytes, (int)(dice_bits(d) & 0xFF),
                   (size_t)128 << t.sector[i].size_code);
        }
    }
    make_turn(&t, l, d, 0);
    make_turn(&t, l, d, 0);
    make_plain(&t.m, f->fm, f->fm ? 0xFF : 0x4E, 80);
    return t;
}

/* Jitter far inside the window: nothing may be lost or made up. */
static void whatever_was_written_comes_back(void **state)
{
    (void)state;
    for (uint64_t round = 0; round < ROUNDS; round++) {
        struct dice d = {seed + round};
        const struct format *f = &format[dice_below(&d, FORMATS)];
        struct layout l;
        struct track_made t = track_at_random(&d, f, &l);
        struct flux_read r;
        const struct play p = {.cell_ns = f->cell_ns,
                               .speed = 1 + 0.16 * (dice_unit(&d) - 0.5),
                               .wow = 0.02 * dice_unit(&d),
                               .wow_hz = 0.5 + 20 * dice_unit(&d),
                               .from_ns = 1e9 * dice_unit(&d),
                               .jitter_ns = 0.06 * f->cell_ns * dice_unit(&d),
                               .shift_ns = 0.06 * f->cell_ns * dice_unit(&d),
                               .asymmetry_ns = 0.1 * f->cell_ns * (dice_unit(&d) - 0.5)};
        play_and_decode(&t.m, &p, &d, &r);
        bool right = r.sector_count == 2 * (size_t)t.sectors &&
                     r.quality.encoding == (f->fm ? ENC_FM : ENC_MFM);
        for (size_t i = 0; right && i < r.sector_count; i++) {
            const struct truth *x = &t.sector[i % (size_t)t.sectors];
            const struct sector_read *s = &r.sector[i];
            right = s->id_good == !x->id_wrong && !s->cut &&
                    (s->data == FIELD_GOOD) == (!x->data_wrong && !x->no_data) &&
                    (s->data == FIELD_ABSENT) == x->no_data;
            right = right &&
                    (x->id_wrong || (s->cylinder == x->cylinder && s->side == x->side &&
                                     s->sector == x->sector && s->size_code == x->size_code));
            right = right &&
                    (x->no_data || (s->mark == x->mark && s->deleted == (x->mark == 0xF8)));
            right = right && (s->data != FIELD_GOOD ||
                              memcmp(s->bytes, x->bytes, (size_t)128 << x->size_code) == 0);
        }
        if (!right) {
            fail_msg("round with seed %llu: format %d, %zu sectors read",
                     (unsigned long long)(seed + round), (int)(f - format), r.sector_count);
        }
        flux_read_release(&r);
        make_release(&t);
    }
}

/* Bad signals: pulses lost and added, heavy jitter. A field that is called good is good. */
static void no_field_is_called_good_that_is_not(void **state)
{
    (void)state;
    for (uint64_t round = 0; round < ROUNDS / 2; round++) {
        struct dice d = {seed + 1000 + round};
        const struct format *f = &format[dice_below(&d, FORMATS)];
        struct layout l;
        struct track_made t = track_at_random(&d, f, &l);
        struct flux_read r;
        const struct play p = {.cell_ns = f->cell_ns,
                               .speed = 1 + 0.2 * (dice_unit(&d) - 0.5),
                               .jitter_ns = 0.2 * f->cell_ns * dice_unit(&d),
                               .lost = 0.003 * dice_unit(&d),
                               .added = 0.003 * dice_unit(&d)};
        play_and_decode(&t.m, &p, &d, &r);
        struct counted c = count_read(&r, &t);
        for (size_t i = 0; i < r.sector_count; i++) {
            c.wrong_bytes -= r.sector[i].data == FIELD_GOOD && !r.sector[i].id_good &&
                             !same_bytes(&r.sector[i], &t);
        }
        if (c.wrong_bytes != 0 || c.good > 2 * t.sectors) {
            fail_msg("round with seed %llu: %d wrong",
                     (unsigned long long)(seed + 1000 + round), c.wrong_bytes);
        }
        flux_read_release(&r);
        make_release(&t);
    }
}

/* A recording that begins and ends anywhere gives a part of the whole, in order. */
static void any_part_gives_a_part_of_the_whole(void **state)
{
    (void)state;
    struct dice d = {seed + 2000};
    struct layout l = {.fm = false,
                       .sectors = 9,
                       .size_code = 2,
                       .gap3 = 80,
                       .cylinder = 3,
                       .side = 1,
                       .index_mark = true,
                       .rewritten = true};
    struct track_made t = {0};
    struct flux_made f;
    struct flux_read whole;
    const struct play p = {.cell_ns = 2000, .speed = 1.01, .jitter_ns = 60};
    make_truth(&t, &l, &d);
    make_turn(&t, &l, &d, 100000);
    make_flux(&t.m, &p, &d, &f);
    decode_flux(&f, 0, &whole);
    assert_int_equal(whole.sector_count, 9);
    for (int round = 0; round < 40; round++) {
        size_t from = (size_t)dice_below(&d, (int)f.count);
        size_t n = (size_t)dice_below(&d, (int)(f.count - from));
        const struct flux_made part = {.interval_ps = f.interval_ps + from, .count = n};
        struct flux_read r;
        decode_flux(&part, 0, &r);
        assert_true(r.sector_count <= 9);
        for (size_t i = 0; i < r.sector_count; i++) {
            assert_true(r.sector[i].id_good);
            assert_true(r.sector[i].data == FIELD_GOOD || r.sector[i].cut);
            assert_true(i == 0 || r.sector[i].sector == r.sector[i - 1].sector + 1);
        }
        flux_read_release(&r);
    }
    flux_read_release(&whole);
    free(f.interval_ps);
    make_release(&t);
}

/* Turns within 0.4 % of each other, some pulses lost and added: counted to the last one. */
static void turns_at_random_are_counted(void **state)
{
    (void)state;
    static struct rotation rotation;
    for (uint64_t round = 0; round < 300; round++) {
        struct dice d = {seed + 3000 + round};
        struct index_pulse pulse[200];
        size_t n = 0;
        int missing = 0;
        int extra = 0;
        int turns = 0;
        double rpm = (dice_below(&d, 2) ? 300 : 360) * (1 + 0.1 * (dice_unit(&d) - 0.5));
        double at = 1e6 * dice_unit(&d);
        bool before = true;
        for (int i = 0; i < 60; i++) {
            bool kept = i < 3 || i > 56 || dice_below(&d, 15) != 0;
            if (kept) {
                pulse[n++] = (struct index_pulse){(int64_t)at, (int64_t)at + 2000000};
            }
            missing += !kept;
            turns += i > 0 && kept && before;
            if (i > 3 && i < 56 && kept && dice_below(&d, 20) == 0) {
                int64_t ns = (int64_t)(at + (0.3 + 0.4 * dice_unit(&d)) * 60e9 / rpm);
                pulse[n++] = (struct index_pulse){ns, ns + 200000};
                extra++;
            }
            before = kept;
            at += 60e9 / rpm * (1 + 0.004 * (dice_unit(&d) - 0.5));
        }
        struct index_stats s;
        assert_int_equal(rotation_from_index(pulse, n, NULL, 0, 0, -1, &rotation, &s), ERR_OK);
        if (s.missing != missing || s.extra != extra || rotation.revolutions != turns ||
            fabs(rotation.rpm / rpm - 1) > 0.003) {
            fail_msg(
                "seed %llu: %d of %d missing, %d of %d extra, %d of %d turns, %.2f of %.2f rpm",
                (unsigned long long)(seed + 3000 + round), s.missing, missing, s.extra, extra,
                rotation.revolutions, turns, rotation.rpm, rpm);
        }
    }
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whatever_was_written_comes_back),
        cmocka_unit_test(no_field_is_called_good_that_is_not),
        cmocka_unit_test(any_part_gives_a_part_of_the_whole),
        cmocka_unit_test(turns_at_random_are_counted),
    };
    if (argc > 1) {
        seed = strtoull(argv[1], NULL, 10);
    }
    printf("seed %llu\n", (unsigned long long)seed);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
