#include "judge/pairs.h"

#include "judge/engine.h"
#include "judge/hypotheses.h"
#include "judge/infer_rows.h"

#include <math.h>
#include <stdlib.h>

/* A pair that at its best stays so far behind the best single cause changes no figure that is
 * shown. */
#define HOPELESS_NAT 10.0
/* A second fault that could not add this much to the first would be left out all the same. */
#define PROMISING_NAT (1 * NAT_PER_DECIBAN)

struct candidate {
    int fault;
    double score;
    double share; /* within its end, of all that break the very same thing */
    double *best; /* [group] the best that it does for each, */
    double sum;   /* and for all */
};

static int by_score(const void *a, const void *b)
{
    const struct candidate *x = a, *y = b;

    if (x->score > y->score || x->score < y->score)
        return x->score < y->score ? 1 : -1;
    return (x->fault > y->fault) - (x->fault < y->fault);
}

/* The best that a fault does for each group; *most: the best for some one, over what "nothing
 * wrong" does. */
static double group_bests(const struct inference *n, size_t h, const double *none, double *best,
                          double *most)
{
    double sum = 0;

    *most = 0;
    for (size_t g = 0; g < n->group_count; g++) {
        int run = inference_run_of(n, g);
        double weight = run < n->g->runs ? n->temper[run] : 1;
        double own = inference_group_best(n, h, g);

        best[g] = weight * own;
        sum += best[g];
        *most = fmax(*most, none ? own - none[g] / weight : 0);
    }
    return sum;
}

/* Another candidate that breaks the very same thing stands for this one, and has its share too.
 */
static bool stood_for(const struct inference *n, struct candidate *c, size_t count, int fault)
{
    for (size_t i = 0; i < count; i++) {
        if (!faults_alike(n, c[i].fault, fault))
            continue;
        c[i].share += n->c->fault[fault].share;
        return true;
    }
    return false;
}

/* Could two at once explain more than the better of them? Each group at its best, whatever
 * nobody told, is more than any play gives. */
static bool promising(const struct inference *n, const struct candidate *x,
                      const struct candidate *y, const double *none, double leads)
{
    double sum = 0;

    for (size_t g = 0; g < n->group_count; g++)
        sum += fmax(none[g], fmax(x->best[g], y->best[g]));
    return sum - fmax(x->sum, y->sum) > PROMISING_NAT &&
           hypothesis_pair_ln_prior(n, x->fault, y->fault, x->share * y->share) + sum >
               leads - HOPELESS_NAT;
}

/* The best that one cause, or none, does with its prior. */
static double leading_single(const struct inference *n)
{
    double best = -(double)INFINITY;

    for (size_t h = 0; h < n->hyp_count; h++)
        if (n->hyp[h].kind == HYP_SINGLE || n->hyp[h].kind == HYP_NONE)
            best = fmax(best, n->hyp[h].ln_prior + n->hyp[h].ln_evidence);
    return best;
}

static enum err pair_add(struct inference *n, size_t *cap, const struct candidate *x,
                         const struct candidate *y)
{
    const struct candidate *a = x->fault < y->fault ? x : y, *b = a == x ? y : x;

    return hypothesis_pair(n, cap, a->fault, b->fault, a->share * b->share);
}

static size_t candidates(const struct inference *n, struct candidate *c, double *best,
                         const double *none)
{
    size_t count = 0, some = 0;

    for (size_t h = 0; h < n->hyp_count; h++) {
        struct candidate *x = &c[count];
        double most;

        if (n->hyp[h].kind != HYP_SINGLE)
            continue;
        *x = (struct candidate){.fault = n->hyp[h].a,
                                .share = n->c->fault[n->hyp[h].a].share,
                                .best = best + count++ * n->group_count};
        x->sum = group_bests(n, h, none, x->best, &most);
        x->score = n->hyp[h].ln_evidence + 0.7 * most;
    }
    qsort(c, count, sizeof *c, by_score);
    for (size_t i = 0; i < count; i++)
        if (!stood_for(n, c, some, c[i].fault) && some < PAIR_FAULTS_MAX)
            c[some++] = c[i];
    return some;
}

enum err pairs_make(struct inference *n, size_t *cap)
{
    struct candidate *c = calloc(n->hyp_count + 1, sizeof *c);
    double *best = calloc((n->hyp_count + 1) * (n->group_count + 1), sizeof *best);
    double *none = best ? best + n->hyp_count * n->group_count : NULL, most;
    enum err err = c && best ? ERR_OK : ERR_MEMORY;

    if (err == ERR_OK) {
        double leads = leading_single(n);
        size_t some;

        group_bests(n, 0, NULL, none, &most);
        some = candidates(n, c, best, none);
        for (size_t i = 0; i < some && err == ERR_OK; i++)
            for (size_t k = i + 1; k < some && err == ERR_OK; k++)
                if (promising(n, &c[i], &c[k], none, leads))
                    err = pair_add(n, cap, &c[i], &c[k]);
    }
    free(c);
    free(best);
    return err;
}
