/* The phase of the bit clock, run by run. */
#include "base/lanes.h"
#include "signal/speed.h"

#include <math.h>
#include <stdlib.h>

#define RUN          32 /* transitions */
#define LEGAL_SHARE  0.75F
#define FIT_VAR      0.06F /* of intervals about whole cells; more is no clock */
#define SMOOTH       5     /* runs on either side that tell a run's speed */
#define REACH        0.25  /* off the cell of the hint */
#define NEAR         3     /* joins on either side that tell what one should be */
#define SPLICE_LEAST 0.03  /* cells off its neighbours, from which a join is a splice */
#define SPLICE_MOST  0.25
#define SPLICE_SD    4.5
#define MAD_SD       1.4826 /* of a normal law: its standard deviation over its median */

/* sin(2 pi x) for -0.5 <= x <= 0.5, to a thousandth. */
static inline lanes sine(lanes x)
{
    lanes y = x * (8.0F - 16.0F * lanes_size(x));
    return y * (0.775F + 0.225F * lanes_size(y));
}

struct run_fit {
    float rate; /* cells a tick */
    bool steady;
    float smooth; /* the rate, over its neighbours */
    float phase;  /* cells, at the run's middle */
};

struct finder {
    const struct ticked *t;
    const struct cell_hint *hint;
    struct clock_run *run;
    struct run_fit *fit;
    size_t runs;
    float rate; /* of the hint */
};

/* Least squares for interval = steps / rate: the noise is in the intervals, which therefore are
 * not squared. */
struct speed_sums {
    float across, steps, square, legal;
};

static struct speed_sums speed_sums(const struct finder *f, size_t at, float rate)
{
    const uint32_t *d = f->t->interval + at * RUN;
    const float low = (float)f->hint->step_min;
    const float high = (float)f->hint->step_max;
    const lanes zero = lanes_all(0);
    lanes across = zero;
    lanes steps = zero;
    lanes square = zero;
    lanes legal = zero;
    for (size_t i = 0; i < RUN; i += LANES) {
        lanes cells = lanes_whole(d + i) * rate;
        lanes step = lanes_nearest(cells);
        lane_ints allowed = (step >= low) & (step <= high);
        lanes off = lanes_choose(allowed, cells - step, zero);
        lanes counted = lanes_choose(allowed, step, zero);
        across += cells * counted;
        steps += counted * counted;
        square += off * off;
        legal += lanes_choose(allowed, lanes_all(1), zero);
    }
    return (struct speed_sums){lanes_sum(across), lanes_sum(steps), lanes_sum(square),
                               lanes_sum(legal)};
}

static void fit_speed(const struct finder *f, size_t at, float rate)
{
    struct run_fit *fit = &f->fit[at];
    float var = 1;
    bool told = true;
    fit->rate = rate;
    for (int round = 0; round < 2 && told; round++) {
        struct speed_sums s = speed_sums(f, at, fit->rate);
        told = s.legal >= LEGAL_SHARE * RUN;
        if (told) {
            var = s.square / s.legal;
            fit->rate *= s.steps / s.across;
        }
    }
    fit->steady = told && var < FIT_VAR && fabs((double)(fit->rate / f->rate) - 1) < REACH;
    fit->rate = fit->steady ? fit->rate : rate;
}

/* Mean over neighbours that are steady, the lowest and the highest left out. */
static float smooth_rate(const struct finder *f, size_t at)
{
    size_t from = at > SMOOTH ? at - SMOOTH : 0;
    size_t to = at + SMOOTH < f->runs ? at + SMOOTH : f->runs - 1;
    float sum = 0;
    float n = 0;
    float low = HUGE_VALF;
    float high = 0;
    for (size_t i = from; i <= to; i++) {
        if (f->fit[i].steady) {
            float r = f->fit[i].rate;
            sum += r;
            n += 1;
            low = r < low ? r : low;
            high = r > high ? r : high;
        }
    }
    return n > 2 ? (sum - low - high) / (n - 2) : n > 0 ? sum / n : f->fit[at].rate;
}

/* The phase that all transitions of the run have in common, at its middle, where an error of
 * the rate does least. */
static void fit_phase(const struct finder *f, size_t at, float rate, double start_ticks)
{
    const uint32_t *d = f->t->interval + at * RUN;
    struct clock_run *run = &f->run[at];
    float pos[RUN];
    uint64_t time = 0;
    uint64_t sum = 0;
    lanes s = lanes_all(0);
    lanes c = lanes_all(0);
    const float low = ((float)f->hint->step_min - 0.5F) / rate;
    const float high = ((float)f->hint->step_max + 0.5F) / rate;
    lane_ints shorter = {0};
    lane_ints longer = {0};
    for (size_t i = 0; i < RUN; i++) {
        pos[i] = (float)time;
        sum += time;
        time += d[i];
    }
    const double mean = (double)sum / RUN;
    for (size_t i = 0; i < RUN; i += LANES) {
        lanes length = lanes_whole(d + i);
        lanes p = (lanes_floats(pos + i) - (float)mean) * rate;
        lanes q = p + 0.25F;
        s += sine(p - lanes_nearest(p));
        c += sine(q - lanes_nearest(q));
        shorter -= length < low;
        longer -= length > high;
    }
    const float sines = lanes_sum(s);
    const float cosines = lanes_sum(c);
    const float length = fminf(hypotf(sines, cosines) / RUN, 1.0F);
    f->fit[at].phase = atan2f(sines, cosines) / (2 * (float)M_PI);
    run->ns = (start_ticks + mean) * f->t->tick_ns;
    run->jitter_sq =
        length > 0 ? -2 * logf(length) / (4 * (float)(M_PI * M_PI)) * RUN / (RUN - 2) : 1;
    run->transitions = RUN;
    run->shorter = (uint16_t)lane_ints_sum(shorter);
    run->longer = (uint16_t)lane_ints_sum(longer);
}

