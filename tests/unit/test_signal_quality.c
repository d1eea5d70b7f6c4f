/* Quality of the read signal against the truth that was put in. Limits of the project's own
 * aims: margin within 3 %, jitter within 5 %, cell within 20 ppm. */
#include "unit/flux_check.h"

/* A normal law leaves +-4.8916 standard deviations once in a million (any table of the normal
 * law). */
#define ONE_IN_A_MILLION 4.8916

static struct flux_quality quality_of(const struct play *p, bool rewritten, uint64_t seed)
{
    struct dice d = {seed};
    struct layout l = {.fm = false,
                       .sectors = 9,
                       .size_code = 2,
                       .gap3 = 80,
                       .cylinder = 1,
                       .side = 0,
                       .index_mark = true,
                       .rewritten = rewritten};
    struct track_made t = {0};
    struct flux_read r;
    struct flux_quality q;
    make_truth(&t, &l, &d);
    for (int turn = 0; turn < 3; turn++) {
        make_turn(&t, &l, &d, TURN_CELLS);
    }
    play_and_decode(&t.m, p, &d, &r);
    q = r.quality;
    flux_read_release(&r);
    make_release(&t);
    return q;
}

static void within(double got, double truth, double part)
{
    if (fabs(got - truth) > part * fabs(truth)) {
        fail_msg("%.3f where %.3f was put in", got, truth);
    }
}

static double margin_truth(double jitter_ns, double cell_ns)
{
    return 100 * (1 - ONE_IN_A_MILLION * jitter_ns / (cell_ns / 2));
}

static void jitter_margin_and_cell_are_the_truth(void **state)
{
    (void)state;
    static const double jitter[] = {15, 40, 80, 120, 150};
    static const double speed[] = {1, 1.03, 0.94};
    for (size_t s = 0; s < 3; s++) {
        for (size_t i = 0; i < 5; i++) {
            const struct play p = {.cell_ns = 2000, .speed = speed[s], .jitter_ns = jitter[i]};
            struct flux_quality q = quality_of(&p, false, 100 + i);
            within(q.cell_ns, 2000 / speed[s], 20e-6);
            within(q.jitter_ns, jitter[i], 0.05);
            within(q.margin_percent, margin_truth(jitter[i], 2000 / speed[s]), 0.03);
            within(q.margin_ns, q.margin_percent / 100 * q.cell_ns / 2, 1e-6);
        }
    }
}

static void splices_do_not_spoil_the_figures(void **state)
{
    (void)state;
    static const double jitter[] = {15, 60, 120};
    for (size_t i = 0; i < 3; i++) {
        const struct play p = {.cell_ns = 2000, .speed = 1, .jitter_ns = jitter[i]};
        struct flux_quality q = quality_of(&p, true, 200 + i);
        within(q.jitter_ns, jitter[i], 0.05);
        within(q.margin_percent, margin_truth(jitter[i], 2000), 0.03);
    }
}

/* Sampling at 24 and 10 MS/s adds noise of its own, which is taken out. */
static void sampling_is_taken_out(void **state)
{
    (void)state;
    static const double sample[] = {41.667, 100};
    for (size_t i = 0; i < 2; i++) {
        const struct play p = {
            .cell_ns = 2000, .speed = 1, .jitter_ns = 60, .sample_ns = sample[i]};
        struct flux_quality q = quality_of(&p, false, 300 + i);
        within(q.jitter_ns, 60, 0.05);
        within(q.margin_percent, margin_truth(60, 2000), 0.03);
        within(q.cell_ns, 2000, 20e-6);
    }
}

static void slow_speed_changes_are_speed_and_not_jitter(void **state)
{
    (void)state;
    static const struct {
        double wow, hz;
    } w[] = {{0.01, 1.7}, {0.02, 5}, {0.005, 45}};
    for (size_t i = 0; i < 3; i++) {
        const struct play p = {
            .cell_ns = 2000, .speed = 1, .wow = w[i].wow, .wow_hz = w[i].hz, .jitter_ns = 60};
        struct flux_quality q = quality_of(&p, false, 400 + i);
        within(q.jitter_ns, 60, 0.05);
        if (w[i].hz > 4) { /* whole swings only */
            within(q.cell_sd_percent, 100 * w[i].wow * M_SQRT1_2, 0.1);
        }
    }
}

/* Shift pulls the mean of each kind apart: the window is left sooner than by jitter alone. */
static void peak_shift_is_found_and_costs_margin(void **state)
{
    (void)state;
    const struct play plain = {.cell_ns = 2000, .speed = 1, .jitter_ns = 50};
    const struct play shifted = {.cell_ns = 2000, .speed = 1, .jitter_ns = 50, .shift_ns = 120};
    struct flux_quality a = quality_of(&plain, false, 500);
    struct flux_quality b = quality_of(&shifted, false, 500);
    assert_true(fabs(a.peak_shift_ns) < 2);
    within(b.peak_shift_ns, 120, 0.05);
    /* more than half of the transitions of random data have unlike neighbours, half of them
     * early: the worst stand 120 ns off, and their share of errors sets 4.7 standard deviations
     * beyond (computed) */
    within(b.margin_ns, 1000 - 120 - 4.77 * 50, 0.03);
    assert_true(b.jitter_ns > 50);
}

