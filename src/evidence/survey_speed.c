/* Speed inside the turn over all visits: the middle of what some of them show, the worst of it,
 * and the lines of the spectrum that many of them have. */
#include "evidence/survey_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LOOKED_AT   16  /* visits, spread over the capture, those with most turns */
#define LINES_SHARE 3   /* a line is one that one in so many visits shows */
#define SAME_LINE   0.5 /* of what so many turns can tell apart */

static int compare_double(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}
static double middle(double *v, size_t n)
{
    qsort(v, n, sizeof *v, compare_double);
    return (v[(n - 1) / 2] + v[n / 2]) / 2;
}

/* The middle of one figure over those that have it; -1 where none has. */
static double middle_of(const struct speed_variation *v, size_t n, size_t at)
{
    double list[LOOKED_AT];
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        double x = 0;
        memcpy(&x, (const char *)&v[i] + at, sizeof x);
        if (x >= 0) {
            list[count++] = x;
        }
    }
    return count > 0 ? middle(list, count) : -1;
}
#define MIDDLE(v, n, figure) middle_of(v, n, offsetof(struct speed_variation, figure))

/* Lines of all visits, each once, where enough visits show it. */
static void lines_join(const struct speed_variation *v, size_t n, struct speed_variation *out)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t l = 0; l < v[i].lines; l++) {
            struct speed_line sum = v[i].line[l];
            double seen = 0;
            bool first = true;
            double square = 0;
            for (size_t j = 0; j < n; j++) {
                for (size_t k = 0; k < v[j].lines; k++) {
                    const struct speed_line *other = &v[j].line[k];
                    double apart = fabs(other->orders - v[i].line[l].orders);
                    if (other->locked == sum.locked && apart < SAME_LINE / v[j].turns) {
                        first = first && (j > i || (j == i && k >= l));
                        seen += 1;
                        square += other->percent * other->percent;
                        break;
                    }
                }
            }
            if (first && seen * LINES_SHARE >= (double)n && out->lines < SPEED_LINES_MAX) {
                sum.percent = sqrt(square / seen);
                out->line[out->lines++] = sum;
            }
        }
    }
}

static int compare_line(const void *a, const void *b)
{
    const struct speed_line *x = a;
    const struct speed_line *y = b;
    return (x->percent < y->percent) - (x->percent > y->percent);
}

static void worst(const struct survey *s, const struct kept_curve *k,
                  const struct speed_variation *v, struct speed_figures *out)
{
    if (v->isv <= out->worst_isv) {
        return;
    }
    out->worst_isv = v->isv;
    for (size_t i = 0; i < s->visit_count; i++) {
        const struct visit *at = &s->visit[i];
        if (at->start_ns == k->visit_ns) {
            out->worst_cylinder = at->cylinder_known ? at->cylinder : at->id_cylinder;
            out->worst_side = at->side >= 0 ? at->side : at->id_side;
        }
    }
}

/* Those with at least half as many turns as the one with most, evenly spread. */
static size_t choose(const struct figures_gather *g, size_t *out)
{
    int32_t most = 0;
    size_t fit = 0;
    size_t n = 0;
    for (size_t i = 0; i < g->kept_count; i++) {
        most = g->kept[i].curve.turns > most ? g->kept[i].curve.turns : most;
    }
    for (size_t i = 0; i < g->kept_count; i++) {
        fit += 2 * g->kept[i].curve.turns > most;
    }
    size_t wanted = fit < LOOKED_AT ? fit : LOOKED_AT;
    size_t seen = 0;
    for (size_t i = 0; i < g->kept_count && n < wanted; i++) {
        if (2 * g->kept[i].curve.turns > most && seen++ * wanted / fit == n) {
            out[n++] = i;
        }
    }
    return n;
}

enum err speed_figures_find(struct survey_run *r)
{
    const struct figures_gather *g = &r->figures;
    struct speed_figures *out = &r->out->speed;
    struct speed_variation v[LOOKED_AT];
    size_t chosen[LOOKED_AT];
    size_t n = choose(g, chosen);
    for (size_t i = 0; i < n; i++) {
        TRY(speed_variation_find(&g->kept[chosen[i]].curve, &v[i]));
        worst(r->out, &g->kept[chosen[i]], &v[i], out);
    }
    out->visits = (int32_t)n;
    if (n == 0) {
        return ERR_OK;
    }
    struct speed_variation *m = &out->middle;
    m->turns = v[0].turns;
    m->isv = MIDDLE(v, n, isv);
    m->isv_u = MIDDLE(v, n, isv_u);
    m->repeats = MIDDLE(v, n, repeats);
    m->repeats_u = MIDDLE(v, n, repeats_u);
    m->free = MIDDLE(v, n, free);
    m->free_u = MIDDLE(v, n, free_u);
    lines_join(v, n, m);
    qsort(m->line, m->lines, sizeof m->line[0], compare_line);
    r->out->rotation.isv_percent = m->isv;
    return ERR_OK;
}
