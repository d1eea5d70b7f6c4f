#include "judge/alarms.h"

#include "judge/engine.h"
#include "judge/infer_rows.h"
#include "judge/mended.h"
#include "judge/surprise.h"
#include "judge/texts.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define UNLISTED_SHARE   0.2
#define UNLISTED_VERDICT 0.5
/* What captures may lack in all; each word, look, reading and exchange adds to it, for one in
 * twenty misleads by some 13 decibans (our own guess, tried on the fault bench). */
#define CONFLICT_DECIBANS      22.0
#define CONFLICT_TOLD_DECIBANS 1.5

/* The usual reasons (handbook, diagnosis, 1.10). */
#define REASONS                                                                                \
    "what contradicts itself is a fault in no list, a profile that does not fit, or a wrong "  \
    "reading: take the readings again before anything is exchanged"

#define QUOTED_MAX  112
#define QUOTED_TEXT 76

/* How much better each group would be explained by some other cause than by the best whole
 * explanation; *worst: the group that lacks most. */
static double conflict(const struct inference *n, size_t best, size_t *worst)
{
    double sum = 0, most = -1;

    for (size_t g = 0; g < n->group_count; g++) {
        double top = -(double)INFINITY, lacks;
        size_t own = mended_in_run(n, best, inference_run_of(n, g));

        for (size_t h = 0; h < n->hyp_count; h++)
            top = fmax(top, inference_group_best(n, h, g));
        lacks = (top - inference_group_best(n, own, g)) / NAT_PER_DECIBAN;
        sum += lacks;
        if (lacks > most) {
            most = lacks;
            *worst = g;
        }
    }
    return sum;
}

/* The groups as chances: of each alone under each hypothesis, and of two together. */
struct table {
    const struct inference *n;
    double *prior; /* [hyp] */
    double *alone; /* [hyp][group] */
};

static void table_free(struct table *t)
{
    free(t->prior);
    free(t->alone);
}

static double row_share(const struct rows *r, size_t row)
{
    return r->choice[row];
}

static double group_value(const struct inference *n, const struct rows *r, size_t row, size_t g)
{
    return exp(r->group_ln[row * n->group_count + g]);
}

/* Both of two groups under one hypothesis; of the same run they share what nobody told. */
static double together(const struct table *t, size_t h, size_t a, size_t b)
{
    const struct inference *n = t->n;
    int run = inference_run_of(n, a);
    const struct rows *r = inference_rows(n, h, run);
    double sum = 0, all = 0;

    if (run != inference_run_of(n, b))
        return t->alone[h * n->group_count + a] * t->alone[h * n->group_count + b];
    for (size_t i = 0; i < r->count; i++) {
        double share = row_share(r, i);

        all += share;
        sum += share * group_value(n, r, i, a) * (a == b ? 1 : group_value(n, r, i, b));
    }
    return sum / all;
}

static enum err table_make(const struct inference *n, struct table *t)
{
    double sum = 0;

    *t = (struct table){.n = n,
                        .prior = calloc(n->hyp_count + 1, sizeof *t->prior),
                        .alone = calloc(n->hyp_count * n->group_count + 1, sizeof *t->alone)};
    if (!t->prior || !t->alone)
        return ERR_MEMORY;
    for (size_t h = 0; h < n->hyp_count; h++)
        sum += t->prior[h] = n->hyp[h].left_out ? 0 : exp(n->hyp[h].ln_prior);
    for (size_t h = 0; h < n->hyp_count; h++) {
        t->prior[h] /= sum;
        for (size_t g = 0; g < n->group_count && t->prior[h] > 0; g++)
            t->alone[h * n->group_count + g] = together(t, h, g, g);
    }
    return ERR_OK;
}

static double chance(const struct table *t, size_t a, size_t b)
{
    double sum = 0;

    for (size_t h = 0; h < t->n->hyp_count; h++)
        if (t->prior[h] > 0)
            sum += t->prior[h] *
                   (a == b ? t->alone[h * t->n->group_count + a] : together(t, h, a, b));
    return sum;
}

/* Not with work between them that may have changed the set. */
static bool comparable(const struct inference *n, size_t a, size_t b)
{
    int x = inference_run_of(n, a), y = inference_run_of(n, b), told = n->g->runs;

    return x == told || y == told || n->g->setting[x].after == n->g->setting[y].after;
}

/* Bits by which two groups are less likely together than apart: of one group and the one that
 * it clashes with most. */
