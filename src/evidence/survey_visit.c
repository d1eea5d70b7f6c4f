/* Visits: flux read at one place of the head, cut into stretches without a break, decoded and
 * let go. */
#include "evidence/survey_private.h"

#include <stdlib.h>
#include <string.h>

#define STRETCH_INTERVALS_MAX ((size_t)1 << 21)
#define OVERLAP_INTERVALS     ((size_t)200000) /* more than the longest field of 8192 bytes */
#define LEAD_INTERVALS                                                                         \
    ((size_t)4000) /* for the bit clock to lock before the first mark that counts */
#define STRETCH_INTERVALS_MIN 32 /* fewer tell nothing of the code */
#define BREAK_NS              (4 * NS_PER_MS)
#define SILENT_NS             (100 * NS_PER_US)
#define SAME_MARK_NS          (50 * NS_PER_US)
#define VISIT_EMPTY_NS        NS_PER_MS /* shorter silent stays are not worth a visit */
#define VISITS_MAX            65536
#define PLAIN_BLOCK           64
#define PS_HALF_NS            (PS_PER_NS / 2)

static int64_t stretch_ns(const struct visit_gather *g, int64_t ps)
{
    return g->origin_ns + (ps + PS_HALF_NS) / PS_PER_NS;
}

static void count_fields(struct visit_gather *g, const struct sector_read *s)
{
    if (!s->id_good) {
        g->v.ids_bad++;
        return;
    }
    g->v.ids_good++;
    g->id_votes[s->cylinder]++;
    g->side_votes[s->side]++;
    if (s->cut) {
        return;
    }
    switch (s->data) {
    case FIELD_GOOD:
        g->v.data_good++;
        break;
    case FIELD_REPAIRED: /* of no turn alone */
    case FIELD_DAMAGED:
        g->v.data_damaged++;
        break;
    case FIELD_ABSENT:
        g->v.data_absent++;
        break;
    }
}

/* Decode what is held; identifiers before accept_to_ns count. */
static enum err decode(struct survey_run *r, int64_t accept_to_ns)
{
    struct visit_gather *g = &r->visit;
    struct flux f = {stretch_ns(g, g->base_ps), g->interval, g->count};
    struct flux_options o = {.keep_quality = true, .keep_bytes = r->o->listener != NULL};
    struct flux_read read;
    enum err e;
    if (g->count < STRETCH_INTERVALS_MIN) {
        return ERR_OK;
    }
    sampling_settle(r, false);
    o.sample_ns = r->grid.found ? r->out->sample_ns : tick_ns(r->tick);
    TRY(flux_decode(&f, &o, &read));
    quality_add(&g->quality, &read.quality);
    quality_add(&r->flux, &read.quality);
    sector_turns_add(&r->turns, &read, f.start_ns, stretch_ns(g, g->last_ps));
    int64_t from_ns = g->accept_from_ns > f.start_ns ? g->accept_from_ns : f.start_ns;
    int64_t to_ns =
        accept_to_ns < stretch_ns(g, g->last_ps) ? accept_to_ns : stretch_ns(g, g->last_ps);
    struct stretch_read sr = {&read,         g->accept_from_ns,
                              accept_to_ns,  r->place.epoch_cylinder,
                              r->place.side, (double)(to_ns - from_ns) / (double)NS_PER_S};
    for (size_t i = 0; i < read.sector_count; i++) {
        if (read.sector[i].id_ns >= sr.from_ns && read.sector[i].id_ns < sr.to_ns) {
            count_fields(g, &read.sector[i]);
        }
    }
    e = tracks_add(&r->tracks, &sr);
    flux_read_release(&read);
    return e;
}

static enum err stretch_end(struct survey_run *r)
{
    enum err e = r->visit.has_first ? decode(r, INT64_MAX) : ERR_OK;
    r->visit.has_first = false;
    r->visit.count = 0;
    return e;
}

/* The stretch has grown long: decode it and carry on with its tail, so that no sector is lost
 * or read twice. */
static enum err stretch_carry(struct survey_run *r)
{
    struct visit_gather *g = &r->visit;
    size_t keep = OVERLAP_INTERVALS + LEAD_INTERVALS;
    size_t drop = g->count - keep;
    int64_t ps = g->base_ps;
    int64_t boundary_ps;
    for (size_t i = 0; i < drop; i++) {
        ps += g->interval[i];
    }
    boundary_ps = ps;
    for (size_t i = drop; i < drop + LEAD_INTERVALS; i++) {
        boundary_ps += g->interval[i];
    }
    int64_t boundary_ns = stretch_ns(g, boundary_ps);
    TRY(decode(r, boundary_ns));
    memmove(g->interval, g->interval + drop, keep * sizeof g->interval[0]);
    g->count = keep;
    g->base_ps = ps;
    g->accept_from_ns = boundary_ns;
    return ERR_OK;
}