static void asymmetry_is_found_whatever_its_sign(void **state)
{
    (void)state;
    static const double asymmetry[] = {200, -200, 60};
    for (size_t i = 0; i < 3; i++) {
        const struct play p = {
            .cell_ns = 2000, .speed = 1, .jitter_ns = 50, .asymmetry_ns = asymmetry[i]};
        within(quality_of(&p, false, 600 + i).asymmetry_ns, fabs(asymmetry[i]), 0.05);
    }
    const struct play even = {.cell_ns = 2000, .speed = 1, .jitter_ns = 50};
    assert_true(quality_of(&even, false, 610).asymmetry_ns < 5);
}

static void lost_and_added_pulses_show_as_long_and_short(void **state)
{
    (void)state;
    const struct play lost = {.cell_ns = 2000, .speed = 1, .jitter_ns = 40, .lost = 0.01};
    const struct play added = {.cell_ns = 2000, .speed = 1, .jitter_ns = 40, .added = 0.01};
    const struct play sound = {.cell_ns = 2000, .speed = 1, .jitter_ns = 40};
    struct flux_quality a = quality_of(&lost, false, 700);
    struct flux_quality b = quality_of(&added, false, 700);
    struct flux_quality c = quality_of(&sound, false, 700);
    assert_true(a.long_share > 0.005 && a.short_share < 0.001);
    assert_true(b.short_share > 0.005 && b.long_share < 0.001);
    assert_true(c.long_share < 1e-4 && c.short_share < 1e-4);
}

/* Tails heavier than the normal law's: one transition in 300 jitters five times as much. What
 * the core alone would promise is not believed. */
static void heavy_tails_cost_margin(void **state)
{
    (void)state;
    struct dice d = {800};
    struct layout l = {.fm = false,
                       .sectors = 9,
                       .size_code = 2,
                       .gap3 = 80,
                       .cylinder = 1,
                       .side = 0,
                       .index_mark = true,
                       .rewritten = false};
    struct track_made t = {0};
    struct flux_made f;
    struct flux_read r;
    const struct play p = {.cell_ns = 2000, .speed = 1, .jitter_ns = 40};
    make_truth(&t, &l, &d);
    make_turn(&t, &l, &d, TURN_CELLS);
    make_flux(&t.m, &p, &d, &f);
    for (size_t i = 1; i < f.count; i++) {
        if (dice_below(&d, 300) == 0) {
            int32_t late = (int32_t)(200e3 * dice_normal(&d));
            f.interval_ps[i - 1] = (uint32_t)((int64_t)f.interval_ps[i - 1] + late);
            f.interval_ps[i] = (uint32_t)((int64_t)f.interval_ps[i] - late);
        }
    }
    decode_flux(&f, 0, &r);
    assert_true(r.quality.margin_percent < 60); /* the core alone: 80 */
    flux_read_release(&r);
    free(f.interval_ps);
    make_release(&t);
}

/* What is printed as uncertainty covers the truth in nine seeds of ten, at exact times and at
 * samples that divide the cell evenly, where small jitters hide between them. */
static void uncertainties_cover_the_truth(void **state)
{
    (void)state;
    static const double sample[] = {0, 41.667, 100};
    static const double jitter[] = {15, 40, 80, 150, 200};
    int seeds = 0;
    int covered[4] = {0};
    for (size_t s = 0; s < 3; s++) {
        for (size_t j = 0; j < 5; j++) {
            for (uint64_t seed = 0; seed < 3; seed++) {
                struct play p = {.cell_ns = 2000,
                                 .speed = 1,
                                 .jitter_ns = jitter[j],
                                 .sample_ns = sample[s]};
                struct flux_quality q = quality_of(&p, false, 900 + seed);
                p.asymmetry_ns = 60 * (double)seed;
                struct flux_quality a = quality_of(&p, false, 950 + seed);
                double margin = fmax(0, margin_truth(jitter[j], 2000));
                seeds++;
                covered[0] += fabs(q.jitter_ns - jitter[j]) <= q.jitter_u_ns;
                covered[1] += fabs(q.margin_percent - margin) <= q.margin_u_percent;
                covered[2] += fabs(q.peak_shift_ns) <= q.peak_shift_u_ns;
                covered[3] += fabs(a.asymmetry_ns - p.asymmetry_ns) <= a.asymmetry_u_ns;
                /* and tell something: small where the jitter is more than the sampling */
                assert_true(jitter[j] < sample[s] || q.jitter_u_ns < 0.03 * jitter[j]);
                assert_true(q.margin_beyond > 0.5 && q.margin_beyond < 1.5);
            }
        }
    }
    print_message("of %d: jitter %d, margin %d, shift %d, asymmetry %d covered\n", seeds,
                  covered[0], covered[1], covered[2], covered[3]);
    for (int i = 0; i < 4; i++) {
        assert_true(10 * covered[i] >= 9 * seeds);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(jitter_margin_and_cell_are_the_truth),
        cmocka_unit_test(splices_do_not_spoil_the_figures),
        cmocka_unit_test(sampling_is_taken_out),
        cmocka_unit_test(slow_speed_changes_are_speed_and_not_jitter),
        cmocka_unit_test(peak_shift_is_found_and_costs_margin),
        cmocka_unit_test(asymmetry_is_found_whatever_its_sign),
        cmocka_unit_test(lost_and_added_pulses_show_as_long_and_short),
        cmocka_unit_test(heavy_tails_cost_margin),
        cmocka_unit_test(uncertainties_cover_the_truth),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
