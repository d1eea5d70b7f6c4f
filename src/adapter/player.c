#include "adapter/player.h"

#include "adapter/items.h"
#include "base/buf.h"
#include "base/units.h"
#include "capture/capture.h"

#include <stdlib.h>
#include <string.h>

#define TRACKS_MAX  256
#define PULSES_MAX  400000           /* of one turn: HD at 5 turns a second has 100,000 */
#define PULSES_MIN  1000             /* a turn with fewer is no recorded track */
#define STEADY_NS   (20 * NS_PER_MS) /* after a step or a change of side */
#define TURN_MIN_NS (100 * NS_PER_MS)
#define TURN_MAX_NS (300 * NS_PER_MS)

/* A stretch of read data from one track, in ticks of the capture. It need not begin at the
 * index: what lies before the first index pulse is put behind the rest. */
struct stretch {
    int cylinder; /* -1: the head's place is not known */
    int side;
    bool open;
    int64_t from, index_at; /* index_at -1: none yet */
    int64_t *pulse;
    size_t pulses, cap;
};

struct load {
    struct player *player;
    struct tick tick;
    uint32_t tick_hz;
    uint8_t level[LINE_COUNT];
    int64_t index_fell, period, index_width; /* -1: not known */
    int64_t steady_ticks;
    struct stretch now;
};

/* ---- one turn to items ---- */

static uint64_t device_ticks(const struct load *l, int64_t ticks)
{
    int64_t ns = 0;
    if (!ticks_to_ns(ticks, l->tick, &ns) || ns < 0)
        return 0;
    uint64_t hz = l->tick_hz; /* at most 10^9 */
    uint64_t s = (uint64_t)NS_PER_S;
    return (uint64_t)ns / s * hz + (uint64_t)ns % s * hz / s;
}

static void put_fall(struct player_track *t, uint32_t delta)
{
    t->len += item_put_fall(t->item + t->len, delta);
    t->pulses++;
}

static void put_index(struct player_track *t, uint32_t delta, bool high)
{
    t->len += item_put_index(t->item + t->len, delta, high);
}

/* Ticks of the adapter from the index to the k-th pulse behind it; `first` is the first one. */
static uint64_t behind_index(const struct load *l, size_t first, size_t k)
{
    const struct stretch *u = &l->now;
    size_t at = (first + k) % u->pulses;
    int64_t turned = u->pulse[at] < u->index_at ? l->period : 0;
    return device_ticks(l, u->pulse[at] - u->index_at + turned);
}

/* Pulses that the turn's length leaves no room for, at the seam, are left out. */
static void put_items(const struct load *l, struct player_track *t)
{
    const struct stretch *u = &l->now;
    uint64_t whole = device_ticks(l, l->period);
    uint64_t rise = device_ticks(l, l->index_width);
    uint64_t at = 0;
    uint64_t last = 0;
    size_t first = 0;
    bool high = false;
    while (first < u->pulses && u->pulse[first] < u->index_at)
        first++;
    for (size_t i = 0; i < u->pulses; i++) {
        uint64_t fall = behind_index(l, first, i);
        last = fall > last && fall < whole ? fall : last;
    }
    put_index(t, (uint32_t)(whole - last), false); /* from the last pulse of the turn before */
    for (size_t i = 0; i < u->pulses; i++) {
        uint64_t fall = behind_index(l, first, i);
        if (fall >= whole || (i > 0 && fall <= at))
            continue;
        if (!high && rise <= fall) {
            put_index(t, (uint32_t)(rise - at), true);
            at = rise;
            high = true;
        }
        put_fall(t, (uint32_t)(fall - at));
        at = fall;
    }
}

static enum err make_blank(const struct load *l)
{
    struct player_track *t = &l->player->blank;
    uint64_t whole = device_ticks(l, l->period);
    uint64_t rise = device_ticks(l, l->index_width);
    t->item = malloc(2 * ITEM_BYTES_MAX);
    if (t->item == NULL)
        return ERR_MEMORY;
    put_index(t, (uint32_t)(whole - rise), false);
    put_index(t, (uint32_t)rise, true);
    t->turn = (uint32_t)whole;
    return ERR_OK;
}