static void stretch_begin(struct visit_gather *g, int64_t tick, int64_t ns)
{
    g->has_first = true;
    g->origin_tick = tick;
    g->origin_ns = ns;
    g->base_ps = g->last_ps = 0;
    g->count = 0;
    g->accept_from_ns = INT64_MIN;
}

static enum err transition(struct survey_run *r, int64_t tick, int64_t ns)
{
    struct visit_gather *g = &r->visit;
    int64_t ps = 0;
    g->v.transitions++;
    r->flux_transitions++;
    if (ns - g->quiet_since_ns > SILENT_NS) {
        g->v.silent_ns += ns - g->quiet_since_ns;
    }
    if (g->has_first && ns - stretch_ns(g, g->last_ps) > BREAK_NS) {
        TRY(stretch_end(r));
    }
    g->quiet_since_ns = ns;
    if (!g->has_first || !ticks_to_ps(tick - g->origin_tick, r->tick, &ps)) {
        TRY(stretch_end(r));
        stretch_begin(g, tick, ns);
        return ERR_OK;
    }
    TRY(array_grow((void **)&g->interval, &g->cap, g->count + 1, sizeof g->interval[0],
                   STRETCH_INTERVALS_MAX));
    g->interval[g->count++] = (uint32_t)(ps - g->last_ps);
    g->last_ps = ps;
    return g->count == STRETCH_INTERVALS_MAX ? stretch_carry(r) : ERR_OK;
}

/* Silence before one of the PLAIN_BLOCK falls behind the one at ns[0]. */
static bool any_silent(const int32_t *ns)
{
    int32_t longest = 0;
    for (size_t k = 2; k <= 2 * PLAIN_BLOCK; k += 2) {
        int32_t apart = ns[k] - ns[k - 2];
        longest = apart > longest ? apart : longest;
    }
    return longest > SILENT_NS;
}

/* Falls of a row from edge `fall` on, every second edge, of which each follows the one before
 * without ado, `most` at most. */
static size_t count_plain(const struct read_row *row, int64_t before_ns, size_t fall,
                          size_t most)
{
    size_t n = 1;
    size_t k = fall;
    if (k >= row->count || most == 0 || row->ns + row->after_ns[k] - before_ns > SILENT_NS) {
        return 0;
    }
    while (n + PLAIN_BLOCK <= most && k + 2 * PLAIN_BLOCK < row->count &&
           !any_silent(row->after_ns + k)) {
        n += PLAIN_BLOCK;
        k += 2 * (size_t)PLAIN_BLOCK;
    }
    for (k += 2; n < most && k < row->count; n++, k += 2) {
        if (row->after_ns[k] - row->after_ns[k - 2] > SILENT_NS) {
            break;
        }
    }
    return n;
}

/* Takes those. Returns the first that is to be taken by itself. */
static size_t plain_falls(struct survey_run *r, const struct chunk *c, size_t i, size_t fall)
{
    struct visit_gather *g = &r->visit;
    const struct tick_scale scale = r->ps_scale;
    const int64_t base = c->base_tick - g->origin_tick;
    const packed_edge *edge = c->edge + i;
    size_t room = g->cap > g->count + 1 ? g->cap - g->count - 1 : 0;
    uint32_t *out = g->interval + g->count;
    size_t n = g->has_first ? count_plain(&r->row, g->quiet_since_ns, fall, room) : 0;
    if (n == 0 || (uint64_t)(base + (int64_t)(edge[r->row.count - 1] >> 8)) > scale.most) {
        return fall;
    }
    int64_t ps = tick_scaled(&scale, base + (int64_t)(edge[fall] >> 8));
    out[0] = (uint32_t)(ps - g->last_ps);
    if (scale.den == 1) { /* by 32 bits, which hold what is no silence */
        const packed_edge *at = edge + fall;
        for (size_t k = 1; k < n; k++) {
            uint32_t ticks = (uint32_t)(at[2 * k] >> 8) - (uint32_t)(at[2 * k - 2] >> 8);
            out[k] = ticks * (uint32_t)scale.num;
        }
        ps = tick_scaled(&scale, base + (int64_t)(at[2 * n - 2] >> 8));
    } else {
        for (size_t k = 1; k < n; k++) {
            int64_t last_ps = ps;
            ps = tick_scaled(&scale, base + (int64_t)(edge[fall + 2 * k] >> 8));
            out[k] = (uint32_t)(ps - last_ps);
        }
    }
    g->count += n;
    g->v.transitions += (int64_t)n;
    r->flux_transitions += (int64_t)n;
    g->last_ps = ps;
    fall += 2 * n;
    g->quiet_since_ns = r->row.ns + r->row.after_ns[fall - 2];
    return fall;
}

