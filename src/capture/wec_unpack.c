#include "capture/wec.h"

#include <string.h>

/* Bytes still to be read; `bad` once they did not suffice. */
struct bytes {
    const uint8_t *p;
    const uint8_t *end;
    bool bad;
};

static uint8_t get_byte(struct bytes *in)
{
    if (in->p == in->end) {
        in->bad = true;
        return 0;
    }
    return *in->p++;
}

static uint64_t get_varint(struct bytes *in)
{
    uint64_t value = 0;
    for (unsigned shift = 0; shift < 63; shift += 7) {
        uint8_t byte = get_byte(in);
        value |= (uint64_t)(byte & 127) << shift;
        if (byte < 128)
            return value;
    }
    in->bad = true;
    return 0;
}

/* A series of varints: the bytes of each place stand side by side. */
#define PLACES 9 /* 63 bits */
struct series {
    const uint8_t *place[PLACES];
};

/* Bytes whose top bit says that another follows. */
static size_t count_more(const uint8_t *p, size_t n)
{
    const uint64_t ones = UINT64_C(0x0101010101010101);
    size_t more = 0;
    size_t i = 0;
    for (; i + 8 <= n; i += 8) {
        uint64_t word;
        memcpy(&word, p + i, sizeof word);
        more += (size_t)((word >> 7 & ones) * ones >> 56);
    }
    for (; i < n; i++)
        more += p[i] >> 7;
    return more;
}

/* n varints; next_of() may then be asked n times. */
static bool get_series(struct bytes *in, size_t n, struct series *out)
{
    for (size_t k = 0; k < PLACES; k++) {
        out->place[k] = in->p;
        if ((size_t)(in->end - in->p) < n)
            return false;
        in->p += n;
        n = count_more(out->place[k], n);
    }
    return n == 0;
}

/* What next_of() works on: the two places that nearly all bytes stand in are kept at hand. */
struct reading {
    const uint8_t *first, *second;
    struct series *rest;
};

static uint64_t rest_of(struct series *s)
{
    uint64_t value = 0;
    uint64_t byte = 128;
    for (unsigned k = 2; byte >= 128; k++) {
        byte = *s->place[k]++;
        value |= (byte & 127) << (7 * k);
    }
    return value;
}

/* Whether a second byte follows comes as good as at random, so that there is no branch: one
 * that does not count is looked at all the same, which is what WEC_PLAIN_PAD is for. */
static inline uint64_t next_of(struct reading *r)
{
    const uint64_t first = *r->first++;
    const uint64_t more = first >> 7;
    const uint64_t second = *r->second & (0 - more);
    uint64_t value = (first & 127) | (second & 127) << 7;
    r->second += more;
    if (__builtin_expect(second >= 128, 0))
        value |= rest_of(r->rest);
    return value;
}

/* Offsets from the chunk's first tick, from the deltas of every second edge. false where one
 * goes beyond the chunk's span. */
static bool get_offsets(struct bytes *in, uint64_t *out, size_t n, uint64_t span)
{
    struct series odd;
    struct series even;
    uint64_t offset = 0;
    if (!get_series(in, (n + 1) / 2, &odd) || !get_series(in, n / 2, &even))
        return false;
    struct reading a = {odd.place[0], odd.place[1], &odd};
    struct reading b = {even.place[0], even.place[1], &even};
    for (size_t i = 0; i + 1 < n; i += 2) {
        uint64_t one = next_of(&a);
        uint64_t two = next_of(&b);
        if (one > span - offset || two > span - offset - one)
            return false;
        out[i] = offset + one;
        offset += one + two;
        out[i + 1] = offset;
    }
    if ((n & 1) != 0) {
        uint64_t last = next_of(&a);
        if (last > span - offset)
            return false;
        out[n - 1] = offset + last;
    }
    return true;
}

/* One line's edges on their way into the chunk. delta holds offsets from the first tick by now.
 */
struct lane {
    size_t at; /* in the scratch */
    size_t left;
    const struct name_target *target;
    bool turns;       /* each edge turns it over: no levels are listed */
    uint8_t level_at; /* then: of the edge at `at` */
};

static bool get_levels(struct bytes *in, uint8_t *out, size_t count)
{
    if ((size_t)(in->end - in->p) < count)
        return false;
    for (size_t i = 0; i < count; i++) {
        out[i] = in->p[i];
        if (in->p[i] > LEVEL_UNKNOWN)
            return false;
    }
    in->p += count;
    return true;
}

static bool get_line(struct bytes *in, const struct wec_frame *f, struct wec_scratch *s,
                     struct lane *out)
{
    uint8_t form = get_byte(in);
    uint64_t n = get_varint(in);
    uint64_t span = (uint64_t)(f->last_tick - f->first_tick);
    if (in->bad || form > 2 || n > CHUNK_EDGES_MAX - out->at)
        return false;
    out->left = (size_t)n;
    out->turns = form < 2;
    out->level_at = form;
    if (!out->turns && !get_levels(in, s->level + out->at, out->left))
        return false;
    return get_offsets(in, s->delta + out->at, out->left, span);
}

/* rail NONE: read past it */
static bool get_rail(struct bytes *in, const struct wec_frame *f, enum rail rail,
                     struct build *b)
{
    uint8_t form = get_byte(in);
    uint64_t n = get_varint(in);
    if (form != 0 || in->bad || n > CHUNK_RAILS_MAX - b->rail_count)
        return false;
    uint64_t left = (uint64_t)(f->last_tick - f->first_tick);
    for (uint64_t i = 0; i < n; i++) {
        uint64_t delta = get_varint(in);
        uint64_t mv = get_varint(in);
        if (in->bad || delta > left || mv >= UINT32_MAX)
            return false;
        left -= delta;
        int64_t value = (mv & 1) != 0 ? -(int64_t)(mv / 2) - 1 : (int64_t)(mv / 2);
        if (rail != RAIL_NONE)
            b->rail[b->rail_count++] =
                (struct rail_sample){f->last_tick - (int64_t)left, (int32_t)value, rail};
    }
    return true;
}

