/* Quality of the read signal, from the deviations of transitions from the tracked clock. */
#include "signal/flux_private.h"
#include "signal/quality_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK   512
#define PIECE   64
#define SQUARES 64
/* Of deviations in a block, in cells; where they come at random it is 0.083. */
#define STEADY_VAR  0.064
#define LEGAL_SHARE 0.8
#define RATIO_SHARE 0.02
/* Transitions beside a broken limit that are left out where no field is known. */
#define BLEMISH_REACH 16
#define BIN_SHIFT     5  /* DEV_ONE to BINS_A_CELL */
#define SPAN_EDGE     32 /* transitions at a field's ends that a splice nearby may reach */
#define SPAN_MIN      64
/* Of an asymmetry: the clock follows its neighbours, which lie on the other side. */
#define CLOCK_FOLLOWS 0.06
#define PS_PER_NS_F   1e3

struct measure {
    const struct cells *c;
    double steady, total; /* intervals */
    double ps, cells;     /* over steady blocks */
    double rate_sum, rate_square, rate_count;
    double step[STEPS_NAMED + 1];
    uint8_t side[UINT8_MAX + 1]; /* of a kind, by steps; ILLEGAL: the code has no such length */
    struct deviations *d;
};
#define ILLEGAL KINDS /* whatever stands beside it */

static bool legal(const struct cells *c, int step)
{
    return step >= c->code.step_min && step <= c->code.step_max;
}

/* Sums over one block of intervals. square: of deviations, in 1 / SQUARES of DEV_ONE^2. */
struct block_sums {
    int64_t dev, square;
    uint64_t ps, cells;
    uint32_t step[STEPS_NAMED + 1]; /* intervals of 1.. cells */
};

/* Intervals of so many cells among n, PIECE at most. */
static uint8_t count_steps(const uint8_t *step, size_t n, uint8_t cells)
{
    uint8_t found = 0;
    for (size_t i = 0; i < n; i++) {
        found = (uint8_t)(found + (step[i] == cells));
    }
    return found;
}

/* n is PIECE at most: what is summed fits 32 bits. */
static void piece_sum(const struct cells *c, size_t from, size_t n, struct block_sums *b)
{
    const int16_t *dev = c->dev + from;
    const uint8_t *step = c->step + from;
    const uint32_t *interval_ps = c->flux->interval_ps + from;
    int32_t sum = 0;
    int32_t square = 0;
    uint32_t cells = 0;
    for (size_t i = 0; i < n; i++) {
        sum += dev[i];
        square += dev[i] * dev[i] / SQUARES;
    }
    for (size_t i = 0; i < n; i++) {
        cells += step[i];
    }
    for (size_t i = 0; i < n; i++) {
        b->ps += interval_ps[i];
    }
    for (uint8_t s = 1; s <= STEPS_NAMED; s++) {
        b->step[s] += count_steps(step, n, s);
    }
    b->dev += sum;
    b->square += square;
    b->cells += cells;
}

static void block_sum(const struct cells *c, size_t from, size_t to, struct block_sums *b)
{
    memset(b, 0, sizeof *b);
    for (size_t i = from; i < to; i += PIECE) {
        piece_sum(c, i, to - i < PIECE ? to - i : PIECE, b);
    }
}

/* Few deviations and few broken limits. */
static bool block_steady(const struct cells *c, const struct block_sums *b, double n)
{
    double mean = (double)b->dev / DEV_ONE / n;
    double square = (double)b->square * SQUARES / DEV_ONE / DEV_ONE / n;
    double good = 0;
    for (int s = c->code.step_min; s <= c->code.step_max; s++) {
        good += (double)b->step[s];
    }
    return good > LEGAL_SHARE * n && square - mean * mean < STEADY_VAR;
}

static void block_add(struct measure *m, const struct block_sums *b, double n)
{
    double cell_ps = (double)b->ps / (double)b->cells;
    for (int s = 1; s <= STEPS_NAMED; s++) {
        m->step[s] += (double)b->step[s];
    }
    m->steady += n;
    m->ps += (double)b->ps;
    m->cells += (double)b->cells;
    m->rate_sum += cell_ps;
    m->rate_square += cell_ps * cell_ps;
    m->rate_count += 1;
}

static void sides_set(struct measure *m)
{
    memset(m->side, ILLEGAL, sizeof m->side);
    for (int s = m->c->code.step_min; s <= m->c->code.step_max; s++) {
        int side = s - m->c->code.step_min;
        m->side[s] = (uint8_t)(side < KINDS_A_SIDE ? side : KINDS_A_SIDE - 1);
    }
}

/* Kind of a transition by the lengths before and behind, which the code allows. */
static unsigned kind_of(const struct measure *m, uint8_t before, uint8_t behind)
{
    return (unsigned)m->side[before] * KINDS_A_SIDE + m->side[behind];
}

