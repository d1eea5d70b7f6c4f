#include "judge/repeats.h"

#include "judge/engine.h"

#include <math.h>

/* Repeats of one kind count as barely more than one (handbook, diagnosis, 1.8: exponent
 * 1 / (1 + (m - 1) rho)). */
#define REPEATS_ALIKE 0.9
/* A run in which some cause does better than "nothing wrong" by this much shows a fault. */
#define SHOWS_NAT (3 * NAT_PER_DECIBAN)
/* How often a fault comes and goes at all: our own guesses; contacts and heat mostly do. */
#define COMES_AND_GOES         0.1
#define CONTACT_COMES_AND_GOES 0.5
#define RATES                  5

/* Failures of a set that is sound, a try; rates of a fault that comes and goes; of one that
 * stays (beta distributions: failing, working). First two: handbook, diagnosis, W18. */
#define BACKGROUND_RATE 0.005
#define SELDOM          0.5
#define OFTEN           4.5

void repeats_soften(struct feature *f)
{
    if (f->kind != FEATURE_TRIES)
        return;

    double ln[] = {engine_tries_at_rate_ln(f->bad, f->count, BACKGROUND_RATE),
                   engine_tries_ln(f->bad, f->count, SELDOM, OFTEN),
                   engine_tries_ln(f->bad, f->count, OFTEN, SELDOM)};

    engine_posterior(ln, 3, f->soft);
}

static bool shows(const struct inference *n, int run)
{
    size_t runs = (size_t)n->g->runs + 1;
    double best = -(double)INFINITY;

    for (size_t h = 0; h < n->hyp_count; h++)
        best = fmax(best, n->run_ln[h * runs + (size_t)run]);
    return best - n->run_ln[run] > SHOWS_NAT;
}

void repeats_temper(struct inference *n)
{
    bool shown[RUNS_MAX];

    for (int r = 0; r < n->g->runs; r++)
        shown[r] = shows(n, r);
    for (int r = 0; r < n->g->runs; r++) {
        const struct setting *a = &n->g->setting[r];
        int alike = 0;

        for (int k = 0; k < n->g->runs; k++) {
            const struct setting *b = &n->g->setting[k];

            alike += a->asked == b->asked && a->role == b->role &&
                     a->disk_none == b->disk_none && a->after == b->after &&
                     shown[r] == shown[k];
        }
        n->temper[r] = 1 / (1 + (alike - 1) * REPEATS_ALIKE);
    }
}

static double share_of(const struct inference *n, const struct hypothesis *h)
{
    unsigned varies = 0;

    if (h->kind == HYP_NONE || h->kind == HYP_UNEXPLAINED)
        return 0;
    varies |= h->a >= 0 ? n->c->fault[h->a].traits.varies : 0;
    varies |= h->b >= 0 ? n->c->fault[h->b].traits.varies : 0;
    return varies ? CONTACT_COMES_AND_GOES : COMES_AND_GOES;
}

/* Rates at which a fault that comes and goes is there: each as likely as the others, unless a
 * person counted. */
static const double rate[RATES] = {0.1, 0.3, 0.5, 0.7, 0.9};

static void rates_chance(const struct gathered *g, double chance[RATES])
{
    double ln[RATES];

    for (int k = 0; k < RATES; k++)
        ln[k] = engine_tries_at_rate_ln(g->bad_tries, g->tries, rate[k]);
    engine_posterior(ln, RATES, chance);
}

/* ln of the evidence of one run for a hypothesis; of run `changed` the one of `own` stands. */
static double run_value(const struct inference *n, size_t h, int run, int changed,
                        const double *own)
{
    return run == changed ? own[h] : n->run_ln[h * ((size_t)n->g->runs + 1) + (size_t)run];
}

/* All recorded runs, where works cured so much of the hypothesis. */
static double runs_evidence(const struct inference *n, size_t h, const struct cured *cured,
                            int changed, const double *own)
{
    double way[RATES + 1] = {0}, chance[RATES], share = share_of(n, &n->hyp[h]);

    for (int r = 0; r < n->g->runs; r++) {
        size_t left = mended_left(n, h, cured, n->g->setting[r].after);
        double there = n->temper[r] * run_value(n, left, r, changed, own);
        double gone = n->temper[r] * run_value(n, 0, r, changed, own);

        way[RATES] += there;
        for (int k = 0; k < RATES; k++) {
            double both[] = {log(rate[k]) + there, log(1 - rate[k]) + gone};

            way[k] += ln_sum(both, 2);
        }
    }
    if ((n->g->runs < 2 && !n->g->tries) || share <= 0)
        return way[RATES];
    rates_chance(n->g, chance);
    for (int k = 0; k < RATES; k++)
        way[k] += log(share * chance[k]);
    way[RATES] += log(1 - share);
    return ln_sum(way, RATES + 1);
}

double repeats_evidence_cured(const struct inference *n, size_t h, const struct cured *cured)
{
    return runs_evidence(n, h, cured, -1, NULL);
}

double repeats_evidence(const struct inference *n, size_t h, int changed, const double *own)
{
    double told = run_value(n, h, n->g->runs, changed, own), ln[CURED_MAX];
    struct cured way[CURED_MAX];
    size_t ways = 1;

    way[0] = (struct cured){0};
    if (n->g->after_works)
        ways = mended_ways(n, h, way);
    for (size_t i = 0; i < ways; i++)
        ln[i] = way[i].ln + runs_evidence(n, h, &way[i], changed, own);
    return ln_sum(ln, ways) + told;
}
