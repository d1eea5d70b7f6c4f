/* Quality of the read signal, from the deviations of transitions from the tracked clock. */
#include "signal/flux_private.h"
#include "signal/quality_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK 512
#define STEADY_VAR                                                                             \
    0.064 /* of deviations in a block, in cells; 0.083 where they come at random */
#define LEGAL_SHARE 0.8
#define RATIO_SHARE 0.02
#define BLEMISH_REACH                                                                          \
    16 /* transitions beside a broken limit that are left out where no field is known */
#define BIN_SHIFT   5  /* DEV_ONE to BINS_A_CELL */
#define SPAN_EDGE   32 /* transitions at either end of a field that a splice nearby may reach */
#define SPAN_MIN    64
#define PS_PER_NS_F 1e3

struct measure {
    const struct cells *c;
    double steady, total; /* intervals */
    double ps, cells;     /* over steady blocks */
    double rate_sum, rate_square, rate_count;
    double step[STEPS_NAMED + 1];
    struct deviations *d;
};

static bool legal(const struct cells *c, int step)
{
    return step >= c->code.step_min && step <= c->code.step_max;
}

/* One block of intervals: steady or not. */
static bool block_steady(const struct cells *c, size_t from, size_t to)
{
    double sum = 0;
    double square = 0;
    size_t good = 0;
    double n = (double)(to - from);
    for (size_t i = from; i < to; i++) {
        double d = (double)c->dev[i] / DEV_ONE;
        sum += d;
        square += d * d;
        good += legal(c, c->step[i]);
    }
    return (double)good > LEGAL_SHARE * n && square / n - sum * sum / n / n < STEADY_VAR;
}

static void block_add(struct measure *m, size_t from, size_t to)
{
    const struct cells *c = m->c;
    uint64_t ps = 0;
    uint64_t cells = 0;
    for (size_t i = from; i < to; i++) {
        ps += c->flux->interval_ps[i];
        cells += c->step[i];
        if (c->step[i] <= STEPS_NAMED) {
            m->step[c->step[i]] += 1;
        }
    }
    double cell_ps = (double)ps / (double)cells;
    m->steady += (double)(to - from);
    m->ps += (double)ps;
    m->cells += (double)cells;
    m->rate_sum += cell_ps;
    m->rate_square += cell_ps * cell_ps;
    m->rate_count += 1;
}

/* Deviations of transitions from..to, sorted by the intervals beside them. */
static void deviations_add(struct measure *m, size_t from, size_t to)
{
    const struct cells *c = m->c;
    const unsigned low = (unsigned)c->code.step_min;
    const unsigned width = (unsigned)(c->code.step_max - c->code.step_min);
    from = from > 0 ? from : 1;
    to = to < c->count ? to : c->count;
    for (size_t i = from; i < to; i++) {
        unsigned before = c->step[i - 1] - low;
        unsigned behind = c->step[i] - low;
        if (before > width || behind > width) {
            continue;
        }
        before = before < KINDS_A_SIDE ? before : KINDS_A_SIDE - 1;
        behind = behind < KINDS_A_SIDE ? behind : KINDS_A_SIDE - 1;
        int bin = (c->dev[i] >> BIN_SHIFT) + DEV_BINS / 2;
        bin = bin < 0 ? 0 : bin < DEV_BINS ? bin : DEV_BINS - 1;
        m->d->bin[before * KINDS_A_SIDE + behind][bin]++;
    }
}

/* A steady block where no field is known: away from broken limits. */
static void deviations_of_block(struct measure *m, size_t from, size_t to)
{
    size_t start = from;
    for (size_t i = from; i < to; i++) {
        if (legal(m->c, m->c->step[i])) {
            continue;
        }
        if (i > start + BLEMISH_REACH) {
            deviations_add(m, start, i - BLEMISH_REACH);
        }
        start = i + BLEMISH_REACH;
    }
    if (start < to) {
        deviations_add(m, start, to);
    }
}

static void blocks_measure(struct measure *m, bool with_deviations)
{
    for (size_t from = 0; from < m->c->count; from += BLOCK) {
        size_t to = m->c->count - from > BLOCK ? from + BLOCK : m->c->count;
        m->total += (double)(to - from);
        if (!block_steady(m->c, from, to)) {
            continue;
        }
        block_add(m, from, to);
        if (with_deviations) {
            deviations_of_block(m, from, to);
        }
    }
}

static void kinds_sum(struct deviations *d)
{
    double sum = 0;
    double square = 0;
    d->count = 0;
    for (int k = 0; k < KINDS; k++) {
        double n = 0;
        double s = 0;
        double q = 0;
        for (int b = 0; b < DEV_BINS; b++) {
            double x = (b + 0.5 - DEV_BINS / 2.0) / BINS_A_CELL;
            double w = d->bin[k][b];
            n += w;
            s += w * x;
            q += w * x * x;
        }
        double rounding = 1.0 / BINS_A_CELL / BINS_A_CELL / 12;
        double mean = n > 0 ? s / n : 0;
        d->kind[k] =
            (struct kind){n, mean, n > 0 ? fmax(q / n - mean * mean - rounding, 1e-9) : 0};
        d->count += n;
        sum += s;
        square += q - n * rounding;
    }
    d->var = d->count > 0 ? fmax(square / d->count - pow(sum / d->count, 2), 1e-9) : 0;
}

