/* `whichend measure` for people: sectors by cylinder, its sides beside each other. */
#include "report/measure.h"

#include <inttypes.h>
#include <stdio.h>

#define NUMBERS_TEXT_MAX 400
#define HANG             MEASURE_HANG
#define CELL_MAX         80
#define SIDES_APART      33

/* "1 2 3 9": sector numbers in the order on the track. */
static const char *numbers(const struct track *t, bool bad_only, char out[NUMBERS_TEXT_MAX])
{
    size_t at = 0;
    out[0] = '\0';
    for (size_t i = 0; i < t->sector_count && at + 40 < NUMBERS_TEXT_MAX; i++) {
        const struct track_sector *s = &t->sector[i];
        bool bad = !s->id_good || s->data != FIELD_GOOD;
        int n = 0;
        if (bad_only && s->id_good && s->data == FIELD_REPAIRED) {
            n = snprintf(out + at, NUMBERS_TEXT_MAX - at, "%s%d (repaired, %" PRId32 " cells)",
                         at > 0 ? ", " : "", s->sector, s->changed);
        } else if (bad_only && bad) {
            n = snprintf(out + at, NUMBERS_TEXT_MAX - at, "%s%d (%s)", at > 0 ? ", " : "",
                         s->sector,
                         !s->id_good ? "identifier damaged" : field_state_name(s->data));
        } else if (!bad_only) {
            n = snprintf(out + at, NUMBERS_TEXT_MAX - at, "%s%d", at > 0 ? " " : "", s->sector);
        }
        at += (size_t)n;
    }
    return out;
}

/* What a track without a sector is, if it is nothing of FM or MFM. */
static const char *bare_words(const struct track *t)
{
    switch (t->quality.encoding) {
    case ENC_NONE:
        return "nothing recorded";
    case ENC_UNSTEADY:
        return "pulses without a clock, as where nothing was formatted";
    case ENC_REGULAR_OTHER:
        return "a regular code that is neither FM nor MFM";
    case ENC_FM:
        return "FM without identifiers";
    case ENC_MFM:
        return "MFM without identifiers";
    case ENC_MIXED:
        break;
    }
    return "FM and MFM without identifiers";
}

/* Sectors of a track. */
struct counts {
    size_t good, foreign, twice, deleted;
};

static struct counts counts_of(const struct track *t)
{
    struct counts n = {0};
    for (size_t i = 0; i < t->sector_count; i++) {
        const struct track_sector *x = &t->sector[i];
        n.good += x->id_good && x->data == FIELD_GOOD;
        n.foreign += x->id_good && (x->cylinder != t->cylinder || x->side != t->side);
        n.twice += x->twice;
        n.deleted += x->deleted;
    }
    return n;
}

/* Cylinders that one row tells. */
struct row {
    int32_t first, last;
    const struct track *side[2]; /* of the first; NULL: not read */
    double least[2], most[2];    /* turns */
};

/* The cylinder that starts at track *at, which moves on behind it. */
static struct row row_at(const struct survey *s, size_t *at)
{
    struct row r = {.first = s->track[*at].cylinder, .last = s->track[*at].cylinder};
    for (; *at < s->track_count && s->track[*at].cylinder == r.first; (*at)++) {
        const struct track *t = &s->track[*at];
        int side = t->side == 1;
        r.side[side] = t;
        r.least[side] = r.most[side] = t->revolutions;
    }
    return r;
}

/* Nothing to say of the sides but how many sectors are good? */
static bool plain(const struct row *r)
{
    for (int side = 0; side < 2; side++) {
        const struct track *t = r->side[side];
        struct counts n = t != NULL ? counts_of(t) : (struct counts){0};
        if (t != NULL && (t->sector_count == 0 || n.good < t->sector_count ||
                          n.foreign + n.twice + n.deleted > 0)) {
            return false;
        }
    }
    return true;
}

/* The next cylinder joins a row that says the same. */
static bool row_join(struct row *r, const struct row *next)
{
    for (int side = 0; side < 2; side++) {
        const struct track *a = r->side[side];
        const struct track *b = next->side[side];
        if ((a == NULL) != (b == NULL) ||
            (a != NULL && b != NULL && a->sector_count != b->sector_count)) {
            return false;
        }
    }
    if (next->first != r->last + 1 || !plain(r) || !plain(next)) {
        return false;
    }
    r->last = next->last;
    for (int side = 0; side < 2; side++) {
        r->least[side] =
            next->least[side] < r->least[side] ? next->least[side] : r->least[side];
        r->most[side] = next->most[side] > r->most[side] ? next->most[side] : r->most[side];
    }
    return true;
}

