#include "judge/infer.h"

#include "judge/engine.h"
#include "judge/hypotheses.h"
#include "judge/world.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define CAP_INSTRUMENT_DECIBANS 40.0
#define CAP_PERSON_DECIBANS     20.0
/* Pairs are made of the faults that fit best as a whole, and of those that explain some one
 * group best. */
#define PAIR_FAULTS_MAX 40
/* Below this much weight a fault is told from "nothing wrong" by nothing, and a second one adds
 * nothing. */
#define EXERCISED_NAT    (0.5 * NAT_PER_DECIBAN)
#define SECOND_FAULT_NAT (3 * NAT_PER_DECIBAN)
/* A fault that is in no list predicts like the others of its end, blurred; one of no end
 * predicts nothing. */
#define BLUR         0.3
#define NOTHING_SAID 0.1

static size_t features(const struct inference *n)
{
    return n->g->features.count;
}

static float *answers_of(const struct inference *n, size_t h, unsigned u)
{
    return n->answer_ln + (h * UNTOLD_COMBINATIONS + u) * features(n);
}

static double *groups_of(const struct inference *n, size_t h, unsigned u)
{
    return n->group_ln + (h * UNTOLD_COMBINATIONS + u) * n->group_count;
}

/* ---- groups
 * ---------------------------------------------------------------------------------- */

static bool belongs(const struct evidence_group *g, const struct feature *f)
{
    return g->run == f->run && g->group == f->group && g->tap == f->tap &&
           f->group != GROUP_SWAP;
}

static enum err groups_make(struct inference *n)
{
    size_t count = features(n);

    n->group = calloc(count + 1, sizeof *n->group);
    if (!n->group)
        return ERR_MEMORY;
    for (size_t i = 0; i < count; i++) {
        const struct feature *f = &n->g->features.item[i];
        size_t g = 0;

        while (g < n->group_count && !belongs(&n->group[g], f))
            g++;
        if (g == n->group_count) {
            n->group[g] = (struct evidence_group){.run = f->run,
                                                  .group = f->group,
                                                  .tap = f->tap,
                                                  .feature = calloc(count, sizeof(size_t))};
            if (!n->group[g].feature)
                return ERR_MEMORY;
            n->group_count++;
        }
        n->group[g].feature[n->group[g].count++] = i;
    }
    for (size_t a = 0; a < n->group_count; a++)
        for (size_t b = 0; b < n->group_count; b++)
            if (a != b && n->group[a].run >= 0 && n->group[a].run == n->group[b].run &&
                n->group[a].group == n->group[b].group)
                n->group[a].two_taps = true;
    return ERR_OK;
}

/* ---- likelihoods
 * ----------------------------------------------------------------------------- */

/* A substitution is an intervention: the part is replaced by one that is good with the odds of
 * its condition (handbook, diagnosis, 1.6). */
static double swap_answer(const struct inference *n, const struct hypothesis *h,
                          const struct feature *f)
{
    double bad_spare = f->known_good ? 0.05 : 0.25;
    bool cured, contact = false;
    double works;
    double answer[3];

    if (h->kind == HYP_UNEXPLAINED)
        return 1.0 / 3;
    cured = h->end == (enum end)f->sig2;
    if (h->a >= 0)
        contact = !strncmp(n->c->fault[h->a].effect, "conductor", 9) ||
                  strstr(n->c->fault[h->a].effect, "contact");
    works = h->kind == HYP_NONE ? 0.5 : cured ? (1 - bad_spare) * 0.93 : contact ? 0.2 : 0.05;
    answer[0] = works;
    answer[2] = 0.04;
    answer[1] = 1 - works - answer[2];
    return f->soft[0] * answer[0] + f->soft[1] * answer[1] + f->soft[2] * answer[2];
}