static enum err keep_turn(struct load *l)
{
    struct player *p = l->player;
    const struct stretch *u = &l->now;
    if (p->tracks == TRACKS_MAX || u->pulses < PULSES_MIN ||
        player_find(p, u->cylinder, u->side) != NULL)
        return ERR_OK;
    TRY(array_grow((void **)&p->track, &p->cap, p->tracks + 1, sizeof *p->track, TRACKS_MAX));
    struct player_track *t = &p->track[p->tracks];
    *t = (struct player_track){.cylinder = u->cylinder, .side = u->side};
    t->turn = (uint32_t)device_ticks(l, l->period);
    t->item = malloc((u->pulses + 2) * ITEM_BYTES_MAX);
    if (t->item == NULL)
        return ERR_MEMORY;
    put_items(l, t);
    p->tracks++;
    return p->blank.item != NULL ? ERR_OK : make_blank(l);
}

/* ---- a capture to turns ---- */

/* The stretch ends. Without a whole turn from index to index, a turn that begins elsewhere is
 * better than none: its seam lies in the data. */
static enum err finish(struct load *l)
{
    struct stretch *u = &l->now;
    size_t n = 0;
    bool open = u->open && u->index_at >= 0 && l->period > 0 && l->index_width > 0;
    u->open = false;
    while (open && n < u->pulses && u->pulse[n] < u->from + l->period)
        n++;
    if (!open || n == u->pulses || u->index_at >= u->from + l->period)
        return ERR_OK;
    u->pulses = n;
    return keep_turn(l);
}

static enum err begin(struct load *l, int64_t tick)
{
    TRY(finish(l));
    l->now.open = l->level[LINE_RDATA] != LEVEL_UNKNOWN;
    l->now.from = tick;
    l->now.index_at = -1;
    l->now.pulses = 0;
    return ERR_OK;
}

/* From index to index: the seam lies where the index is, between the data. */
static enum err whole_turn(struct load *l)
{
    struct stretch *u = &l->now;
    size_t before = 0;
    while (before < u->pulses && u->pulse[before] < u->index_at)
        before++;
    u->pulses -= before;
    memmove(u->pulse, u->pulse + before, u->pulses * sizeof *u->pulse);
    u->open = false;
    return keep_turn(l);
}

static enum err index_falls(struct load *l, int64_t tick)
{
    int64_t ns = 0;
    int64_t period = tick - l->index_fell;
    struct stretch *u = &l->now;
    if (l->index_fell >= 0 && ticks_to_ns(period, l->tick, &ns))
        l->period = ns >= TURN_MIN_NS && ns <= TURN_MAX_NS ? period : -1;
    bool whole = u->open && u->index_at >= 0 && u->index_at == l->index_fell && l->period > 0;
    l->index_fell = tick;
    if (whole && l->index_width > 0 && u->pulses > 0)
        return whole_turn(l);
    if (u->open && u->index_at < 0 && tick >= u->from)
        u->index_at = tick;
    return ERR_OK;
}

static enum err pulse(struct load *l, int64_t tick)
{
    struct stretch *u = &l->now;
    if (!u->open || tick < u->from || u->cylinder < 0 || u->pulses == PULSES_MAX)
        return ERR_OK;
    TRY(array_grow((void **)&u->pulse, &u->cap, u->pulses + 1, sizeof *u->pulse, PULSES_MAX));
    u->pulse[u->pulses++] = tick;
    return ERR_OK;
}

static void step(struct load *l)
{
    struct stretch *u = &l->now;
    if (u->cylinder < 0 || l->level[LINE_DIR] == LEVEL_UNKNOWN)
        u->cylinder = -1;
    else if (l->level[LINE_DIR] == LEVEL_LOW)
        u->cylinder++;
    else
        u->cylinder -= u->cylinder > 0;
}

static enum err edge(struct load *l, int64_t tick, enum line line, enum level level)
{
    bool known = l->level[line] != LEVEL_UNKNOWN && level != LEVEL_UNKNOWN;
    l->level[line] = (uint8_t)level;
    if (line == LINE_RDATA && !known)
        TRY(begin(l, tick));
    if (line == LINE_RDATA)
        return known && level == LEVEL_LOW ? pulse(l, tick) : ERR_OK;
    if (line == LINE_TRK00 && level == LEVEL_LOW)
        l->now.cylinder = 0;
    if (line == LINE_STEP && known && level == LEVEL_HIGH)
        step(l);
    if (line == LINE_SIDE)
        l->now.side = level == LEVEL_LOW;
    if (line_is_select(line) || line_is_motor(line) || line == LINE_WGATE ||
        line == LINE_SIDE || line == LINE_STEP)
        TRY(begin(l, tick + l->steady_ticks));
    if (line == LINE_INDEX && level == LEVEL_HIGH && l->index_fell >= 0)
        l->index_width = tick - l->index_fell;
    if (line == LINE_INDEX && level == LEVEL_LOW && known)
        return index_falls(l, tick);
    return ERR_OK;
}

