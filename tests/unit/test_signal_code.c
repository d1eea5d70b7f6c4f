/* Code and rate found by themselves; what is neither FM nor MFM named as what it is. */
#include "unit/flux_check.h"

/* One turn of a format at a rate and speed, all sectors read. */
static void rate_is_found(bool fm, double cell_ns, double speed, int32_t data_rate)
{
    struct dice d = {(uint64_t)data_rate};
    struct layout l = {.fm = fm,
                       .sectors = 5,
                       .size_code = 1,
                       .gap3 = 54,
                       .cylinder = 1,
                       .side = 0,
                       .index_mark = true,
                       .rewritten = false};
    struct track_made t = {0};
    struct flux_read r;
    const struct play p = {.cell_ns = cell_ns, .speed = speed, .jitter_ns = 0.03 * cell_ns};
    make_truth(&t, &l, &d);
    make_turn(&t, &l, &d, 0);
    make_plain(&t.m, fm, fm ? 0xFF : 0x4E, 60);
    play_and_decode(&t.m, &p, &d, &r);
    assert_int_equal(r.quality.encoding, fm ? ENC_FM : ENC_MFM);
    assert_int_equal(r.quality.data_rate, data_rate);
    assert_true(fabs(r.quality.cell_ns * speed / cell_ns - 1) < 100e-6);
    assert_int_equal(count_read(&r, &t).good, 5);
    assert_int_equal(r.quality.interval_ratio[0], fm ? 1 : 2);
    assert_int_equal(r.quality.interval_ratio[fm ? 1 : 2], fm ? 2 : 4);
    assert_int_equal(r.quality.interval_ratio[fm ? 2 : 3], 0);
    flux_read_release(&r);
    make_release(&t);
}

/* Source of the cells: handbook chapter 5, RATE-*. */
static void every_rate_of_the_handbook_is_found(void **state)
{
    (void)state;
    static const double off[] = {0.97, 1, 1.03};
    for (size_t i = 0; i < sizeof off / sizeof off[0]; i++) {
        rate_is_found(false, 2000, off[i], 250000);
        rate_is_found(false, 1666.667, off[i], 300000);
        rate_is_found(false, 1000, off[i], 500000);
        rate_is_found(false, 500, off[i], 1000000);
        rate_is_found(true, 4000, off[i], 125000);
        rate_is_found(true, 3333.333, off[i], 150000);
        rate_is_found(true, 2000, off[i], 250000);
    }
}

static void ten_percent_of_speed_keeps_250_kbit(void **state)
{
    (void)state;
    rate_is_found(false, 2000, 0.9, 250000);
    rate_is_found(false, 2000, 1.1, 250000);
    rate_is_found(false, 1000, 0.9, 500000);
    rate_is_found(false, 1000, 1.1, 500000);
    rate_is_found(true, 4000, 0.9, 125000);
    rate_is_found(true, 4000, 1.1, 125000);
}

static enum encoding code_of(const uint32_t *interval, size_t n, struct flux_quality *q)
{
    const struct flux f = {0, interval, n};
    const struct flux_options o = {0};
    struct flux_read r;
    assert_int_equal(flux_decode(&f, &o, &r), ERR_OK);
    assert_int_equal(r.sector_count, 0);
    *q = r.quality;
    flux_read_release(&r);
    return q->encoding;
}

static void nothing_is_none(void **state)
{
    (void)state;
    struct flux_quality q;
    const uint32_t few[3] = {4000000, 4000000, 6000000};
    assert_int_equal(code_of(NULL, 0, &q), ENC_NONE);
    assert_int_equal(q.transitions, 0);
    assert_int_equal(code_of(few, 3, &q), ENC_NONE);
    assert_int_equal(q.transitions, 4);
}

/* An unformatted track gives noise pulses at random intervals, whatever their law. */
static void noise_is_unsteady(void **state)
{
    (void)state;
    enum { N = 40000 };
    struct dice d = {77};
    struct flux_quality q;
    uint32_t *interval = malloc(N * sizeof *interval);
    assert_non_null(interval);
    for (int i = 0; i < N; i++) { /* a dead time, then any moment alike */
        interval[i] = (uint32_t)(1e6 - 6e6 * log(dice_unit(&d)));
    }
    assert_int_equal(code_of(interval, N, &q), ENC_UNSTEADY);
    for (int i = 0; i < N; i++) {
        interval[i] = (uint32_t)(2e6 + 8e6 * dice_unit(&d));
    }
    assert_int_equal(code_of(interval, N, &q), ENC_UNSTEADY);
    for (int i = 0; i < N; i++) { /* one broad hump */
        interval[i] = (uint32_t)fabs(5e6 + 1.5e6 * dice_normal(&d));
    }
    assert_int_equal(code_of(interval, N, &q), ENC_UNSTEADY);
    assert_true(q.cell_ns <= 0);
    free(interval);
}