static void evaluate(const struct inference *n, size_t h)
{
    struct state state;

    hypothesis_state(n, &n->hyp[h], &state);
    for (int run = 0; run <= n->g->runs; run++) {
        for (unsigned u = 0; u < UNTOLD_COMBINATIONS; u++) {
            struct world w;
            float *to = answers_of(n, h, u);

            world_play(&state, &n->g->setting[run], u, &w);
            for (size_t i = 0; i < features(n); i++) {
                const struct feature *f = &n->g->features.item[i];
                double answer[FEATURE_ANSWERS_MAX], p = 0;

                if ((f->run < 0 ? n->g->runs : f->run) != run)
                    continue;
                if (f->kind == FEATURE_SWAP) {
                    to[i] = (float)log(swap_answer(n, &n->hyp[h], f));
                    continue;
                }
                world_predict(&w, f, answer);
                for (int k = 0; k < f->answers; k++)
                    p += f->soft[k] * answer[k];
                to[i] = (float)log(p);
            }
        }
    }
}

static double group_sum(const struct inference *n, size_t h, unsigned u, size_t g, size_t skip)
{
    const float *from = answers_of(n, h, u);
    double ln = 0;

    for (size_t i = 0; i < n->group[g].count; i++)
        if (n->group[g].feature[i] != skip)
            ln += (double)from[n->group[g].feature[i]];
    return ln;
}

static double group_cap(const struct inference *n, size_t g)
{
    bool told = n->group[g].group == GROUP_PERSON || n->group[g].group == GROUP_SWAP;

    return told ? CAP_PERSON_DECIBANS : CAP_INSTRUMENT_DECIBANS;
}

/* Rows of the unlisted faults for one group, from those of the listed. column holds hyp x
 * untold. */
static void unlisted_rows(const struct inference *n, double *column, double top)
{
    for (size_t h = 0; h < n->hyp_count; h++) {
        if (n->hyp[h].kind != HYP_UNLISTED && n->hyp[h].kind != HYP_UNEXPLAINED)
            continue;
        for (unsigned u = 0; u < UNTOLD_COMBINATIONS; u++) {
            double sum = 0, share = 0;

            for (size_t k = 0; k < n->hyp_count && n->hyp[h].kind == HYP_UNLISTED; k++) {
                if (n->hyp[k].kind != HYP_SINGLE || n->hyp[k].end != n->hyp[h].end)
                    continue;
                sum += n->c->fault[n->hyp[k].a].share *
                       exp(column[k * UNTOLD_COMBINATIONS + u] - top);
                share += n->c->fault[n->hyp[k].a].share;
            }
            sum = share > 0 ? (1 - BLUR) * sum / share + BLUR * NOTHING_SAID : NOTHING_SAID;
            column[h * UNTOLD_COMBINATIONS + u] = top + log(sum);
        }
    }
}

/* One group's capped column, without one feature. */
static void group_column(const struct inference *n, size_t g, size_t skip, double *column)
{
    double top = -INFINITY;

    for (size_t h = 0; h < n->hyp_count; h++) {
        if (n->hyp[h].kind == HYP_UNLISTED || n->hyp[h].kind == HYP_UNEXPLAINED)
            continue;
        for (unsigned u = 0; u < UNTOLD_COMBINATIONS; u++) {
            double ln = group_sum(n, h, u, g, skip);

            column[h * UNTOLD_COMBINATIONS + u] = ln;
            top = ln > top ? ln : top;
        }
    }
    unlisted_rows(n, column, top);
    engine_cap(column, n->hyp_count * UNTOLD_COMBINATIONS, group_cap(n, g));
}

/* Evidence of one run for one hypothesis: summed over what nobody told of it. */
static double run_sum(const struct inference *n, size_t h, int run, size_t changed,
                      const double *column)
{
    double ln[UNTOLD_COMBINATIONS];

    for (unsigned u = 0; u < UNTOLD_COMBINATIONS; u++) {
        ln[u] = untold_ln(&n->g->setting[run], u);
        for (size_t g = 0; g < n->group_count; g++) {
            int of = n->group[g].run < 0 ? n->g->runs : n->group[g].run;

            if (of == run)
                ln[u] += g == changed ? (column ? column[h * UNTOLD_COMBINATIONS + u] : 0)
                                      : groups_of(n, h, u)[g];
        }
    }
    return ln_sum(ln, UNTOLD_COMBINATIONS);
}

