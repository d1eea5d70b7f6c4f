#include "adapter/frame_build.h"

#include "adapter/wire.h"

/* Of which line, the longest item, its half byte, a width that stands apart, and a tail record.
 */
#define ITEM_MOST (1 + 1 + EVENT_VARINT_MAX + 1 + 1 + 2)

void frame_open(struct frame_build *f, uint64_t first, bool widths)
{
    f->first = f->last = first;
    f->extras = f->tails = f->events = f->falls = f->aparts = f->base = f->items = 0;
    f->widths = widths;
    f->pulse_line = WIRE_RDATA;
}

bool frame_empty(const struct frame_build *f)
{
    return f->extras == 0 && f->tails == 0 && f->events == 0;
}

static size_t widths_len(const struct frame_build *f)
{
    if (!f->widths || f->falls == 0)
        return 0;
    return PROTO_RECORD_HEAD + 4 + (f->falls + 1u) / 2 + 2u * f->aparts;
}

static size_t body_len(const struct frame_build *f)
{
    size_t events = f->events > 0 ? PROTO_RECORD_HEAD + (size_t)f->events : 0;
    return f->extras + events + widths_len(f) + f->tails;
}

bool frame_room(const struct frame_build *f)
{
    size_t heads = 2 * PROTO_RECORD_HEAD + 4; /* of EVENTS and WIDTHS not begun yet */
    return f->aparts < FRAME_APART_MAX && body_len(f) + ITEM_MOST + heads <= FRAME_BODY;
}

static void put_varint(struct frame_build *f, uint32_t v)
{
    while (v >= 0x80) {
        f->event[f->events++] = (uint8_t)(v | 0x80);
        v >>= 7;
    }
    f->event[f->events++] = (uint8_t)v;
}

static uint32_t delta_to(struct frame_build *f, uint64_t tick)
{
    uint32_t delta = (uint32_t)(tick - f->last);
    f->last = tick;
    f->items++;
    return delta;
}

static void put_width(struct frame_build *f, uint16_t width)
{
    if (f->falls == 0)
        f->base = width;
    int off = (int)width - (int)f->base;
    unsigned half = WIDTH_APART;
    if (off >= -WIDTH_SPREAD && off <= WIDTH_SPREAD)
        half = (unsigned)(off + WIDTH_SPREAD);
    else
        f->apart[f->aparts++] = width;
    uint8_t *at = &f->half[f->falls / 2];
    *at = f->falls % 2 == 0 ? (uint8_t)half : (uint8_t)(*at | half << 4);
}

void frame_pulses_of(struct frame_build *f, unsigned line)
{
    if (f->pulse_line == line)
        return;
    f->pulse_line = (uint8_t)line;
    f->event[f->events++] = line == WIRE_WDATA ? EVENT_OF_WDATA : EVENT_OF_RDATA;
}

void frame_fall(struct frame_build *f, uint64_t tick, uint16_t width)
{
    uint32_t delta = delta_to(f, tick);
    if (delta < EVENT_SHORT) {
        f->event[f->events++] = (uint8_t)delta;
    } else if (delta < EVENT_MIDDLE_END) {
        f->event[f->events++] = (uint8_t)(EVENT_MIDDLE + ((delta - EVENT_SHORT) >> 8));
        f->event[f->events++] = (uint8_t)(delta - EVENT_SHORT);
    } else {
        f->event[f->events++] = EVENT_LONG;
        put_varint(f, delta);
    }
    if (f->widths)
        put_width(f, width);
    f->falls++;
}

void frame_line(struct frame_build *f, uint64_t tick, unsigned line, bool high)
{
    uint32_t delta = delta_to(f, tick);
    f->event[f->events++] = EVENT_LINE;
    put_varint(f, delta);
    f->event[f->events++] = (uint8_t)(line << 1 | high);
}

static uint8_t *record(uint8_t *at, enum record_type type, size_t len)
{
    at[0] = (uint8_t)type;
    at[1] = 0;
    put_u16(at + 2, (uint32_t)len);
    return at + PROTO_RECORD_HEAD;
}

