/* The bit clock, looking both ways: one tracker runs forward, one backward, and what both
 * predict for a transition, neither having seen it, is put together.
 *
 * Each is a Kalman filter for a clock whose speed wanders, in its steady state (an alpha-beta
 * filter). Where the two disagree the recording was spliced: there the one that has been right
 * nearby is believed.
 */
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
#define BLOCK        16384
#define RUN_IN       512  /* transitions behind a block for the backward tracker to lock */
#define SPLICE_MOST  0.2F /* cells that the trackers may be apart without a splice, at most */
#define SPLICE_LEAST 0.03F
#define APART_SD                                                                               \
    (5 * 0.357F) /* five standard deviations of what jitter sets them apart, in jitters */
#define NEARBY  8
#define NO_WORD 4.0F     /* a tracker that has only just started */
#define ROUNDER 12582912 /* 1.5 x 2^23: adding it rounds a float to a whole number */

struct tracker {
    float dev;        /* of the last transition from the clock, after its correction */
    float rate, next; /* cells a ps: for the next interval, and for the one behind it */
    float low, high;  /* bounds of the speed */
    int age;          /* transitions since a start, to START_LEN */
};

struct block {
    float dev[2][BLOCK + RUN_IN + 1]; /* forward, backward; what each predicted */
    float rate[2][BLOCK + RUN_IN + 1];
    size_t count; /* of intervals */
    float splice; /* cells apart from which the recording was spliced */
};

static inline float nearest(float x)
{
    return (x + (float)ROUNDER) - (float)ROUNDER;
}

static inline float clamped(float x, float low, float high)
{
    x = x < low ? low : x;
    return x > high ? high : x;
}

/* First transitions after a start: the gain falls as the mean of all so far would have it. */
static float start_alpha(int age)
{
    float a = 1.0F / (float)(age + 1);
    return a > ALPHA ? a : ALPHA;
}

/* The next span of the stretch, whose speed is known from its intervals. */
static void tracker_span(struct tracker *t, const struct cells *c, size_t interval)
{
    float local = c->local_rate[interval / LOCAL_SPAN];
    t->low = local * (1 - RATE_REACH);
    t->high = local * (1 + RATE_REACH);
    t->rate = clamped(t->rate, t->low, t->high);
    t->next = clamped(t->next, t->low, t->high);
}

/* One interval on. Returns how far the transition behind it lies off the clock's prediction. A
 * correction of the speed takes effect one interval late, so that the loop need not wait for
 * it. */
static inline float tracker_step(struct tracker *t, float beta, uint32_t interval_ps)
{
    float pos = t->dev + (float)interval_ps * t->rate;
    float e = pos - nearest(pos);
    if (__builtin_expect(pos > GAP_CELLS || t->age < START_LEN, 0)) {
        if (pos > GAP_CELLS) {
            t->age = 0;
            t->dev = 0;
        } else {
            t->dev = e - start_alpha(t->age++) * e;
        }
        return NO_WORD;
    }
    t->dev = e - ALPHA * e;
    t->rate = t->next;
    t->next = clamped(t->next - t->next * (beta * e), t->low, t->high);
    return e;
}

static inline void forward_step(struct tracker *t, float beta, const uint32_t *d, size_t k,
                                struct block *b)
{
    b->rate[0][k + 1] = t->rate;
    b->dev[0][k + 1] = tracker_step(t, beta, d[k]);
}

/* Interval k backward; late in reversed time is early. */
static inline void backward_step(struct tracker *t, float beta, const uint32_t *d, size_t k,
                                 struct block *b)
{
    b->rate[1][k] = t->rate;
    float e = tracker_step(t, beta, d[k]);
    b->dev[1][k] = e < NO_WORD ? -e : NO_WORD;
}

static inline size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

/* Both trackers over the intervals from..to of the stretch, the backward one from `ahead` on.
 * They run side by side: neither waits for the other, and the processor works on both at once.
 */
