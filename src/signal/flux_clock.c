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
    float dev, rate;
    int age;
};

struct block {
    float dev[2][BLOCK + RUN_IN + 1]; /* forward, backward; what each predicted */
    float rate[2][BLOCK + RUN_IN + 1];
    size_t count; /* of intervals */
    float splice; /* cells apart from which the recording was spliced */
};

static float nearest(float x)
{
    return (x + (float)ROUNDER) - (float)ROUNDER;
}

/* First transitions after a start: the gain falls as the mean of all so far would have it. */
static float start_alpha(int age)
{
    float a = 1.0F / (float)(age + 1);
    return a > ALPHA ? a : ALPHA;
}

/* Run a tracker over n intervals beginning with d[0], onward (dir 1) or back (dir -1).
 * dev[dir], dev[2 dir]
 * ... take what it predicted. The speed in use is one transition old: that halves the time the
 * loop takes. */
static inline void track(struct tracker *t, const struct cells *c, const uint32_t *d, size_t n,
                         float local, ptrdiff_t dir, float *dev, float *rate)
{
    const float low = local * (1 - RATE_REACH);
    const float high = local * (1 + RATE_REACH);
    const float beta = BETA / (float)c->code.step_mean;
    float r = fminf(fmaxf(t->rate, low), high);
    float x = t->dev;
    ptrdiff_t at = 0;
    for (size_t i = 0; i < n; i++, at += dir) {
        float alpha = t->age < START_LEN ? start_alpha(t->age) : ALPHA;
        float pos = x + (float)d[at] * r;
        float e = pos - nearest(pos);
        rate[at + dir] = r;
        if (pos > GAP_CELLS) {
            dev[at + dir] = NO_WORD;
            t->age = 0;
            x = 0;
            continue;
        }
        dev[at + dir] = t->age < START_LEN ? NO_WORD : e;
        x = e - alpha * e;
        r = r - r * (beta * e);
        r = r < low ? low : r > high ? high : r;
        t->age += t->age < START_LEN;
    }
    t->rate = r;
    t->dev = x;
}

/* Both directions over intervals from..to of the stretch, span by span as the local speed is
 * known. */
static void track_forward(struct tracker *t, const struct cells *c, size_t from, size_t to,
                          struct block *b)
{
    size_t i = from;
    while (i < to) {
        size_t span = i / LOCAL_SPAN;
        size_t end = (span + 1) * LOCAL_SPAN;
        end = end < to ? end : to;
        track(t, c, c->flux->interval_ps + i, end - i, c->local_rate[span], 1,
              b->dev[0] + (i - from), b->rate[0] + (i - from));
        i = end;
    }
}

static void track_backward(const struct cells *c, size_t from, size_t to, struct block *b)
{
    size_t i = to;
    struct tracker t = {0, c->local_rate[(to - 1) / LOCAL_SPAN], 0};
    b->dev[1][to - from] = NO_WORD;
    b->rate[1][to - from] = t.rate;
    while (i > from) {
        size_t span = (i - 1) / LOCAL_SPAN;
        size_t start = span * LOCAL_SPAN;
        start = start > from ? start : from;
        track(&t, c, c->flux->interval_ps + i - 1, i - start, c->local_rate[span], -1,
              b->dev[1] + (i - from), b->rate[1] + (i - from));
        i = start;
    }
    for (size_t k = 0; k <= to - from; k++) { /* late in reversed time is early */
        b->dev[1][k] = b->dev[1][k] < NO_WORD ? -b->dev[1][k] : NO_WORD;
    }
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
static float together(const struct cells *c, const struct block *b, size_t k)
{
    const float lag = (float)c->code.step_mean / (2 * (ALPHA + BETA));
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
    float e = f + apart / 2 + lag * (b->rate[1][k] - b->rate[0][k]) / b->rate[0][k];
    return e - nearest(e);
}

/* From the jitter of the block: what the better tracker leaves. */
static float splice_limit(const struct block *b)
{
    float square = 0;
    for (size_t k = 0; k < b->count; k++) {
        float f = b->dev[0][k] * b->dev[0][k];
        float g = b->dev[1][k] * b->dev[1][k];
        float least = f < g ? f : g;
        square += least < 1 ? least : 0;
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
        c->dev[from + k] = (int16_t)lrintf(dev * DEV_ONE);
        c->step[from + k] = step < STEP_MAX ? step > 0 ? (uint8_t)(step + 0.5F) : 0 : STEP_MAX;
        dev = next;
    }
    c->dev[to] = (int16_t)lrintf(dev * DEV_ONE);
}

static enum err recover(struct cells *c)
{
    struct tracker forward = {0, c->local_rate[0], 0};
    struct block *b = malloc(sizeof *b);
    if (b == NULL) {
        return ERR_MEMORY;
    }
    b->dev[0][0] = NO_WORD;
    b->rate[0][0] = forward.rate;
    for (size_t from = 0; from < c->count; from += BLOCK) {
        size_t to = c->count - from > BLOCK ? from + BLOCK : c->count;
        size_t ahead = c->count - to > RUN_IN ? to + RUN_IN : c->count;
        track_forward(&forward, c, from, to, b);
        track_backward(c, from, ahead, b);
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
