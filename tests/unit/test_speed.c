/* Speed inside the turn against the truth put in: steps of an invented MFM-like track, played
 * with a speed that is known at every instant. Aims of the project: variation within 0.05
 * points, mean speed within 20 ppm, and the uncertainty printed covers the truth in nine seeds
 * of ten. */
#include "signal/speed.h"
#include "unit/flux_make.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

#define TURN_NS 200e6
#define SWINGS  2
#define SEEDS   12

struct swing {
    double percent, orders;
};
struct spin {
    struct swing swing[SWINGS];
    double cell_ns, jitter_ns, speed;
    double tick_ns;     /* 0: 1 */
    int turns, splices; /* a turn */
};
struct made_spin {
    struct speed_curve curve;
    struct speed_variation v;
};

/* Cells that have passed by time ns: the integral of a speed of 1 + sum of swings. */
static double cells_by(const struct spin *s, double ns)
{
    double sum = ns;
    for (int i = 0; i < SWINGS; i++) {
        double w = 2 * M_PI * s->swing[i].orders / TURN_NS;
        sum +=
            w > 0 ? s->swing[i].percent / 100 / w * (cos(i + 0.4) - cos(w * ns + i + 0.4)) : 0;
    }
    return sum * s->speed / s->cell_ns;
}
static double speed_at(const struct spin *s, double ns) /* percent off the mean */
{
    double sum = 0;
    for (int i = 0; i < SWINGS; i++) {
        sum +=
            s->swing[i].percent * sin(2 * M_PI * s->swing[i].orders / TURN_NS * ns + i + 0.4);
    }
    return sum;
}
static double time_of(const struct spin *s, double cells, double guess)
{
    for (int i = 0; i < 4; i++) {
        guess += (cells - cells_by(s, guess)) * s->cell_ns / s->speed;
    }
    return guess;
}

static double tick_of(const struct spin *s)
{
    return s->tick_ns > 0 ? s->tick_ns : 1;
}

/* A little before the first turn and behind the last, in ticks. */
static uint32_t *play(const struct spin *s, struct dice *d, size_t *count)
{
    double end = (s->turns + 0.05) * TURN_NS;
    size_t cap = (size_t)(end / s->cell_ns / 1.5);
    uint32_t *interval = calloc(cap, sizeof *interval);
    double at = 0;
    double cell = 0;
    double last = 0;
    double splice = TURN_NS / (s->splices + 1);
    size_t n = 0;
    assert_non_null(interval);
    while (at < end && n < cap) {
        static const int STEPS[] = {2, 2, 2, 2, 3, 3, 4, 3};
        cell += STEPS[dice_below(d, 8)];
        if (s->splices > 0 && at > splice) {
            cell += dice_unit(d) - 0.5;
            splice += TURN_NS / (s->splices + 1);
        }
        at = time_of(s, cell, at);
        double noisy = (at + s->jitter_ns * dice_normal(d)) / tick_of(s);
        double seen = round(fmax(noisy, last + 1));
        interval[n++] = (uint32_t)(seen - last);
        last = seen;
    }
    *count = n;
    return interval;
}

/* Runs of a playing; the caller lets them go. */
static void find_runs(const struct spin *s, struct dice *d, struct clock_runs *out)
{
    struct ticked t = {.tick_ns = tick_of(s)};
    const struct cell_hint hint = {s->cell_ns * (0.99 + 0.02 * dice_unit(d)), 2, 4};
    uint32_t *interval = play(s, d, &t.count);
    t.interval = interval;
    assert_int_equal(clock_runs_find(&t, &hint, out), ERR_OK);
    free(interval);
}

static struct made_spin measure(const struct spin *s, uint64_t seed)
{
    struct dice d = {seed};
    struct made_spin m = {0};
    struct clock_runs runs;
    int64_t start[SPEED_TURNS_MAX + 1];
    for (int i = 0; i <= s->turns; i++) {
        start[i] = (int64_t)((i + 0.02) * TURN_NS);
    }
    find_runs(s, &d, &runs);
    assert_int_equal(speed_curve_make(&runs, start, s->turns, &m.curve), ERR_OK);
    assert_int_equal(speed_variation_find(&m.curve, &m.v), ERR_OK);
    clock_runs_release(&runs);
    return m;
}

/* Half of peak to peak of the truth over turns from..to: of the swings that repeat, of those
 * that do not, or of all. */
