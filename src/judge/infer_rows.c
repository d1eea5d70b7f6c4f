#include "judge/infer_rows.h"

#include "judge/traits.h"
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
    return &n->rows[n->twin[hyp] * inference_runs(n) + (size_t)run];
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

    return t && traits_cured_by(t, (enum end)f->sig2, f->repair_kinds);
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

/* Room for one more of an array that may move. */
static bool room(void *array, size_t count, size_t size)
{
    void *to, *from;

    memcpy(&from, array, sizeof from);
    to = realloc(from, count * size);
    if (to)
        memcpy(array, &to, sizeof to);
    return to != NULL;
}

static enum err row_add(const struct inference *n, struct rows *r)
{
    size_t more = r->count ? 2 * r->count : 8, features = inference_features(n);

    if (r->count == r->cap) {
        if (!room(&r->whole_ln, more, sizeof *r->whole_ln) ||
            !room(&r->choice, more, sizeof *r->choice) ||
            !room(&r->answer_ln, more * (features + 1), sizeof *r->answer_ln) ||
            !room(&r->raw_ln, more * (n->group_count + 1), sizeof *r->raw_ln) ||
            !room(&r->group_ln, more * (n->group_count + 1), sizeof *r->group_ln))
            return ERR_MEMORY;
        r->cap = more;
    }
    memset(r->answer_ln + r->count * features, 0, features * sizeof *r->answer_ln);
    r->count++;
    return ERR_OK;
}

static enum err way_add(struct rows *r, size_t row, unsigned untold, double chance)
{
    if (r->ways == r->ways_cap) {
        size_t more = r->ways ? 2 * r->ways : 8;

        if (!room(&r->way, more, sizeof *r->way))
            return ERR_MEMORY;
        r->ways_cap = more;
    }
    r->way[r->ways++] = (struct way){
        .untold = (unsigned short)untold, .row = (unsigned short)row, .chance = chance};
    return ERR_OK;
}

/* An earlier row that answers as the last one does; the last one itself where there is none.
 * Until it is weighed, whole_ln holds a sum over the answers. */
static size_t row_alike(const struct inference *n, const struct rows *r)
{
    size_t last = r->count - 1, features = inference_features(n), i = 0;

    while (i < last &&
           (r->whole_ln[i] < r->whole_ln[last] || r->whole_ln[i] > r->whole_ln[last] ||
            memcmp(r->answer_ln + i * features, r->answer_ln + last * features,
                   features * sizeof *r->answer_ln) != 0))
        i++;
    return i;
}

static float feature_ln(const struct inference *n, size_t h, const struct world *w,
                        const struct feature *f)
{
    return logf((float)(feature_is_intervention(f->kind) ? tried_answer(n, &n->hyp[h], f)
                                                         : world_chance(w, f)));
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
    double sum = 0;
    size_t row;
    float *to;

    TRY(row_add(n, r));
    to = r->answer_ln + (r->count - 1) * inference_features(n);
    for (size_t i = 0; i < inference_features(n); i++) {
        const struct feature *f = &n->g->features.item[i];

        if (run_of(n, f) != run)
            continue;
        to[i] = feature_ln(n, h, w, f);
        sum += (double)to[i] * (double)(i + 1);
    }
    r->whole_ln[r->count - 1] = sum;
    row = row_alike(n, r);
    if (row < r->count - 1) {
        r->choice[row] += chance;
        r->count--;
    } else {
        r->choice[row] = chance;
    }
    return way_add(r, row, u, chance);
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

bool inference_run_asked(const struct inference *n, int run)
{
    for (size_t i = 0; i < inference_features(n); i++)
        if (run_of(n, &n->g->features.item[i]) == run)
            return true;
    return run == 0;
}

static double group_sum(const struct inference *n, const struct rows *r, size_t row, size_t g)
{
    const float *from = r->answer_ln + row * inference_features(n);
    double ln = 0;

    for (size_t i = 0; i < n->group[g].count; i++)
        ln += (double)from[n->group[g].feature[i]];
    return ln;
}

static void rows_raw(const struct inference *n, size_t h, int run)
{
    struct rows *r = inference_rows_of(n, h, run);

    for (size_t g = 0; g < n->group_count; g++)
        for (size_t i = 0; i < r->count && inference_run_of(n, g) == run; i++)
            r->raw_ln[i * n->group_count + g] = group_sum(n, r, i, g);
}

enum err hypothesis_evaluate(const struct inference *n, size_t hyp)
{
    struct state state;

    if (n->twin[hyp] != hyp)
        return ERR_OK;
    hypothesis_state(n, &n->hyp[hyp], &state);
    for (int run = 0; run <= n->g->runs; run++) {
        if (!hypothesis_unlisted(n, hyp) && inference_run_asked(n, run)) {
            TRY(evaluate_run(n, hyp, run, &state));
            rows_raw(n, hyp, run);
            continue;
        }
        TRY(row_add(n, inference_rows_of(n, hyp, run)));
        inference_rows_of(n, hyp, run)->choice[0] = 1;
        TRY(way_add(inference_rows_of(n, hyp, run), 0, 0, 1));
    }
    return ERR_OK;
}
