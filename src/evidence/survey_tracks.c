/* Tracks: sectors merged over visits, first by the raw place of the head, at the end by
 * cylinder and side. */
#include "evidence/survey_private.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#define RAW_TRACKS_MAX  8192
#define SECTORS_MAX     1024
#define TRACKS_MAX      1024
#define NEIGHBOUR_REACH 64
#define NEIGHBOURS      5 /* identifiers that vote on where an identifier was read */
#define OFFSETS         1024
#define NO_PREVIOUS     SIZE_MAX
#define BARE_TURNS      0.9 /* a track without sectors is listed when so much of it was seen */
#define TWICE_NS                                                                               \
    (110 * NS_PER_MS) /* of two in one turn one is nearer than this to the other; a turn of    \
                         the fastest spindle, a tenth too fast, takes 150 ms */
#define REPEAT_TURNS                                                                           \
    1.6 /* from here on a damaged identifier must have come twice to be believed */

/* Values of the identifiers nearest to one, with how often each came. */
struct votes {
    uint8_t value[NEIGHBOURS];
    int32_t count[NEIGHBOURS];
    size_t different, seen;
};

static void vote(struct votes *v, uint8_t value)
{
    size_t k = 0;
    while (k < v->different && v->value[k] != value) {
        k++;
    }
    if (k == v->different) {
        v->value[k] = value;
        v->count[k] = 0;
        v->different++;
    }
    v->count[k]++;
    v->seen++;
}

static void vote_at(struct votes *v, const struct flux_read *r, size_t i, bool want_side)
{
    /* an index below 0 has wrapped to a huge number */
    if (v->seen < NEIGHBOURS && i < r->sector_count && r->sector[i].id_good) {
        vote(v, want_side ? r->sector[i].side : r->sector[i].cylinder);
    }
}

/* Most common value among the good identifiers nearest to i; -1 where there is none. */
static int32_t neighbour_vote(const struct flux_read *r, size_t i, bool want_side)
{
    struct votes v = {.different = 0};
    size_t best = 0;
    vote_at(&v, r, i, want_side);
    for (size_t distance = 1; distance < NEIGHBOUR_REACH && v.seen < NEIGHBOURS; distance++) {
        vote_at(&v, r, i - distance, want_side);
        vote_at(&v, r, i + distance, want_side);
    }
    for (size_t k = 1; k < v.different; k++) {
        best = v.count[k] > v.count[best] ? k : best;
    }
    return v.different > 0 ? v.value[best] : -1;
}

static enum err track_find(struct track_store *t, const struct raw_track *key,
                           struct raw_track **out)
{
    *out = NULL;
    for (size_t i = t->count; i-- > 0;) {
        struct raw_track *k = &t->track[i];
        if (k->spot.epoch == key->spot.epoch && k->spot.side == key->spot.side &&
            k->spot.id_cylinder == key->spot.id_cylinder &&
            k->spot.id_side == key->spot.id_side) {
            *out = k;
            return ERR_OK;
        }
    }
    if (t->count == RAW_TRACKS_MAX) {
        t->full = true;
        return ERR_OK;
    }
    TRY(array_grow((void **)&t->track, &t->cap, t->count + 1, sizeof t->track[0],
                   RAW_TRACKS_MAX));
    t->track[t->count] = *key;
    *out = &t->track[t->count++];
    return ERR_OK;
}

static size_t sector_index(const struct raw_track *t, const struct track_sector *s)
{
    size_t i = 0;
    while (i < t->count &&
           (t->sector[i].s.cylinder != s->cylinder || t->sector[i].s.side != s->side ||
            t->sector[i].s.sector != s->sector || t->sector[i].s.size_code != s->size_code)) {
        i++;
    }
    return i;
}

/* Add to the sector with the same identifier; a new one goes behind `previous`, so that the
 * list keeps the order on the track. *previous becomes its index. */
