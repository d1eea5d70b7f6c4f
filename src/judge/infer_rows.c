#include "judge/infer_rows.h"

#include "judge/world.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Choices of what nobody told below this chance change nothing. */
#define CHOICE_MIN 3e-5

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

static const struct traits *traits_of(const struct inference *n, int fault)
{
    return fault >= 0 ? &n->c->fault[fault].traits : NULL;
}

static bool is_contact(const struct inference *n, const struct hypothesis *h)
{
    const struct traits *t = traits_of(n, h->a);

    return t && (t->varies & VARIES_TOUCH);
}

/* Chance that a spare of `part` makes the set work although the fault is elsewhere: a contact
 * may be cured by the handling, and what hangs on the drive or the disk goes with it. */
static double works_elsewhere(const struct inference *n, const struct hypothesis *h,
                              enum end part, bool reseated)
{
    const struct traits *t = traits_of(n, h->a);

    if (is_contact(n, h))
        return reseated ? 0.35 : 0.06;
    if (h->end == END_SETUP && t)
        return part == END_DRIVE && t->reach == REACH_DRIVE ? 0.3
               : part == END_DISK && t->reach == REACH_DISK ? 0.8
                                                            : 0.05;
    return 0.05;
}

/* Chance that every one of `count` spares is bad. */
static double spares_bad(bool known_good, int count)
{
    double one = known_good ? 0.05 : 0.25, all = one;

    for (int i = 1; i < count && i < 4; i++)
        all *= one;
    return all;
}

/* A substitution is an intervention: the part is replaced by one that is good with the odds of
 * its condition (handbook, diagnosis, 1.6). */
static void hypothesis_swap(const struct inference *n, const struct hypothesis *h,
                            const struct feature *f, double answer[3])
{
    enum end part = (enum end)f->sig2;
    double works = h->kind == HYP_NONE ? 0.3
                   : h->end == part    ? (1 - spares_bad(f->known_good, f->count)) * 0.93
                                       : works_elsewhere(n, h, part, f->reseated);

    answer[2] = 0.04;
    answer[0] = h->kind == HYP_UNEXPLAINED ? 1.0 / 3 : works;
    answer[1] = 1 - answer[0] - answer[2];
}

/* A part of this set in one that works: it takes its fault along. */
static void hypothesis_tried(const struct inference *n, const struct hypothesis *h,
                             const struct feature *f, double answer[3])
{
    bool here = h->end == (enum end)f->sig2;
    double fails = h->kind == HYP_NONE        ? 0.06
                   : here && is_contact(n, h) ? 0.55
                   : here                     ? 0.88
                                              : 0.07;

    answer[2] = 0.05;
    answer[1] = h->kind == HYP_UNEXPLAINED ? 1.0 / 3 : fails;
    answer[0] = 1 - answer[1] - answer[2];
}

static bool cures(const struct inference *n, int fault, const struct feature *f)
{
    const struct traits *t = traits_of(n, fault);

    return t && t->end == (enum end)f->sig2 &&
           (!f->repair_kinds || (t->cured & f->repair_kinds));
}

/* Work on a part: worked, partly, failed, sometimes. */
static void hypothesis_repair(const struct inference *n, const struct hypothesis *h,
                              const struct feature *f, double answer[4])
{
    static const double cured[] = {0.85, 0.06, 0.05, 0.04}, same_end[] = {0.2, 0.1, 0.65, 0.05},
                        unlisted[] = {0.5, 0.1, 0.34, 0.06}, contact[] = {0.3, 0.05, 0.5, 0.15},
                        elsewhere[] = {0.04, 0.04, 0.89, 0.03},
                        half[] = {0.06, 0.74, 0.15, 0.05}, none[] = {0.3, 0.1, 0.55, 0.05},
                        open[] = {0.25, 0.25, 0.25, 0.25};
    const double *p = elsewhere;

    if (h->kind == HYP_UNEXPLAINED)
        p = open;
    else if (h->kind == HYP_NONE)
        p = none;
    else if (h->kind == HYP_PAIR && cures(n, h->a, f) != cures(n, h->b, f))
        p = half;
    else if (cures(n, h->a, f))
        p = cured;
    else if (h->end == (enum end)f->sig2)
        p = h->kind == HYP_UNLISTED || h->kind == HYP_HELD ? unlisted : same_end;
    else if (is_contact(n, h))
        p = contact;
    memcpy(answer, p, 4 * sizeof *answer);
}

/* How often a look at the suspect misses a fault that is there, or shows one that is not (our
 * own guesses). */
#define EXAMINED_MISSES   0.1
#define EXAMINED_MISLEADS 0.05

static bool is_fault(const struct inference *n, int fault, const char *name)
{
    return fault >= 0 && !strcmp(n->c->fault[fault].name, name);
}

