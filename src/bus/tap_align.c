/* Bringing two taps onto one clock by the edges that both saw.
 *
 * A guess pairs one edge of each tap; from there the match is followed outward, edge by edge,
 * while the drift is learnt, so that a window which starts wide (200 ppm) soon is as narrow as
 * the edges are sharp. A wrong guess loses its way on lines that do not repeat.
 */
#include "bus/tap.h"

#include <math.h>
#include <stdlib.h>

#define EDGE_NS                                                                                \
    (3 * NS_PER_US)    /* sampling of both taps and propagation, before anything is known */
#define GUESS_EDGES 64 /* of a line at each tap */
#define GUESSES_MAX 20000
#define FOLLOWED    64 /* best guesses that are followed to the end */
#define OFFSET_MAX  (3600 * NS_PER_S)
#define LIKE_NS     NS_PER_MS /* guesses this near each other are one */
#define NEAR_EDGES  6         /* a side and line, for the first look at a guess */
#define STEPS_MAX   20000     /* edges followed */
#define MATCHED_MIN 3
#define GOOD_SHARE  0.6
#define RIVAL_SHARE 0.9
#define RIVAL_NS    (100 * NS_PER_US)
#define DRIFT_SPAN  (20 * NS_PER_MS) /* shorter matches say nothing of drift */

struct guess {
    int64_t machine_ns, offset_ns;
    double score;
};

struct matched {
    int64_t machine_ns, drive_ns;
};

struct follow {
    const struct tap_common *common;
    size_t count;
    int64_t start_ns, end_ns; /* the drive-end tap's span */
    struct matched *matched;
    size_t matched_count;
    struct tap_clock clock;
    double uncertain; /* of the drift */
    double reach_ns;  /* furthest match */
};

/* An edge of the machine-end tap in the list of all. */
struct item {
    int64_t ns;
    uint32_t common;
    uint32_t index;
};

static int compare_item(const void *a, const void *b)
{
    const struct item *x = a;
    const struct item *y = b;
    if (x->ns != y->ns) {
        return x->ns > y->ns ? 1 : -1;
    }
    return (x->common > y->common) - (x->common < y->common);
}

static int compare_score(const void *a, const void *b)
{
    const struct guess *x = a;
    const struct guess *y = b;
    if (x->score < y->score || x->score > y->score) {
        return x->score < y->score ? 1 : -1;
    }
    return (x->machine_ns > y->machine_ns) - (x->machine_ns < y->machine_ns);
}

