/* The bit clock, looking both ways: one tracker runs forward, one backward, and what both
 * predict for a transition, neither having seen it, is put together.
 *
 * Each is a Kalman filter for a clock whose speed wanders, in its steady state (an alpha-beta
 * filter). Where the two disagree the recording was spliced: there the one that has been right
 * nearby is believed.
 *
 * A tracker waits for its own last step, so four of them work side by side, in the lanes of one
 * vector, each on its own part of a block; RUN_IN transitions before the part bring it to lock.
 */
#include "base/lanes.h"
#include "base/units.h"
#include "signal/flux_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define ALPHA        0.06F
#define BETA         (ALPHA * ALPHA / (2 - ALPHA)) /* of a clock whose speed walks at random */
#define RATE_REACH   0.025F /* the clock stays this near to the speed that intervals tell */
#define START_LEN    16     /* transitions until a tracker may be believed */
#define GAP_CELLS    64     /* a longer interval: start afresh */
#define PART         2048   /* intervals of a lane, at most */
#define RUN_IN       256    /* before and behind them, for the trackers to lock */
#define REACH        (RUN_IN + PART + RUN_IN)
#define SPANS        (REACH / LOCAL_SPAN)
#define SPLICE_MOST  0.2F /* cells that the trackers may be apart without a splice, at most */
#define SPLICE_LEAST 0.03F
#define APART_SD                                                                               \
    (5 * 0.357F) /* five standard deviations of what jitter sets them apart, in jitters */
#define NEARBY  8
#define NO_WORD 4.0F /* a tracker that has only just started */

_Static_assert(PART % LOCAL_SPAN == 0 && RUN_IN % LOCAL_SPAN == 0, "speeds change together");

/* Four trackers of one direction. */
struct trackers {
    lanes dev;        /* of the last transition from the clock, after its correction */
    lanes rate, next; /* cells a ps: for the next interval, and for the one behind it */
    lanes low, high;  /* bounds of the speed */
    int age[LANES];   /* transitions since a start, to START_LEN */
};

/* Each lane has `part` intervals of its own from first[lane] on, and RUN_IN beside them. Arrays
 * are in the order of the recording; transition k of a part stands at RUN_IN + k. */
struct block {
    lanes interval[REACH];
    lanes dev[2][REACH + 1]; /* forward, backward; what each predicted */
    lanes rate[2][REACH + 1];
    lanes both[PART + 1]; /* deviation by both */
    bool gap[SPANS];      /* some lane's span has one */
    size_t part, first[LANES], count[LANES];
    float splice;    /* cells apart from which the recording was spliced */
    uint32_t gap_ps; /* an interval that is looked at before it is called a gap */
};

static inline float nearest(float x)
{
    return (x + LANES_ROUNDER) - LANES_ROUNDER;
}

static inline size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* First transitions after a start: the gain falls as the mean of all so far would have it. */
static float start_alpha(int age)
{
    float a = 1.0F / (float)(age + 1);
    return a > ALPHA ? a : ALPHA;
}

/* A span of one lane's intervals; true where one of them is a gap. */
static bool span_fill(lanes *to, size_t lane, const uint32_t *d, uint32_t gap_ps)
{
    float *out = (float *)to + lane;
    bool gap = false;
    for (size_t i = 0; i < LOCAL_SPAN; i++) {
        out[i * LANES] = (float)d[i];
        gap |= d[i] > gap_ps;
    }
    return gap;
}

/* The same where the stretch does not have all of them; at: RUN_IN further than it is. */
static bool span_edge(lanes *to, size_t lane, const struct cells *c, size_t at, uint32_t gap_ps)
{
    uint32_t edge[LOCAL_SPAN];
    for (size_t i = 0; i < LOCAL_SPAN; i++, at++) {
        edge[i] = at >= RUN_IN && at - RUN_IN < c->count ? c->flux->interval_ps[at - RUN_IN]
                                                         : UINT32_MAX;
    }
    return span_fill(to, lane, edge, gap_ps);
}

