/* The sampling interval, found from the spacings of edges: nearly all are whole multiples of
 * it, to the rounding of two time stamps. */
#include "evidence/survey_private.h"

#include <math.h>
#include <stdlib.h>

#define NEIGHBOURS_MIN                                                                         \
    8 /* spacings one step apart: times that scatter, not exact ones of a model */
#define LOG_ODDS_MIN   20.0  /* natural log, against spacings that fit by chance */
#define OUTLIERS       0.002 /* of all spacings, by how often they occur */
#define ODD_VALUES     0.02  /* of the different spacings */
#define TICKS_MIN      2.4   /* to the rounding, a finer grid looks like none */
#define TICKS_EXACT    2     /* but one of two whole ticks shows by its even spacings */
#define RDATA_ENOUGH   4000
#define DIVISOR_MAX    256 /* steps in the shortest spacing */
#define WORK_MAX       500000
#define SLOT_OF(ticks) ((size_t)((uint64_t)(ticks)*0x9E3779B97F4A7C15u >> 40) % GRID_SLOTS)

struct search {
    const struct spacing *s; /* rising */
    size_t count;
    int64_t often; /* spacings seen this often or more must all fit */
    int32_t work;
};

void grid_edge(struct grid *g, int64_t tick, bool rdata)
{
    int64_t ticks = g->last_tick >= 0 ? tick - g->last_tick : 0;
    g->last_tick = tick;
    if (g->found || ticks <= 0) {
        return;
    }
    size_t i = SLOT_OF(ticks);
    while (g->slot[i].count > 0 && g->slot[i].ticks != ticks) {
        i = (i + 1) % GRID_SLOTS;
    }
    if (g->slot[i].count == 0 && g->different == GRID_DIFFERENT_MAX) {
        return;
    }
    g->different += g->slot[i].count == 0;
    g->slot[i].ticks = ticks;
    g->slot[i].count++;
    g->rdata += rdata;
}

static int compare_spacing(const void *a, const void *b)
{
    int64_t x = ((const struct spacing *)a)->ticks;
    int64_t y = ((const struct spacing *)b)->ticks;
    return (x > y) - (x < y);
}

static int compare_count(const void *a, const void *b)
{
    int64_t x = ((const struct spacing *)a)->count;
    int64_t y = ((const struct spacing *)b)->count;
    return x != y ? (x > y) - (x < y) : compare_spacing(a, b);
}

/* The rarest spacings, as many as may be outliers, need not fit. */
static void search_make(struct grid *g, struct search *out)
{
    size_t n = 0;
    int64_t total = 0;
    int64_t rare = 0;
    for (size_t i = 0; i < GRID_SLOTS; i++) {
        if (g->slot[i].count > 0) {
            g->sorted[n++] = g->slot[i];
            total += g->slot[i].count;
        }
    }
    *out = (struct search){.s = g->sorted, .count = n, .often = 1};
    qsort(g->sorted, n, sizeof g->sorted[0], compare_count);
    for (size_t i = 0; i < n; i++) {
        rare += g->sorted[i].count;
        if ((double)rare > OUTLIERS * (double)total) {
            out->often = g->sorted[i].count;
            break;
        }
    }
    qsort(g->sorted, n, sizeof g->sorted[0], compare_spacing);
}

/* The coarsest grid within (low, high) that all spacings from the i-th on fit; 0 where there is
 * none. Each narrows the range, so that longer ones fix it finer. */
static double fit_within(struct search *s, size_t i, double low, double high)
{
    for (; i < s->count; i++) {
        double d = (double)s->s[i].ticks;
        double least = fmax(1, floor((d - 1) / high) + 1);
        double most = ceil((d + 1) / low) - 1;
        if (s->s[i].count < s->often) {
            continue;
        }
        if (++s->work > WORK_MAX || most < least) {
            return 0;
        }
        double fit = 0;
        for (int64_t k = (int64_t)least; (double)k < most && fit <= 0; k++) {
            double steps = (double)k;
            fit = fit_within(s, i + 1, fmax(low, (d - 1) / steps), fmin(high, (d + 1) / steps));
        }
        if (fit > 0) {
            return fit;
        }
        low = fmax(low, (d - 1) / most);
        high = fmin(high, (d + 1) / most);
        if (low >= high) {
            return 0;
        }
    }
    return (low + high) / 2;
}