/* Cells from run at - 1 to run at: as the speed has it, to the nearest that the phases allow.
 */
static double cells_between(const struct finder *f, size_t at)
{
    const struct run_fit *a = &f->fit[at - 1];
    const struct run_fit *b = &f->fit[at];
    double ticks = (f->run[at].ns - f->run[at - 1].ns) / f->t->tick_ns;
    double by_speed = ticks * (double)(a->smooth + b->smooth) / 2;
    double by_phase = (double)a->phase - (double)b->phase;
    return by_phase + round(by_speed - by_phase);
}

/* How many cells a join is off the middle of what the joins around it say. */
static double off_neighbours(const struct finder *f, size_t at)
{
    double rate[2 * NEAR];
    size_t n = 0;
    for (size_t i = at > NEAR ? at - NEAR : 1; i <= at + NEAR && i < f->runs; i++) {
        if (i == at || f->run[i].cells <= 0) {
            continue;
        }
        double r = f->run[i].cells / (f->run[i].ns - f->run[i - 1].ns);
        size_t k = n++;
        for (; k > 0 && rate[k - 1] > r; k--) {
            rate[k] = rate[k - 1];
        }
        rate[k] = r;
    }
    double ns = f->run[at].ns - f->run[at - 1].ns;
    return n >= NEAR ? f->run[at].cells - ns * (rate[(n - 1) / 2] + rate[n / 2]) / 2 : 0;
}

/* The middle of how far joins are off, to half a bin. */
#define OFF_BINS 4096
#define OFF_BIN  (0.5F / OFF_BINS) /* cells; none is off by more than half a one */
static double middle_off(const uint32_t *bins, size_t n)
{
    size_t below = 0;
    size_t b = 0;
    while (b < OFF_BINS - 1 && below + bins[b] <= n / 2) {
        below += bins[b++];
    }
    return n > 0 ? ((double)b + 0.5) * (double)OFF_BIN : 0;
}

/* Leave out the joins that are off by more than the rest of them would be by jitter. */
static void drop_splices(struct finder *f, float *off, uint32_t *bins)
{
    size_t n = 0;
    for (size_t i = 1; i < f->runs; i++) {
        if (f->run[i].cells > 0) {
            double o = off_neighbours(f, i);
            f->run[i].cells -= round(o);
            off[i] = (float)fabs(o - round(o));
            size_t bin = (size_t)(off[i] / OFF_BIN);
            bins[bin < OFF_BINS ? bin : OFF_BINS - 1]++;
            n++;
        }
    }
    double limit = SPLICE_SD * MAD_SD * middle_off(bins, n);
    limit = fmin(fmax(limit, SPLICE_LEAST), SPLICE_MOST);
    for (size_t i = 1; i < f->runs; i++) {
        if ((double)off[i] > limit) {
            f->run[i].cells = 0;
        }
    }
}

static enum err join(struct finder *f)
{
    float *off = calloc(f->runs, sizeof *off);
    uint32_t *bins = calloc(OFF_BINS, sizeof *bins);
    enum err e = off != NULL && bins != NULL ? ERR_OK : ERR_MEMORY;
    for (size_t i = 1; i < f->runs && e == ERR_OK; i++) {
        bool sure = f->fit[i - 1].steady && f->fit[i].steady;
        f->run[i].cells = sure ? cells_between(f, i) : 0;
    }
    if (e == ERR_OK) {
        drop_splices(f, off, bins);
    }
    free(off);
    free(bins);
    return e;
}

static void find(struct finder *f)
{
    float rate = f->rate;
    uint64_t ticks = 0;
    for (size_t i = 0; i < f->runs; i++) {
        fit_speed(f, i, rate);
        rate = f->fit[i].rate;
    }
    for (size_t i = f->runs; i-- > 0;) { /* what came before the clock was found */
        if (!f->fit[i].steady) {
            fit_speed(f, i, rate);
        }
        rate = f->fit[i].rate;
    }
    for (size_t i = 0; i < f->runs; i++) {
        float smoothed = smooth_rate(f, i);
        fit_phase(f, i, smoothed, (double)ticks);
        f->fit[i].smooth = smoothed;
        for (int k = 0; k < RUN; k++) {
            ticks += f->t->interval[i * RUN + (size_t)k];
        }
    }
}

enum err clock_runs_find(const struct ticked *t, const struct cell_hint *hint,
                         struct clock_runs *out)
{
    struct finder f = {.t = t, .hint = hint, .runs = t->count / RUN};
    enum err e = ERR_MEMORY;
    *out = (struct clock_runs){.start_ns = t->start_ns};
    if (f.runs == 0 || hint->cell_ns <= 0 || hint->step_min <= 0) {
        return ERR_OK;
    }
    f.rate = (float)(t->tick_ns / hint->cell_ns);
    f.run = calloc(f.runs, sizeof *f.run);
    f.fit = calloc(f.runs, sizeof *f.fit);
    if (f.run != NULL && f.fit != NULL) {
        find(&f);
        e = join(&f);
    }
    free(f.fit);
    if (e != ERR_OK) {
        free(f.run);
        return e;
    }
    out->run = f.run;
    out->count = f.runs;
    return ERR_OK;
}

void clock_runs_release(struct clock_runs *r)
{
    free(r->run);
    *r = (struct clock_runs){0};
}
