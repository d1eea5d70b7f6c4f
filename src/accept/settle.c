#include "accept/settle.h"

#include "base/buf.h"
#include "base/units.h"

#include <math.h>
#include <stdlib.h>

#define WINDOW_NS    (NS_PER_MS)
#define STEADY_NEEDS 3   /* windows in a row that are as later */
#define FEW          0.5 /* of the usual falls in a window: it is silent */
#define STRAY        0.3 /* of a cell: a splice or a lost pulse, not the settling */
#define SIGMAS       4.5
#define MEAN_SIGMAS  4.0
#define MEAN_SLACK   1.05

/* ---- reading ---- */

struct reader_of_settle {
    struct settle *s;
    const struct listen *l;
    size_t next;     /* step that comes next */
    int64_t step_ns; /* the last one; -1 none */
    struct settle_seek now;
    bool open;
    int64_t fall_ps; /* of the last read pulse; -1 none */
    double cell_ps;
    int step_min, step_max;
    double sum[SETTLE_WINDOWS];
};

static enum err seek_over(struct reader_of_settle *r, int64_t ns)
{
    struct settle *s = r->s;
    bool whole = r->open && ns - r->now.ns >= SETTLE_WINDOWS * WINDOW_NS;
    r->open = false;
    if (!whole || s->seeks == SETTLE_SEEKS_MAX)
        return ERR_OK;
    TRY(array_grow((void **)&s->seek, &s->cap, s->seeks + 1, sizeof s->seek[0],
                   SETTLE_SEEKS_MAX));
    for (int i = 0; i < SETTLE_WINDOWS; i++)
        r->now.spread[i] = r->now.falls[i] > 0 ? (float)(r->sum[i] / r->now.falls[i]) : 0.0F;
    s->seek[s->seeks++] = r->now;
    return ERR_OK;
}

static enum err steps_until(struct reader_of_settle *r, int64_t ns)
{
    for (; r->next < r->l->steps && r->l->step[r->next].ns <= ns; r->next++) {
        const struct step_seen *x = &r->l->step[r->next];
        TRY(seek_over(r, x->ns));
        r->now = (struct settle_seek){.ns = x->ns, .direction = x->direction};
        for (int i = 0; i < SETTLE_WINDOWS; i++)
            r->sum[i] = 0;
        r->open = x->selected && x->direction != 0;
        r->fall_ps = -1;
    }
    return ERR_OK;
}

static void interval(struct reader_of_settle *r, int64_t from_ps, int64_t to_ps, int64_t ns)
{
    double cells = (double)(to_ps - from_ps) / r->cell_ps;
    double whole = round(cells);
    double off = cells - whole;
    int64_t w = (ns - r->now.ns) / WINDOW_NS;
    if (w < 0 || w >= SETTLE_WINDOWS)
        return;
    if (whole < r->step_min || whole > r->step_max || fabs(off) > STRAY)
        return; /* counts as a fall that did not come */
    r->now.falls[w]++;
    r->sum[w] += off * off;
}

static enum err take(struct reader_of_settle *r, struct tick tick, const struct chunk *c)
{
    for (size_t i = 0; i < c->count; i++) {
        int64_t ps = 0;
        bool fall = edge_line(c->edge[i]) == LINE_RDATA && edge_level(c->edge[i]) == LEVEL_LOW;
        if (!fall)
            continue;
        if (!ticks_to_ps(edge_tick(c, i), tick, &ps))
            return ERR_FORMAT;
        int64_t ns = ps / PS_PER_NS;
        TRY(steps_until(r, ns));
        if (r->open && r->fall_ps >= 0)
            interval(r, r->fall_ps, ps, ns);
        r->fall_ps = ps;
    }
    return ERR_OK;
}

