/* The list of hypotheses and their prior odds. */
#include "judge/hypotheses.h"

#include "base/buf.h"
#include "judge/engine.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define HYPOTHESES_MAX 40000

/* Our own guesses: chance that nothing is wrong where nobody complains, or nobody said; what is
 * left for the disk where it is known good (contract: 2 %), or where nobody knows it. */
#define NONE_WHEN_ALL_WORKED  0.75
#define NONE_WHEN_NOT_SAID    0.3
#define DISK_KNOWN_GOOD_SHARE 0.032 /* 2 % for the medium (contract), and the seat */
#define DISK_UNKNOWN_FACTOR   2.0
/* Of what is in no list: parts of some end that hold one line, others of an end, and none of
 * any end. */
#define UNLISTED_HELD    0.2
#define UNLISTED_IN_END  0.5
#define UNLISTED_NOWHERE 0.3
#define HELD_STATES      (2 * SIG_COUNT)
/* Lines of listed faults that fit within this of the best are looked at once more. */
#define HELD_DECIBANS 10.0

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

static enum err hypothesis_add(struct inference *n, size_t *cap, struct hypothesis h)
{
    void *items = n->hyp;

    TRY(array_grow(&items, cap, n->hyp_count + 1, sizeof *n->hyp, HYPOTHESES_MAX));
    n->hyp = items;
    n->hyp[n->hyp_count++] = h;
    return ERR_OK;
}

/* One whose cause is a fault of the catalogue, -1 none. */
static enum err add(struct inference *n, size_t *cap, enum hypothesis_kind kind, int fault,
                    enum end end, double prior)
{
    struct hypothesis h = {.kind = kind,
                           .a = fault,
                           .b = -1,
                           .end = end,
                           .ln_prior = log(prior),
                           .sig = SIG_COUNT};

    return hypothesis_add(n, cap, h);
}

enum err hypotheses_single(struct inference *n, size_t *cap)
{
    const struct catalogue *c = n->c;
    double share[END_COUNT], unlisted = c->unlisted / 100;
    double listed = 1 - c->two / 100 - unlisted;

    end_priors(n->g, c, share);
    TRY(add(n, cap, HYP_NONE, -1, END_NONE, share[END_NONE]));
    for (size_t i = 0; i < c->count; i++) {
        const struct fault *f = &c->fault[i];

        TRY(add(n, cap, HYP_SINGLE, (int)i, f->end, listed * share[f->end] * f->share));
    }
    for (enum end e = END_DRIVE; e < END_TWO; e++)
        TRY(add(n, cap, HYP_UNLISTED, -1, e, UNLISTED_IN_END * unlisted * share[e]));
    return add(n, cap, HYP_UNEXPLAINED, -1, END_UNEXPLAINED,
               UNLISTED_NOWHERE * unlisted * (1 - share[END_NONE]));
}

bool fault_examined(const struct inference *n, const struct fault *f)
{
    for (size_t i = 0; i < n->g->features.count; i++) {
        const struct feature *k = &n->g->features.item[i];

        if (k->kind == FEATURE_EXAMINED && !strcmp(k->fault, f->name))
            return true;
    }
    return false;
}

bool faults_alike(const struct inference *n, int a, int b)
{
    const struct fault *f = &n->c->fault[a], *g = &n->c->fault[b];

    return f->end == g->end && f->sig == g->sig && f->sig2 == g->sig2 && f->tap == g->tap &&
           !strcmp(f->effect, g->effect) && !memcmp(&f->traits, &g->traits, sizeof f->traits) &&
           !fault_examined(n, f) && !fault_examined(n, g);
}

double hypothesis_pair_ln_prior(const struct inference *n, int a, int b, double shares)
{
    const struct fault *f = &n->c->fault[a], *g = &n->c->fault[b];
    double share[END_COUNT];

    end_priors(n->g, n->c, share);
    return log(2 * n->c->two / 100 * share[f->end] * share[g->end] * shares);
}

