/* Speed along the stretch from intervals alone: no phase, so splices and slips do no harm. The
 * tracked clock is then held near it. */
#include "signal/flux_private.h"

#include <math.h>
#include <stdlib.h>

#define STEADY_VAR                                                                             \
    0.045 /* of intervals about whole cells, above which a span tells no speed                 \
           */
#define LEGAL_SHARE  0.75
#define DRIFT_MAX    0.35 /* off the stretch's cell: spindles starting up and running down */
#define SMOOTH_REACH 2
#define ROUNDS       3

struct span_fit {
    double rate; /* cells a ps */
    double var;
    bool steady;
};

static struct span_fit span_fit(const struct cells *c, size_t from, size_t to, double rate)
{
    struct span_fit f = {rate, 1, false};
    double count = (double)(to - from);
    for (int round = 0; round < ROUNDS; round++) {
        double dn = 0;
        double dd = 0;
        double square = 0;
        double legal = 0;
        for (size_t i = from; i < to; i++) {
            double cells = (double)c->flux->interval_ps[i] * f.rate;
            double step = floor(cells + 0.5);
            if (step < c->code.step_min || step > c->code.step_max) {
                continue;
            }
            dn += cells * step;
            dd += cells * cells;
            square += (cells - step) * (cells - step);
            legal += 1;
        }
        if (legal < LEGAL_SHARE * count) {
            return (struct span_fit){rate, 1, false};
        }
        f.var = square / legal;
        f.rate *= round < ROUNDS - 1 ? dn / dd : 1;
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
    for (size_t s = 0; s < spans; s++) {
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