/* The lanes' intervals side by side; gaps where the stretch has none. */
static void block_fill(struct block *b, const struct cells *c)
{
    const size_t spans = (RUN_IN + b->part + RUN_IN) / LOCAL_SPAN;
    memset(b->gap, 0, sizeof b->gap);
    for (size_t s = 0; s < spans; s++) {
        for (size_t lane = 0; lane < LANES; lane++) {
            size_t at = b->first[lane] + s * LOCAL_SPAN; /* RUN_IN further than it is */
            lanes *to = b->interval + s * LOCAL_SPAN;
            bool whole = at >= RUN_IN && at - RUN_IN + LOCAL_SPAN <= c->count;
            b->gap[s] |=
                whole ? span_fill(to, lane, c->flux->interval_ps + (at - RUN_IN), b->gap_ps)
                      : span_edge(to, lane, c, at, b->gap_ps);
        }
    }
}

/* The lanes' spans of 128 intervals from t on have their own speed, known from the intervals.
 */
static void trackers_span(struct trackers *k, const struct cells *c, const struct block *b,
                          size_t t)
{
    const size_t spans = (c->count + LOCAL_SPAN - 1) / LOCAL_SPAN;
    lanes local;
    for (size_t lane = 0; lane < LANES; lane++) {
        size_t at = b->first[lane] + t;
        size_t span = at < RUN_IN ? 0 : (at - RUN_IN) / LOCAL_SPAN;
        local[lane] = c->local_rate[span < spans ? span : spans - 1];
    }
    k->low = local * (1 - RATE_REACH);
    k->high = local * (1 + RATE_REACH);
    k->rate = lanes_clamped(k->rate, k->low, k->high);
    k->next = lanes_clamped(k->next, k->low, k->high);
}

static void trackers_begin(struct trackers *k, const struct cells *c, const struct block *b,
                           size_t t)
{
    memset(k, 0, sizeof *k);
    k->low = lanes_all(-1);
    k->high = lanes_all(1);
    trackers_span(k, c, b, t); /* which lifts the speeds from 0 to its own bounds */
    k->rate = k->next = (k->low + k->high) / 2;
}

/* One interval on. Returns how far the transition behind it lies off the clock's prediction. A
 * correction of the speed takes effect one interval late, so that the loop need not wait for
 * it. */
static inline lanes trackers_step(struct trackers *k, lanes beta, lanes interval)
{
    lanes pos = k->dev + interval * k->rate;
    lanes e = pos - lanes_nearest(pos);
    k->dev = e * (1 - ALPHA);
    k->rate = k->next;
    k->next -= k->next * (beta * e);
    return e;
}

/* The same for one lane, which may start afresh; the gain is that of its age. */
static float lane_step(struct trackers *k, float beta, size_t lane, float interval)
{
    float pos = k->dev[lane] + interval * k->rate[lane];
    float e = pos - nearest(pos);
    if (pos > GAP_CELLS) {
        k->age[lane] = 0;
        k->dev[lane] = 0;
        return NO_WORD;
    }
    if (k->age[lane] < START_LEN) {
        k->dev[lane] = e - start_alpha(k->age[lane]++) * e;
        return NO_WORD;
    }
    k->dev[lane] = e * (1 - ALPHA);
    k->rate[lane] = k->next[lane];
    k->next[lane] -= k->next[lane] * (beta * e);
    return e;
}

static bool any_young(const struct trackers *k)
{
    bool young = false;
    for (int lane = 0; lane < LANES; lane++) {
        young = young || k->age[lane] < START_LEN;
    }
    return young;
}

/* A span in which some lane starts, in steps of `by` (+1 or -1) from t on. */
static void span_slow(struct trackers *k, float beta, struct block *b, size_t t, bool back)
{
    for (size_t i = 0; i < LOCAL_SPAN; i++) {
        size_t at = back ? t + LOCAL_SPAN - 1 - i : t + i;
        size_t to = back ? at : at + 1;
        b->rate[back][to] = k->rate;
        for (size_t lane = 0; lane < LANES; lane++) {
            float e = lane_step(k, beta, lane, b->interval[at][lane]);
            b->dev[back][to][lane] = back && e < NO_WORD ? -e : e;
        }
        k->next = lanes_clamped(k->next, k->low, k->high);
    }
}

/* A span forward and one backward, in which nothing starts. They run side by side: neither
 * waits for the other. The bounds of speed are far away next to what a few steps change. */
