#include "judge/infer.h"

#include "judge/engine.h"
#include "judge/hypotheses.h"
#include "judge/infer_rows.h"
#include "judge/pairs.h"
#include "judge/repeats.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#define CAP_INSTRUMENT_DECIBANS 40.0
#define CAP_PERSON_DECIBANS     20.0
#define HELD_MAX                (4 * SIG_COUNT + END_COUNT)
/* Below this much weight a fault is told from "nothing wrong" by nothing, and a second one adds
 * nothing. */
#define EXERCISED_NAT    (0.5 * NAT_PER_DECIBAN)
#define SECOND_FAULT_NAT (3 * NAT_PER_DECIBAN)
/* A fault that is in no list predicts like the others of its end, blurred; one of no end
 * predicts nothing. */
#define BLUR         0.3
#define NOTHING_SAID 0.1

static bool belongs(const struct evidence_group *g, const struct feature *f)
{
    return g->run == f->run && g->group == f->group && g->tap == f->tap &&
           f->group != GROUP_SWAP;
}

static enum err groups_make(struct inference *n)
{
    size_t count = inference_features(n);

    n->group_count = 0;
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

static double group_cap(const struct inference *n, size_t g)
{
    bool told = n->group[g].run < 0;

    return told ? CAP_PERSON_DECIBANS : CAP_INSTRUMENT_DECIBANS;
}

/* A fault that is in no list predicts one group as the listed ones of its end do on average,
 * blurred; one of no end predicts nothing in particular. */
static double unlisted_value(const struct inference *n, size_t h, int run, const double *column,
                             const size_t *at, double top)
{
    double sum = 0, share = 0;

    for (size_t k = 0; k < n->hyp_count && n->hyp[h].kind == HYP_UNLISTED; k++) {
        const struct rows *r = inference_rows_of(n, k, run);
        double own = 0, chance = 0;

        if (n->hyp[k].kind != HYP_SINGLE || n->hyp[k].end != n->hyp[h].end || n->twin[k] != k)
            continue;
        for (size_t i = 0; i < r->count; i++) {
            own += r->choice[i] * exp(column[at[k] + i] - top);
            chance += r->choice[i];
        }
        sum += n->share[k] * own / chance;
        share += n->share[k];
    }
    return top + log(share > 0 ? (1 - BLUR) * sum / share + BLUR * NOTHING_SAID : NOTHING_SAID);
}

/* One group's capped values for all rows of its run, without one feature. at[h] is where a
 * hypothesis begins. */
static size_t group_column(const struct inference *n, size_t g, size_t skip, double *column,
                           size_t *at)
{
    int run = inference_run_of(n, g);
    double top = -(double)INFINITY;
    size_t count = 0, features = inference_features(n);

    for (size_t h = 0; h < n->hyp_count; h++) {
        const struct rows *r = inference_rows_of(n, h, run);

        at[h] = n->twin[h] < h ? at[n->twin[h]] : count;
        for (size_t i = 0; i < r->count && n->twin[h] == h; i++, count++) {
            if (hypothesis_unlisted(n, h))
                continue;
            column[count] = r->raw_ln[i * n->group_count + g];
            if (skip < features)
                column[count] -= (double)r->answer_ln[i * features + skip];
            top = column[count] > top ? column[count] : top;
        }
    }
    for (size_t h = 0; h < n->hyp_count; h++)
        if (hypothesis_unlisted(n, h))
            column[at[h]] = unlisted_value(n, h, run, column, at, top);
    engine_cap(column, count, group_cap(n, g));
    return count;
}

static size_t rows_in(const struct inference *n)
{
    size_t most = 0;

    for (int run = 0; run <= n->g->runs; run++) {
        size_t count = 0;

        for (size_t h = 0; h < n->hyp_count; h++)
            count += n->twin[h] == h ? inference_rows_of(n, h, run)->count : 0;
        most = count > most ? count : most;
    }
    return most;
}

double inference_row_ln(const struct rows *r, size_t row)
{
    return r->whole_ln[row];
}

static void rows_whole(struct inference *n, size_t h, int run)
{
    struct rows *r = inference_rows_of(n, h, run);

    for (size_t i = 0; i < r->count; i++) {
        r->whole_ln[i] = log(r->choice[i]);
        for (size_t g = 0; g < n->group_count; g++)
            if (inference_run_of(n, g) == run)
                r->whole_ln[i] += r->group_ln[i * n->group_count + g];
    }
}

/* Evidence of one run for one hypothesis, summed over what nobody told; one group changed (its
 * values for this hypothesis) or dropped (NULL). */
static double run_sum(const struct inference *n, size_t h, int run, size_t changed,
                      const double *values)
{
    const struct rows *r = inference_rows_of(n, h, run);
    double ln[UNTOLD_COMBINATIONS];

    for (size_t i = 0; i < r->count; i++) {
        ln[i] = inference_row_ln(r, i);
        if (changed < n->group_count)
            ln[i] += (values ? values[i] : 0) - r->group_ln[i * n->group_count + changed];
    }
    return ln_sum(ln, r->count);
}

static enum err allocate(struct inference *n, size_t most)
{
    n->rows = calloc(most * inference_runs(n), sizeof *n->rows);
    n->run_ln = calloc(most * inference_runs(n), sizeof *n->run_ln);
    n->joint = calloc(most, sizeof *n->joint);
    n->posterior = calloc(most, sizeof *n->posterior);
    n->end_of = calloc(most, sizeof *n->end_of);
    n->twin = calloc(most, sizeof *n->twin);
    n->share = calloc(most, sizeof *n->share);
    for (size_t h = 0; n->twin && h < most; h++)
        n->twin[h] = h;
    return n->twin && n->share && n->rows && n->run_ln && n->joint && n->posterior && n->end_of
               ? ERR_OK
               : ERR_MEMORY;
}

static void find_twins(struct inference *n)
{
    for (size_t h = 0; h < n->hyp_count; h++) {
        for (size_t k = 0; k < h && n->hyp[h].kind == HYP_SINGLE && n->twin[h] == h; k++)
            if (n->hyp[k].kind == HYP_SINGLE && faults_alike(n, n->hyp[k].a, n->hyp[h].a))
                n->twin[h] = k;
        if (n->hyp[h].kind == HYP_SINGLE)
            n->share[n->twin[h]] += n->c->fault[n->hyp[h].a].share;
    }
}

static enum err weigh(struct inference *n)
{
    double *column = calloc(rows_in(n) + 1, sizeof *column);
    size_t *at = calloc(n->hyp_count + 1, sizeof *at);