static double clash(const struct table *t, size_t group, size_t *with)
{
    double most = 0;

    for (size_t k = 0; k < t->n->group_count; k++) {
        double bits = k == group || !comparable(t->n, k, group)
                          ? 0
                          : log2(chance(t, group, group)) + log2(chance(t, k, k)) -
                                log2(chance(t, group, k));

        if (bits > most) {
            most = bits;
            *with = k;
        }
    }
    return most;
}

/* Of a group the finding that the other one makes unlikeliest. */
static size_t told_apart(const struct table *t, size_t group, size_t other)
{
    const struct inference *n = t->n;
    int run = inference_run_of(n, group);
    size_t best = n->group[group].feature[0];
    double least = INFINITY;

    for (size_t i = 0; i < n->group[group].count; i++) {
        size_t f = n->group[group].feature[i];
        double given = 0, all = 0, plain = 0;

        for (size_t h = 0; h < n->hyp_count; h++) {
            const struct rows *r = inference_rows(n, h, run);
            double q = t->prior[h] * t->alone[h * n->group_count + other], p = 0, z = 0;

            if (t->prior[h] <= 0 || hypothesis_unlisted(n, h))
                continue;
            for (size_t k = 0; k < r->count; k++) {
                p += row_share(r, k) * exp((double)r->answer_ln[k * inference_features(n) + f]);
                z += row_share(r, k);
            }
            given += q * p / z;
            all += q;
            plain += t->prior[h] * p / z;
        }
        if (all > 0 && given / all / plain < least) {
            least = given / all / plain;
            best = f;
        }
    }
    return best;
}

/* A finding with where it is from. */
static const char *quote(const struct inference *n, size_t feature, char out[QUOTED_MAX])
{
    const struct finding *f = &n->g->features.item[feature].finding;

    snprintf(out, QUOTED_MAX, "\"%.*s%s\" (%.24s)", QUOTED_TEXT, f->text,
             strlen(f->text) > QUOTED_TEXT ? "..." : "", f->from);
    return out;
}

static enum err warn_clash(const struct inference *n, size_t worst, struct verdict *v)
{
    struct table t;
    char one[QUOTED_MAX], two[QUOTED_MAX];
    size_t with = worst;
    enum err err = table_make(n, &t);

    if (err == ERR_OK && clash(&t, worst, &with) > 0)
        verdict_warn(v, "%s does not go with %s", quote(n, told_apart(&t, worst, with), one),
                     quote(n, told_apart(&t, with, worst), two));
    else if (err == ERR_OK)
        verdict_warn(v, "%s does not go with the rest",
                     quote(n, n->group[worst].feature[0], one));
    if (err == ERR_OK)
        verdict_warn(v, REASONS);
    table_free(&t);
    return err;
}

static double conflict_limit(const struct inference *n)
{
    double limit = CONFLICT_DECIBANS;

    for (size_t g = 0; g < n->group_count; g++)
        if (n->group[g].run < 0)
            limit += CONFLICT_TOLD_DECIBANS;
    return limit;
}

static enum err alarm_clash(const struct inference *n, size_t best, struct verdict *v)
{
    size_t worst = 0;

    if (n->group_count == 0 || conflict(n, best, &worst) <= conflict_limit(n))
        return ERR_OK;
    verdict_gate(v, "no listed cause explains all of the evidence: some of it contradicts the "
                    "rest");
    return warn_clash(n, worst, v);
}

static enum err alarm_surprise(const struct inference *n, size_t best, struct verdict *v)
{
    struct surprise s;
    char odd[QUOTED_MAX];

    TRY(surprise_of(n, best, &s));
    v->surprise = s.z;
    if (!s.alarm)
        return ERR_OK;
    verdict_gate(v, "the best cause would hardly show all of this");
    verdict_warn(v, "of the best cause this is not expected: %s", quote(n, s.feature, odd));
    verdict_warn(v, REASONS);
    return ERR_OK;
}

enum err alarms_raise(const struct inference *n, size_t best, struct verdict *v)
{
    double unlisted = 0;

    for (size_t h = 0; h < n->hyp_count; h++)
        if (n->hyp[h].kind == HYP_HELD || hypothesis_unlisted(n, h))
            unlisted += n->posterior[h];
    if (unlisted > UNLISTED_VERDICT)
        verdict_gate(v, "most likely (%.0f %%) the cause is in no list", unlisted * 100);
    else if (unlisted > UNLISTED_SHARE)
        verdict_gate(v, "a cause that is in no list is %.0f %% likely", unlisted * 100);
    if (best == SIZE_MAX)
        return ERR_OK;
    if (!hypothesis_unlisted(n, best))
        TRY(alarm_surprise(n, best, v));
    return alarm_clash(n, best, v);
}
