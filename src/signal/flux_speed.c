/* Speed along the stretch from intervals alone: no phase, so splices and slips do no harm. The
 * tracked clock is then held near it. */
#include "base/lanes.h"
#include "signal/flux_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define STEADY_VAR   0.045 /* about whole cells, above which a span tells no speed */
#define LEGAL_SHARE  0.75
#define DRIFT_MAX    0.35 /* off the stretch's cell: spindles starting up and running down */
#define SMOOTH_REACH 2
#define ROUNDS       2
#define FIT_LEN      64 /* intervals of a span that tell its speed well enough */
#define TRIED_MOST   64 /* spans tried for the steadiest */

struct span_fit {
    double rate; /* cells a ps */
    double var;
    bool steady;
};

/* Sums over intervals, counting those whose nearest step the code allows. */
struct fit_sums {
    double dn, nn, square, legal;
};

static struct fit_sums sums_of(const uint32_t *interval_ps, size_t n, double rate, float low,
                               float high)
{
    const lanes r = lanes_all((float)rate);
    const lanes zero = lanes_all(0);
    const lanes one = lanes_all(1);
    lanes dn = zero;
    lanes nn = zero;
    lanes square = zero;
    lanes legal = zero;
    for (size_t i = 0; i < n; i += LANES) {
        uint32_t last[LANES] = {0}; /* steps of 0 are not allowed */
        const uint32_t *d = interval_ps + i;
        if (n - i < LANES) {
            memcpy(last, d, (n - i) * sizeof *d);
            d = last;
        }
        lanes cells = lanes_ps(d) * r;
        lanes step = lanes_nearest(cells);
        lane_ints allowed = (step >= low) & (step <= high);
        lanes off = lanes_choose(allowed, cells - step, zero);
        lanes counted = lanes_choose(allowed, step, zero);
        dn += cells * counted;
        nn += counted * counted;
        square += off * off;
        legal += lanes_choose(allowed, one, zero);
    }
    return (struct fit_sums){(double)lanes_sum(dn), (double)lanes_sum(nn),
                             (double)lanes_sum(square), (double)lanes_sum(legal)};
}

/* Least squares for d = step / rate, twice: the second time with better steps. The noise is in
 * the intervals, so these are not what is divided by: rate would come out low. */
static struct span_fit span_fit(const struct cells *c, size_t from, size_t to, double rate)
{
    struct span_fit f = {rate, 1, false};
    to = to - from > FIT_LEN ? from + FIT_LEN : to;
    for (int round = 0; round < ROUNDS; round++) {
        struct fit_sums s = sums_of(c->flux->interval_ps + from, to - from, f.rate,
                                    (float)c->code.step_min, (float)c->code.step_max);
        if (s.legal < LEGAL_SHARE * (double)(to - from)) {
            return (struct span_fit){rate, 1, false};
        }
        f.var = s.square / s.legal;
        f.rate *= s.nn / s.dn;
    }
    double off = f.rate * c->code.cell_ps - 1;
    f.steady = f.var < STEADY_VAR && fabs(off) < DRIFT_MAX;
    f.rate = f.steady ? f.rate : rate;
    return f;
}

static size_t span_end(const struct cells *c, size_t span)
{
    size_t end = (span + 1) * LOCAL_SPAN;
    return end < c->count ? end : c->count;
}

/* The span that fits the stretch's own cell best: from there outward each span starts from its
 * neighbour. */
static size_t steadiest(const struct cells *c, size_t spans)
{
    size_t best = 0;
    double least = 2;
    for (size_t s = 0; s < spans; s += spans / TRIED_MOST + 1) {
        struct span_fit f = span_fit(c, s * LOCAL_SPAN, span_end(c, s), 1 / c->code.cell_ps);
        if (f.steady && f.var < least) {
            least = f.var;
            best = s;
        }
    }
    return best;
}

/* Mean over neighbours, in place: a span's own figure is noisy. */
static void smooth(float *rate, size_t spans)
{
    float before[SMOOTH_REACH];
    for (size_t k = 0; k < SMOOTH_REACH; k++) {
        before[k] = rate[0];
    }
    for (size_t s = 0; s < spans; s++) {
        float own = rate[s];
        float sum = own;
        for (size_t k = 0; k < SMOOTH_REACH; k++) {
            sum += before[k] + rate[s + k + 1 < spans ? s + k + 1 : spans - 1];
        }
        rate[s] = sum / (2 * SMOOTH_REACH + 1);
        for (size_t k = SMOOTH_REACH; k-- > 1;) {
            before[k] = before[k - 1];
        }
        before[0] = own;
    }
}

void local_rate_find(struct cells *c)
{
    size_t spans = (c->count + LOCAL_SPAN - 1) / LOCAL_SPAN;
    size_t first = steadiest(c, spans);
    double rate = 1 / c->code.cell_ps;
    for (size_t s = first; s < spans; s++) {
        rate = span_fit(c, s * LOCAL_SPAN, span_end(c, s), rate).rate;
        c->local_rate[s] = (float)rate;
    }
    rate = (double)c->local_rate[first];
    for (size_t s = first; s-- > 0;) {
        rate = span_fit(c, s * LOCAL_SPAN, span_end(c, s), rate).rate;
        c->local_rate[s] = (float)rate;
    }
    smooth(c->local_rate, spans);
}