enum part { ALL, REPEATS, FREE };
static double truth(const struct spin *s, enum part part, int from, int to)
{
    struct spin p = *s;
    double low = 1e9;
    double high = -1e9;
    for (int i = 0; i < SWINGS; i++) {
        bool locked = fabs(p.swing[i].orders - round(p.swing[i].orders)) < 1e-9;
        if ((part == REPEATS && !locked) || (part == FREE && locked)) {
            p.swing[i].percent = 0;
        }
    }
    for (int i = from * 2000; i < to * 2000; i++) {
        double v = speed_at(&p, (i / 2000.0 + 0.02) * TURN_NS);
        low = fmin(low, v);
        high = fmax(high, v);
    }
    return (high - low) / 2;
}
static double isv_truth(const struct spin *s)
{
    double worst = 0;
    for (int i = 0; i < s->turns; i++) {
        worst = fmax(worst, truth(s, ALL, i, i + 1));
    }
    return worst;
}

#define FIGURES 4
struct tally {
    int seeds, covered[FIGURES];
    double worst[FIGURES];
};
static void tally_add(struct tally *t, const struct spin *s, const struct made_spin *m)
{
    double start = 0.02 * TURN_NS;
    double end = (s->turns + 0.02) * TURN_NS;
    double cell_ns = (end - start) / (cells_by(s, end) - cells_by(s, start));
    const double got[FIGURES] = {m->v.isv, m->v.repeats, m->v.free, m->curve.cell_ns};
    const double u[FIGURES] = {m->v.isv_u, m->v.repeats_u, m->v.free_u, m->curve.cell_u_ns};
    const double real[FIGURES] = {isv_truth(s), truth(s, REPEATS, 0, s->turns),
                                  truth(s, FREE, 0, s->turns), cell_ns};
    t->seeds++;
    for (int i = 0; i < FIGURES; i++) {
        double off = fabs(got[i] - real[i]);
        t->covered[i] += off <= u[i];
        t->worst[i] = fmax(t->worst[i], off);
    }
}
static void tally_check(const struct tally *t, const char *name)
{
    print_message("%s: %d seeds, off by at most %.4f %.4f %.4f points, cell %.1f ppm; "
                  "covered %d %d %d %d\n",
                  name, t->seeds, t->worst[0], t->worst[1], t->worst[2],
                  t->worst[3] / 2000 * 1e6, t->covered[0], t->covered[1], t->covered[2],
                  t->covered[3]);
    for (int i = 0; i < FIGURES; i++) {
        assert_true(t->worst[i] <= (i < 3 ? 0.05 : 20e-6 * 2000));
        assert_true(10 * t->covered[i] >= 9 * t->seeds);
    }
}

static void variation_is_the_truth_and_its_uncertainty_covers_it(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        struct spin s;
    } row[] = {
        {"even", {.jitter_ns = 80}},
        {"written in", {.swing = {{0.4, 1}, {0.15, 9}}, .jitter_ns = 80}},
        {"belt", {.swing = {{0.6, 0.73}}, .jitter_ns = 80}},
        {"both", {.swing = {{0.5, 1}, {0.3, 2.37}}, .jitter_ns = 120}},
        {"fast", {.swing = {{0.5, 9.55}, {0.2, 1}}, .jitter_ns = 120}},
        {"2 % at 5 Hz", {.swing = {{2, 1}}, .jitter_ns = 200, .splices = 18}},
        {"4 % at 7 Hz", {.swing = {{4, 1.4}}, .jitter_ns = 60, .splices = 18}},
        {"ticks of 25 ns", {.swing = {{0.4, 1}}, .jitter_ns = 80, .tick_ns = 25}},
        {"ticks of 125 ns", {.swing = {{0.4, 1}}, .jitter_ns = 80, .tick_ns = 125}},
        {"rough", {.swing = {{0.3, 1}, {0.2, 3.3}}, .jitter_ns = 230, .splices = 9}},
    };
    for (size_t r = 0; r < sizeof row / sizeof row[0]; r++) {
        struct tally t = {0};
        for (uint64_t seed = 1; seed <= SEEDS; seed++) {
            struct spin s = row[r].s;
            s.cell_ns = 2000;
            s.speed = 0.97 + 0.003 * (double)seed;
            s.turns = 5;
            struct made_spin m = measure(&s, seed);
            tally_add(&t, &s, &m);
            speed_curve_release(&m.curve);
        }
        tally_check(&t, row[r].name);
    }
}

/* However coarse the ticks: a transition is rounded to the nearest one, and nothing else. */
static void jitter_within_runs_is_the_truth(void **state)
{
    (void)state;
    static const double tick_ns[] = {1, 10, 25, 62.5, 125};
    for (size_t i = 0; i < sizeof tick_ns / sizeof tick_ns[0]; i++) {
        const struct spin s = {.cell_ns = 2000,
                               .speed = 1.003,
                               .jitter_ns = 80,
                               .tick_ns = tick_ns[i],
                               .turns = 2};
        struct dice d = {90 + i};
        struct clock_runs runs;
        double square = 0;
        find_runs(&s, &d, &runs);
        for (size_t k = 0; k < runs.count; k++) {
            assert_int_equal(runs.run[k].shorter + runs.run[k].longer, 0);
            square += (double)runs.run[k].jitter_sq / (double)runs.count;
        }
        double truth = hypot(80, tick_ns[i] / sqrt(12)) / 2000 * 1.003;
        print_message("ticks of %.1f ns: %.4f of a cell where %.4f was put in\n", tick_ns[i],
                      sqrt(square), truth);
        assert_true(fabs(sqrt(square) / truth - 1) < 0.06);
        clock_runs_release(&runs);
    }
}

