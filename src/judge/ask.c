#include "judge/ask.h"

#include "base/buf.h"
#include "judge/engine.h"
#include "judge/infer_rows.h"

#include <math.h>
#include <stdlib.h>

/* Hypotheses and plays below these shares change no ranking. */
#define SHARE_MIN  1e-5
#define PLAY_MIN   1e-3
#define PLAYED_MAX 400000

static bool likely(const struct inference *n, size_t h)
{
    return n->posterior[h] >= SHARE_MIN && !hypothesis_unlisted(n, h);
}

static enum err play_run(struct asking *a, size_t h, int run, double weight)
{
    const struct inference *n = a->n;
    const struct rows *r = inference_rows(n, h, run);
    double z = n->run_ln[h * inference_runs(n) + (size_t)run];
    struct state state;
    struct play begun;

    hypothesis_state(n, &n->hyp[h], &state);
    world_begin(&state, &n->g->setting[run], &begun);
    for (size_t i = 0; i < r->ways; i++) {
        const struct way *way = &r->way[i];
        double share =
            way->chance / r->choice[way->row] * exp(inference_row_ln(r, way->row) - z);
        void *items = a->item;
        struct played *p;

        if (share < PLAY_MIN)
            continue;
        TRY(array_grow(&items, &a->cap, a->count + 1, sizeof *a->item, PLAYED_MAX));
        a->item = items;
        p = &a->item[a->count];
        *p = (struct played){.hyp = h, .share = weight * share};
        a->count += world_play(&begun, way->untold, &p->w) > 0;
    }
    return ERR_OK;
}

enum err asking_begin(const struct inference *n, struct asking *out)
{
    int runs = 0;

    *out = (struct asking){.n = n};
    for (int run = 0; run <= n->g->runs; run++)
        runs += inference_run_asked(n, run);
    for (size_t h = 0; h < n->hyp_count; h++)
        for (int run = 0; run <= n->g->runs && likely(n, h); run++)
            if (inference_run_asked(n, run))
                TRY(play_run(out, h, run, 1.0 / runs));
    for (size_t i = 0; i < out->count; i++) /* where they came to lie */
        out->item[i].w.play.f = &out->item[i].w.play.own;
    return ERR_OK;
}

void asking_release(struct asking *a)
{
    free(a->item);
    *a = (struct asking){.n = NULL};
}

static void predict_all(const struct asking *a, const struct feature *f, double *answer)
{
    for (size_t i = 0; i < a->count; i++) {
        const struct played *p = &a->item[i];
        double own[FEATURE_ANSWERS_MAX], *to = answer + p->hyp * (size_t)f->answers;

        world_predict(&p->w, f, own);
        for (int k = 0; k < f->answers; k++)
            to[k] += p->share * own[k];
    }
}

double *asking_answers(const struct asking *a, const struct feature *f)
{
    const struct inference *n = a->n;
    bool acts = feature_is_intervention(f->kind);
    double *answer = calloc(n->hyp_count * (size_t)f->answers + 1, sizeof *answer);

    if (!answer)
        return NULL;
    if (!acts)
        predict_all(a, f, answer);
    for (size_t h = 0; h < n->hyp_count; h++) {
        double *to = answer + h * (size_t)f->answers, sum = 0;

        if (acts && n->posterior[h] >= SHARE_MIN)
            hypothesis_answers(n, &n->hyp[h], f, to);
        for (int k = 0; k < f->answers; k++)
            sum += to[k];
        for (int k = 0; k < f->answers; k++)
            to[k] = sum > 0 ? to[k] / sum : 1.0 / f->answers;
    }
    return answer;
}

double asking_bits(const struct asking *a, const struct feature *f, const double *answer)
{
    const struct inference *n = a->n;

    return answer ? engine_gain_bits(n->posterior, n->end_of, n->hyp_count, END_COUNT, answer,
                                     f->answers)
                  : 0;
}
