/* Speed by angle: what the runs say, shared out over the points of each turn. */
#include "signal/speed_private.h"

#include <math.h>
#include <stdlib.h>

#define POINT_SURE 0.3  /* of a point's time, from which it counts */
#define CURVE_SURE 0.75 /* of all points */
#define SURE       2.0  /* standard deviations of a 95 % uncertainty */
#define HALF       0.25 /* of a point: where the middle of what is left of it may lie */
#define SPLICES    3.0  /* times a break's own variance that splices too small to see may add */
#define SLIP_SD    0.018  /* of a run's phase, in cells, from which a whole cell may be lost */
#define LOST_SD    0.0225 /* from which cells are lost so often that no speed is told */
#define RUNS_A_SD  32.0   /* transitions that a run's phase is the mean of */

struct shares {
    double *cells, *ns; /* of each point, where the clock was sure */
    const int64_t *start_ns;
    int32_t turns;
};

/* Point and place within it, as a number of points from the first. */
static double point_at(const struct shares *s, int32_t *turn, double ns)
{
    while (*turn + 1 < s->turns && ns >= (double)s->start_ns[*turn + 1]) {
        (*turn)++;
    }
    double from = (double)s->start_ns[*turn];
    double length = (double)s->start_ns[*turn + 1] - from;
    return (*turn + (ns - from) / length) * SPEED_POINTS;
}

static void share_out(struct shares *s, const struct clock_runs *r)
{
    int32_t turn = 0;
    double last = (double)s->turns * SPEED_POINTS;
    for (size_t i = 1; i < r->count; i++) {
        const struct clock_run *a = &r->run[i - 1];
        const struct clock_run *b = &r->run[i];
        if (b->cells <= 0) {
            continue;
        }
        double from = point_at(s, &turn, a->ns + (double)r->start_ns);
        double to = point_at(s, &turn, b->ns + (double)r->start_ns);
        double whole = to - from;
        double begin = fmax(from, 0);
        double end = fmin(to, last);
        while (begin < end) {
            double stop = fmin(floor(begin) + 1, end);
            double part = (stop - begin) / whole;
            size_t point = (size_t)begin;
            s->cells[point] += part * b->cells;
            s->ns[point] += part * (b->ns - a->ns);
            begin = stop;
        }
    }
}

/* Points without a sure clock lie on a line between their neighbours. Returns the share that
 * was sure. */
static double fill_in(double *v, size_t n)
{
    size_t sure = 0;
    size_t last = n;
    for (size_t i = 0; i < n; i++) {
        if (v[i] <= 0) {
            continue;
        }
        sure++;
        size_t from = last < n ? last + 1 : 0;
        double before = last < n ? v[last] : v[i];
        for (size_t k = from; k < i; k++) {
            double part = (double)(k + 1 - from) / (double)(i + 1 - from);
            v[k] = before + part * (v[i] - before);
        }
        last = i;
    }
    for (size_t k = last < n ? last + 1 : n; k < n; k++) {
        v[k] = v[last];
    }
    return (double)sure / (double)n;
}

/* At the ends the curve goes on as straight as it comes. */
static double point(const double *v, size_t n, size_t i, int off)
{
    int64_t last = (int64_t)n - 1;
    int64_t k = (int64_t)i + off;
    if (k < 0) {
        return 2 * v[0] - v[-k];
    }
    return k <= last ? v[k] : 2 * v[last] - v[2 * last - k];
}

static void even_out(const double *v, size_t n, float *out)
{
    for (size_t i = 0; i < n; i++) {
        double y = SPEED_EVEN[0] * v[i];
        for (int k = 1; k <= 2; k++) {
            y += SPEED_EVEN[k] * (point(v, n, i, k) + point(v, n, i, -k));
        }
        out[i] = (float)y;
    }
}

/* Standard deviation of a run's phase, in cells. */
static double phase_sd(const struct clock_runs *r, double *out_breaks)
{
    double square = 0;
    double n = 0;
    for (size_t i = 0; i < r->count; i++) {
        if (r->run[i].cells > 0) {
            square += (double)r->run[i].jitter_sq;
            n += 1;
        }
    }
    *out_breaks = (double)r->count - n;
    return n > 0 ? sqrt(square / n / RUNS_A_SD) : 0;
}

/* Percent off the mean; what the jitter leaves in it. */
static void scale(struct speed_curve *c, const struct clock_runs *r, double *v, size_t n)
{
    double mean = 0;
    double slope = 0;
    double breaks = 0;
    double sd = phase_sd(r, &breaks);
    for (size_t i = 0; i < n; i++) {
        mean += v[i] / (double)n;
    }
    for (size_t i = 0; i < n; i++) {
        v[i] = 100 * (v[i] / mean - 1);
        slope += i > 0 ? pow(v[i] - v[i - 1], 2) / (double)n : 0;
    }
    c->cell_ns = 1 / mean;
    double cells = c->turn_ns / SPEED_POINTS * mean; /* of a point */
    double gain = SPEED_EVEN[2] * SPEED_EVEN[2] + pow(SPEED_EVEN[1] - SPEED_EVEN[2], 2) +
                  pow(SPEED_EVEN[0] - SPEED_EVEN[1], 2);
    c->noise_percent = 100 * sd * sqrt(2 * gain) / cells;
    /* All is one chain of phases but for its breaks. Behind each it starts afresh, and a point
     * of which a part is missing may be off by some of what it differs from its neighbour. */
    double off =
        hypot(sd * sqrt(2 * (1 + SPLICES * breaks)), HALF * sqrt(slope * breaks) / 100 * cells);
    off = sd > SLIP_SD ? hypot(off, 1) : off;
    c->cell_u_ns = SURE * c->cell_ns * off / (cells * (double)n);
}

enum err speed_curve_make(const struct clock_runs *r, const int64_t *turn_start_ns,
                          int32_t turns, struct speed_curve *out)
{
    size_t n = (size_t)(turns > 0 ? turns : 0) * SPEED_POINTS;
    struct shares s = {.start_ns = turn_start_ns, .turns = turns};
    enum err e = ERR_OK;
    *out = (struct speed_curve){.turns = turns};
    double breaks = 0;
    if (n == 0 || turns > SPEED_TURNS_MAX || r->count < 2 || phase_sd(r, &breaks) > LOST_SD) {
        return ERR_OK;
    }
    out->turn_ns = (double)(turn_start_ns[turns] - turn_start_ns[0]) / turns;
    double *v = calloc(n, sizeof *v);
    s.cells = calloc(n, sizeof *s.cells);
    s.ns = calloc(n, sizeof *s.ns);
    out->percent = calloc(n, sizeof *out->percent);
    if (v == NULL || s.cells == NULL || s.ns == NULL || out->percent == NULL) {
        e = ERR_MEMORY;
    } else {
        share_out(&s, r);
        for (size_t i = 0; i < n; i++) {
            bool sure = s.ns[i] > POINT_SURE * out->turn_ns / SPEED_POINTS;
            v[i] = sure ? s.cells[i] / s.ns[i] : 0;
        }
    }
    if (e != ERR_OK || fill_in(v, n) < CURVE_SURE) {
        speed_curve_release(out);
    } else {
        scale(out, r, v, n);
        even_out(v, n, out->percent);
    }
    free(v);
    free(s.cells);
    free(s.ns);
    return e;
}

void speed_curve_release(struct speed_curve *c)
{
    free(c->percent);
    *c = (struct speed_curve){0};
}
