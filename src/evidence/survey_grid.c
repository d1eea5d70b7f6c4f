/* The sampling interval, found from the spacings of edges: all are whole multiples of it, to
 * one tick. */
#include "evidence/survey_private.h"

#include <math.h>
#include <stdlib.h>

#define GRID_NEIGHBOURS_MIN                                                                    \
    8 /* spacings one step apart: times that scatter, not exact ones of a model */
#define GRID_LOG_ODDS_MIN 20.0 /* natural log, against spacings that fit by chance */
#define GRID_TICKS_MIN    4.0  /* a finer grid cannot be told from the tick itself */
#define GRID_EDGES_ENOUGH 4000
#define GRID_DIVISOR_MAX  64
#define GRID_OUTLIERS     0.002

void grid_edge(struct grid *g, int64_t tick)
{
    if (!g->found && g->last_tick >= 0 && tick > g->last_tick && g->count < GRID_DELTAS_MAX) {
        g->delta[g->count++] = tick - g->last_tick;
    }
    g->last_tick = tick;
}

static int compare_i64(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a;
    int64_t y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

/* Does every spacing fit a grid near `guess`? Each narrows the range in which the grid can lie,
 * so that longer ones fix it finer. Returns the grid, 0 if it does not fit. */
static double grid_fit(const int64_t *delta, size_t count, double low, double high)
{
    size_t outliers = 0;
    for (size_t i = 0; i < count; i++) {
        double mid = (low + high) / 2;
        double d = (double)delta[i];
        double steps = round(d / mid);
        if (steps * (high - low) > 0.5 * mid) {
            break; /* too long to count its steps; all that follow are longer */
        }
        double lo = steps >= 1 ? (d - 1) / steps : high + 1;
        double hi = steps >= 1 ? (d + 1) / steps : high + 1;
        if (lo > high || hi < low) {
            outliers++;
            continue;
        }
        low = fmax(low, lo);
        high = fmin(high, hi);
    }
    return (double)outliers <= GRID_OUTLIERS * (double)count ? (low + high) / 2 : 0;
}

/* A true grid shows in enough different spacings to be no accident, many of them one step
 * apart. Times that a model placed on round numbers, or a few slow lines, show no such thing.
 */
static bool grid_proven(const int64_t *delta, size_t count, double grid)
{
    size_t different = 0;
    size_t neighbours = 0;
    double last = -1;
    for (size_t i = 0; i < count; i++) {
        double steps = round((double)delta[i] / grid);
        different += steps > last;
        neighbours += last >= 0 && steps > last && steps < last + 1.5;
        last = steps;
    }
    return neighbours >= GRID_NEIGHBOURS_MIN &&
           (double)different * log(grid / 3) >= GRID_LOG_ODDS_MIN;
}

double grid_find(struct grid *g)
{
    size_t n = 0;
    qsort(g->delta, g->count, sizeof g->delta[0], compare_i64);
    for (size_t i = 0; i < g->count; i++) {
        if (n == 0 || g->delta[i] != g->delta[n - 1]) {
            g->delta[n++] = g->delta[i];
        }
    }
    g->count = n;
    double shortest = n > 0 ? (double)g->delta[0] : 0;
    for (int k = 1; k <= GRID_DIVISOR_MAX && shortest / k >= GRID_TICKS_MIN; k++) {
        double fit = grid_fit(g->delta, n, (shortest - 1) / k, (shortest + 1) / k);
        if (fit >= GRID_TICKS_MIN) {
            return grid_proven(g->delta, n, fit) ? fit : 0;
        }
    }
    return 0;
}

void sampling_settle(struct survey_run *r, bool at_end)
{
    if (r->grid.found || (!at_end && r->grid.count < GRID_EDGES_ENOUGH)) {
        return;
    }
    r->grid.found = true;
    if (r->out->info.sample_fs > 0) {
        r->out->sample_ns = (double)r->out->info.sample_fs / (double)FS_PER_NS;
        return;
    }
    double grid = grid_find(&r->grid);
    r->out->sample_ns = tick_ns(r->tick) * (grid > 0 ? grid : 1);
}