/* ---- the whole
 * ------------------------------------------------------------------------------- */

static enum err allocate(struct inference *n, size_t most)
{
    size_t cells = most * UNTOLD_COMBINATIONS;

    n->answer_ln = calloc(cells * (features(n) + 1), sizeof *n->answer_ln);
    n->group_ln = calloc(cells * (n->group_count + 1), sizeof *n->group_ln);
    n->run_ln = calloc(most * (size_t)(n->g->runs + 1), sizeof *n->run_ln);
    n->joint = calloc(most, sizeof *n->joint);
    n->posterior = calloc(most, sizeof *n->posterior);
    n->end_of = calloc(most, sizeof *n->end_of);
    return n->answer_ln && n->group_ln && n->run_ln && n->joint && n->posterior && n->end_of
               ? ERR_OK
               : ERR_MEMORY;
}

static enum err weigh(struct inference *n)
{
    double *column = calloc(n->hyp_count * UNTOLD_COMBINATIONS, sizeof *column);

    if (!column)
        return ERR_MEMORY;
    for (size_t g = 0; g < n->group_count; g++) {
        group_column(n, g, SIZE_MAX, column);
        for (size_t h = 0; h < n->hyp_count; h++)
            for (unsigned u = 0; u < UNTOLD_COMBINATIONS; u++)
                groups_of(n, h, u)[g] = column[h * UNTOLD_COMBINATIONS + u];
    }
    free(column);
    for (size_t h = 0; h < n->hyp_count; h++) {
        n->hyp[h].ln_evidence = 0;
        for (int r = 0; r <= n->g->runs; r++) {
            double ln = run_sum(n, h, r, SIZE_MAX, NULL);

            n->run_ln[h * (size_t)(n->g->runs + 1) + (size_t)r] = ln;
            n->hyp[h].ln_evidence += ln;
        }
    }
    return ERR_OK;
}

struct candidate {
    int fault;
    double score;
};

static int by_score(const void *a, const void *b)
{
    const struct candidate *x = a, *y = b;

    if (x->score > y->score || x->score < y->score)
        return x->score < y->score ? 1 : -1;
    return (x->fault > y->fault) - (x->fault < y->fault);
}

/* The best that a fault does for some one group, over what "nothing wrong" does. */
static double best_group(const struct inference *n, size_t h, size_t none)
{
    double best = 0;

    for (size_t g = 0; g < n->group_count; g++) {
        double with = -(double)INFINITY, without = with;

        for (unsigned u = 0; u < UNTOLD_COMBINATIONS; u++) {
            with = fmax(with, groups_of(n, h, u)[g]);
            without = fmax(without, groups_of(n, none, u)[g]);
        }
        best = fmax(best, with - without);
    }
    return best;
}

static enum err pairs_make(struct inference *n, size_t *cap)
{
    size_t singles = n->hyp_count;
    struct candidate *c = calloc(singles, sizeof *c);
    size_t count = 0, some;
    enum err err = c ? ERR_OK : ERR_MEMORY;

    for (size_t h = 0; c && h < singles; h++)
        if (n->hyp[h].kind == HYP_SINGLE)
            c[count++] = (struct candidate){n->hyp[h].a,
                                            n->hyp[h].ln_evidence + 0.7 * best_group(n, h, 0)};
    if (c)
        qsort(c, count, sizeof *c, by_score);
    some = count < PAIR_FAULTS_MAX ? count : PAIR_FAULTS_MAX;
    for (size_t i = 0; i < some && err == ERR_OK; i++) {
        for (size_t k = i + 1; k < some && err == ERR_OK; k++) {
            const struct fault *f = &n->c->fault[c[i].fault], *g = &n->c->fault[c[k].fault];

            if (!strcmp(f->effect, g->effect) && f->sig == g->sig)
                continue;
            err = hypothesis_pair(n, cap, c[i].fault < c[k].fault ? c[i].fault : c[k].fault,
                                  c[i].fault < c[k].fault ? c[k].fault : c[i].fault);
        }
    }
    free(c);
    return err;
}