/* Deviations of transitions from..to, sorted by the intervals beside them. */
static void deviations_add(struct measure *m, size_t from, size_t to)
{
    const uint8_t *step = m->c->step;
    const int16_t *dev = m->c->dev;
    struct deviations *d = m->d;
    from = from > 0 ? from : 1;
    to = to < m->c->count ? to : m->c->count;
    for (size_t i = from; i < to; i++) {
        unsigned kind = kind_of(m, step[i - 1], step[i]);
        if (kind >= KINDS) {
            continue;
        }
        int bin = (dev[i] >> BIN_SHIFT) + DEV_BINS / 2;
        bin = bin < 0 ? 0 : bin < DEV_BINS ? bin : DEV_BINS - 1;
        d->bin[kind][bin]++;
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
    struct block_sums sums;
    for (size_t from = 0; from < m->c->count; from += BLOCK) {
        size_t to = m->c->count - from > BLOCK ? from + BLOCK : m->c->count;
        double n = (double)(to - from);
        m->total += n;
        block_sum(m->c, from, to, &sums);
        if (!block_steady(m->c, &sums, n)) {
            continue;
        }
        block_add(m, &sums, n);
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
            double x = (b + 0.5 - BINS_A_CELL) / BINS_A_CELL;
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

/* How far a transition lies off the mean of its kind. */
static inline float off_mean(const struct measure *m, const float *mean, size_t i)
{
    unsigned kind = kind_of(m, m->c->step[i - 1], m->c->step[i]);
    return (float)m->c->dev[i] - (kind < KINDS ? mean[kind] : 0);
}

/* Sums of every second transition from p->from + 1 on, up to a broken limit; returns how many
 * there are in all. */
static size_t sides_sum(const struct measure *m, const struct span *p, const float *mean,
                        float out[2])
{
    const struct cells *c = m->c;
    size_t i = p->from + 1;
    float one = 0;
    float other = 0;
    for (; i + 1 < p->to && legal(c, c->step[i]) && legal(c, c->step[i + 1]); i += 2) {
        one += off_mean(m, mean, i);
        other += off_mean(m, mean, i + 1);
    }
    if (i < p->to && legal(c, c->step[i])) {
        one += off_mean(m, mean, i++);
    }
    out[0] = one;
    out[1] = other;
    return i - p->from - 1;
}

/* Every other transition early, the rest late by half of what this returns, in cells: squared
 * means of the spans, less what chance gives. Which are early may change from span to span (a
 * lost pulse turns them over). */
static double asymmetry(const struct measure *m, const struct span_list *spans,
                        double *out_doubt)
{
    float mean[KINDS];
    double sum = 0;
    double weight = 0;
    double used = 0;
    for (int k = 0; k < KINDS; k++) {
        mean[k] = (float)(m->d->kind[k].mean * DEV_ONE);
    }
    for (size_t s = 0; s < spans->count; s++) {
        float side[2];
        double n = (double)sides_sum(m, &spans->span[s], mean, side);
        if (n < SPAN_MIN) {
            continue;
        }
        double apart = (double)(side[0] - side[1]) / DEV_ONE / (n / 2);
        sum += n * (apart * apart - 4 * m->d->var / n);
        weight += n;
        used += 1;
    }
    /* a span's square, less what chance gives, has by chance the standard deviation of chi
     * squared; where there is an asymmetry, its own product with chance comes beside */
    double square = weight > 0 ? 4 * sum / weight : 0;
    double chance = weight > 0 ? 16 * M_SQRT2 * m->d->var * sqrt(used) / weight : 0;
    double beside = weight > 0 ? 8 * sqrt(fmax(square, 0) * m->d->var / weight) : 0;
    square = fmax(square, 0);
    *out_doubt =
        hypot(square_root_doubt(square, hypot(chance, beside)), CLOCK_FOLLOWS * sqrt(square));
    return sqrt(square);
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

/* Intervals of a span outside two limits. */
static size_t outside(const uint32_t *interval_ps, size_t n, uint32_t low, uint32_t high,
                      size_t *out_longer)
{
    uint32_t shorter = 0;
    uint32_t longer = 0;
    for (size_t i = 0; i < n; i++) {
        shorter += interval_ps[i] < low;
        longer += interval_ps[i] > high;
    }
    *out_longer += longer;
    return shorter;
}

/* Intervals shorter or longer than the code can have, from the local speed alone. */
static void out_of_code(const struct cells *c, struct flux_quality *out)
{
    size_t shorter = 0;
    size_t longer = 0;
    for (size_t from = 0; from < c->count; from += LOCAL_SPAN) {
        size_t n = c->count - from > LOCAL_SPAN ? LOCAL_SPAN : c->count - from;
        double cell_ps = 1 / (double)c->local_rate[from / LOCAL_SPAN];
        uint32_t low = (uint32_t)((c->code.step_min - 0.5) * cell_ps);
        uint32_t high = (uint32_t)((c->code.step_max + 0.5) * cell_ps);
        shorter += outside(c->flux->interval_ps + from, n, low, high, &longer);
    }
    out->short_share = (double)shorter / (double)c->count;
    out->long_share = (double)longer / (double)c->count;
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
    double tail = 0;
    double asymmetry_doubt = 0;
    double width = half_width_1e6(m->d, sample, CLOCK_NOISE, &tail);
    struct doubt doubt;
    doubt_find(m->d, sample, m->cells, tail, &doubt);
    out->jitter_u_ns = cell_ns * doubt.jitter;
    out->margin_percent = fmax(0, 100 * (1 - 2 * width));
    out->margin_u_percent = 200 * width * doubt.width_part;
    out->margin_ns = out->margin_percent / 100 * cell_ns / 2;
    out->margin_beyond = m->d->count > 0 ? fmax(0, log10(1e6 / m->d->count)) : 0;
    out->peak_shift_ns = cell_ns * peak_shift(m->d);
    out->peak_shift_u_ns = cell_ns * hypot(doubt.shift, doubt.sampled);
    out->asymmetry_ns = cell_ns * asymmetry(m, spans, &asymmetry_doubt);
    out->asymmetry_u_ns = cell_ns * hypot(asymmetry_doubt, 2 * doubt.sampled);
    ratios(m, out);
}

/* Fields that are long enough; false where there are none. */
static bool spans_measure(struct measure *m, const struct span_list *spans)
{
    bool any = false;
    for (size_t s = 0; s < spans->count; s++) {
        const struct span *p = &spans->span[s];
        if (p->to - p->from > (size_t)4 * SPAN_EDGE) {
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
    sides_set(&m);
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