static const char *cell(const struct row *r, int side, char out[CELL_MAX])
{
    const struct track *t = r->side[side];
    size_t at = 0;
    if (t == NULL) {
        return "-";
    }
    at = (size_t)(t->sector_count == 0 ? snprintf(out, CELL_MAX, "no sector")
                                       : snprintf(out, CELL_MAX, "%zu of %zu",
                                                  counts_of(t).good, t->sector_count));
    (void)snprintf(out + at, CELL_MAX - at,
                   r->most[side] - r->least[side] < 0.05 ? ", %.1f turns"
                                                         : ", %.1f to %.1f turns",
                   r->least[side], r->most[side]);
    return out;
}

static enum err count_text(const char *lead, size_t n, const char *one, const char *many,
                           struct buf *out)
{
    return n == 0 ? ERR_OK
                  : text_wrapf(out, HANG, lead, HANG + 8, "%zu %s", n, n == 1 ? one : many);
}

/* What is not plain on one side; with --verbose the order of the sectors too. */
static enum err details(const struct track *t, bool verbose, struct buf *out)
{
    char list[NUMBERS_TEXT_MAX];
    char lead[24];
    if (t == NULL) {
        return ERR_OK;
    }
    struct counts n = counts_of(t);
    (void)snprintf(lead, sizeof lead, "side %" PRId32, t->side);
    if (t->sector_count == 0) {
        return text_wrap(out, HANG, lead, HANG + 8, bare_words(t));
    }
    if (verbose) {
        TRY(text_wrapf(out, HANG, lead, HANG + 8, "in order: %s", numbers(t, false, list)));
    }
    if (n.good < t->sector_count) {
        TRY(text_wrapf(out, HANG, lead, HANG + 8, "not good: %s", numbers(t, true, list)));
    }
    TRY(count_text(lead, n.foreign, "identifier names another cylinder or side",
                   "identifiers name another cylinder or side", out));
    TRY(count_text(lead, n.twice, "identifier comes more than once a turn",
                   "identifiers come more than once a turn", out));
    return count_text(lead, n.deleted, "sector is marked as deleted data",
                      "sectors are marked as deleted data", out);
}

static enum err row_text(const struct row *r, bool verbose, struct buf *out)
{
    char cylinders[32];
    char left[CELL_MAX];
    char right[CELL_MAX];
    (void)snprintf(cylinders, sizeof cylinders,
                   r->first == r->last ? "%3" PRId32 : "%3" PRId32 " to %" PRId32, r->first,
                   r->last);
    TRY(buf_printf(out, "  %-*s%-*s%s\n", HANG - 2, cylinders, SIDES_APART, cell(r, 0, left),
                   cell(r, 1, right)));
    TRY(details(r->side[0], verbose, out));
    return details(r->side[1], verbose, out);
}

/* Fields that only agreed after correction, and how likely one of them agreed by chance. */
static enum err repaired_text(const struct survey *s, struct buf *out)
{
    size_t repaired = 0;
    double odds = 0;
    for (size_t i = 0; i < s->track_count; i++) {
        for (size_t k = 0; k < s->track[i].sector_count; k++) {
            const struct track_sector *x = &s->track[i].sector[k];
            repaired += x->data == FIELD_REPAIRED;
            odds += x->data == FIELD_REPAIRED ? x->odds_false : 0;
        }
    }
    return repaired == 0 || odds <= 0
               ? ERR_OK
               : text_wrapf(out, 2, "", HANG,
                            "%zu field%s repaired out of several turns; check bytes agree by "
                            "chance in one such capture of %.0f",
                            repaired, repaired == 1 ? "" : "s", 1 / odds);
}

enum err measure_tracks_text(const struct survey *s, const struct text_style *st,
                             struct buf *out)
{
    size_t at = 0;
    if (s->track_count == 0) {
        return ERR_OK;
    }
    TRY(text_heading(out, st, "sectors good, by cylinder"));
    TRY(buf_printf(out, "%*s%-*s%s\n", HANG, "", SIDES_APART, "side 0", "side 1"));
    while (at < s->track_count) {
        struct row r = row_at(s, &at);
        size_t next = at;
        while (!st->verbose && next < s->track_count) {
            struct row more = row_at(s, &next);
            if (!row_join(&r, &more)) {
                break;
            }
            at = next;
        }
        TRY(row_text(&r, st->verbose, out));
    }
    return repaired_text(s, out);
}