static enum err sector_merge(struct raw_track *t, const struct raw_sector *add,
                             size_t *previous, bool *full)
{
    size_t i = sector_index(t, &add->s);
    if (i == t->count) {
        if (t->count == SECTORS_MAX) {
            *full = true;
            return ERR_OK;
        }
        TRY(array_grow((void **)&t->sector, &t->cap, t->count + 1, sizeof t->sector[0],
                       SECTORS_MAX));
        i = *previous == NO_PREVIOUS ? t->count : *previous + 1;
        memmove(t->sector + i + 1, t->sector + i, (t->count - i) * sizeof t->sector[0]);
        t->sector[i] = *add;
        t->count++;
    } else {
        struct raw_sector *to = &t->sector[i];
        assert(t->sector != NULL); /* i < count */
        if (add->s.data > to->s.data) {
            to->s.data = add->s.data;
            to->s.deleted = add->s.deleted;
            to->s.changed = add->s.changed;
            to->s.odds_false = add->s.odds_false;
        }
        to->s.id_good = to->s.id_good || add->s.id_good;
        to->s.twice = to->s.twice || add->s.twice;
        to->s.seen += add->s.seen;
        to->s.good += add->s.good;
        to->bad_seen += add->bad_seen;
    }
    *previous = i;
    return ERR_OK;
}

static struct raw_sector as_raw(const struct sector_read *r)
{
    struct raw_sector raw = {0};
    raw.s =
        (struct track_sector){.cylinder = r->cylinder,
                              .side = r->side,
                              .sector = r->sector,
                              .size_code = r->size_code,
                              .id_good = r->id_good,
                              .data = r->cut && r->data != FIELD_GOOD ? FIELD_ABSENT : r->data,
                              .deleted = r->deleted,
                              .seen = r->id_good,
                              .good = r->data == FIELD_GOOD,
                              .encoding = r->encoding};
    raw.bad_seen = !r->id_good;
    raw.last_ns = INT64_MIN;
    return raw;
}

/* A good identifier of the sector, at `ns`. */
static void sector_seen(struct raw_sector *s, int64_t ns)
{
    s->s.twice = s->s.twice || (s->last_ns != INT64_MIN && ns - s->last_ns < TWICE_NS);
    s->last_ns = ns;
}

static enum err bare_track(struct track_store *t, const struct stretch_read *r)
{
    struct raw_track key = {.spot = {r->epoch, r->side, -1, -1}};
    struct raw_track *track = NULL;
    TRY(track_find(t, &key, &track));
    if (track != NULL) {
        track->seconds += r->seconds;
        if (r->read->quality.transitions > track->quality.transitions) {
            track->quality = r->read->quality;
        }
    }
    return ERR_OK;
}

enum err tracks_add(struct track_store *t, const struct stretch_read *r)
{
    const struct flux_read *f = r->read;
    struct raw_track *before = NULL;
    size_t previous = NO_PREVIOUS;
    size_t counted = 0;
    for (size_t i = 0; i < f->sector_count; i++) {
        counted += f->sector[i].id_ns >= r->from_ns && f->sector[i].id_ns < r->to_ns;
    }
    if (counted == 0) {
        return bare_track(t, r);
    }
    for (size_t i = 0; i < f->sector_count; i++) {
        struct raw_track key = {.spot = {r->epoch, r->side, -1, -1}};
        struct raw_track *track = NULL;
        struct raw_sector add = as_raw(&f->sector[i]);
        if (f->sector[i].id_ns < r->from_ns || f->sector[i].id_ns >= r->to_ns) {
            continue;
        }
        key.spot.id_cylinder = neighbour_vote(f, i, false);
        key.spot.id_side = neighbour_vote(f, i, true);
        if (t->listener != NULL) {
            TRY(t->listener->sector(t->listener->ctx, &key.spot, &f->sector[i]));
        }
        TRY(track_find(t, &key, &track));
        if (track == NULL) {
            continue;
        }
        previous = track == before ? previous : NO_PREVIOUS;
        before = track;
        track->seconds += r->seconds / (double)counted;
        TRY(sector_merge(track, &add, &previous, &t->full));
        size_t at = sector_index(track, &add.s);
        if (at < track->count) {
            if (f->sector[i].id_good) {
                sector_seen(&track->sector[at], f->sector[i].id_ns);
            }
            TRY(repair_turn(t, &track->sector[at], &f->sector[i]));
        }
        if (f->quality.transitions > track->quality.transitions) {
            track->quality = f->quality;
        }
    }
    return ERR_OK;
}