/* The line nearest to a frequency. */
static const struct speed_line *line_near(const struct speed_variation *v, double orders)
{
    const struct speed_line *best = NULL;
    for (size_t i = 0; i < v->lines; i++) {
        const struct speed_line *l = &v->line[i];
        if (best == NULL || fabs(l->orders - orders) < fabs(best->orders - orders)) {
            best = l;
        }
    }
    return best;
}

/* A swing is found at its frequency with its size, and locked to the turn only where it is. */
static void lines_of_the_spectrum_are_the_swings(void **state)
{
    (void)state;
    static const double orders[] = {0.2, 0.73, 1, 2.37, 6, 9.55, 10, 20};
    for (size_t i = 0; i < sizeof orders / sizeof orders[0]; i++) {
        struct spin s = {.swing = {{0.3, orders[i]}, {0.4, 3}},
                         .cell_ns = 2000,
                         .speed = 1,
                         .jitter_ns = 80,
                         .turns = 10};
        struct made_spin m = measure(&s, 50 + i);
        const struct speed_line *l = line_near(&m.v, orders[i]);
        assert_non_null(l);
        assert_true(fabs(l->orders - orders[i]) < 0.01);
        assert_true(fabs(l->hz - 5 * orders[i]) < 0.05);
        assert_true(fabs(l->percent - 0.3) < 0.01);
        assert_int_equal(l->locked, fabs(orders[i] - round(orders[i])) < 1e-9);
        assert_int_equal(m.v.lines, 2);
        speed_curve_release(&m.curve);
    }
}

static void an_even_spindle_has_no_lines(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct spin s = {.cell_ns = 1000, .speed = 1, .jitter_ns = 60, .turns = 8};
        struct made_spin m = measure(&s, seed);
        assert_int_equal(m.v.lines, 0);
        speed_curve_release(&m.curve);
    }
}

/* Two turns do not tell what repeats. */
static void too_few_turns_are_not_split(void **state)
{
    (void)state;
    struct spin s = {
        .swing = {{0.5, 1}}, .cell_ns = 2000, .speed = 1, .jitter_ns = 60, .turns = 2};
    struct made_spin m = measure(&s, 1);
    assert_true(fabs(m.v.isv - 0.5) < 0.05);
    assert_true(m.v.repeats < 0 && m.v.free < 0);
    assert_int_equal(m.v.lines, 0);
    speed_curve_release(&m.curve);
}

/* Where whole cells are lost now and then a wrong speed would come out: none is told. */
static void jitter_beyond_counting_gives_no_speed(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct spin s = {
            .cell_ns = 2000, .speed = 1, .jitter_ns = 290, .turns = 5, .splices = 9};
        struct made_spin m = measure(&s, seed);
        assert_null(m.curve.percent);
        assert_true(m.v.isv < 0);
    }
}

/* Any input is legal: noise has no clock, and nothing overruns. */
static void noise_gives_no_curve(void **state)
{
    (void)state;
    struct dice d = {7};
    uint32_t interval[20000];
    int64_t start[] = {0, 20000000, 40000000, 60000000};
    for (size_t i = 0; i < 20000; i++) {
        interval[i] = i % 977 == 0 ? UINT32_MAX : (uint32_t)(dice_unit(&d) * 12000);
    }
    struct ticked t = {interval, 20000, 1, 0};
    const struct cell_hint hint = {2000, 2, 4};
    struct clock_runs runs;
    struct speed_curve c;
    struct speed_variation v;
    assert_int_equal(clock_runs_find(&t, &hint, &runs), ERR_OK);
    assert_int_equal(speed_curve_make(&runs, start, 3, &c), ERR_OK);
    assert_null(c.percent);
    assert_int_equal(speed_variation_find(&c, &v), ERR_OK);
    assert_true(v.isv < 0 && v.turns == 0);
    clock_runs_release(&runs);
    speed_curve_release(&c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(variation_is_the_truth_and_its_uncertainty_covers_it),
        cmocka_unit_test(jitter_within_runs_is_the_truth),
        cmocka_unit_test(lines_of_the_spectrum_are_the_swings),
        cmocka_unit_test(an_even_spindle_has_no_lines),
        cmocka_unit_test(too_few_turns_are_not_split),
        cmocka_unit_test(jitter_beyond_counting_gives_no_speed),
        cmocka_unit_test(noise_gives_no_curve),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
