#include "judge/mended.h"

#include "judge/engine.h"
#include "judge/repeats.h"
#include "judge/traits.h"

#include <limits.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Chance that a work cured a cause, by what the two have to do with each other and by what the
 * person said came of it (our own guesses): worked, partly, failed, sometimes, not told. */
#define OUTCOMES 5
#define UNTOLD   4
static const double cures_it[OUTCOMES] = {0.98, 0.6, 0.1, 0.3, 0.85};
static const double same_end[OUTCOMES] = {0.9, 0.4, 0.04, 0.15, 0.3};
static const double contact[OUTCOMES] = {0.6, 0.2, 0.03, 0.1, 0.12};
static const double elsewhere[OUTCOMES] = {0.15, 0.08, 0.01, 0.04, 0.03};

static int outcome_of(const char *word)
{
    int place = word ? case_word_place(case_key_find("repair", "outcome"), word) : -1;

    return place < 0 ? UNTOLD : place;
}

/* The k-th work of the case in the order of the names; NULL behind the last. */
static const struct told *work_at(const struct case_file *c, size_t k)
{
    for (size_t i = 0; i < c->told_count; i++) {
        const struct told *t = &c->told[i];
        size_t before = 0;

        if (strcmp(t->section, "repair") || strcmp(t->key, "part"))
            continue;
        for (size_t j = 0; j < c->told_count; j++)
            before += !strcmp(c->told[j].section, "repair") &&
                      !strcmp(c->told[j].key, "part") && strcmp(c->told[j].name, t->name) < 0;
        if (before == k)
            return t;
    }
    return NULL;
}

enum err mended_gather(const struct case_file *c, struct gathered *g, struct err_msg *e)
{
    for (size_t i = 0; i < c->capture_count; i++)
        g->after_works = g->after_works || c->capture[i].after;
    for (const struct told *t; (t = work_at(c, (size_t)g->works)); g->works++) {
        const char *did = case_told_named(c, "repair", t->name, "did");

        if (g->works == MENDED_MAX)
            return err_set(e, ERR_FORMAT, "%s:%d: more than %d [repair]s", c->ini.path,
                           t->place, MENDED_MAX);
        g->work[g->works] = (struct work_done){
            .part = end_by_name(t->value),
            .kinds = did ? repair_kind_bit(did) : 0,
            .outcome = outcome_of(case_told_named(c, "repair", t->name, "outcome"))};
    }
    return ERR_OK;
}

unsigned mended_before(const struct case_file *c, const struct case_capture *cap)
{
    const char *at = cap->after, *item;
    unsigned bits = 0;
    size_t len;

    while (at && case_list_next(&at, &item, &len)) {
        const struct told *t;

        for (size_t k = 0; (t = work_at(c, k)) && k < MENDED_MAX; k++)
            if (strlen(t->name) == len && !memcmp(t->name, item, len))
                bits |= 1u << k;
    }
    return bits;
}

static double cure_chance(const struct inference *n, const struct hypothesis *h, int fault,
                          const struct work_done *w)
{
    const struct traits *t = fault >= 0 ? &n->c->fault[fault].traits : NULL;
    enum end end = t ? t->end : h->end;

    if (t && traits_cured_by(t, w->part, w->kinds))
        return cures_it[w->outcome];
    if (end == w->part)
        return same_end[w->outcome];
    return t && (t->varies & VARIES_TOUCH) ? contact[w->outcome] : elsewhere[w->outcome];
}

/* Of one cause: by none of the works [0], by each [1 + work]; at most one does it. */
static void cause_ways(const struct inference *n, const struct hypothesis *h, int fault,
                       double ln[MENDED_MAX + 1])
{
    double all;
    size_t count = (size_t)n->g->works + 1;

    ln[0] = 0;
    for (size_t w = 1; w < count; w++)
        ln[0] += log(1 - cure_chance(n, h, fault, &n->g->work[w - 1]));
    for (size_t w = 1; w < count; w++) {
        double q = cure_chance(n, h, fault, &n->g->work[w - 1]);

        ln[w] = ln[0] + log(q) - log(1 - q);
    }
    all = ln_sum(ln, count);
    for (size_t w = 0; w < count; w++)
        ln[w] -= all;
}

size_t mended_ways(const struct inference *n, size_t h, struct cured out[CURED_MAX])
{
    const struct hypothesis *y = &n->hyp[h];
    double a[MENDED_MAX + 1], b[MENDED_MAX + 1] = {0};
    int works = n->g->works, second = y->kind == HYP_PAIR ? works : 0;
    size_t count = 0;

    if (y->kind == HYP_NONE) {
        out[0] = (struct cured){0};
        return 1;
    }
    cause_ways(n, y, y->a, a);
    if (y->kind == HYP_PAIR)
        cause_ways(n, y, y->b, b);
    for (int i = 0; i <= works; i++)
        for (int k = 0; k <= second; k++)
            out[count++] =
                (struct cured){a[i] + b[k], i ? 1u << (i - 1) : 0, k ? 1u << (k - 1) : 0};
    return count;
}

/* Where the single of a fault stands: behind "nothing wrong", in the catalogue's order. */
static size_t single_of(int fault)
{
    return 1 + (size_t)fault;
}

size_t mended_left(const struct inference *n, size_t h, const struct cured *c, unsigned after)
{
    const struct hypothesis *y = &n->hyp[h];
    bool a_gone = c->a & after, b_gone = c->b & after;

    if (y->kind != HYP_PAIR)
        return a_gone ? 0 : h;
    return a_gone && b_gone ? 0 : a_gone ? single_of(y->b) : b_gone ? single_of(y->a) : h;
}

size_t mended_in_run(const struct inference *n, size_t h, int run)
{
    struct cured way[CURED_MAX];
    unsigned after = run < n->g->runs ? n->g->setting[run].after : 0;
    size_t ways = after ? mended_ways(n, h, way) : 0, best = 0;
    double most = -(double)INFINITY;

    for (size_t i = 0; i < ways; i++) {
        double ln = way[i].ln + repeats_evidence_cured(n, h, &way[i]);

        if (ln > most) {
            most = ln;
            best = i;
        }
    }
    return ways ? mended_left(n, h, &way[best], after) : h;
}

enum err mended_remains(const struct inference *n, double end[END_COUNT], int *fault)
{
    double *left = calloc(n->hyp_count, sizeof *left), ln[CURED_MAX];
    struct cured way[CURED_MAX];
    size_t best = 0;

    if (!left)
        return ERR_MEMORY;
    memset(end, 0, sizeof *end * END_COUNT);
    for (size_t h = 0; h < n->hyp_count; h++) {
        size_t ways = mended_ways(n, h, way);
        double all;

        if (n->posterior[h] <= 0)
            continue;
        for (size_t i = 0; i < ways; i++)
            ln[i] = way[i].ln + repeats_evidence_cured(n, h, &way[i]);
        all = ln_sum(ln, ways);
        for (size_t i = 0; i < ways; i++)
            left[mended_left(n, h, &way[i], UINT_MAX)] += n->posterior[h] * exp(ln[i] - all);
    }
    for (size_t h = 0; h < n->hyp_count; h++) {
        end[n->end_of[h]] += left[h];
        best = left[h] > left[best] ? h : best;
    }
    *fault = n->hyp[best].kind == HYP_SINGLE ? n->hyp[best].a : -1;
    free(left);
    return ERR_OK;
}
