/* Decisions with the code's constraint: the likeliest sequence of cells among those that the
 * code allows.
 *
 * A transition nearest to the centre of its cell is in the likeliest cell, so where the nearest
 * cells keep the code's limits they are the likeliest sequence. Only around a broken limit is
 * anything searched.
 */
#include "signal/flux_private.h"

#include <string.h>

#define REACH   12 /* transitions around a broken limit that are weighed anew */
#define LEN_MAX 96
#define SHIFTS  3 /* a transition may move to the cell before or behind */

/* Cost, in squares of a cell, of leaving a limit broken: a pulse lost or too many is likelier
 * than a transition that lies within 0.15 cells of one centre and belongs to the next. */
#define BROKEN_COST 0.7F

/* A stretch of transitions first..last; cell: of the first, where the phase is known. */
struct window {
    size_t first, last;
    bool phase;
    int cell;
};

/* MFM: a data transition may be followed by data 2 or 4 cells on or by a clock 3 on; a clock by
 * a clock 2 on or by data 3 on. FM: every clock cell holds a transition, so that only from
 * there to the next clock are two cells. Odd cells hold data. */
static bool step_allowed(const struct cells *c, int step, bool phase, int cell)
{
    if (step < c->code.step_min || step > c->code.step_max) {
        return false;
    }
    if (c->code.encoding == ENC_FM) {
        return !phase || step == 1 || (cell & 1) == 0;
    }
    return !phase || step < 4 || (cell & 1) != 0;
}

struct path {
    float cost[SHIFTS];
    uint8_t back[LEN_MAX + 1][SHIFTS];
};

static float shift_cost(const struct cells *c, size_t k, int shift)
{
    float off = (float)c->dev[k] / DEV_ONE - (float)shift;
    return off * off;
}

/* One transition further. */
static void path_step(struct path *p, const struct cells *c, const struct window *w, size_t k,
                      int cell)
{
    float cost[SHIFTS];
    for (int to = 0; to < SHIFTS; to++) {
        float best = 1e30F;
        for (int from = 0; from < SHIFTS; from++) {
            int step = c->step[k - 1] + to - from;
            float sum = p->cost[from] +
                        (step_allowed(c, step, w->phase, cell + from - 1) ? 0 : BROKEN_COST);
            if (step >= 0 && sum < best) {
                best = sum;
                p->back[k - w->first][to] = (uint8_t)from;
            }
        }
        cost[to] = best + shift_cost(c, k, to - 1);
    }
    memcpy(p->cost, cost, sizeof cost);
}

/* Move a transition by whole cells. */
static void shift_by(struct cells *c, size_t k, int shift)
{
    c->dev[k] = (int16_t)(c->dev[k] - shift * DEV_ONE);
    c->step[k - 1] = (uint8_t)(c->step[k - 1] + shift);
    c->step[k] = (uint8_t)(c->step[k] - shift);
}

/* Both ends of the window stay where they are. log: has room for LEN_MAX, or NULL. */
static void window_decide(struct cells *c, const struct window *w, struct shift_log *log)
{
    struct path p = {{1e9F, 0, 1e9F}, {{0}}};
    int cell = w->cell;
    for (size_t k = w->first + 1; k <= w->last; k++) {
        path_step(&p, c, w, k, cell);
        cell += c->step[k - 1];
    }
    uint8_t at = 1;
    for (size_t k = w->last; k > w->first; k--) {
        int shift = at - 1;
        uint8_t before = p.back[k - w->first][at];
        if (shift != 0) {
            shift_by(c, k, shift);
            if (log != NULL) {
                log->shift[log->count++] = (struct shift){k, (int8_t)shift};
            }
        }
        at = before;
    }
}

/* The window around the limit broken at interval i, and any more within reach. */
static void window_end(const struct cells *c, struct window *w, size_t i, size_t end, int cell)
{
    size_t broken = i;
    for (size_t k = i; k < end && k < broken + REACH && k - w->first < LEN_MAX - REACH; k++) {
        if (!step_allowed(c, c->step[k], w->phase, cell)) {
            broken = k;
        }
        cell += c->step[k];
    }
    w->last = broken + REACH < end ? broken + REACH : end;
}

static bool hopeless(const struct cells *c, size_t i)
{
    return c->step[i] > 2 * c->code.step_max; /* nothing recorded here */
}

/* The first interval from i on that the code does not have. Nearly all are legal, so that
 * blocks are looked at whole. */
#define BLOCK 64
static size_t first_broken(const struct cells *c, size_t i)
{
    const uint8_t low = (uint8_t)c->code.step_min;
    const uint8_t width = (uint8_t)(c->code.step_max - c->code.step_min);
    for (bool broken = false; i + BLOCK <= c->count; i += BLOCK) {
        for (size_t k = i; k < i + BLOCK; k++) {
            broken |= (uint8_t)(c->step[k] - low) > width;
        }
        if (broken) {
            break;
        }
    }
    while (i < c->count && (uint8_t)(c->step[i] - low) <= width) {
        i++;
    }
    return i;
}

void cells_constrain(struct cells *c)
{
    size_t done = 0;
    if (c->code.encoding != ENC_MFM && c->code.encoding != ENC_FM) {
        return;
    }
    for (size_t i = first_broken(c, 0); i < c->count; i = first_broken(c, i + 1)) {
        if (hopeless(c, i)) {
            continue;
        }
        struct window w = {i > done + REACH ? i - REACH : done, 0, false, 0};
        window_end(c, &w, i, c->count, 0);
        window_decide(c, &w, NULL);
        done = w.last;
        i = w.last - 1;
    }
}

/* By steps: bit 0, allowed from an even cell; bit 1, from an odd one. */
static void allowed_set(const struct cells *c, uint8_t *allowed)
{
    memset(allowed, 0, UINT8_MAX + 1);
    for (int s = c->code.step_min; s <= c->code.step_max; s++) {
        allowed[s] = (uint8_t)((step_allowed(c, s, true, 0) ? 1u : 0u) |
                               (step_allowed(c, s, true, 1) ? 2u : 0u));
    }
}

void cells_constrain_phase(struct cells *c, size_t from, int cell, int64_t span,
                           struct shift_log *out)
{
    uint8_t allowed[UINT8_MAX + 1];
    int64_t end_cell = cell + span;
    int64_t now = cell;
    out->count = 0;
    allowed_set(c, allowed);
    for (size_t i = from; i < c->count && now < end_cell; i++) {
        if ((allowed[c->step[i]] >> (now & 1) & 1) != 0 || hopeless(c, i)) {
            now += c->step[i];
            continue;
        }
        if (out->count + LEN_MAX > SHIFTS_LOGGED) {
            return;
        }
        struct window w = {i > from + REACH ? i - REACH : from, 0, true, 0};
        for (size_t k = w.first; k < i; k++) {
            w.cell ^= c->step[k] & 1;
        }
        w.cell ^= (int)(now & 1);
        window_end(c, &w, i, c->count, (int)(now & 1));
        for (size_t k = i; k < w.last; k++) {
            now += c->step[k]; /* the window's ends stay where they are */
        }
        window_decide(c, &w, out);
        from = w.last;
        i = w.last - 1;
    }
}

void cells_shift_back(struct cells *c, const struct shift_log *log)
{
    for (size_t i = log->count; i-- > 0;) {
        shift_by(c, log->shift[i].at, -log->shift[i].by);
    }
}
