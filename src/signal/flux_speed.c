/* Speed along the stretch from intervals alone: no phase, so splices and slips do no harm. The
 * tracked clock is then held near it. */
#include "signal/flux_private.h"

#include <math.h>
#include <stdlib.h>

#define STEADY_VAR                                                                             \
    0.045 /* of intervals about whole cells, above which a span tells no speed                 \
           */
#define LEGAL_SHARE  0.75F
#define DRIFT_MAX    0.35 /* off the stretch's cell: spindles starting up and running down */
#define SMOOTH_REACH 2
#define ROUNDS       2
#define FIT_LEN      64       /* intervals of a span that tell its speed well enough */
#define TRIED_MOST   64       /* spans tried for the steadiest */
#define ROUNDER      12582912 /* 1.5 x 2^23: adding it rounds a float to a whole number */

struct span_fit {
    double rate; /* cells a ps */
    double var;
    bool steady;
};

/* Least squares for d = step / rate, twice: the second time with better steps. */
static struct span_fit span_fit(const struct cells *c, size_t from, size_t to, double rate)
{
    const float low = (float)c->code.step_min;
    const float high = (float)c->code.step_max;
    struct span_fit f = {rate, 1, false};
    to = to - from > FIT_LEN ? from + FIT_LEN : to;
    for (int round = 0; round < ROUNDS; round++) {
        float r = (float)f.rate;
        float dn = 0;
        float dd = 0;
        float square = 0;
        float legal = 0;
        for (size_t i = from; i < to; i++) {
            float cells = (float)c->flux->interval_ps[i] * r;
            float step = (cells + (float)ROUNDER) - (float)ROUNDER;
            float count = step >= low && step <= high ? 1.0F : 0.0F;
            float off = cells - step;
            dn += count * cells * step;
            dd += count * cells * cells;
            square += count * off * off;
            legal += count;
        }
        if (legal < LEGAL_SHARE * (float)(to - from)) {
            return (struct span_fit){rate, 1, false};
        }
        f.var = (double)(square / legal);
        f.rate *= (double)(dn / dd);
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