/* How many edges of a lane lie before another's, or at its own first tick. */
static size_t run_length(const uint64_t *offset, size_t left, uint64_t limit)
{
    size_t n = 0;
    size_t end = left;
    if (offset[left - 1] < limit)
        return left;
    while (n < end) { /* the first that is not before it */
        size_t middle = n + (end - n) / 2;
        if (offset[middle] < limit)
            n = middle + 1;
        else
            end = middle;
    }
    while (offset[0] >= limit && n < left && offset[n] == offset[0])
        n++;
    return n;
}

static void listed_run(const struct wec_scratch *s, const struct lane *lane, size_t n,
                       struct build *b)
{
    const enum line line = lane->target->line;
    const unsigned turn = lane->target->active_high ? 1 : 0;
    uint8_t now = b->level[line];
    for (size_t at = lane->at; at < lane->at + n; at++) {
        unsigned level = s->level[at] < 2 ? s->level[at] ^ turn : s->level[at];
        b->edge[b->count] = edge_pack(s->delta[at], line, (enum level)level);
        b->count += level != now; /* nothing where it has that level already */
        now = (uint8_t)level;
    }
    b->level[line] = now;
}

static void turning_run(const struct wec_scratch *s, const struct lane *lane, size_t n,
                        struct build *b)
{
    const enum line line = lane->target->line;
    const uint64_t *offset = s->delta + lane->at;
    unsigned level = lane->level_at ^ (lane->target->active_high ? 1u : 0u);
    packed_edge *out = b->edge + b->count;
    size_t from = b->level[line] == level ? 1 : 0; /* it has that level already */
    for (size_t i = from; i < n; i++)
        out[i - from] = edge_pack(offset[i], line, (enum level)((level + i) & 1));
    b->count += n - from;
    b->level[line] = (uint8_t)((level + n - 1) & 1);
}

/* Edges of one lane up to another's, and those at its own first tick. */
static void lane_run(const struct wec_scratch *s, struct lane *lane, uint64_t limit,
                     struct build *b)
{
    size_t n = run_length(s->delta + lane->at, lane->left, limit);
    if (lane->turns)
        turning_run(s, lane, n, b);
    else
        listed_run(s, lane, n, b);
    lane->level_at = (lane->level_at + n) & 1;
    lane->at += n;
    lane->left -= n;
    b->now = b->base + (int64_t)s->delta[lane->at - 1];
}

/* Lanes to edges in order of time; of edges at one tick the lower lane's first. */
static void merge_lanes(struct wec_scratch *s, struct lane *lane, size_t lanes, struct build *b)
{
    for (;;) {
        struct lane *first = NULL;
        uint64_t limit = UINT64_MAX; /* another lane's next edge: up to there `first` may run */
        for (size_t i = 0; i < lanes; i++) {
            if (lane[i].left == 0)
                continue;
            uint64_t t = s->delta[lane[i].at];
            if (first == NULL || t < s->delta[first->at]) {
                limit = first == NULL ? UINT64_MAX : s->delta[first->at];
                first = &lane[i];
            } else if (t < limit) {
                limit = t;
            }
        }
        if (first == NULL)
            return;
        lane_run(s, first, limit, b);
    }
}

/* Samples of several rails into order of time, and out with those that tell nothing new. */
static void order_rails(struct build *b)
{
    for (size_t i = 1; i < b->rail_count; i++) {
        struct rail_sample sample = b->rail[i];
        size_t k = i;
        for (; k > 0 && b->rail[k - 1].tick > sample.tick; k--)
            b->rail[k] = b->rail[k - 1];
        b->rail[k] = sample;
    }
    size_t count = b->rail_count;
    b->rail_count = 0;
    for (size_t i = 0; i < count; i++) {
        b->now = b->rail[i].tick;
        build_rail(b, b->rail[i].rail, b->rail[i].millivolt);
    }
}

bool wec_unpack(const uint8_t *plain, size_t len, const struct wec_frame *f,
                const struct wec_channels *c,
                const struct name_target *const target[NAME_TARGETS_MAX],
                struct wec_scratch *scratch, struct build *b)
{
    struct bytes in = {plain, plain + len, false};
    struct lane lane[NAME_TARGETS_MAX];
    size_t lanes = 0;
    size_t used = 0;
    uint8_t groups = get_byte(&in);
    size_t next_channel = 0;
    for (uint8_t g = 0; g < groups; g++) {
        size_t channel = get_byte(&in);
        struct lane next = {.at = used};
        /* rising channels: so each comes once, and lanes cannot overflow */
        bool good = channel >= next_channel && channel < c->lines + c->rails;
        if (good && channel < c->lines) {
            good = get_line(&in, f, scratch, &next);
            next.target = target[channel];
            if (good && next.target != NULL)
                lane[lanes++] = next;
            used += next.left;
        } else if (good) {
            good = get_rail(&in, f, target[channel] != NULL ? target[channel]->rail : RAIL_NONE,
                            b);
        }
        if (!good || in.bad) {
            b->rail_count = 0;
            return false;
        }
        next_channel = channel + 1;
    }
    if (in.bad || in.p != in.end) {
        b->rail_count = 0;
        return false;
    }
    merge_lanes(scratch, lane, lanes, b);
    order_rails(b);
    b->now = f->last_tick;
    return true;
}