static void hypothesis_examined(const struct inference *n, const struct hypothesis *h,
                                const struct feature *f, double answer[2])
{
    bool it = is_fault(n, h->a, f->fault) || is_fault(n, h->b, f->fault);

    answer[1] = it ? 1 - EXAMINED_MISSES : EXAMINED_MISLEADS;
    answer[0] = 1 - answer[1];
}

void hypothesis_answers(const struct inference *n, const struct hypothesis *h,
                        const struct feature *f, double *answer)
{
    if (f->kind == FEATURE_SWAP)
        hypothesis_swap(n, h, f, answer);
    else if (f->kind == FEATURE_TRIED)
        hypothesis_tried(n, h, f, answer);
    else if (f->kind == FEATURE_EXAMINED)
        hypothesis_examined(n, h, f, answer);
    else
        hypothesis_repair(n, h, f, answer);
}

static double tried_answer(const struct inference *n, const struct hypothesis *h,
                           const struct feature *f)
{
    double answer[4], p = 0;

    hypothesis_answers(n, h, f, answer);
    for (int k = 0; k < f->answers; k++)
        p += f->soft[k] * answer[k];
    if (f->kind != FEATURE_SWAP || h->kind == HYP_UNEXPLAINED)
        return p;
    return p *
           back_answer(f, h->kind == HYP_NONE, is_contact(n, h) && h->end != (enum end)f->sig2);
}

static enum err row_add(const struct inference *n, struct rows *r)
{
    size_t more = r->count ? 2 * r->count : 8;

    if (r->count < r->cap) {
        r->count++;
        return ERR_OK;
    }
    double *choice = realloc(r->choice_ln, more * sizeof *choice);
    unsigned short *untold = realloc(r->untold, more * sizeof *untold);
    float *answer;
    double *group, *whole = realloc(r->whole_ln, more * sizeof *whole);

    if (whole)
        r->whole_ln = whole;
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
    if (!untold || !choice || !answer || !group || !whole)
        return ERR_MEMORY;
    r->cap = more;
    r->count++;
    return ERR_OK;
}

static double feature_ln(const struct inference *n, size_t h, const struct world *w,
                         const struct feature *f)
{
    double answer[FEATURE_ANSWERS_MAX], p = 0;

    if (feature_is_intervention(f->kind))
        return log(tried_answer(n, &n->hyp[h], f));
    world_predict(w, f, answer);
    for (int k = 0; k < f->answers; k++)
        p += f->soft[k] * answer[k];
    return log(p);
}

/* What a person told counts as the last run. */
static int run_of(const struct inference *n, const struct feature *f)
{
    return f->run < 0 ? n->g->runs : f->run;
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

        if (run_of(n, f) == run)
            to[i] = (float)feature_ln(n, h, w, f);
    }
    return ERR_OK;
}

static enum err evaluate_signals(const struct inference *n, size_t h, int run,
                                 const struct play *begun, unsigned base)
{
    struct world w;

    for (unsigned signal = 0; signal <= UNTOLD_SIGNAL; signal += UNTOLD_POOR) {
        double chance = world_play(begun, base | signal, &w);

        if (chance >= CHOICE_MIN)
            TRY(row_fill(n, h, run, base | signal, &w, chance));
        if (w.play.signal >= 1)
            break;
    }
    return ERR_OK;
}

static enum err evaluate_run(const struct inference *n, size_t h, int run,
                             const struct state *state)
{
    unsigned plugs = state->plug == PLUG_ROW ? UNTOLD_PLUG : 0;
    struct play begun;

    world_begin(state, &n->g->setting[run], &begun);
    for (unsigned plug = 0; plug <= plugs; plug += UNTOLD_PLUG)
        for (unsigned base = 0; base < UNTOLD_POOR; base++)
            TRY(evaluate_signals(n, h, run, &begun, plug | base));
    return ERR_OK;
}

/* Does anything of this run ask for a play? */
static bool run_asks(const struct inference *n, int run)
{
    for (size_t i = 0; i < inference_features(n); i++)
        if (run_of(n, &n->g->features.item[i]) == run)
            return true;
    return false;
}

enum err hypothesis_evaluate(const struct inference *n, size_t hyp)
{
    struct state state;

    hypothesis_state(n, &n->hyp[hyp], &state);
    for (int run = 0; run <= n->g->runs; run++) {
        if (!hypothesis_unlisted(n, hyp) && (run == 0 || run_asks(n, run))) {
            TRY(evaluate_run(n, hyp, run, &state));
            continue;
        }
        TRY(row_add(n, inference_rows_of(n, hyp, run)));
        inference_rows_of(n, hyp, run)->untold[0] = 0;
        inference_rows_of(n, hyp, run)->choice_ln[0] = 0;
    }
    return ERR_OK;
}
