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

/* The bytes of one place in all varints of a series. Where each has one they stand side by
 * side. Returns how many have another byte. */
static size_t get_place(struct bytes *in, struct wec_scratch *s, size_t first, size_t n,
                        size_t left, unsigned shift)
{
    const uint8_t *p = in->p;
    size_t more = 0;
    if ((size_t)(in->end - in->p) < left) {
        in->bad = true;
        return 0;
    }
    in->p += left;
    for (size_t i = 0; i < n; i++) {
        size_t at = first + 2 * i;
        if (left < n && s->more[at] == 0)
            continue;
        uint8_t byte = *p++;
        uint64_t low = shift > 0 ? s->delta[at] : 0;
        s->delta[at] = low | (uint64_t)(byte & 127) << shift;
        s->more[at] = byte >> 7;
        more += byte >> 7;
    }
    return more;
}

/* Every second delta from `from` on. */
static void get_series(struct bytes *in, struct wec_scratch *s, size_t at, size_t count,
                       size_t from)
{
    size_t n = count > from ? (count - from + 1) / 2 : 0;
    size_t left = n;
    for (unsigned shift = 0; left > 0 && !in->bad; shift += 7) {
        if (shift > 56) {
            in->bad = true; /* more than 63 bits */
            return;
        }
        left = get_place(in, s, at + from, n, left, shift);
    }
}

/* One line's edges on their way into the chunk. delta holds offsets from the first tick by now.
 */
struct lane {
    size_t at; /* in the scratch */
    size_t left;
    const struct name_target *target;
};

static bool get_levels(struct bytes *in, struct wec_scratch *s, size_t at, size_t count,
                       uint8_t form)
{
    if (form < 2) {
        for (size_t i = 0; i < count; i++)
            s->level[at + i] = (uint8_t)((form + i) & 1);
        return true;
    }
    if (form > 2 || (size_t)(in->end - in->p) < count)
        return false;
    for (size_t i = 0; i < count; i++) {
        s->level[at + i] = in->p[i];
        if (in->p[i] > LEVEL_UNKNOWN)
            return false;
    }
    in->p += count;
    return true;
}

static bool get_line(struct bytes *in, const struct wec_frame *f, struct wec_scratch *s,
                     size_t at, size_t *count)
{
    uint8_t form = get_byte(in);
    uint64_t n = get_varint(in);
    uint64_t span = (uint64_t)(f->last_tick - f->first_tick);
    if (in->bad || n > CHUNK_EDGES_MAX - at || !get_levels(in, s, at, (size_t)n, form))
        return false;
    get_series(in, s, at, (size_t)n, 0);
    get_series(in, s, at, (size_t)n, 1);
    if (in->bad)
        return false;
    uint64_t offset = 0;
    for (size_t i = 0; i < n; i++) {
        if (s->delta[at + i] > span - offset)
            return false;
        offset += s->delta[at + i];
        s->delta[at + i] = offset;
    }
    *count = (size_t)n;
    return true;
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

/* Edges of one lane up to another's, and those at its own first tick. */
static void lane_run(const struct wec_scratch *s, struct lane *lane, uint64_t limit,
                     struct build *b)
{
    const enum line line = lane->target->line;
    const unsigned turn = lane->target->active_high ? 1 : 0;
    const uint64_t start = s->delta[lane->at];
    const size_t end = lane->at + lane->left;
    uint8_t now = b->level[line];
    size_t at = lane->at;
    for (; at < end && (s->delta[at] < limit || s->delta[at] == start); at++) {
        unsigned level = s->level[at] < 2 ? s->level[at] ^ turn : s->level[at];
        b->edge[b->count] = edge_pack(s->delta[at], line, (enum level)level);
        b->count += level != now; /* nothing where it has that level already */
        now = (uint8_t)level;
    }
    b->level[line] = now;
    b->now = b->base + (int64_t)s->delta[at - 1];
    lane->left -= at - lane->at;
    lane->at = at;
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
        size_t count = 0;
        /* rising channels: so each comes once, and lanes cannot overflow */
        bool good = channel >= next_channel && channel < c->lines + c->rails;
        if (good && channel < c->lines) {
            good = get_line(&in, f, scratch, used, &count);
            if (good && target[channel] != NULL)
                lane[lanes++] = (struct lane){used, count, target[channel]};
            used += count;
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
