/* The bit clock under what drives and disks do to it: whatever happens beside a sector, the
 * sector is read. The seed is printed; give another as the first argument. All of it is
 * invented data.
 */
#include "unit/flux_check.h"

#include <stdio.h>

static uint64_t seed = 20260401;

#define SECTORS 9
#define ALL     ((1u << SECTORS) - 1)
#define ROUNDS  48

/* A track whose sectors' places are known: from the sync field of the identifier, through the
 * data field's check bytes, in cells. */
struct placed {
    struct track_made t;
    size_t from[SECTORS], data[SECTORS], to[SECTORS];
};

static void placed_make(struct placed *x, bool fm, bool rewritten, struct dice *d)
{
    const struct layout l = {
        .fm = fm, .sectors = SECTORS, .size_code = fm ? 1 : 2, .gap3 = fm ? 42 : 80};
    const unsigned gap = fm ? 0xFF : 0x4E;
    memset(x, 0, sizeof *x);
    make_truth(&x->t, &l, d);
    make_index(&x->t.m, fm, true);
    for (int i = 0; i < SECTORS; i++) {
        const struct truth *s = &x->t.sector[i];
        const uint8_t id[4] = {s->cylinder, s->side, s->sector, s->size_code};
        x->from[i] = x->t.m.count;
        make_field(&x->t.m, fm, 0xFE, id, sizeof id, 0);
        make_plain(&x->t.m, fm, gap, fm ? 11 : 22);
        if (rewritten) {
            make_splice(&x->t.m, dice_unit(d) - 0.5);
        }
        x->data[i] = x->t.m.count;
        make_field(&x->t.m, fm, 0xFB, s->bytes, (size_t)128 << s->size_code, 0);
        x->to[i] = x->t.m.count;
        make_plain(&x->t.m, fm, gap, 1);
        if (rewritten) {
            make_splice(&x->t.m, dice_unit(d) - 0.5);
        }
        make_plain(&x->t.m, fm, gap, l.gap3);
    }
    make_plain(&x->t.m, fm, gap, 150);
}

/* ---- harm done to a part of the track */

enum harm { SILENCE, NOISE, EXTRA, SCATTERED, HARMS };
static const char *const harm_name[HARMS] = {"dropout", "weak area", "burst of extra pulses",
                                             "pulses lost here and there"};

static double *times_of(const struct flux_made *f, double scale)
{
    double *at = malloc((f->count + 1) * sizeof *at);
    assert_non_null(at);
    at[0] = f->start_ps / scale;
    for (size_t i = 0; i < f->count; i++) {
        at[i + 1] = at[i] + f->interval_ps[i] / scale;
    }
    return at;
}

/* Transitions between two times go, or others come. */
static void harm_times(struct flux_made *f, enum harm harm, double from_ns, double to_ns,
                       double cell_ns, struct dice *d)
{
    double *at = times_of(f, 1000);
    size_t most = f->count + 1 + (size_t)((to_ns - from_ns) / cell_ns) + 16;
    double *out = malloc(2 * most * sizeof *out);
    size_t n = 0;
    assert_non_null(out);
    for (size_t i = 0; i <= f->count; i++) {
        bool inside = at[i] >= from_ns && at[i] < to_ns;
        if (!inside || harm == EXTRA || (harm == SCATTERED && dice_below(d, 4) != 0)) {
            out[n++] = at[i];
        }
    }
    for (double ns = from_ns; harm == NOISE || harm == EXTRA; n++) {
        ns += cell_ns * (harm == NOISE ? 0.5 - 2.5 * log(dice_unit(d)) : 2 * dice_unit(d));
        if (ns >= to_ns) {
            break;
        }
        out[n] = ns;
    }
    qsort(out, n, sizeof *out, compare_times);
    f->interval_ps = realloc(f->interval_ps, n * sizeof *f->interval_ps);
    assert_non_null(f->interval_ps);
    for (size_t i = 1; i < n; i++) {
        f->interval_ps[i - 1] =
            (uint32_t)((int64_t)(out[i] * 1000) - (int64_t)(out[i - 1] * 1000));
    }
    f->count = n - 1;
    free(at);
    free(out);
}

/* Sectors read right: a bit each. */
static unsigned read_of(const struct flux_made *f, const struct placed *x)
{
    unsigned right = 0;
    struct flux_read r;
    decode_flux(f, 0, &r);
    for (size_t i = 0; i < r.sector_count; i++) {
        const struct sector_read *s = &r.sector[i];
        if (s->id_good && s->data == FIELD_GOOD) {
            assert_true(same_bytes(s, &x->t)); /* good means as it was written */
            right |= 1u << (s->sector - 1);
        }
    }
    flux_read_release(&r);
    return right;
}

static bool all_are_read(const struct placed *x, const struct play *p, struct dice *d,
                         const char *what)
{
    struct flux_made f;
    make_flux(&x->t.m, p, d, &f);
    unsigned right = read_of(&f, x);
    free(f.interval_ps);
    if (right != ALL) {
        print_message("%s: sectors %03x read, speed %.3f, wow %.3f at %.1f Hz\n", what, right,
                      p->speed, p->wow, p->wow_hz);
    }
    return right == ALL;
}

/* ---- speed */

