/* The list of hypotheses and their prior odds. */
#include "judge/hypotheses.h"

#include "base/buf.h"

#include <math.h>
#include <stdlib.h>

#define HYPOTHESES_MAX 40000

/* Our own guesses: chance that nothing is wrong where nobody complains, or nobody said; what is
 * left for the disk where it is known good (contract: 2 %), or where nobody knows it. */
#define NONE_WHEN_ALL_WORKED  0.75
#define NONE_WHEN_NOT_SAID    0.3
#define DISK_KNOWN_GOOD_SHARE 0.032 /* 2 % for the medium (contract), and the seat */
#define DISK_UNKNOWN_FACTOR   2.0

void end_priors(const struct gathered *g, const struct catalogue *c, double *share)
{
    double sum = 0, none;

    for (int e = 0; e < END_COUNT; e++)
        share[e] = e == END_TWO || e == END_UNEXPLAINED ? 0 : c->end_share[e];
    if (!g->setting[g->runs].disk_known_good)
        share[END_DISK] *= DISK_UNKNOWN_FACTOR;
    for (int e = 0; e < END_COUNT; e++)
        sum += share[e];
    for (int e = 0; e < END_COUNT; e++)
        share[e] /= sum;
    if (g->setting[g->runs].disk_known_good && share[END_DISK] > DISK_KNOWN_GOOD_SHARE)
        share[END_DISK] = DISK_KNOWN_GOOD_SHARE;
    none = g->complaint    ? share[END_NONE]
           : g->all_worked ? NONE_WHEN_ALL_WORKED
                           : NONE_WHEN_NOT_SAID;
    sum = 0;
    for (int e = 0; e < END_COUNT; e++)
        sum += e == END_NONE ? 0 : share[e];
    for (int e = 0; e < END_COUNT; e++)
        share[e] *= e == END_NONE ? 0 : (1 - none) / sum;
    share[END_NONE] = none;
}

enum err hypothesis_add(struct inference *n, size_t *cap, struct hypothesis h)
{
    void *items = n->hyp;

    TRY(array_grow(&items, cap, n->hyp_count + 1, sizeof *n->hyp, HYPOTHESES_MAX));
    n->hyp = items;
    n->hyp[n->hyp_count++] = h;
    return ERR_OK;
}

enum err hypotheses_single(struct inference *n, size_t *cap)
{
    const struct catalogue *c = n->c;
    double share[END_COUNT];
    double listed = 1 - (c->two + c->unlisted) / 100;

    end_priors(n->g, c, share);
    TRY(hypothesis_add(
        n, cap,
        (struct hypothesis){HYP_NONE, -1, -1, END_NONE, log(share[END_NONE]), 0, false}));
    for (size_t i = 0; i < c->count; i++) {
        const struct fault *f = &c->fault[i];

        TRY(hypothesis_add(n, cap,
                           (struct hypothesis){HYP_SINGLE, (int)i, -1, f->end,
                                               log(listed * share[f->end] * f->share), 0,
                                               false}));
    }
    for (enum end e = END_DRIVE; e < END_TWO; e++)
        TRY(hypothesis_add(n, cap,
                           (struct hypothesis){HYP_UNLISTED, -1, -1, e,
                                               log(0.7 * c->unlisted / 100 * share[e]), 0,
                                               false}));
    return hypothesis_add(
        n, cap,
        (struct hypothesis){HYP_UNEXPLAINED, -1, -1, END_UNEXPLAINED,
                            log(0.3 * c->unlisted / 100 * (1 - share[END_NONE])), 0, false});
}

enum err hypothesis_pair(struct inference *n, size_t *cap, int a, int b)
{
    const struct fault *f = &n->c->fault[a], *g = &n->c->fault[b];
    double share[END_COUNT];

    end_priors(n->g, n->c, share);
    return hypothesis_add(
        n, cap,
        (struct hypothesis){
            HYP_PAIR, a, b, f->end == g->end ? f->end : END_TWO,
            log(2 * n->c->two / 100 * share[f->end] * f->share * share[g->end] * g->share), 0,
            false});
}

void hypothesis_state(const struct inference *n, const struct hypothesis *h, struct state *out)
{
    state_init(out);
    if (h->a >= 0) {
        const struct fault *f = &n->c->fault[h->a];

        (void)state_apply(out, f->effect, f->sig, f->sig2, f->tap);
        out->of[0] = &f->traits;
    }
    if (h->b >= 0) {
        const struct fault *f = &n->c->fault[h->b];

        (void)state_apply(out, f->effect, f->sig, f->sig2, f->tap);
        out->of[1] = &f->traits;
    }
}