/* Shift away from the nearer neighbour, in cells. */
static double peak_shift(const struct deviations *d)
{
    double sum = 0;
    double n = 0;
    for (int before = 0; before < KINDS_A_SIDE; before++) {
        for (int behind = 0; behind < KINDS_A_SIDE; behind++) {
            const struct kind *k = &d->kind[before * KINDS_A_SIDE + behind];
            if (before != behind) {
                sum += k->count * (before < behind ? k->mean : -k->mean);
                n += k->count;
            }
        }
    }
    return n > 0 ? sum / n : 0;
}

/* Every other transition early, the rest late by half of what this returns, in cells: squared
 * means of the spans, less what chance gives. Which are early may change from span to span (a
 * lost pulse turns them over). */
static double asymmetry(const struct measure *m, const struct span_list *spans)
{
    double sum = 0;
    double weight = 0;
    for (size_t s = 0; s < spans->count; s++) {
        const struct span *p = &spans->span[s];
        double side[2] = {0, 0};
        double n = 0;
        for (size_t i = p->from + 1; i < p->to && legal(m->c, m->c->step[i]); i++) {
            int before = m->c->step[i - 1] - m->c->code.step_min;
            int behind = m->c->step[i] - m->c->code.step_min;
            before = before < 0 ? 0 : before < KINDS_A_SIDE ? before : KINDS_A_SIDE - 1;
            behind = behind < KINDS_A_SIDE ? behind : KINDS_A_SIDE - 1;
            side[i & 1] += (double)m->c->dev[i] / DEV_ONE -
                           m->d->kind[before * KINDS_A_SIDE + behind].mean;
            n += 1;
        }
        if (n < SPAN_MIN) {
            continue;
        }
        double apart = (side[0] - side[1]) / (n / 2);
        sum += n * (apart * apart - 4 * m->d->var / n);
        weight += n;
    }
    return weight > 0 && sum > 0 ? 2 * sqrt(sum / weight) : 0;
}

static void ratios(const struct measure *m, struct flux_quality *out)
{
    int n = 0;
    for (int s = 1; s <= STEPS_NAMED && n < 8; s++) {
        if (m->step[s] > RATIO_SHARE * m->steady) {
            out->interval_ratio[n++] = s;
        }
    }
}

/* Intervals shorter or longer than the code can have, from the local speed alone. */
static void out_of_code(const struct cells *c, struct flux_quality *out)
{
    double shorter = 0;
    double longer = 0;
    for (size_t i = 0; i < c->count; i++) {
        float cells = (float)c->flux->interval_ps[i] * c->local_rate[i / LOCAL_SPAN];
        shorter += cells < (float)c->code.step_min - 0.5F;
        longer += cells > (float)c->code.step_max + 0.5F;
    }
    out->short_share = shorter / (double)c->count;
    out->long_share = longer / (double)c->count;
}

static void quality_set(const struct measure *m, const struct span_list *spans,
                        double sample_ns, struct flux_quality *out)
{
    double cell_ns = m->ps / m->cells / PS_PER_NS_F;
    double sample = sample_ns / cell_ns;
    double mean = m->rate_sum / m->rate_count;
    kinds_sum(m->d);
    out->cell_ns = cell_ns;
    out->cell_sd_percent =
        100 * sqrt(fmax(0, m->rate_square / m->rate_count - mean * mean)) / mean;
    out->jitter_ns =
        cell_ns * sqrt(fmax(0, m->d->var / (1 + CLOCK_NOISE) - sample * sample / 12));
    out->margin_percent = 100 * (1 - 2 * half_width_1e6(m->d, sample, CLOCK_NOISE));
    out->margin_percent = fmax(0, out->margin_percent);
    out->margin_ns = out->margin_percent / 100 * cell_ns / 2;
    out->peak_shift_ns = cell_ns * peak_shift(m->d);
    out->asymmetry_ns = cell_ns * asymmetry(m, spans);
    ratios(m, out);
}

/* Fields that are long enough; false where there are none. */
static bool spans_measure(struct measure *m, const struct span_list *spans)
{
    bool any = false;
    for (size_t s = 0; s < spans->count; s++) {
        const struct span *p = &spans->span[s];
        if (p->to - p->from > 4 * SPAN_EDGE) {
            deviations_add(m, p->from + SPAN_EDGE, p->to - SPAN_EDGE);
            any = true;
        }
    }
    return any;
}

enum err quality_measure(const struct cells *c, const struct span_list *spans, double sample_ns,
                         struct flux_quality *out, double *share_steady)
{
    struct measure m = {.c = c, .d = calloc(1, sizeof *m.d)};
    if (m.d == NULL) {
        return ERR_MEMORY;
    }
    memset(out, 0, sizeof *out);
    blocks_measure(&m, !spans_measure(&m, spans));
    out->transitions = c->count + 1;
    out_of_code(c, out);
    *share_steady = m.total > 0 ? m.steady / m.total : 0;
    if (m.cells > 0) {
        quality_set(&m, spans, sample_ns, out);
    }
    free(m.d);
    return ERR_OK;
}