static double single_evidence(const struct inference *n, int fault)
{
    for (size_t h = 0; h < n->hyp_count; h++)
        if (n->hyp[h].kind == HYP_SINGLE && n->hyp[h].a == fault)
            return n->hyp[h].ln_evidence;
    return -INFINITY;
}

/* Modes that nothing exercised are left out of the sum (contract, `none`), and so is a second
 * fault that explains nothing more than the first. */
static void leave_out(struct inference *n)
{
    double none = n->hyp[0].ln_evidence;

    for (size_t h = 0; h < n->hyp_count; h++) {
        struct hypothesis *y = &n->hyp[h];

        if (y->kind == HYP_SINGLE)
            y->left_out = fabs(y->ln_evidence - none) < EXERCISED_NAT;
        else if (y->kind == HYP_PAIR)
            y->left_out =
                y->ln_evidence - fmax(single_evidence(n, y->a), single_evidence(n, y->b)) <
                    SECOND_FAULT_NAT ||
                y->ln_evidence - none < SECOND_FAULT_NAT;
        n->joint[h] = y->left_out ? -(double)INFINITY : y->ln_prior + y->ln_evidence;
        n->end_of[h] = (int)y->end;
    }
    engine_posterior(n->joint, n->hyp_count, n->posterior);
}

enum err infer(const struct gathered *g, const struct catalogue *c, struct inference *out)
{
    size_t cap = 0, singles;
    struct inference *n = out;
    enum err err;

    *n = (struct inference){.g = g, .c = c};
    err = hypotheses_single(n, &cap);
    singles = n->hyp_count;
    if (err == ERR_OK)
        err = groups_make(n);
    if (err == ERR_OK)
        err = allocate(n, singles + PAIR_FAULTS_MAX * (PAIR_FAULTS_MAX - 1) / 2);
    for (size_t h = 0; h < singles && err == ERR_OK; h++)
        evaluate(n, h);
    if (err == ERR_OK)
        err = weigh(n);
    if (err == ERR_OK)
        err = pairs_make(n, &cap);
    for (size_t h = singles; h < n->hyp_count && err == ERR_OK; h++)
        evaluate(n, h);
    if (err == ERR_OK)
        err = weigh(n);
    if (err == ERR_OK)
        leave_out(n);
    else
        inference_release(n);
    return err;
}

void inference_without(const struct inference *n, size_t feature, size_t group, double *joint)
{
    double *column = calloc(n->hyp_count * UNTOLD_COMBINATIONS, sizeof *column);
    int run = n->group[group].run < 0 ? n->g->runs : n->group[group].run;

    if (column && feature != SIZE_MAX)
        group_column(n, group, feature, column);
    for (size_t h = 0; h < n->hyp_count; h++) {
        double was = n->run_ln[h * (size_t)(n->g->runs + 1) + (size_t)run];

        joint[h] = n->joint[h];
        if (n->hyp[h].left_out || !column)
            continue;
        joint[h] += run_sum(n, h, run, group, feature == SIZE_MAX ? NULL : column) - was;
    }
    free(column);
}

void inference_ends(const struct inference *n, const double *joint, double *end)
{
    double z = ln_sum(joint, n->hyp_count);

    memset(end, 0, sizeof *end * END_COUNT);
    for (size_t h = 0; h < n->hyp_count; h++)
        end[n->end_of[h]] += exp(joint[h] - z);
}

void inference_release(struct inference *n)
{
    for (size_t g = 0; g < n->group_count; g++)
        free(n->group[g].feature);
    free(n->group);
    free(n->hyp);
    free(n->end_of);
    free(n->run_ln);
    free(n->answer_ln);
    free(n->group_ln);
    free(n->joint);
    free(n->posterior);
    *n = (struct inference){0};
}