static bool fits(int64_t ticks, double grid, bool exact)
{
    double off = fabs((double)ticks - round((double)ticks / grid) * grid);
    return ticks >= (int64_t)(grid / 2) && (exact ? off < 1e-6 : off < 1);
}

static bool nearly_all_fit(const struct search *s, double grid, bool exact)
{
    int64_t total = 0;
    int64_t odd = 0;
    for (size_t i = 0; i < s->count; i++) {
        total += s->s[i].count;
        odd += fits(s->s[i].ticks, grid, exact) ? 0 : s->s[i].count;
    }
    return s->count > 0 && (double)odd <= OUTLIERS * (double)total;
}

/* A true grid shows in more different spacings than chance can make fit, many of them one step
 * apart. Times that a model placed on round numbers, or a few slow lines, show no such thing.
 */
static bool proven(const struct search *s, double grid, bool exact)
{
    double chance = (exact ? 1 : 2) / grid;
    double log_odds = 0;
    double last = -1;
    size_t neighbours = 0;
    for (size_t i = 0; i < s->count; i++) {
        if (!fits(s->s[i].ticks, grid, exact)) {
            log_odds += log(ODD_VALUES / (1 - chance));
            continue;
        }
        double steps = round((double)s->s[i].ticks / grid);
        log_odds += log((1 - ODD_VALUES) / chance);
        neighbours += last >= 0 && fabs(steps - last - 1) < 0.5;
        last = steps;
    }
    return neighbours >= NEIGHBOURS_MIN && log_odds >= LOG_ODDS_MIN;
}

/* The coarsest grid that the spacings fit, in ticks; 0: none. */
static double coarsest(struct search *s)
{
    size_t first = 0;
    double fit = 0;
    while (first < s->count && s->s[first].count < s->often) {
        first++;
    }
    double shortest = first < s->count ? (double)s->s[first].ticks : 0;
    for (int k = 1; k <= DIVISOR_MAX && (shortest + 1) / k > TICKS_MIN && fit <= 0; k++) {
        fit = fit_within(s, first, fmax(TICKS_MIN, (shortest - 1) / k), (shortest + 1) / k);
    }
    return fit > 0 ? fit : nearly_all_fit(s, TICKS_EXACT, true) ? TICKS_EXACT : 0;
}

/* The grid that leaves the least squares of rounding. Spacings too long to count their steps
 * with what shorter ones told are left out. */
static double refined(const struct search *s, double grid)
{
    double across = 0;
    double square = 0;
    double longest = HUGE_VAL; /* steps that can be counted */
    for (size_t i = 0; i < s->count; i++) {
        double now = square > 0 ? across / square : grid;
        double d = (double)s->s[i].ticks;
        double steps = round(d / now);
        if (steps > longest || fabs(d - steps * now) > now / 4) {
            continue;
        }
        across += (double)s->s[i].count * steps * d;
        square += (double)s->s[i].count * steps * steps;
        longest = fmax(2 * steps, steps * grid / 2);
    }
    return square > 0 ? across / square : grid;
}

enum grid_word grid_find(struct grid *g, double *out_ticks)
{
    struct search s;
    search_make(g, &s);
    double grid = coarsest(&s);
    *out_ticks = 1;
    if (s.count == 0 || s.work > WORK_MAX) {
        return GRID_OPEN;
    }
    if (grid <= 0) {
        return GRID_NONE;
    }
    bool exact = nearly_all_fit(&s, round(grid), true);
    *out_ticks = exact ? round(grid) : refined(&s, grid);
    return nearly_all_fit(&s, *out_ticks, exact) && proven(&s, *out_ticks, exact) ? GRID_FOUND
                                                                                  : GRID_OPEN;
}

void sampling_settle(struct survey_run *r, bool at_end)
{
    struct survey *s = r->out;
    double grid = 1;
    if (r->grid.found) {
        return;
    }
    if (s->info.sample_fs > 0) {
        s->sample_ns = (double)s->info.sample_fs / (double)FS_PER_NS;
        s->sample_known = r->grid.found = true;
        return;
    }
    if (!at_end && r->grid.rdata < RDATA_ENOUGH) {
        return;
    }
    enum grid_word word = grid_find(&r->grid, &grid);
    s->sample_known = word != GRID_OPEN;
    s->sample_ns = tick_ns(r->tick) * (word == GRID_FOUND ? grid : 1);
    r->grid.found = at_end || s->sample_known;
}