static void speed_may_be_off_by_a_tenth_and_swing(void **state)
{
    static const double speed[] = {0.9, 0.95, 1, 1.05, 1.1};
    static const double hz[] = {0, 0.5, 1, 2, 5, 10, 20, 30, 50};
    int lost = 0;
    (void)state;
    for (int fm = 0; fm < 2; fm++) {
        struct dice d = {seed + (uint64_t)fm};
        struct placed x;
        placed_make(&x, fm != 0, false, &d);
        for (size_t s = 0; s < sizeof speed / sizeof speed[0]; s++) {
            for (size_t h = 0; h < sizeof hz / sizeof hz[0]; h++) {
                const double cell_ns = fm != 0 ? 4000 : 2000;
                const struct play p = {.cell_ns = cell_ns,
                                       .speed = speed[s],
                                       .wow = hz[h] > 0 ? 0.04 : 0,
                                       .wow_hz = hz[h],
                                       .from_ns = 2e9 * dice_unit(&d),
                                       .jitter_ns = 0.05 * cell_ns};
                lost += !all_are_read(&x, &p, &d, fm != 0 ? "FM" : "MFM");
            }
        }
        make_release(&x.t);
    }
    assert_int_equal(lost, 0);
}

/* Speed and swing at random, each data field written off the grid of its identifier by up to
 * half a cell. */
static void splices_cost_nothing_at_any_speed(void **state)
{
    int lost = 0;
    (void)state;
    for (uint64_t round = 0; round < ROUNDS; round++) {
        struct dice d = {seed + 100 + round};
        struct placed x;
        bool fm = round % 3 == 2;
        placed_make(&x, fm, true, &d);
        const double cell_ns = fm ? 4000 : 2000;
        const struct play p = {.cell_ns = cell_ns,
                               .speed = 0.9 + 0.2 * dice_unit(&d),
                               .wow = 0.04 * dice_unit(&d),
                               .wow_hz = 0.5 * pow(100, dice_unit(&d)),
                               .from_ns = 2e9 * dice_unit(&d),
                               .jitter_ns = 0.05 * cell_ns};
        lost += !all_are_read(&x, &p, &d, "splices");
        make_release(&x.t);
    }
    assert_int_equal(lost, 0);
}

/* ---- harm */

/* Harm in the cells from..to must leave every sector that it does not touch, its sync fields
 * whole. */
static bool harm_is_borne(struct placed *x, const struct play *p, enum harm harm, size_t from,
                          size_t to, struct dice *d)
{
    struct flux_made f;
    unsigned touched = 0;
    for (int i = 0; i < SECTORS; i++) {
        touched |= (unsigned)(from < x->to[i] && to > x->from[i]) << i;
    }
    make_flux(&x->t.m, p, d, &f);
    harm_times(&f, harm, make_time(p, (double)from - 0.5), make_time(p, (double)to - 0.5),
               p->cell_ns, d);
    unsigned right = read_of(&f, x);
    free(f.interval_ps);
    if ((right | touched) != ALL) {
        print_message("%s over cells %zu to %zu: sectors %03x read, %03x touched, speed %.3f\n",
                      harm_name[harm], from, to, right, touched, p->speed);
    }
    return (right | touched) == ALL;
}

/* Of any length up to a sector and a half, anywhere. */
static void harm_takes_what_it_touches_and_no_more(void **state)
{
    int lost = 0;
    (void)state;
    for (uint64_t round = 0; round < HARMS * ROUNDS; round++) {
        struct dice d = {seed + 200 + round};
        struct placed x;
        bool fm = round % 3 == 2;
        placed_make(&x, fm, round % 2 == 0, &d);
        const double cell_ns = fm ? 4000 : 2000;
        const struct play p = {.cell_ns = cell_ns,
                               .speed = 0.9 + 0.2 * dice_unit(&d),
                               .wow = 0.04 * dice_unit(&d),
                               .wow_hz = 0.5 * pow(100, dice_unit(&d)),
                               .from_ns = 2e9 * dice_unit(&d),
                               .jitter_ns = 0.05 * cell_ns};
        size_t length = (size_t)(20 * pow(700, dice_unit(&d)));
        size_t from = x.from[0] + (size_t)dice_below(&d, (int)(x.to[SECTORS - 1] - x.from[0]));
        lost += !harm_is_borne(&x, &p, (enum harm)(round / ROUNDS), from, from + length, &d);
        make_release(&x.t);
    }
    assert_int_equal(lost, 0);
}

/* All of gap 3 is harmed, up to the sync field: the clock has that field alone to come back
 * in. */
static void the_clock_comes_back_within_one_sync_field(void **state)
{
    int lost = 0;
    (void)state;
    for (uint64_t round = 0; round < HARMS * ROUNDS / 2; round++) {
        struct dice d = {seed + 600 + round};
        struct placed x;
        bool fm = round % 3 == 2;
        placed_make(&x, fm, false, &d);
        const double cell_ns = fm ? 4000 : 2000;
        const struct play p = {.cell_ns = cell_ns,
                               .speed = 0.9 + 0.2 * dice_unit(&d),
                               .jitter_ns = 0.05 * cell_ns};
        int i = dice_below(&d, SECTORS - 1);
        lost +=
            !harm_is_borne(&x, &p, (enum harm)(round % HARMS), x.to[i] + 16, x.from[i + 1], &d);
        make_release(&x.t);
    }
    assert_int_equal(lost, 0);
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(speed_may_be_off_by_a_tenth_and_swing),
        cmocka_unit_test(splices_cost_nothing_at_any_speed),
        cmocka_unit_test(harm_takes_what_it_touches_and_no_more),
        cmocka_unit_test(the_clock_comes_back_within_one_sync_field),
    };
    if (argc > 1) {
        seed = strtoull(argv[1], NULL, 10);
    }
    printf("seed %llu\n", (unsigned long long)seed);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