static enum err read_all(struct load *l, struct capture *c, struct err_msg *e)
{
    struct chunk k = {.last = false};
    while (!k.last) {
        TRY(capture_next(c, &k, e));
        for (size_t i = 0; i < k.count; i++) {
            enum err err =
                edge(l, edge_tick(&k, i), edge_line(k.edge[i]), edge_level(k.edge[i]));
            if (err != ERR_OK)
                return err_set(e, err, "out of memory");
        }
    }
    return ERR_OK;
}

enum err player_load(struct player *p, const char *path, uint32_t tick_hz, struct err_msg *e)
{
    struct capture *c = NULL;
    struct load l = {.player = p,
                     .tick_hz = tick_hz,
                     .index_fell = -1,
                     .period = -1,
                     .index_width = -1,
                     .now = {.cylinder = -1}};
    *p = (struct player){0};
    memset(l.level, LEVEL_UNKNOWN, sizeof l.level);
    TRY(capture_open(path, NULL, &c, e));
    l.tick = capture_info(c)->tick;
    enum err err = ns_to_ticks(STEADY_NS, l.tick, &l.steady_ticks) ? ERR_OK : ERR_FORMAT;
    if (err == ERR_OK)
        err = read_all(&l, c, e);
    if (err == ERR_OK && finish(&l) != ERR_OK)
        err = err_set(e, ERR_MEMORY, "out of memory");
    capture_close(c);
    free(l.now.pulse);
    if (err == ERR_OK && p->tracks == 0)
        err = err_set(e, ERR_FORMAT, "%s: holds no whole turn of a track whose place is known",
                      path);
    return err;
}

void player_release(struct player *p)
{
    for (size_t i = 0; i < p->tracks; i++)
        free(p->track[i].item);
    free(p->track);
    free(p->blank.item);
    *p = (struct player){0};
}

const struct player_track *player_find(const struct player *p, int cylinder, int side)
{
    for (size_t i = 0; i < p->tracks; i++)
        if (p->track[i].cylinder == cylinder && p->track[i].side == side)
            return &p->track[i];
    return NULL;
}

/* Ticks of the item at p. */
static uint32_t item_ticks(const uint8_t *p)
{
    uint32_t v = 0;
    if (p[0] < EVENT_MIDDLE)
        return p[0];
    if (p[0] <= EVENT_MIDDLE_TOP)
        return EVENT_SHORT + ((uint32_t)(p[0] - EVENT_MIDDLE) << 8) + p[1];
    for (unsigned i = 0; i < EVENT_VARINT_MAX; i++) {
        v |= (uint32_t)(p[1 + i] & 0x7f) << (7 * i);
        if ((p[1 + i] & 0x80) == 0)
            break;
    }
    return v;
}

size_t player_seek(const struct player_track *t, uint32_t phase, uint8_t *out)
{
    const uint8_t *p = t->item;
    size_t at = item_len(p); /* its ticks are those from the last pulse to the index */
    uint64_t passed = 0;
    phase %= t->turn;
    while (at < t->len && passed + item_ticks(p + at) < phase) {
        passed += item_ticks(p + at);
        at += item_len(p + at);
    }
    uint32_t left =
        at < t->len ? (uint32_t)(passed + item_ticks(p + at) - phase) : t->turn - phase;
    at = at < t->len ? at : 0;
    struct player_track one = {.item = out};
    if (p[at] == EVENT_LINE)
        put_index(&one, left, (p[at + item_len(p + at) - 1] & 1) != 0);
    else
        put_fall(&one, left);
    return at + item_len(p + at) < t->len ? at + item_len(p + at) : 0;
}

size_t player_block(const struct player_track *t, size_t *at, const uint8_t *first,
                    uint32_t sequence, uint8_t *out)
{
    size_t items = first != NULL ? item_len(first) : 0;
    if (first != NULL)
        memcpy(out + PROTO_BLOCK_HEAD, first, items);
    for (;;) {
        size_t n = item_len(t->item + *at);
        if (items + n > BLOCK_ITEMS_MAX)
            break;
        memcpy(out + PROTO_BLOCK_HEAD + items, t->item + *at, n);
        items += n;
        *at = *at + n == t->len ? 0 : *at + n;
    }
    return block_close(out, items, sequence);
}
