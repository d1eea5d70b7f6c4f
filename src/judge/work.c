#include "judge/work.h"

#include "judge/engine.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* How often the right kind of work on the right part cures (our own guess; infer_rows.c takes
 * the same of a [repair]), and what is not worth a line. */
#define CURES       0.85
#define CHANCE_MIN  0.05
#define LEFT_MIN    0.03
#define MINUTES_MAX 100000.0
#define WORKS_MAX   24

struct candidate {
    const char *kind;
    unsigned bit;
    enum end part;
    double minutes;
};

struct works {
    struct candidate item[WORKS_MAX];
    size_t count;
    double *cause, *cure, *left, cost[WORKS_MAX];
    size_t causes;
};

/* Does this work cure what is wrong, all of it? */
static bool cures(const struct inference *n, const struct hypothesis *y,
                  const struct candidate *w)
{
    const struct traits *t = y->kind == HYP_SINGLE ? &n->c->fault[y->a].traits : NULL;

    return t && t->end == w->part && (t->cured & w->bit);
}

static double chance(const struct inference *n, const struct candidate *w)
{
    double sum = 0;

    for (size_t h = 0; h < n->hyp_count; h++)
        if (cures(n, &n->hyp[h], w))
            sum += CURES * n->posterior[h];
    return sum;
}

static void find(const struct inference *n, const struct ini_file *f, struct works *w)
{
    for (size_t i = 0; i < f->count; i++) {
        const char *kind = f->entry[i].section;
        const char *minutes = ini_file_get(f, kind, "minutes");

        if (f->entry[i].key)
            continue;
        for (enum end e = END_DRIVE; e < END_TWO && w->count < WORKS_MAX; e++) {
            struct candidate c = {kind, repair_kind_bit(kind), e,
                                  minutes ? strtod(minutes, NULL) : 0};

            if (c.bit && c.minutes > 0 && c.minutes < MINUTES_MAX &&
                chance(n, &c) >= CHANCE_MIN)
                w->item[w->count++] = c;
        }
    }
}

static enum err weigh(const struct inference *n, struct works *w)
{
    size_t cells = n->hyp_count * w->count;

    w->cause = calloc(n->hyp_count + 1, sizeof *w->cause);
    w->left = calloc(n->hyp_count + 1, sizeof *w->left);
    w->cure = calloc(cells + 1, sizeof *w->cure);
    if (!w->cause || !w->left || !w->cure)
        return ERR_MEMORY;
    for (size_t h = 0; h < n->hyp_count; h++)
        if (n->posterior[h] > 1e-4)
            w->cause[w->causes++] = n->posterior[h];
    for (size_t k = 0; k < w->count; k++) {
        size_t i = 0;

        w->cost[k] = w->item[k].minutes;
        for (size_t h = 0; h < n->hyp_count; h++)
            if (n->posterior[h] > 1e-4)
                w->cure[k * w->causes + i++] = cures(n, &n->hyp[h], &w->item[k]) ? CURES : 0;
    }
    return ERR_OK;
}

static void describe(const struct inference *n, const struct ini_file *f,
                     const struct candidate *c, struct work *to)
{
    const char *text = ini_file_get(f, c->kind, "text");
    const char *caution = ini_file_get(f, c->kind, "caution");

    *to = (struct work){.part = c->part, .minutes = c->minutes, .chance = chance(n, c)};
    snprintf(to->text, sizeof to->text, "%s", text ? text : c->kind);
    snprintf(to->caution, sizeof to->caution, "%s", caution ? caution : "");
}

/* What would cure hardly anything that those before it leave is not offered. */
static void keep_worth(struct works *w, size_t *by)
{
    size_t kept = 0;

    memcpy(w->left, w->cause, w->causes * sizeof *w->left);
    for (size_t k = 0; k < w->count; k++) {
        const double *cure = w->cure + by[k] * w->causes;
        double sum = 0;

        for (size_t i = 0; i < w->causes; i++)
            sum += w->left[i] * cure[i];
        if (sum < LEFT_MIN)
            continue;
        for (size_t i = 0; i < w->causes; i++)
            w->left[i] *= 1 - cure[i];
        by[kept++] = by[k];
    }
    w->count = kept;
}

static enum err order(const struct inference *n, const struct ini_file *f, struct verdict *v)
{
    struct works w = {.count = 0};
    size_t by[WORKS_MAX];
    enum err err;

    find(n, f, &w);
    err = weigh(n, &w);
    if (err == ERR_OK && w.count > 0) {
        engine_work_order(w.cause, w.causes, w.cure, w.cost, w.count, w.left, by);
        keep_worth(&w, by);
        v->work_count = w.count < WORK_SHOWN_MAX ? w.count : WORK_SHOWN_MAX;
        for (size_t i = 0; i < v->work_count; i++)
            describe(n, f, &w.item[by[i]], &v->work[i]);
        v->work_minutes =
            engine_work_cost(w.cause, w.causes, w.cure, w.cost, by, v->work_count);
    }
    free(w.cause);
    free(w.left);
    free(w.cure);
    return err;
}

enum err list_work(const struct inference *n, const struct profile_path *path,
                   struct verdict *v, struct err_msg *e)
{
    struct ini_file f;
    char *where = NULL;
    enum err err;

    TRY(profile_file_find(path, "tests", "work", &where, e));
    err = ini_file_read(where, &f, e);
    free(where);
    if (err != ERR_OK)
        return err;
    err = order(n, &f, v);
    ini_file_release(&f);
    return err;
}
