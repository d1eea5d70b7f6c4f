#include "judge/infer_rows.h"

#include "judge/world.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Choices of what nobody told below this chance change nothing. */
#define CHOICE_MIN 1e-6

size_t inference_features(const struct inference *n)
{
    return n->g->features.count;
}

size_t inference_runs(const struct inference *n)
{
    return (size_t)n->g->runs + 1;
}

struct rows *inference_rows_of(const struct inference *n, size_t hyp, int run)
{
    return &n->rows[hyp * inference_runs(n) + (size_t)run];
}

const struct rows *inference_rows(const struct inference *n, size_t hyp, int run)
{
    return inference_rows_of(n, hyp, run);
}

int inference_run_of(const struct inference *n, size_t group)
{
    return n->group[group].run < 0 ? n->g->runs : n->group[group].run;
}

bool hypothesis_unlisted(const struct inference *n, size_t hyp)
{
    return n->hyp[hyp].kind == HYP_UNLISTED || n->hyp[hyp].kind == HYP_UNEXPLAINED;
}

/* The old part put back: a broken one brings the fault back, a contact that was cured mostly
 * does not (handbook, diagnosis, 1.6); where nothing is wrong anything may have changed. */
static double back_answer(const struct feature *f, bool none, bool contact)
{
    double returns = none ? 0.3 : contact ? 0.25 : 0.95;

    if (f->back == BACK_NOT_TRIED || f->soft[0] < 0.5)
        return 1;
    return f->back == BACK_RETURNED ? returns : 1 - returns;
}

static bool is_contact(const struct inference *n, const struct hypothesis *h)
{
    const char *effect = h->a >= 0 ? n->c->fault[h->a].effect : "";

    return !strncmp(effect, "conductor", 9) || strstr(effect, "contact");
}

/* A substitution is an intervention: the part is replaced by one that is good with the odds of
 * its condition (handbook, diagnosis, 1.6). */
void hypothesis_swap(const struct inference *n, const struct hypothesis *h, enum end part,
                     bool known_good, double answer[3])
{
    double bad_spare = known_good ? 0.05 : 0.25;
    double works = h->kind == HYP_NONE ? 0.3
                   : h->end == part    ? (1 - bad_spare) * 0.93
                   : is_contact(n, h)  ? 0.2
                                       : 0.05;

    answer[2] = 0.04;
    answer[0] = h->kind == HYP_UNEXPLAINED ? 1.0 / 3 : works;
    answer[1] = 1 - answer[0] - answer[2];
}

static double swap_answer(const struct inference *n, const struct hypothesis *h,
                          const struct feature *f)
{
    double answer[3];

    if (h->kind == HYP_UNEXPLAINED)
        return 1.0 / 3;
    hypothesis_swap(n, h, (enum end)f->sig2, f->known_good, answer);
    return (f->soft[0] * answer[0] + f->soft[1] * answer[1] + f->soft[2] * answer[2]) *
           back_answer(f, h->kind == HYP_NONE, is_contact(n, h) && h->end != (enum end)f->sig2);
}

static enum err row_add(const struct inference *n, struct rows *r)
{
    size_t more = r->count + 1;
    double *choice = realloc(r->choice_ln, more * sizeof *choice);
    unsigned short *untold = realloc(r->untold, more * sizeof *untold);
    float *answer;
    double *group;

    if (untold)
        r->untold = untold;
    if (choice)
        r->choice_ln = choice;
    answer = realloc(r->answer_ln, more * (inference_features(n) + 1) * sizeof *answer);
    if (answer)
        r->answer_ln = answer;
    group = realloc(r->group_ln, more * (n->group_count + 1) * sizeof *group);
    if (group)
        r->group_ln = group;
    if (!untold || !choice || !answer || !group)
        return ERR_MEMORY;
    r->count = more;
    return ERR_OK;
}

static double feature_ln(const struct inference *n, size_t h, const struct world *w,
                         const struct feature *f)
{
    double answer[FEATURE_ANSWERS_MAX], p = 0;

    if (f->kind == FEATURE_SWAP)
        return log(swap_answer(n, &n->hyp[h], f));
    world_predict(w, f, answer);
    for (int k = 0; k < f->answers; k++)
        p += f->soft[k] * answer[k];
    return log(p);
}

static enum err row_fill(const struct inference *n, size_t h, int run, unsigned u,
                         const struct world *w, double chance)
{
    struct rows *r = inference_rows_of(n, h, run);
    float *to;

    TRY(row_add(n, r));
    r->untold[r->count - 1] = (unsigned short)u;
    r->choice_ln[r->count - 1] = log(chance);
    to = r->answer_ln + (r->count - 1) * inference_features(n);
    for (size_t i = 0; i < inference_features(n); i++) {
        const struct feature *f = &n->g->features.item[i];

        if ((f->run < 0 ? n->g->runs : f->run) == run)
            to[i] = (float)feature_ln(n, h, w, f);
    }
    return ERR_OK;
}

static enum err evaluate_run(const struct inference *n, size_t h, int run,
                             const struct state *state)
{
    struct play begun;
    struct world w;

    world_begin(state, &n->g->setting[run], &begun);
    for (unsigned base = 0; base < UNTOLD_POOR; base++) {
        for (unsigned signal = 0; signal <= UNTOLD_SIGNAL; signal += UNTOLD_POOR) {
            double chance = world_play(&begun, base | signal, &w);

            if (chance >= CHOICE_MIN)
                TRY(row_fill(n, h, run, base | signal, &w, chance));
            if (w.play.signal >= 1)
                break;
        }
    }
    return ERR_OK;
}

enum err hypothesis_evaluate(const struct inference *n, size_t hyp)
{
    struct state state;

    hypothesis_state(n, &n->hyp[hyp], &state);
    for (int run = 0; run <= n->g->runs; run++) {
        if (!hypothesis_unlisted(n, hyp)) {
            TRY(evaluate_run(n, hyp, run, &state));
            continue;
        }
        TRY(row_add(n, inference_rows_of(n, hyp, run)));
        inference_rows_of(n, hyp, run)->untold[0] = 0;
        inference_rows_of(n, hyp, run)->choice_ln[0] = 0;
    }
    return ERR_OK;
}