#define STEPS_FREE 8
static void spans_fast(struct trackers *f, struct trackers *g, float beta_one, struct block *b,
                       size_t from, size_t to)
{
    const lanes beta = lanes_all(beta_one);
    struct trackers p = *f;
    struct trackers q = *g;
    size_t back = to + LOCAL_SPAN;
    for (size_t t = from; t < from + LOCAL_SPAN;) {
        for (size_t end = t + STEPS_FREE; t < end; t++) {
            b->rate[0][t + 1] = p.rate;
            b->dev[0][t + 1] = trackers_step(&p, beta, b->interval[t]);
            back--;
            b->rate[1][back] = q.rate;
            b->dev[1][back] = -trackers_step(&q, beta, b->interval[back]);
        }
        p.next = lanes_clamped(p.next, p.low, p.high);
        q.next = lanes_clamped(q.next, q.low, q.high);
    }
    *f = p;
    *g = q;
}

static void track(struct block *b, const struct cells *c)
{
    const float beta = BETA / (float)c->code.step_mean;
    const size_t reach = RUN_IN + b->part + RUN_IN;
    struct trackers f;
    struct trackers g;
    trackers_begin(&f, c, b, 0);
    trackers_begin(&g, c, b, reach - LOCAL_SPAN);
    for (size_t from = 0; from < RUN_IN + b->part; from += LOCAL_SPAN) {
        size_t to = reach - LOCAL_SPAN - from;
        trackers_span(&f, c, b, from);
        trackers_span(&g, c, b, to);
        if (b->gap[from / LOCAL_SPAN] || b->gap[to / LOCAL_SPAN] || any_young(&f) ||
            any_young(&g)) {
            span_slow(&f, beta, b, from, false);
            span_slow(&g, beta, b, to, true);
        } else {
            spans_fast(&f, &g, beta, b, from, to);
        }
    }
}

static lanes energy(const lanes *dev, size_t from, size_t to)
{
    lanes sum = lanes_all(0);
    for (size_t k = from; k <= to; k++) {
        lanes d = lanes_choose(dev[k] < NO_WORD, dev[k], lanes_all(0.5F));
        sum += d * d;
    }
    return sum;
}

/* Deviations where in some lane a tracker has no word or the two contradict each other. */
static lanes odd_ones(const struct block *b, size_t k, lane_ints splice, lanes both)
{
    const lanes *dev[2] = {b->dev[0] + RUN_IN, b->dev[1] + RUN_IN};
    size_t from = k > NEARBY ? k - NEARBY : 0;
    size_t to = least(k + NEARBY, b->part);
    lanes f = dev[0][k];
    lanes g = dev[1][k];
    lane_ints better = energy(dev[0], from, to) < energy(dev[1], from, to);
    lanes e = lanes_choose(splice, lanes_choose(better, f, g), both);
    e = lanes_choose(f >= NO_WORD, g, lanes_choose(g >= NO_WORD, f, e));
    return lanes_choose(e >= NO_WORD, lanes_all(0), e);
}

/* Deviations from the clock that both trackers together give. The speeds take out the lag that
 * each has when the speed changes (weights of the two filters' covariances). */
static void together(struct block *b, const struct cells *c)
{
    const float lag = (float)(c->code.step_mean * c->code.cell_ps) / (2 * (ALPHA + BETA));
    for (size_t k = 0; k <= b->part; k++) {
        lanes f = b->dev[0][RUN_IN + k];
        lanes g = b->dev[1][RUN_IN + k];
        lanes apart = g - f;
        apart -= lanes_nearest(apart);
        lanes e = f + apart / 2 + lag * (b->rate[1][RUN_IN + k] - b->rate[0][RUN_IN + k]);
        e -= lanes_nearest(e);
        lane_ints splice = (apart > b->splice) | (apart < -b->splice);
        if (__builtin_expect(lanes_any(splice | (f >= NO_WORD) | (g >= NO_WORD)), 0)) {
            e = odd_ones(b, k, splice, e);
        }
        b->both[k] = e;
    }
}

/* From the jitter of the block: what the better tracker leaves. */
static float splice_limit(const struct block *b, size_t total)
{
    lanes square = lanes_all(0);
    for (size_t k = RUN_IN; k < RUN_IN + b->part; k++) {
        lanes f = b->dev[0][k] * b->dev[0][k];
        lanes g = b->dev[1][k] * b->dev[1][k];
        lanes lower = lanes_choose(f < g, f, g);
        square += lanes_choose(lower < 1, lower, lanes_all(0));
    }
    float limit = APART_SD * sqrtf(lanes_sum(square) / (float)(total + 1));
    return limit < SPLICE_LEAST ? SPLICE_LEAST : limit > SPLICE_MOST ? SPLICE_MOST : limit;
}