/* Group-coded disks have intervals of 1, 2 and 3 cells (bench practice 18). */
static void a_regular_other_code_is_named_and_measured(void **state)
{
    (void)state;
    enum { N = 40000 };
    struct dice d = {78};
    struct flux_quality q;
    uint32_t *interval = malloc(N * sizeof *interval);
    assert_non_null(interval);
    double late = 0;
    for (int i = 0; i < N; i++) {
        double u = dice_unit(&d);
        double next = 90e3 * dice_normal(&d);
        interval[i] = (uint32_t)(3.7e6 * (u < 0.5 ? 1 : u < 0.8 ? 2 : 3) + next - late);
        late = next;
    }
    assert_int_equal(code_of(interval, N, &q), ENC_REGULAR_OTHER);
    assert_true(fabs(q.cell_ns / 3700 - 1) < 20e-6);
    assert_true(fabs(q.jitter_ns / 90 - 1) < 0.05);
    assert_int_equal(q.data_rate, 0);
    assert_int_equal(q.interval_ratio[0], 1);
    assert_int_equal(q.interval_ratio[1], 2);
    assert_int_equal(q.interval_ratio[2], 3);
    assert_int_equal(q.interval_ratio[3], 0);
    free(interval);
}

/* A part of a track was erased: what is left is still read, and named. */
static void sectors_amid_noise_are_found(void **state)
{
    (void)state;
    struct dice d = {79};
    struct layout l = {.sectors = 3, .size_code = 2, .gap3 = 80};
    struct track_made t = {0};
    struct flux_made f;
    struct flux_read r;
    const struct play p = {.cell_ns = 2000, .speed = 1.02, .jitter_ns = 60};
    make_truth(&t, &l, &d);
    make_turn(&t, &l, &d, 0);
    make_flux(&t.m, &p, &d, &f);
    size_t noise = 3 * f.count;
    uint32_t *all = malloc((2 * noise + f.count) * sizeof *all);
    assert_non_null(all);
    for (size_t i = 0; i < 2 * noise + f.count; i++) {
        bool inside = i >= noise && i < noise + f.count;
        all[i] = inside ? f.interval_ps[i - noise] : (uint32_t)(1e6 - 6e6 * log(dice_unit(&d)));
    }
    const struct flux_made whole = {.interval_ps = all, .count = 2 * noise + f.count};
    decode_flux(&whole, 0, &r);
    assert_int_equal(r.quality.encoding, ENC_MFM);
    assert_int_equal(count_read(&r, &t).good, 3);
    assert_true(fabs(r.quality.cell_ns * 1.02 / 2000 - 1) < 2e-3);
    flux_read_release(&r);
    free(all);
    free(f.interval_ps);
    make_release(&t);
}

static void hostile_intervals_do_no_harm(void **state)
{
    (void)state;
    static const uint32_t odd[] = {0,      1,       2,        UINT32_MAX, UINT32_MAX - 1,
                                   500000, 4000000, 250000000};
    enum { N = 3000 };
    uint32_t interval[N];
    struct dice d = {80};
    for (int round = 0; round < 20; round++) {
        const struct flux f = {INT64_MAX / 2, interval, N};
        const struct flux_options o = {.sample_ns = round * 100.0,
                                       .data_rate = round % 2 == 0 ? 250000 : 0,
                                       .keep_bytes = true,
                                       .keep_quality = round % 3 == 0};
        struct flux_read r;
        for (int i = 0; i < N; i++) {
            bool strange = dice_below(&d, 20) < round;
            interval[i] =
                strange ? odd[dice_below(&d, 8)] : (uint32_t)(2 + dice_below(&d, 3)) * 2000000u;
        }
        assert_int_equal(flux_decode(&f, &o, &r), ERR_OK);
        flux_read_release(&r);
    }
    for (size_t i = 0; i < sizeof odd / sizeof odd[0]; i++) {
        struct flux_quality q;
        for (int k = 0; k < N; k++) {
            interval[k] = odd[i];
        }
        code_of(interval, N, &q);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_rate_of_the_handbook_is_found),
        cmocka_unit_test(ten_percent_of_speed_keeps_250_kbit),
        cmocka_unit_test(nothing_is_none),
        cmocka_unit_test(noise_is_unsteady),
        cmocka_unit_test(a_regular_other_code_is_named_and_measured),
        cmocka_unit_test(sectors_amid_noise_are_found),
        cmocka_unit_test(hostile_intervals_do_no_harm),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
