#include "adapter/frame_private.h"
#include "adapter/wire.h"

#include <string.h>

struct bytes {
    const uint8_t *at, *end;
    unsigned pulse_line; /* of the falls that come next */
};

static uint32_t get_varint(struct bytes *b, bool *good)
{
    uint64_t v = 0;
    for (unsigned i = 0; i < EVENT_VARINT_MAX; i++) {
        if (b->at == b->end)
            break;
        uint8_t byte = *b->at++;
        v |= (uint64_t)(byte & 0x7f) << (7 * i);
        if ((byte & 0x80) == 0) {
            *good = *good && v <= UINT32_MAX;
            return (uint32_t)v;
        }
    }
    *good = false;
    return 0;
}

/* One item of EVENTS: a whole pulse, or a change of a line. */
struct item {
    uint32_t delta;
    unsigned line;
    bool pulse, high;
};

static bool next_item(struct bytes *b, struct item *out)
{
    bool good = true;
    uint8_t code = *b->at++;
    for (; code == EVENT_OF_WDATA || code == EVENT_OF_RDATA; code = *b->at++) {
        b->pulse_line = code == EVENT_OF_WDATA ? WIRE_WDATA : WIRE_RDATA;
        if (b->at == b->end)
            return false;
    }
    *out = (struct item){.line = b->pulse_line, .pulse = true};
    if (code < EVENT_SHORT) {
        out->delta = code;
    } else if (code <= EVENT_MIDDLE_TOP) {
        if (b->at == b->end)
            return false;
        out->delta = EVENT_SHORT + ((uint32_t)(code - EVENT_MIDDLE) << 8) + *b->at++;
    } else if (code == EVENT_LONG) {
        out->delta = get_varint(b, &good);
    } else if (code == EVENT_LINE) {
        out->delta = get_varint(b, &good);
        if (!good || b->at == b->end)
            return false;
        out->pulse = false;
        out->line = *b->at >> 1;
        out->high = *b->at++ & 1;
        good = out->line < WIRE_LINES;
    } else {
        return false;
    }
    return good;
}

/* Items lie within the span, and are as many falls as WIDTHS has. */
static bool events_hold(struct bytes b, uint32_t span, const uint8_t *widths)
{
    uint64_t at = 0;
    size_t falls = 0;
    while (b.at < b.end) {
        struct item i;
        if (!next_item(&b, &i))
            return false;
        at += i.delta;
        falls += i.pulse;
        if (at > span)
            return false;
    }
    return widths == NULL || get_u16(widths + PROTO_RECORD_HEAD + 2) == falls;
}

static bool widths_hold(const uint8_t *r, size_t len)
{
    if (len < 4)
        return false;
    size_t falls = get_u16(r + PROTO_RECORD_HEAD + 2);
    size_t halves = (falls + 1) / 2;
    if (len < 4 + halves)
        return false;
    size_t apart = 0;
    for (size_t i = 0; i < falls; i++)
        apart += (r[PROTO_RECORD_HEAD + 4 + i / 2] >> (i % 2 * 4) & 15) == WIDTH_APART;
    return len == 4 + halves + 2 * apart;
}

static bool lost_holds(const uint8_t *p, size_t len, uint64_t first)
{
    return len >= LOST_BYTES && get_u64(p + LOST_FROM) <= get_u64(p + LOST_TO) &&
           get_u64(p + LOST_TO) <= first;
}

bool frame_holds_together(const uint8_t *f, size_t len)
{
    const uint8_t *end = f + len - PROTO_FRAME_CHECK;
    const uint8_t *widths = NULL;
    bool events = false;
    for (const uint8_t *r = f + PROTO_FRAME_HEAD; r < end;) {
        if (end - r < PROTO_RECORD_HEAD ||
            (size_t)(end - r) - PROTO_RECORD_HEAD < get_u16(r + 2))
            return false;
        size_t n = get_u16(r + 2);
        const uint8_t *p = r + PROTO_RECORD_HEAD;
        bool good = true;
        if (r[0] == REC_EVENTS) {
            good = !events &&
                   events_hold((struct bytes){p, p + n, WIRE_RDATA}, get_u32(f + 16), widths);
            events = true;
        } else if (r[0] == REC_WIDTHS) {
            good = widths == NULL && !events && widths_hold(r, n);
            widths = r;
        } else if (r[0] == REC_STATE) {
            good = n >= 8 && !events;
        } else if (r[0] == REC_LOST) {
            good = lost_holds(p, n, get_u64(f + 8)) && !events;
        } else if (r[0] == REC_MARK) {
            good = n >= MARK_BYTES && get_u32(p + MARK_AFTER) <= get_u32(f + 16);
        } else if (r[0] == REC_RAILS) {
            good = n >= 4 * WIRE_RAILS;
        }
        if (!good)
            return false;
        r = p + n;
    }
    return widths == NULL || events;
}

static enum err tell(struct frame_parser *p, uint64_t tick, unsigned line, bool high,
                     struct err_msg *e)
{
    if (p->sink.edge == NULL)
        return ERR_OK;
    return p->sink.edge(p->sink.ctx, tick, (enum line)line, high ? LEVEL_HIGH : LEVEL_LOW, e);
}