    if (!column || !at) {
        free(column);
        free(at);
        return ERR_MEMORY;
    }
    for (size_t g = 0; g < n->group_count; g++) {
        group_column(n, g, SIZE_MAX, column, at);
        for (size_t h = 0; h < n->hyp_count; h++) {
            struct rows *r = inference_rows_of(n, h, inference_run_of(n, g));

            for (size_t i = 0; i < r->count && n->twin[h] == h; i++)
                r->group_ln[i * n->group_count + g] = column[at[h] + i];
        }
    }
    free(column);
    free(at);
    for (size_t h = 0; h < n->hyp_count; h++) {
        for (int r = 0; r <= n->g->runs; r++) {
            double *to = &n->run_ln[h * inference_runs(n) + (size_t)r];

            if (n->twin[h] == h)
                rows_whole(n, h, r);
            *to = n->twin[h] == h ? run_sum(n, h, r, SIZE_MAX, NULL)
                                  : n->run_ln[n->twin[h] * inference_runs(n) + (size_t)r];
        }
    }
    repeats_temper(n);
    for (size_t h = 0; h < n->hyp_count; h++)
        n->hyp[h].ln_evidence = repeats_evidence(n, h, -1, NULL);
    return ERR_OK;
}

double inference_group_best(const struct inference *n, size_t hyp, size_t group)
{
    const struct rows *r = inference_rows_of(n, hyp, inference_run_of(n, group));
    double best = -(double)INFINITY;

    for (size_t i = 0; i < r->count; i++)
        best = fmax(best, r->group_ln[i * n->group_count + group]);
    return best;
}

static double single_evidence(const struct inference *n, int fault)
{
    for (size_t h = 0; h < n->hyp_count; h++)
        if (n->hyp[h].kind == HYP_SINGLE && n->hyp[h].a == fault)
            return n->hyp[h].ln_evidence;
    return -INFINITY;
}

/* Modes that no capture exercised are left out of the sum (contract, `none`), and so is a
 * second fault that explains nothing more than the first. */
static void leave_out(struct inference *n)
{
    double none = n->hyp[0].ln_evidence;

    for (size_t h = 0; h < n->hyp_count; h++) {
        struct hypothesis *y = &n->hyp[h];

        if (y->kind == HYP_SINGLE)
            y->left_out = n->g->runs > 0 && fabs(y->ln_evidence - none) < EXERCISED_NAT;
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
        err = allocate(n, singles + HELD_MAX + PAIRS_MAX);
    if (err == ERR_OK)
        find_twins(n);
    for (size_t h = 0; h < singles && err == ERR_OK; h++)
        err = hypothesis_evaluate(n, h);
    if (err == ERR_OK)
        err = weigh(n);
    if (err == ERR_OK)
        err = hypotheses_held(n, &cap);
    if (err == ERR_OK)
        err = pairs_make(n, &cap);
    for (size_t h = singles; h < n->hyp_count && err == ERR_OK; h++)
        err = hypothesis_evaluate(n, h);
    if (err == ERR_OK)
        err = weigh(n);
    if (err == ERR_OK)
        leave_out(n);
    else
        inference_release(n);
    return err;
}

/* Evidence of one run for every hypothesis, with the values of one group changed to those of a
 * column or, NULL, dropped. Where no work was done between the captures nobody asks for those
 * that are left out. */
static void run_sums(const struct inference *n, size_t group, const double *column,
                     const size_t *at, double *own)
{
    int run = inference_run_of(n, group);

    for (size_t h = 0; h < n->hyp_count; h++) {
        if (h > 0 && n->hyp[h].left_out && !n->g->after_works)
            continue;
        own[h] = n->twin[h] != h ? own[n->twin[h]]
                                 : run_sum(n, h, run, group, column ? column + at[h] : NULL);
    }
}

enum err inference_without(const struct inference *n, size_t feature, size_t group,
                           double *joint)
{
    bool whole = feature == SIZE_MAX;
    double *column = whole ? NULL : calloc(rows_in(n) + 1, sizeof *column);
    double *own = calloc(n->hyp_count, sizeof *own);
    size_t *at = whole ? NULL : calloc(n->hyp_count + 1, sizeof *at);
    int run = inference_run_of(n, group);
    enum err err = own && (whole || (column && at)) ? ERR_OK : ERR_MEMORY;

    if (!whole && err == ERR_OK)
        group_column(n, group, feature, column, at);
    if (err == ERR_OK)
        run_sums(n, group, column, at, own);
    for (size_t h = 0; h < n->hyp_count && err == ERR_OK; h++)
        joint[h] = h > 0 && n->hyp[h].left_out
                       ? n->joint[h]
                       : n->hyp[h].ln_prior + repeats_evidence(n, h, run, own);
    free(column);
    free(own);
    free(at);
    return err;
}

/* Evidence of one group for one hypothesis, over what nobody told. */
static double group_sum_alone(const struct inference *n, size_t h, size_t g)
{
    const struct rows *r = inference_rows_of(n, h, inference_run_of(n, g));
    double ln[UNTOLD_COMBINATIONS];

    for (size_t i = 0; i < r->count; i++)
        ln[i] = log(r->choice[i]) + r->group_ln[i * n->group_count + g];
    return ln_sum(ln, r->count);
}

void inference_alone(const struct inference *n, size_t group, double *joint)
{
    for (size_t h = 0; h < n->hyp_count; h++)
        joint[h] = n->hyp[h].left_out  ? n->joint[h]
                   : group == SIZE_MAX ? n->hyp[h].ln_prior
                                       : n->hyp[h].ln_prior + group_sum_alone(n, h, group);
}

void inference_ends(const struct inference *n, const double *joint, double *end)
{
    double z = ln_sum(joint, n->hyp_count);

    memset(end, 0, sizeof *end * END_COUNT);
    for (size_t h = 0; h < n->hyp_count; h++)
        end[n->end_of[h]] += exp(joint[h] - z);
}

enum end ends_leader(const double end[END_COUNT])
{
    int best = 0;

    for (int e = 1; e < END_COUNT; e++)
        if (end[e] > end[best])
            best = e;
    return (enum end)best;
}

enum end ends_second(const double end[END_COUNT], enum end first)
{
    enum end best = END_COUNT;

    for (enum end e = 0; e < END_COUNT; e++)
        if (e != first && end[e] > (best == END_COUNT ? 0 : end[best]))
            best = e;
    return best;
}

void inference_release(struct inference *n)
{
    for (size_t g = 0; g < n->group_count; g++)
        free(n->group[g].feature);
    for (size_t i = 0; n->rows && i < n->hyp_count * inference_runs(n); i++) {
        free(n->rows[i].way);
        free(n->rows[i].choice);
        free(n->rows[i].answer_ln);
        free(n->rows[i].raw_ln);
        free(n->rows[i].group_ln);
        free(n->rows[i].whole_ln);
    }
    free(n->rows);
    free(n->group);
    free(n->hyp);
    free(n->end_of);
    free(n->run_ln);
    free(n->twin);
    free(n->share);
    free(n->joint);
    free(n->posterior);
    *n = (struct inference){0};
}