static void track(const struct cells *c, size_t from, size_t to, size_t ahead,
                  struct tracker *forward, struct block *b)
{
    const float beta = BETA / (float)c->code.step_mean;
    const uint32_t *d = c->flux->interval_ps + from;
    float local = c->local_rate[(ahead - 1) / LOCAL_SPAN];
    struct tracker f = *forward;
    struct tracker g = {.rate = local, .next = local};
    size_t k = ahead - from;
    b->dev[1][k] = NO_WORD;
    b->rate[1][k] = local;
    tracker_span(&g, c, ahead - 1);
    while (k > to - from) {
        if ((from + k) % LOCAL_SPAN == 0) {
            tracker_span(&g, c, from + k - 1);
        }
        k--;
        backward_step(&g, beta, d, k, b);
    }
    for (size_t i = 0; i < to - from;) { /* runs within one span of either */
        size_t n = least(LOCAL_SPAN - (from + i) % LOCAL_SPAN, (from + k - 1) % LOCAL_SPAN + 1);
        n = least(n, to - from - i);
        tracker_span(&f, c, from + i);
        tracker_span(&g, c, from + k - 1);
        for (size_t end = i + n; i < end; i++) {
            forward_step(&f, beta, d, i, b);
            backward_step(&g, beta, d, --k, b);
        }
    }
    *forward = f;
}

static float energy(const float *dev, size_t from, size_t to)
{
    float sum = 0;
    for (size_t k = from; k <= to; k++) {
        float d = dev[k] < NO_WORD ? dev[k] : 0.5F;
        sum += d * d;
    }
    return sum;
}

/* Deviation from the clock that both trackers together give. The speeds take out the lag that
 * each has when the speed changes (weights of the two filters' covariances). */
static inline float together(const struct cells *c, const struct block *b, size_t k)
{
    const float lag = (float)(c->code.step_mean * c->code.cell_ps) / (2 * (ALPHA + BETA));
    float f = b->dev[0][k];
    float g = b->dev[1][k];
    if (f >= NO_WORD || g >= NO_WORD) {
        return f < NO_WORD ? f : g < NO_WORD ? g : 0;
    }
    float apart = g - f;
    apart -= nearest(apart);
    if (fabsf(apart) > b->splice) {
        size_t from = k > NEARBY ? k - NEARBY : 0;
        size_t to = k + NEARBY < b->count ? k + NEARBY : b->count;
        return energy(b->dev[0], from, to) < energy(b->dev[1], from, to) ? f : g;
    }
    float e = f + apart / 2 + lag * (b->rate[1][k] - b->rate[0][k]);
    return e - nearest(e);
}

/* From the jitter of the block: what the better tracker leaves. */
static float splice_limit(const struct block *b)
{
    float square = 0;
    for (size_t k = 0; k < b->count; k++) {
        float f = b->dev[0][k] * b->dev[0][k];
        float g = b->dev[1][k] * b->dev[1][k];
        float lower = f < g ? f : g;
        square += lower < 1 ? lower : 0;
    }
    float limit = APART_SD * sqrtf(square / (float)(b->count + 1));
    return limit < SPLICE_LEAST ? SPLICE_LEAST : limit > SPLICE_MOST ? SPLICE_MOST : limit;
}

static void block_cells(struct cells *c, size_t from, size_t to, const struct block *b)
{
    float dev = together(c, b, 0);
    for (size_t k = 0; k < to - from; k++) {
        float rate = (b->rate[0][k + 1] + b->rate[1][k]) / 2;
        float next = together(c, b, k + 1);
        float step = (float)c->flux->interval_ps[from + k] * rate + dev - next;
        c->dev[from + k] = (int16_t)nearest(dev * DEV_ONE);
        c->step[from + k] = (uint8_t)clamped(nearest(step), 0, STEP_MAX);
        dev = next;
    }
    c->dev[to] = (int16_t)nearest(dev * DEV_ONE);
}

static enum err recover(struct cells *c)
{
    struct tracker forward = {.rate = c->local_rate[0], .next = c->local_rate[0]};
    struct block *b = calloc(1, sizeof *b);
    if (b == NULL) {
        return ERR_MEMORY;
    }
    b->dev[0][0] = NO_WORD;
    b->rate[0][0] = forward.rate;
    for (size_t from = 0; from < c->count; from += BLOCK) {
        size_t to = c->count - from > BLOCK ? from + BLOCK : c->count;
        size_t ahead = c->count - to > RUN_IN ? to + RUN_IN : c->count;
        track(c, from, to, ahead, &forward, b);
        b->count = to - from;
        b->splice = splice_limit(b);
        block_cells(c, from, to, b);
        b->dev[0][0] = b->dev[0][to - from];
        b->rate[0][0] = b->rate[0][to - from];
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