enum err hypothesis_pair(struct inference *n, size_t *cap, int a, int b, double shares)
{
    const struct fault *f = &n->c->fault[a], *g = &n->c->fault[b];
    struct hypothesis h = {.kind = HYP_PAIR,
                           .a = a,
                           .b = b,
                           .end = f->end == g->end ? f->end : END_TWO,
                           .ln_prior = hypothesis_pair_ln_prior(n, a, b, shares),
                           .sig = SIG_COUNT};

    return hypothesis_add(n, cap, h);
}

/* An end that gives nothing at all. */
static void silent_state(enum end end, struct state *out)
{
    out->drive = end == END_DRIVE;
    out->machine = end == END_CONTROLLER;
    out->no_5v = end == END_POWER;
    if (end == END_CABLE)
        out->plug = PLUG_UNPLUGGED;
}

static void held_state(const struct hypothesis *h, struct state *out)
{
    unsigned char mode = (unsigned char)h->mode;

    if (h->sig == SIG_COUNT)
        silent_state(h->end, out);
    else if (h->end == END_CABLE)
        out->conductor[h->sig] = mode;
    else if (h->end == END_CONTROLLER)
        out->machine_out[h->sig] = mode;
    else
        out->drive_out[h->sig] = mode;
}

void hypothesis_state(const struct inference *n, const struct hypothesis *h, struct state *out)
{
    state_init(out);
    if (h->kind == HYP_HELD)
        held_state(h, out);
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

/* A listed fault of this end does the very same. */
static bool is_listed(const struct inference *n, const struct hypothesis *h)
{
    struct state wanted, other;

    hypothesis_state(n, h, &wanted);
    for (size_t i = 0; i < n->hyp_count; i++) {
        if (n->hyp[i].kind != HYP_SINGLE || n->hyp[i].end != h->end)
            continue;
        hypothesis_state(n, &n->hyp[i], &other);
        other.of[0] = NULL;
        if (!memcmp(&wanted, &other, sizeof wanted))
            return true;
    }
    return false;
}

static enum err hold(struct inference *n, size_t *cap, enum end end, enum sig s, enum mode mode)
{
    struct hypothesis h = {
        .kind = HYP_HELD, .a = -1, .b = -1, .end = end, .sig = s, .mode = mode};
    double share[END_COUNT];

    end_priors(n->g, n->c, share);
    h.ln_prior = log(UNLISTED_HELD * n->c->unlisted / 100 * share[end] / HELD_STATES);
    return is_listed(n, &h) ? ERR_OK : hypothesis_add(n, cap, h);
}

/* A line held or dead at the cable or at the end that drives it. */
static enum err hold_line(struct inference *n, size_t *cap, enum sig s)
{
    enum end driver = s < SIG_FROM_DRIVE ? END_CONTROLLER : END_DRIVE;

    TRY(hold(n, cap, END_CABLE, s, MODE_DEAD));
    TRY(hold(n, cap, END_CABLE, s, MODE_STUCK));
    TRY(hold(n, cap, driver, s, MODE_DEAD));
    return hold(n, cap, driver, s, MODE_STUCK);
}

enum err hypotheses_held(struct inference *n, size_t *cap)
{
    bool near[SIG_COUNT] = {false};
    size_t singles = n->hyp_count;
    double best = -(double)INFINITY;

    for (size_t h = 0; h < singles; h++)
        if (n->hyp[h].kind == HYP_SINGLE)
            best = fmax(best, n->hyp[h].ln_evidence);
    for (size_t h = 0; h < singles; h++) {
        enum sig s = n->hyp[h].kind == HYP_SINGLE ? n->c->fault[n->hyp[h].a].sig : SIG_COUNT;

        if (s < SIG_COUNT && n->hyp[h].ln_evidence > best - HELD_DECIBANS * NAT_PER_DECIBAN)
            near[s] = true;
    }
    for (enum sig s = 0; s < SIG_COUNT; s++)
        if (near[s])
            TRY(hold_line(n, cap, s));
    for (enum end e = END_DRIVE; e <= END_POWER; e++)
        if (e != END_DISK)
            TRY(hold(n, cap, e, SIG_COUNT, MODE_DEAD));
    return ERR_OK;
}