/* How far identifiers say the head is from where counting steps alone puts it, where no TRK00
 * fixed the count of this epoch: the commonest difference. false without identifiers. */
static bool offset_by_identifiers(const struct track_store *t, int32_t epoch,
                                  int32_t *out_offset)
{
    int64_t votes[OFFSETS] = {0};
    int32_t first = -1;
    int32_t best = 0;
    for (size_t i = 0; i < t->count; i++) {
        const struct raw_track *raw = &t->track[i];
        if (raw->spot.id_cylinder < 0 || !bus_same_epoch(raw->spot.epoch, epoch)) {
            continue;
        }
        first = first < 0 ? (int32_t)i : first;
        int64_t bin = OFFSETS / 2 + raw->spot.id_cylinder -
                      ((int64_t)raw->spot.epoch - (int64_t)t->track[first].spot.epoch);
        if (bin >= 0 && bin < OFFSETS) {
            votes[bin] += (int64_t)raw->count;
        }
    }
    for (int32_t bin = 1; bin < OFFSETS; bin++) {
        best = votes[bin] > votes[best] ? bin : best;
    }
    if (votes[best] == 0) {
        return false;
    }
    *out_offset = best - OFFSETS / 2 - t->track[first].spot.epoch;
    return true;
}

static struct raw_track *place_of(struct raw_track *list, size_t *count, int32_t cylinder,
                                  int32_t side)
{
    for (size_t i = 0; i < *count; i++) {
        if (list[i].spot.epoch == cylinder && list[i].spot.side == side) {
            return &list[i];
        }
    }
    if (*count == TRACKS_MAX) {
        return NULL;
    }
    list[*count] = (struct raw_track){.spot = {cylinder, side, -1, -1}};
    return &list[(*count)++];
}

static enum err raw_merge(struct raw_track *into, const struct raw_track *from, bool *full)
{
    size_t previous = NO_PREVIOUS;
    into->seconds += from->seconds;
    if (from->quality.transitions > into->quality.transitions) {
        into->quality = from->quality;
    }
    for (size_t i = 0; i < from->count; i++) {
        TRY(sector_merge(into, &from->sector[i], &previous, full));
    }
    return ERR_OK;
}

static int compare_track(const void *a, const void *b)
{
    const struct track *x = a;
    const struct track *y = b;
    if (x->cylinder != y->cylinder) {
        return (x->cylinder > y->cylinder) - (x->cylinder < y->cylinder);
    }
    return (x->side > y->side) - (x->side < y->side);
}

/* One finished track; identifiers that came once damaged in several turns are noise. */
static enum err track_emit(const struct raw_track *raw, double turn_s, struct survey *out)
{
    struct track *t = &out->track[out->track_count];
    memset(t, 0, sizeof *t);
    t->cylinder = raw->spot.epoch;
    t->side = raw->spot.side;
    t->revolutions = raw->seconds / turn_s;
    t->quality = raw->quality;
    t->sector = calloc(raw->count + 1, sizeof t->sector[0]);
    if (t->sector == NULL) {
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < raw->count; i++) {
        const struct raw_sector *s = &raw->sector[i];
        if (s->s.id_good || s->bad_seen > 1 || t->revolutions < REPEAT_TURNS) {
            t->sector[t->sector_count++] = s->s;
        }
    }
    if (t->sector_count == 0 && t->revolutions < BARE_TURNS) {
        free(t->sector);
        return ERR_OK;
    }
    out->track_count++;
    return ERR_OK;
}

static bool steps_recorded(const struct survey *s)
{
    return s->story.line[LINE_STEP].state != LINE_NOT_RECORDED;
}

