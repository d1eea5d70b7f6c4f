/* Index pulses as they count: bouncing edges joined, sector holes told from the index. */
#include "signal/index_private.h"

#include <math.h>
#include <stdlib.h>

#define BOUNCE_HIGH_NS  1000000 /* a shorter high time lies inside one pulse: a noisy edge */
#define LOCK_OUT        0.05    /* of a turn: what comes sooner is the same index mark */
#define BOUNCE_REACH    0.25    /* of a turn: what comes later never bounced */
#define HOLE_TOLERANCE  0.08
#define HALF_TOLERANCE  0.12 /* of the distance of two holes */
#define HOLES_FIT_SHARE 0.8

bool gap_between(const struct index_gaps *g, size_t *next, int64_t from_ns, int64_t to_ns)
{
    while (*next < g->count && g->ns[2 * *next + 1] <= from_ns) {
        ++*next;
    }
    return *next < g->count && g->ns[2 * *next] < to_ns;
}

static bool bounced(const struct index_pulse *before, const struct index_pulse *p,
                    double turn_ns, bool lock_out)
{
    double apart = (double)(p->fall_ns - before->fall_ns);
    bool soon = before->rise_ns >= 0 && p->fall_ns - before->rise_ns < BOUNCE_HIGH_NS;
    return apart < BOUNCE_REACH * turn_ns && (soon || (lock_out && apart < LOCK_OUT * turn_ns));
}

int32_t index_join(struct index_list *l, double turn_ns, bool hard_sectored_too)
{
    size_t kept = 0;
    for (size_t i = 0; i < l->count; i++) {
        const struct index_pulse p = l->pulse[i];
        struct index_pulse *before = kept > 0 ? &l->pulse[kept - 1] : NULL;
        if (before == NULL || !bounced(before, &p, turn_ns, !hard_sectored_too)) {
            l->pulse[kept++] = p;
        } else if (before->rise_ns >= 0 && p.fall_ns - before->rise_ns < BOUNCE_HIGH_NS) {
            before->rise_ns = p.rise_ns;
        }
    }
    int32_t joined = (int32_t)(l->count - kept);
    l->count = kept;
    return joined;
}

/* Holes a turn that stand that far apart at 270 to 400 rpm. */
static int32_t holes_a_turn(double apart_ns)
{
    static const int32_t holes[] = {10, 16, 32};
    for (size_t i = 0; i < sizeof holes / sizeof holes[0]; i++) {
        double turn = apart_ns * holes[i];
        if (turn > 150e6 && turn < 222e6) {
            return holes[i];
        }
    }
    return 0;
}

static bool near_to(double x, double y, double tolerance)
{
    return fabs(x - y) < tolerance;
}

static double apart(const struct index_list *l, size_t i)
{
    return (double)(l->pulse[i + 1].fall_ns - l->pulse[i].fall_ns);
}

int index_by_size(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Distance of two holes: the median, for two of eleven or more intervals are half as long. */
static double hole_distance(const struct index_list *l)
{
    double *sorted = calloc(l->count, sizeof *sorted);
    double median = 0;
    if (sorted == NULL) {
        return 0;
    }
    for (size_t i = 0; i + 1 < l->count; i++) {
        sorted[i] = apart(l, i);
    }
    qsort(sorted, l->count - 1, sizeof *sorted, index_by_size);
    median = sorted[(l->count - 1) / 2];
    free(sorted);
    return median;
}

static bool between_holes(const struct index_list *l, size_t i, double hole_ns)
{
    return i > 0 && i + 1 < l->count &&
           near_to(apart(l, i - 1), hole_ns / 2, HALF_TOLERANCE * hole_ns) &&
           near_to(apart(l, i), hole_ns / 2, HALF_TOLERANCE * hole_ns);
}

static bool evenly_spaced(const struct index_list *l, double hole_ns)
{
    size_t fit = 0;
    for (size_t i = 0; i + 1 < l->count; i++) {
        fit += near_to(apart(l, i), hole_ns, HOLE_TOLERANCE * hole_ns) ||
               near_to(apart(l, i), hole_ns / 2, HALF_TOLERANCE * hole_ns);
    }
    return (double)fit > HOLES_FIT_SHARE * (double)(l->count - 1);
}

int32_t index_hard_sectored(struct index_list *l)
{
    size_t kept = 0;
    double hole_ns = l->count > 2 ? hole_distance(l) : 0;
    int32_t holes = holes_a_turn(hole_ns);
    if (holes == 0 || l->count < (size_t)holes || !evenly_spaced(l, hole_ns)) {
        return 0;
    }
    for (size_t i = 0; i < l->count; i++) {
        if (between_holes(l, i,
                          hole_ns)) { /* kept stays below i - 1: no two neighbours are index */
            l->pulse[kept++] = l->pulse[i];
        }
    }
    if (kept == 0) { /* the index is not seen: turns are counted by holes */
        for (size_t i = 0; i < l->count; i += (size_t)holes) {
            l->pulse[kept++] = l->pulse[i];
        }
    }
    l->count = kept;
    return holes;
}