enum err frame_tell_rise(struct frame_parser *p, uint64_t tick, struct err_msg *e)
{
    p->low = false;
    return tell(p, tick, p->low_line, true, e);
}

/* A pulse that is low ends at its time; or, where its line has news, then. */
static enum err rise_before(struct frame_parser *p, uint64_t tick, bool news, struct err_msg *e)
{
    if (p->low && p->rise_at <= tick)
        return frame_tell_rise(p, p->rise_at, e);
    if (p->low && news)
        return frame_tell_rise(p, tick, e);
    return ERR_OK;
}

struct widths {
    const uint8_t *record; /* NULL: none */
    const uint8_t *apart;
    size_t fall;
};

static uint32_t next_width(struct frame_parser *p, struct widths *w)
{
    if (w->record == NULL)
        return p->pulse;
    const uint8_t *halves = w->record + PROTO_RECORD_HEAD + 4;
    unsigned half = halves[w->fall / 2] >> (w->fall % 2 * 4) & 15;
    w->fall++;
    if (half == WIDTH_APART) {
        w->apart += 2;
        return get_u16(w->apart - 2);
    }
    int32_t width =
        (int32_t)get_u16(w->record + PROTO_RECORD_HEAD) + (int32_t)half - WIDTH_SPREAD;
    return width > 0 ? (uint32_t)width : 0;
}

static enum err tell_events(struct frame_parser *p, struct bytes b, uint64_t at,
                            const uint8_t *widths, struct err_msg *e)
{
    struct widths w = {.record = widths};
    if (widths != NULL)
        w.apart =
            widths + PROTO_RECORD_HEAD + 4 + (get_u16(widths + PROTO_RECORD_HEAD + 2) + 1) / 2;
    while (b.at < b.end) {
        struct item i;
        if (!next_item(&b, &i))
            return err_set(e, ERR_INTERNAL, "a frame changed while it was read");
        at += i.delta;
        TRY(rise_before(p, at, i.pulse || i.line == p->low_line, e));
        TRY(tell(p, at, i.line, i.high, e));
        if (i.pulse) {
            p->low = true;
            p->low_line = i.line;
            p->rise_at = at + next_width(p, &w);
        }
    }
    return ERR_OK;
}

static enum err tell_state(struct frame_parser *p, uint64_t first, const uint8_t *at,
                           struct err_msg *e)
{
    uint32_t known = get_u32(at);
    uint32_t levels = get_u32(at + 4);
    TRY(rise_before(p, first, (known & WIRE_BIT(p->low_line)) != 0, e));
    for (unsigned l = 0; l < WIRE_LINES; l++)
        if (known & WIRE_BIT(l))
            TRY(tell(p, first, l, (levels & WIRE_BIT(l)) != 0, e));
    return ERR_OK;
}

static enum err tell_lost(struct frame_parser *p, const uint8_t *at, uint64_t first,
                          struct err_msg *e)
{
    /* Whatever part of the hole the device speaks of, the whole of it is not known. */
    struct frame_loss loss = {.from = p->end,
                              .to = first,
                              .lines = get_u32(at + LOST_LINES) & WIRE_ALL,
                              .count = get_u32(at + LOST_COUNT),
                              .cause = LOSS_TOLD,
                              .reason = (enum lost_reason)at[LOST_REASON]};
    return frame_tell_loss(p, &loss, e);
}

static enum err tell_rails(struct frame_parser *p, uint64_t end, const uint8_t *at,
                           struct err_msg *e)
{
    int32_t mv[WIRE_RAILS];
    for (unsigned i = 0; i < WIRE_RAILS; i++) {
        uint32_t v = get_u32(at + 4 * i);
        memcpy(&mv[i], &v, sizeof v);
    }
    TRY(rise_before(p, end, false, e));
    return p->sink.rails != NULL ? p->sink.rails(p->sink.ctx, end, mv, e) : ERR_OK;
}

enum err frame_tell_records(struct frame_parser *p, const uint8_t *f, size_t len,
                            struct err_msg *e)
{
    const uint8_t *end = f + len - PROTO_FRAME_CHECK;
    const uint8_t *widths = NULL;
    uint64_t first = get_u64(f + 8);
    uint64_t last = first + get_u32(f + 16);
    const uint8_t *rails = NULL; /* told last: they stand for the frame's end */
    for (const uint8_t *r = f + PROTO_FRAME_HEAD; r < end;) {
        const uint8_t *at = r + PROTO_RECORD_HEAD;
        size_t n = get_u16(r + 2);
        if (r[0] == REC_STATE)
            TRY(tell_state(p, first, at, e));
        else if (r[0] == REC_EVENTS)
            TRY(tell_events(p, (struct bytes){at, at + n, WIRE_RDATA}, first, widths, e));
        else if (r[0] == REC_WIDTHS)
            widths = r;
        else if (r[0] == REC_LOST)
            TRY(tell_lost(p, at, first, e));
        else if (r[0] == REC_RAILS)
            rails = at;
        else if (r[0] != REC_MARK)
            p->skipped++;
        else if (p->sink.mark != NULL)
            p->sink.mark(p->sink.ctx, first + get_u32(at + MARK_AFTER),
                         (enum mark)at[MARK_KIND], get_u32(at + MARK_VALUE));
        r = at + n;
    }
    return rails != NULL ? tell_rails(p, last, rails, e) : ERR_OK;
}