static int compare_ns(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a;
    int64_t y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static int64_t distance(int64_t a, int64_t b)
{
    return a > b ? a - b : b - a;
}

/* Share of the edges around a guess that have a fellow, summed over the lines. */
static double first_look(const struct follow *f, const struct guess *g)
{
    double score = 0;
    for (size_t i = 0; i < f->count; i++) {
        const struct tap_track *m = f->common[i].m;
        size_t at = tap_lower(m->edge, m->count, g->machine_ns);
        size_t from = at > NEAR_EDGES ? at - NEAR_EDGES : 0;
        size_t to = at + NEAR_EDGES < m->count ? at + NEAR_EDGES : m->count;
        int looked = 0;
        int found = 0;
        for (size_t j = from; j < to; j++) {
            int64_t drive = m->edge[j].ns + g->offset_ns;
            int64_t window =
                EDGE_NS +
                (int64_t)(TAP_DRIFT_MAX * (double)distance(m->edge[j].ns, g->machine_ns));
            if (drive - window < f->start_ns || drive + window > f->end_ns) {
                continue;
            }
            looked++;
            found += tap_nearest(f->common[i].d, drive, m->edge[j].level, window) <
                     f->common[i].d->count;
        }
        score += (double)found / (looked + 1);
    }
    return score;
}

/* Guesses from one line: early edges of it, each with each. */
static void guess_line(const struct follow *f, size_t line, struct guess *guess, size_t *count)
{
    const struct tap_track *m = f->common[line].m;
    const struct tap_track *d = f->common[line].d;
    for (size_t i = 0; i < m->count && i < GUESS_EDGES; i++) {
        for (size_t j = 0; j < d->count && j < GUESS_EDGES && *count < GUESSES_MAX; j++) {
            if (m->edge[i].level != d->edge[j].level ||
                distance(d->edge[j].ns, m->edge[i].ns) > OFFSET_MAX) {
                continue;
            }
            struct guess *g = &guess[*count];
            *g = (struct guess){.machine_ns = m->edge[i].ns,
                                .offset_ns = d->edge[j].ns - m->edge[i].ns};
            g->score = first_look(f, g);
            (*count)++;
        }
    }
}

/* Learn the drift from the furthest match. */
static void learn(struct follow *f, int64_t machine_ns, int64_t drive_ns)
{
    double run = (double)(machine_ns - f->clock.anchor_ns);
    if (fabs(run) < (double)NS_PER_MS || fabs(run) <= f->reach_ns) {
        return;
    }
    double drift = (double)(drive_ns - machine_ns - f->clock.offset_ns) / run;
    f->reach_ns = fabs(run);
    f->uncertain = fmin(TAP_DRIFT_MAX, 2.0 * (double)EDGE_NS / f->reach_ns);
    f->clock.drift = fmax(-TAP_DRIFT_MAX, fmin(TAP_DRIFT_MAX, drift));
}

static void follow_one(struct follow *f, const struct item *it)
{
    const struct tap_common *c = &f->common[it->common];
    double run = (double)distance(it->ns, f->clock.anchor_ns);
    int64_t window = EDGE_NS + (int64_t)(f->uncertain * run);
    int64_t drive = tap_to_drive(&f->clock, it->ns);
    size_t at = tap_nearest(c->d, drive, c->m->edge[it->index].level, window);
    if (at == c->d->count) {
        return;
    }
    f->matched[f->matched_count++] =
        (struct matched){.machine_ns = it->ns, .drive_ns = c->d->edge[at].ns};
    learn(f, it->ns, c->d->edge[at].ns);
}

/* Outward from the guess, nearest edges first. */
static void follow_guess(struct follow *f, const struct guess *g, const struct item *item,
                         size_t items)
{
    size_t right = 0;
    while (right < items && item[right].ns < g->machine_ns) {
        right++;
    }
    size_t left = right;
    f->clock = (struct tap_clock){.anchor_ns = g->machine_ns, .offset_ns = g->offset_ns};
    f->uncertain = TAP_DRIFT_MAX;
    f->reach_ns = 0;
    f->matched_count = 0;
    for (size_t n = 0; n < items && n < STEPS_MAX; n++) {
        bool take_left = left > 0 && (right == items || g->machine_ns - item[left - 1].ns <
                                                            item[right].ns - g->machine_ns);
        follow_one(f, take_left ? &item[--left] : &item[right++]);
    }
}

/* Straight line through the matches; residual: median of what is left. */
static enum err straighten(struct follow *f, int64_t *out_residual)
{
    double n = (double)f->matched_count;
    double mean_x = 0;
    double mean_y = 0;
    double xx = 0;
    double xy = 0;
    int64_t *left = calloc(f->matched_count + 1, sizeof *left);
    if (left == NULL) {
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < f->matched_count; i++) {
        const struct matched *p = &f->matched[i];
        mean_x += (double)(p->machine_ns - f->clock.anchor_ns) / n;
        mean_y += (double)(p->drive_ns - p->machine_ns - f->clock.offset_ns) / n;
    }
    for (size_t i = 0; i < f->matched_count; i++) {
        const struct matched *p = &f->matched[i];
        double x = (double)(p->machine_ns - f->clock.anchor_ns) - mean_x;
        xx += x * x;
        xy += x * ((double)(p->drive_ns - p->machine_ns - f->clock.offset_ns) - mean_y);
    }
    bool long_enough = sqrt(xx / n) > (double)DRIFT_SPAN;
    f->clock.drift = long_enough ? fmax(-TAP_DRIFT_MAX, fmin(TAP_DRIFT_MAX, xy / xx)) : 0;
    f->clock.offset_ns += (int64_t)llround(mean_y - f->clock.drift * mean_x);
    for (size_t i = 0; i < f->matched_count; i++) {
        left[i] =
            distance(tap_to_drive(&f->clock, f->matched[i].machine_ns), f->matched[i].drive_ns);
    }
    qsort(left, f->matched_count, sizeof *left, compare_ns);
    *out_residual = left[f->matched_count / 2];
    free(left);
    return ERR_OK;
}

/* How well a clock makes the lines agree: share of matched edges, summed over lines; a line
 * with few edges counts less. Shares alone go to *out_share, as their mean. */
static double agreement(const struct follow *f, int64_t tolerance, int64_t *out_matched,
                        double *out_share)
{
    double score = 0;
    double shares = 0;
    size_t lines = 0;
    *out_matched = 0;
    for (size_t i = 0; i < f->count; i++) {
        const struct tap_track *m = f->common[i].m;
        const struct tap_track *d = f->common[i].d;
        int64_t seen = 0;
        int64_t matched = 0;
        for (size_t j = 0; j < m->count && j < STEPS_MAX; j++) {
            int64_t drive = tap_to_drive(&f->clock, m->edge[j].ns);
            if (drive >= f->start_ns && drive <= f->end_ns) {
                seen++;
                matched += tap_nearest(d, drive, m->edge[j].level, tolerance) < d->count;
            }
        }
        *out_matched += matched;
        score += (double)matched / (double)(seen + 1);
        if (seen > 0) {
            shares += (double)matched / (double)seen;
            lines++;
        }
    }
    *out_share = lines > 0 ? shares / (double)lines : 0;
    return score;
}

static int64_t tolerance_for(int64_t residual)
{
    int64_t t = TAP_PROPAGATION + 4 * residual;
    return t < 4 * EDGE_NS ? t : 4 * EDGE_NS;
}

/* Both on one clock: the offset is what propagation and sampling leave. */
static enum err try_same(struct follow *f, struct tap_fit *out)
{
    double share = 0;
    int64_t matched = 0;
    f->clock = (struct tap_clock){0};
    (void)agreement(f, EDGE_NS, &matched, &share);
    if (share < GOOD_SHARE) {
        return ERR_OK;
    }
    f->matched_count = 0;
    f->uncertain = 0;
    f->reach_ns = HUGE_VAL; /* no drift to learn */
    for (size_t i = 0; i < f->count; i++) {
        for (size_t j = 0; j < f->common[i].m->count && f->matched_count < STEPS_MAX; j++) {
            follow_one(f, &(struct item){.ns = f->common[i].m->edge[j].ns,
                                         .common = (uint32_t)i,
                                         .index = (uint32_t)j});
        }
    }
    TRY(straighten(f, &out->residual_ns));
    f->clock.offset_ns += (int64_t)(f->clock.drift * (double)-f->clock.anchor_ns);
    f->clock.drift = 0;
    out->good = true;
    out->clock = f->clock;
    out->matched = matched;
    out->tolerance_ns = tolerance_for(out->residual_ns);
    return ERR_OK;
}

/* Guesses from the lines with the fewest edges first: they repeat least. */
static enum err make_guesses(const struct follow *f, struct guess **out, size_t *count)
{
    struct guess *guess = calloc(GUESSES_MAX, sizeof *guess);
    bool done[LINE_COUNT] = {false};
    *out = guess;
    *count = 0;
    if (guess == NULL) {
        return ERR_MEMORY;
    }
    for (size_t n = 0; n < f->count && *count < GUESSES_MAX; n++) {
        size_t best = f->count;
        for (size_t i = 0; i < f->count; i++) {
            if (!done[i] &&
                (best == f->count || f->common[i].m->count * f->common[i].d->count <
                                         f->common[best].m->count * f->common[best].d->count)) {
                best = i;
            }
        }
        done[best] = true;
        guess_line(f, best, guess, count);
    }
    qsort(guess, *count, sizeof *guess, compare_score);
    return ERR_OK;
}

static bool was_followed(const struct guess *guess, const size_t *followed, size_t n, size_t i)
{
    for (size_t k = 0; k < n; k++) {
        if (distance(guess[followed[k]].offset_ns, guess[i].offset_ns) < LIKE_NS) {
            return true;
        }
    }
    return false;
}

static enum err follow_guesses(struct follow *f, const struct guess *guess, size_t count,
                               const struct item *item, size_t items, struct tap_fit *out)
{
    double best = 0;
    double rival = 0;
    size_t followed[FOLLOWED];
    size_t n = 0;
    for (size_t i = 0; i < count && n < FOLLOWED; i++) {
        int64_t residual = 0;
        int64_t matched = 0;
        double share = 0;
        if (was_followed(guess, followed, n, i)) {
            continue;
        }
        followed[n++] = i;
        follow_guess(f, &guess[i], item, items);
        if (f->matched_count < MATCHED_MIN) {
            continue;
        }
        TRY(straighten(f, &residual));
        double score = agreement(f, tolerance_for(residual), &matched, &share);
        bool same =
            best > 0 && distance(tap_to_drive(&f->clock, guess[i].machine_ns),
                                 tap_to_drive(&out->clock, guess[i].machine_ns)) < RIVAL_NS;
        if (score > best) {
            rival = same ? rival : best;
            best = score;
            *out = (struct tap_fit){.good = matched >= MATCHED_MIN && share >= GOOD_SHARE,
                                    .clock = f->clock,
                                    .residual_ns = residual,
                                    .tolerance_ns = tolerance_for(residual),
                                    .matched = matched};
        } else if (!same && score > rival) {
            rival = score;
        }
    }
    out->good = out->good && rival < RIVAL_SHARE * best;
    return ERR_OK;
}

static enum err list_items(const struct follow *f, struct item **out, size_t *items)
{
    size_t total = 0;
    for (size_t i = 0; i < f->count; i++) {
        total += f->common[i].m->count;
    }
    struct item *item = calloc(total + 1, sizeof *item);
    if (item == NULL) {
        return ERR_MEMORY;
    }
    *items = 0;
    for (size_t i = 0; i < f->count; i++) {
        for (size_t j = 0; j < f->common[i].m->count; j++) {
            item[(*items)++] = (struct item){
                .ns = f->common[i].m->edge[j].ns, .common = (uint32_t)i, .index = (uint32_t)j};
        }
    }
    qsort(item, *items, sizeof *item, compare_item);
    *out = item;
    return ERR_OK;
}

static enum err search(struct follow *f, struct tap_fit *out)
{
    struct item *item = NULL;
    struct guess *guess = NULL;
    size_t items = 0;
    size_t guesses = 0;
    enum err e = list_items(f, &item, &items);
    if (e == ERR_OK) {
        e = make_guesses(f, &guess, &guesses);
    }
    if (e == ERR_OK) {
        e = follow_guesses(f, guess, guesses, item, items, out);
    }
    free(item);
    free(guess);
    return e;
}

enum err tap_align(const struct tap_edges *d, const struct tap_common *common, size_t count,
                   bool same_clock, struct tap_fit *out)
{
    struct follow f = {
        .common = common, .count = count, .start_ns = d->start_ns, .end_ns = d->end_ns};
    struct tap_fit fit = {.tolerance_ns = TAP_PROPAGATION};
    enum err e = ERR_OK;
    int64_t edges = 0;
    for (size_t i = 0; i < count; i++) {
        edges += (int64_t)common[i].m->count;
    }
    f.matched = calloc(STEPS_MAX, sizeof *f.matched);
    if (f.matched == NULL) {
        return ERR_MEMORY;
    }
    if (same_clock && count > 0) {
        e = try_same(&f, &fit);
    }
    if (e == ERR_OK && !fit.good && count > 0) {
        e = search(&f, &fit);
    }
    free(f.matched);
    if (e == ERR_OK && !fit.good && same_clock && edges <= MATCHED_MIN) {
        fit = (struct tap_fit){.good = true,
                               .tolerance_ns = TAP_PROPAGATION}; /* nothing speaks against it */
    }
    *out = fit;
    return e;
}