static void visits_resolve(struct survey *out)
{
    bool steps = steps_recorded(out);
    for (size_t i = 0; i < out->visit_count; i++) {
        struct visit *v = &out->visit[i];
        int32_t cylinder = 0;
        v->cylinder_known = steps && bus_cylinder(&out->story, v->cylinder, &cylinder);
        v->cylinder = cylinder;
    }
}

static const struct survey_guess *guess_of(const struct survey *s, int32_t epoch)
{
    for (size_t i = 0; i < s->guess_count; i++) {
        if (bus_same_epoch(s->guess[i].epoch, epoch)) {
            return &s->guess[i];
        }
    }
    return NULL;
}

/* Where no TRK00 fixed the count of steps, identifiers may. */
static enum err tracks_guess(const struct track_store *t, struct survey *out)
{
    size_t cap = 0;
    for (size_t i = 0; steps_recorded(out) && i < t->count; i++) {
        int32_t epoch = t->track[i].spot.epoch;
        int32_t ignored = 0;
        struct survey_guess g = {.epoch = epoch};
        if (bus_cylinder(&out->story, epoch, &ignored) || guess_of(out, epoch) != NULL ||
            !offset_by_identifiers(t, epoch, &g.offset)) {
            continue;
        }
        TRY(array_grow((void **)&out->guess, &cap, out->guess_count + 1, sizeof out->guess[0],
                       RAW_TRACKS_MAX));
        out->guess[out->guess_count++] = g;
    }
    return ERR_OK;
}

bool survey_place(const struct survey *s, const struct survey_spot *spot, int32_t *cylinder,
                  int32_t *side)
{
    int32_t c = spot->id_cylinder;
    *side = spot->side >= 0 ? spot->side : spot->id_side > 1 ? -1 : spot->id_side;
    if (steps_recorded(s) && !bus_cylinder(&s->story, spot->epoch, &c)) {
        const struct survey_guess *g = guess_of(s, spot->epoch);
        c = g != NULL ? spot->epoch + g->offset : -1;
    }
    *cylinder = c;
    return c >= 0 && *side >= 0;
}

static enum err tracks_place(struct track_store *t, const struct survey *out,
                             struct raw_track *placed, size_t *count)
{
    for (size_t i = 0; i < t->count; i++) {
        struct raw_track *to = NULL;
        int32_t cylinder = 0;
        int32_t side = 0;
        if (!survey_place(out, &t->track[i].spot, &cylinder, &side)) {
            continue;
        }
        to = place_of(placed, count, cylinder, side);
        if (to == NULL) {
            t->full = true;
            continue;
        }
        TRY(raw_merge(to, &t->track[i], &t->full));
    }
    return ERR_OK;
}

enum err tracks_finish(struct track_store *t, struct survey *out, double turn_s,
                       bool *out_guessed)
{
    size_t count = 0;
    enum err e = ERR_OK;
    struct raw_track *placed = calloc(TRACKS_MAX, sizeof *placed);
    if (placed == NULL) {
        return ERR_MEMORY;
    }
    repair_end(t);
    visits_resolve(out);
    e = tracks_guess(t, out);
    *out_guessed = out->guess_count > 0;
    e = e == ERR_OK ? tracks_place(t, out, placed, &count) : e;
    if (e == ERR_OK) {
        out->track = calloc(count + 1, sizeof out->track[0]);
        e = out->track != NULL ? ERR_OK : ERR_MEMORY;
    }
    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        e = track_emit(&placed[i], turn_s, out);
    }
    if (out->track != NULL && out->track_count > 0) {
        qsort(out->track, out->track_count, sizeof out->track[0], compare_track);
    }
    for (size_t i = 0; i < count; i++) {
        free(placed[i].sector);
    }
    free(placed);
    return e;
}

void track_store_release(struct track_store *t)
{
    repair_end(t);
    for (size_t i = 0; i < t->count; i++) {
        free(t->track[i].sector);
    }
    free(t->track);
}