enum err visit_reads(struct survey_run *r, const struct chunk *c, size_t i)
{
    const size_t n = r->row.count;
    struct visit_gather *g = &r->visit;
    size_t k = edge_level(c->edge[i]) == LEVEL_LOW ? 0 : 1;
    g->rdata = edge_level(c->edge[i + n - 1]);
    while (g->open && k < n) {
        k = plain_falls(r, c, i, k);
        if (k < n) {
            TRY(transition(r, edge_tick(c, i + k), r->row.ns + r->row.after_ns[k]));
            k += 2;
        }
    }
    return ERR_OK;
}

static void visit_open(struct survey_run *r, int64_t ns)
{
    struct visit_gather *g = &r->visit;
    int side = r->place.side == 1;
    memset(&g->v, 0, sizeof g->v);
    memset(&g->quality, 0, sizeof g->quality);
    memset(g->id_votes, 0, sizeof g->id_votes);
    memset(g->side_votes, 0, sizeof g->side_votes);
    g->open = true;
    g->v.start_ns = g->quiet_since_ns = ns;
    g->v.cylinder = r->place.epoch_cylinder;
    g->v.side = r->place.side;
    g->v.selected = r->place.unit != -2;
    g->v.motor = r->place.motor;
    g->v.since_motor_ns = r->motor_on_ns < 0 ? -1 : ns - r->motor_on_ns;
    g->v.after_write = g->written[side][(uint8_t)g->v.cylinder].any &&
                       g->written[side][(uint8_t)g->v.cylinder].epoch == g->v.cylinder;
}

static int32_t most_voted(const int32_t *votes, int32_t *out_different)
{
    int32_t best = -1;
    *out_different = 0;
    for (int32_t i = 0; i < 256; i++) {
        *out_different += votes[i] > 0;
        if (votes[i] > 0 && (best < 0 || votes[i] > votes[best])) {
            best = i;
        }
    }
    return best;
}

enum err visit_close(struct survey_run *r, int64_t ns)
{
    struct visit_gather *g = &r->visit;
    struct survey *s = r->out;
    int32_t sides = 0;
    if (!g->open) {
        return ERR_OK;
    }
    g->open = false;
    TRY(stretch_end(r));
    if (ns - g->quiet_since_ns > SILENT_NS) {
        g->v.silent_ns += ns - g->quiet_since_ns;
    }
    g->v.end_ns = ns;
    g->v.settled = r->place.settled;
    g->v.quality = quality_mean(&g->quality, (size_t)g->v.transitions);
    g->v.id_cylinder = most_voted(g->id_votes, &g->v.id_cylinders);
    g->v.id_side = most_voted(g->side_votes, &sides);
    bool expected =
        g->v.selected && g->v.motor && g->v.end_ns - g->v.start_ns >= VISIT_EMPTY_NS;
    if (g->v.transitions == 0 && !expected) {
        return ERR_OK;
    }
    if (s->visit_count == VISITS_MAX) {
        r->visits_full = true;
        return ERR_OK;
    }
    TRY(array_grow((void **)&s->visit, &r->visit_cap, s->visit_count + 1, sizeof s->visit[0],
                   VISITS_MAX));
    s->visit[s->visit_count++] = g->v;
    return ERR_OK;
}

enum err visit_move(struct survey_run *r, int64_t ns, const struct bus_place *place)
{
    struct visit_gather *g = &r->visit;
    const struct bus_place *old = &r->place;
    if (place->epoch_cylinder == old->epoch_cylinder && place->side == old->side &&
        place->unit == old->unit && place->motor == old->motor &&
        place->writing == old->writing) {
        r->place = *place; /* settled only: the head stays where it is */
        return ERR_OK;
    }
    TRY(visit_close(r, ns));
    r->place = *place;
    if (place->writing) {
        int side = place->side == 1;
        TRY(repair_written(&r->tracks, place->epoch_cylinder, place->side));
        g->written[side][(uint8_t)place->epoch_cylinder].any = true;
        g->written[side][(uint8_t)place->epoch_cylinder].epoch = place->epoch_cylinder;
    } else if (g->rdata_known) {
        visit_open(r, ns);
    }
    return ERR_OK;
}

enum err visit_rdata(struct survey_run *r, int64_t tick, int64_t ns, enum level level)
{
    struct visit_gather *g = &r->visit;
    enum level before = g->rdata;
    g->rdata = level;
    if (level == LEVEL_UNKNOWN) {
        g->rdata_known = false;
        return visit_close(r, ns);
    }
    if (!g->rdata_known) {
        g->rdata_known = true;
        r->out->flux_recorded = true;
        if (!r->place.writing) {
            visit_open(r, ns);
        }
        return ERR_OK;
    }
    if (g->open && before == LEVEL_HIGH && level == LEVEL_LOW) {
        return transition(r, tick, ns);
    }
    return ERR_OK;
}

void visit_gather_release(struct visit_gather *g)
{
    free(g->interval);
}