/* Out of the lanes. A part begins with the deviation that the part before it ended with. */
static void block_cells(struct cells *c, struct block *b)
{
    lane_ints dev[LOCAL_SPAN];
    lane_ints step[LOCAL_SPAN];
    for (size_t at = 0; at < b->part; at += LOCAL_SPAN) {
        for (size_t i = 0; i < LOCAL_SPAN; i++) {
            size_t k = at + i;
            lanes rate = (b->rate[0][RUN_IN + k + 1] + b->rate[1][RUN_IN + k]) / 2;
            lanes cells = b->interval[RUN_IN + k] * rate + b->both[k] - b->both[k + 1];
            cells = lanes_nearest(lanes_clamped(cells, lanes_all(0), lanes_all(STEP_MAX)));
            step[i] = __builtin_convertvector(cells, lane_ints);
            dev[i] = __builtin_convertvector(lanes_nearest(b->both[k] * DEV_ONE), lane_ints);
        }
        for (size_t lane = 0; lane < LANES; lane++) {
            size_t n = b->count[lane] > at ? least(b->count[lane] - at, LOCAL_SPAN) : 0;
            for (size_t i = 0; i < n; i++) {
                c->dev[b->first[lane] + at + i] = (int16_t)dev[i][lane];
                c->step[b->first[lane] + at + i] = (uint8_t)step[i][lane];
            }
        }
    }
}

/* Parts of the intervals from `from` on, spans whole; returns how many there are in all. */
static size_t block_parts(struct block *b, const struct cells *c, size_t from)
{
    size_t left = least(c->count - from, (size_t)LANES * PART);
    size_t spans = (left + (size_t)LANES * LOCAL_SPAN - 1) / ((size_t)LANES * LOCAL_SPAN);
    b->part = spans * LOCAL_SPAN;
    for (size_t lane = 0; lane < LANES; lane++) {
        size_t skip = least(lane * b->part, left);
        b->first[lane] = from + skip;
        b->count[lane] = least(left - skip, b->part);
    }
    return left;
}

static enum err recover(struct cells *c)
{
    struct block *b = aligned_alloc(sizeof(lanes), sizeof *b);
    float last = 0;
    if (b == NULL) {
        return ERR_MEMORY;
    }
    b->gap_ps = (uint32_t)(GAP_CELLS / 2 * c->code.cell_ps);
    for (size_t from = 0; from < c->count;) {
        size_t n = block_parts(b, c, from);
        block_fill(b, c);
        track(b, c);
        b->splice = splice_limit(b, n);
        together(b, c);
        lanes ends = b->both[b->part];
        if (from > 0) {
            b->both[0][0] = last;
        }
        for (size_t lane = 1; lane < LANES; lane++) {
            b->both[0][lane] = ends[lane - 1];
        }
        block_cells(c, b);
        last = ends[LANES - 1];
        from += n;
        if (from == c->count) {
            size_t lane = LANES - 1;
            while (b->count[lane] == 0) {
                lane--;
            }
            c->dev[from] = (int16_t)nearest(b->both[b->count[lane]][lane] * DEV_ONE);
        }
    }
    free(b);
    return ERR_OK;
}

enum err cells_recover(const struct flux *f, const struct code *code, struct cells *out)
{
    struct cells c = {.flux = f, .code = *code, .count = f->count};
    enum err e = ERR_MEMORY;
    size_t bytes = 0;
    if (mul_size(f->count + 1, sizeof *c.dev, &bytes)) {
        c.step = malloc(f->count + 1);
        c.dev = malloc(bytes);
        c.local_rate = malloc((f->count / LOCAL_SPAN + 1) * sizeof *c.local_rate);
    }
    if (c.step != NULL && c.dev != NULL && c.local_rate != NULL) {
        local_rate_find(&c);
        e = recover(&c);
    }
    if (e != ERR_OK) {
        cells_release(&c);
        return e;
    }
    *out = c;
    return ERR_OK;
}

void cells_release(struct cells *c)
{
    free(c->step);
    free(c->dev);
    free(c->local_rate);
    memset(c, 0, sizeof *c);
}