enum err settle_read(struct capture *c, const struct listen *l, const struct flux_quality *code,
                     volatile const int *stop, struct settle *s, struct err_msg *e)
{
    struct chunk chunk = {0};
    struct tick tick = capture_info(c)->tick;
    struct reader_of_settle r = {.s = s, .l = l, .step_ns = -1, .fall_ps = -1};
    bool fm = code->encoding == ENC_FM;
    r.cell_ps = code->cell_ns * 1e3;
    r.step_min = fm ? 1 : 2;
    r.step_max = fm ? 2 : 4;
    while (r.cell_ps > 0 && !chunk.last) {
        if (stop != NULL && *stop != 0)
            return err_set(e, ERR_INTERRUPTED, "interrupted");
        TRY(capture_next(c, &chunk, e));
        TRY(take(&r, tick, &chunk));
    }
    int64_t end = 0;
    if (r.cell_ps > 0 && ticks_to_ns(chunk.end_tick, tick, &end)) {
        TRY(steps_until(&r, end));
        TRY(seek_over(&r, end));
    }
    return ERR_OK;
}

/* ---- weighing ---- */

struct usual {
    double falls, spread, spread_sd;
};

/* What a steady window is like, over all seeks. */
static bool usual_find(const struct settle *s, struct usual *out)
{
    double n = 0;
    double falls = 0;
    double sum = 0;
    double square = 0;
    for (size_t i = 0; i < s->seeks; i++) {
        for (int w = SETTLE_STEADY; w < SETTLE_WINDOWS; w++) {
            n += 1;
            falls += s->seek[i].falls[w];
            sum += (double)s->seek[i].spread[w];
            square += (double)s->seek[i].spread[w] * (double)s->seek[i].spread[w];
        }
    }
    if (n < 1 || falls / n < 4)
        return false;
    *out = (struct usual){falls / n, sum / n, sqrt(fmax(0, square / n - sum / n * sum / n))};
    return true;
}

static bool steady(const struct settle_seek *k, int w, const struct usual *u)
{
    return k->falls[w] >= FEW * u->falls &&
           (double)k->spread[w] <= u->spread + SIGMAS * u->spread_sd;
}

/* First window from which STEADY_NEEDS in a row are as later; SETTLE_STEADY: none. */
static int settled_at(const struct settle_seek *k, const struct usual *u)
{
    int run = 0;
    for (int w = 0; w < SETTLE_STEADY; w++) {
        run = steady(k, w, u) ? run + 1 : 0;
        if (run == STEADY_NEEDS)
            return w + 1 - STEADY_NEEDS;
    }
    return SETTLE_STEADY;
}

/* All seeks together: behind the last window whose mean differs from the steady one. */
static int settled_together(const struct settle *s, const struct usual *u)
{
    double n = (double)s->seeks;
    int last = -1;
    for (int w = 0; w < SETTLE_STEADY; w++) {
        double falls = 0;
        double sum = 0;
        for (size_t i = 0; i < s->seeks; i++) {
            falls += s->seek[i].falls[w];
            sum += (double)s->seek[i].spread[w];
        }
        bool few = falls / n < 0.9 * u->falls;
        double limit = MEAN_SLACK * u->spread + MEAN_SIGMAS * u->spread_sd / sqrt(n);
        if (few || sum / n > limit)
            last = w;
    }
    return last + 1;
}

bool settle_find(const struct settle *s, struct settle_result *out)
{
    struct usual u;
    *out = (struct settle_result){.seeks = s->seeks};
    if (!usual_find(s, &u))
        return false;
    for (size_t i = 0; i < s->seeks; i++) {
        int w = settled_at(&s->seek[i], &u);
        out->inward += s->seek[i].direction > 0;
        out->outward += s->seek[i].direction < 0;
        out->never += w == SETTLE_STEADY;
        out->worst_ms = fmax(out->worst_ms, w * SETTLE_WINDOW_MS);
    }
    out->mean_ms = settled_together(s, &u) * SETTLE_WINDOW_MS;
    return true;
}

void settle_release(struct settle *s)
{
    free(s->seek);
    *s = (struct settle){0};
}