void frame_state(struct frame_build *f, uint32_t known, uint32_t levels)
{
    uint8_t *p = record(f->extra + f->extras, REC_STATE, 8);
    put_u32(p, known);
    put_u32(p + 4, levels);
    f->extras = (uint16_t)(f->extras + PROTO_RECORD_HEAD + 8);
}

void frame_lost(struct frame_build *f, uint64_t from, uint64_t to, uint32_t count,
                uint32_t lines, enum lost_reason why)
{
    uint8_t *p = record(f->extra + f->extras, REC_LOST, LOST_BYTES);
    put_u64(p + LOST_FROM, from);
    put_u64(p + LOST_TO, to);
    put_u32(p + LOST_COUNT, count);
    put_u32(p + LOST_LINES, lines);
    p[LOST_REASON] = (uint8_t)why;
    f->extras = (uint16_t)(f->extras + PROTO_RECORD_HEAD + LOST_BYTES);
}

static uint8_t *tail(struct frame_build *f, enum record_type type, size_t len)
{
    size_t whole = PROTO_RECORD_HEAD + len;
    if (f->tails + whole > FRAME_TAIL_BYTES || body_len(f) + whole > FRAME_BODY)
        return NULL;
    uint8_t *p = record(f->tail + f->tails, type, len);
    f->tails = (uint16_t)(f->tails + whole);
    return p;
}

bool frame_mark(struct frame_build *f, uint64_t tick, enum mark kind, uint32_t value)
{
    uint8_t *p = tail(f, REC_MARK, MARK_BYTES);
    if (p == NULL)
        return false;
    put_u32(p + MARK_AFTER, (uint32_t)(tick - f->first));
    p[MARK_KIND] = (uint8_t)kind;
    put_u32(p + MARK_VALUE, value);
    return true;
}

bool frame_rails(struct frame_build *f, const int32_t mv[WIRE_RAILS])
{
    uint8_t *p = tail(f, REC_RAILS, 4 * WIRE_RAILS);
    if (p == NULL)
        return false;
    for (unsigned i = 0; i < WIRE_RAILS; i++)
        put_u32(p + 4 * i, (uint32_t)mv[i]);
    return true;
}

static uint8_t *copy(uint8_t *to, const uint8_t *from, size_t len)
{
    for (size_t i = 0; i < len; i++)
        to[i] = from[i];
    return to + len;
}

static uint8_t *put_widths(const struct frame_build *f, uint8_t *p)
{
    size_t len = widths_len(f);
    if (len == 0)
        return p;
    p = record(p, REC_WIDTHS, len - PROTO_RECORD_HEAD);
    put_u16(p, f->base);
    put_u16(p + 2, f->falls);
    p = copy(p + 4, f->half, (f->falls + 1u) / 2);
    for (unsigned i = 0; i < f->aparts; i++, p += 2)
        put_u16(p, f->apart[i]);
    return p;
}

size_t frame_close(const struct frame_build *f, uint64_t end, uint32_t sequence, uint8_t stream,
                   uint8_t flags, uint8_t *out)
{
    uint8_t *p = copy(out + PROTO_FRAME_HEAD, f->extra, f->extras);
    p = put_widths(f, p);
    if (f->events > 0)
        p = copy(record(p, REC_EVENTS, f->events), f->event, f->events);
    p = copy(p, f->tail, f->tails);
    size_t len = (size_t)(p - out);
    out[0] = PROTO_SYNC0;
    out[1] = PROTO_SYNC1;
    put_u16(out + 2, (uint32_t)(len + PROTO_FRAME_CHECK));
    put_u32(out + 4, sequence);
    put_u64(out + 8, f->first);
    put_u32(out + 16, (uint32_t)(end - f->first));
    out[20] = stream;
    out[21] = flags;
    put_u16(out + 22, 0);
    put_u32(p, wire_crc32(0, out, len));
    return len + PROTO_FRAME_CHECK;
}
