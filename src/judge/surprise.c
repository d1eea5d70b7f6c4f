#include "judge/surprise.h"

#include "judge/infer_rows.h"
#include "judge/mended.h"
#include "judge/world.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

/* Sessions drawn from the hypothesis itself. */
#define DRAWS 600

struct asked {
    size_t feature;
    int group; /* of evidence */
    double weight, p[FEATURE_ANSWERS_MAX], nat, mean;
    int answers;
};

/* Same numbers on every machine: the judge draws the same sessions for the same case. */
static double next_unit(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));

    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

/* In a run that it does not show in, a fault that comes and goes leaves the set sound; work in
 * between may have cured it. */
static size_t stand_in(const struct inference *n, size_t hyp, int run)
{
    size_t runs = inference_runs(n), left = mended_in_run(n, hyp, run);
    bool away = n->g->runs > 1 && run < n->g->runs &&
                n->run_ln[(size_t)run] > n->run_ln[left * runs + (size_t)run];

    return away ? 0 : left;
}

/* The likeliest choice of what nobody told, played. */
static void play_best(const struct inference *n, size_t hyp, int run, struct play *begun,
                      struct state *state, struct world *w)
{
    const struct rows *r = inference_rows(n, hyp, run);
    size_t best = 0;
    double most = -(double)INFINITY;

    for (size_t i = 0; i < r->ways; i++) {
        const struct way *way = &r->way[i];
        double ln = log(way->chance / r->choice[way->row]) + inference_row_ln(r, way->row);

        if (ln > most) {
            most = ln;
            best = i;
        }
    }
    hypothesis_state(n, &n->hyp[hyp], state);
    world_begin(state, &n->g->setting[run], begun);
    (void)world_play(begun, r->way[best].untold, w);
}

static void ask(const struct inference *n, size_t hyp, const struct world *w,
                const struct feature *f, struct asked *out)
{
    double seen = 0, sum = 0;

    if (feature_is_intervention(f->kind))
        hypothesis_answers(n, &n->hyp[hyp], f, out->p);
    else
        world_predict(w, f, out->p);
    out->answers = f->answers;
    for (int k = 0; k < f->answers; k++)
        sum += out->p[k];
    for (int k = 0; k < f->answers; k++) {
        out->p[k] /= sum;
        seen += f->soft[k] * out->p[k];
        out->mean -= out->p[k] > 0 ? out->p[k] * log(out->p[k]) : 0;
    }
    out->nat = -log(seen);
}

/* Every feature under the hypothesis, in the order of the groups; *count of them. */
static void ask_all(const struct inference *n, size_t hyp, struct asked *out, size_t *count)
{
    struct state state;
    struct play begun;
    struct world w;
    int played = -1;

    *count = 0;
    for (size_t g = 0; g < n->group_count; g++) {
        int run = inference_run_of(n, g);
        size_t h = stand_in(n, hyp, run);

        if (run != played)
            play_best(n, h, run, &begun, &state, &w);
        played = run;
        for (size_t i = 0; i < n->group[g].count; i++) {
            struct asked *a = &out[(*count)++];

            *a = (struct asked){.feature = n->group[g].feature[i],
                                .group = (int)g,
                                .weight = run < n->g->runs ? n->temper[run] : 1};
            ask(n, h, &w, &n->g->features.item[a->feature], a);
        }
    }
}

static double draw_one(const struct asked *a, uint64_t *state)
{
    double u = next_unit(state);
    int k = 0;

    while (k < a->answers - 1 && u >= a->p[k])
        u -= a->p[k++];
    return a->p[k] > 0 ? -log(a->p[k]) : 0;
}

/* A group is one observation: the oddest thing in it counts. */
static double sum_of(const struct asked *a, size_t count, uint64_t *state)
{
    double sum = 0, most = 0;

    for (size_t i = 0; i < count; i++) {
        double nat = state ? draw_one(&a[i], state) : a[i].nat;

        most = fmax(i > 0 && a[i].group == a[i - 1].group ? most : 0, nat);
        if (i + 1 == count || a[i + 1].group != a[i].group)
            sum += a[i].weight * most;
    }
    return sum;
}

static int by_size(const void *a, const void *b)
{
    const double *x = a, *y = b;

    return (*x > *y) - (*x < *y);
}

static void judge_sum(const struct asked *a, size_t count, struct surprise *out)
{
    double drawn[DRAWS], seen = sum_of(a, count, NULL), mean = 0, square = 0;
    uint64_t state = 1;

    for (int i = 0; i < DRAWS; i++) {
        drawn[i] = sum_of(a, count, &state);
        mean += drawn[i] / DRAWS;
    }
    for (int i = 0; i < DRAWS; i++)
        square += (drawn[i] - mean) * (drawn[i] - mean) / DRAWS;
    qsort(drawn, DRAWS, sizeof *drawn, by_size);
    out->z = square > 0 ? (seen - mean) / sqrt(square) : 0;
    out->alarm = seen > drawn[(int)((1 - SURPRISE_FALSE_ALARMS) * DRAWS)];
}

enum err surprise_of(const struct inference *n, size_t hyp, struct surprise *out)
{
    struct asked *a = calloc(inference_features(n) + 1, sizeof *a);
    size_t count, odd = 0;

    *out = (struct surprise){.feature = 0};
    if (!a)
        return ERR_MEMORY;
    ask_all(n, hyp, a, &count);
    for (size_t i = 1; i < count; i++)
        if (a[i].nat - a[i].mean > a[odd].nat - a[odd].mean)
            odd = i;
    if (count > 0) {
        judge_sum(a, count, out);
        out->feature = a[odd].feature;
    }
    free(a);
    return ERR_OK;
}
