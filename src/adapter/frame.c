#include "adapter/frame.h"

#include "adapter/frame_private.h"
#include "adapter/wire.h"

#include <string.h>

void frame_begin(struct frame_parser *p, const struct frame_sink *sink, uint8_t stream,
                 uint32_t pulse_ticks)
{
    *p = (struct frame_parser){.sink = *sink, .stream = stream, .pulse = pulse_ticks};
}

enum err frame_tell_loss(struct frame_parser *p, const struct frame_loss *loss,
                         struct err_msg *e)
{
    if (p->low && (loss->lines & WIRE_BIT(p->low_line))) {
        if (p->rise_at <= loss->from)
            TRY(frame_tell_rise(p, p->rise_at, e));
        p->low = false;
    }
    p->losses++;
    p->lost_ticks += loss->to - loss->from;
    return p->sink.lost != NULL ? p->sink.lost(p->sink.ctx, loss, e) : ERR_OK;
}

/* What a frame's place in the stream says, before what it holds. */
static enum err continues(struct frame_parser *p, const uint8_t *f, bool told,
                          struct err_msg *e)
{
    uint32_t sequence = get_u32(f + 4);
    uint64_t first = get_u64(f + 8);
    if (!p->begun) {
        p->begun = true;
        p->first = p->end = first;
        p->next = sequence + 1;
        return ERR_OK;
    }
    if (first < p->end)
        return err_set(e, ERR_ADAPTER, "the adapter's clock ran backwards at tick %llu",
                       (unsigned long long)p->end);
    bool missing = sequence != p->next;
    p->next = sequence + 1;
    if (first > p->end && (missing || !told)) {
        struct frame_loss loss = {.from = p->end,
                                  .to = first,
                                  .lines = WIRE_ALL,
                                  .count = LOST_UNCOUNTED,
                                  .cause = missing ? LOSS_FRAMES : LOSS_GAP};
        TRY(frame_tell_loss(p, &loss, e));
        p->end = first;
    }
    return ERR_OK;
}

static bool tells_loss(const uint8_t *f, size_t len)
{
    const uint8_t *end = f + len - PROTO_FRAME_CHECK;
    for (const uint8_t *r = f + PROTO_FRAME_HEAD; r < end;
         r += PROTO_RECORD_HEAD + get_u16(r + 2))
        if (r[0] == REC_LOST)
            return true;
    return false;
}

/* A frame whose check agrees. */
static enum err take(struct frame_parser *p, const uint8_t *f, size_t len, struct err_msg *e)
{
    if (f[20] != p->stream || p->ended) {
        p->stale++;
        return ERR_OK;
    }
    if (p->begun && (int32_t)(get_u32(f + 4) - p->next) < 0) {
        p->repeated++;
        return ERR_OK;
    }
    uint64_t first = get_u64(f + 8);
    uint32_t span = get_u32(f + 16);
    if (first > INT64_MAX - PROTO_SPAN_MAX || !frame_holds_together(f, len)) {
        p->damaged++; /* its time shows as lost with the next frame */
        return ERR_OK;
    }
    TRY(continues(p, f, tells_loss(f, len), e));
    TRY(frame_tell_records(p, f, len, e));
    p->end = first + span;
    p->ended = (f[21] & FRAME_LAST) != 0;
    return ERR_OK;
}

static void drop(struct frame_parser *p, size_t n)
{
    p->holds -= n;
    memmove(p->held, p->held + n, p->holds);
}

/* Bytes that begin no frame: pass over them to what may begin one. */
static void hunt(struct frame_parser *p)
{
    if (!p->hunting)
        p->damaged++;
    p->hunting = true;
    size_t n = 1;
    while (n < p->holds && p->held[n] != PROTO_SYNC0)
        n++;
    drop(p, n);
}

/* The frames held whole. */
static enum err scan(struct frame_parser *p, struct err_msg *e)
{
    while (p->holds >= 4) {
        const uint8_t *f = p->held;
        size_t len = get_u16(f + 2);
        if (f[0] != PROTO_SYNC0 || f[1] != PROTO_SYNC1 || len < PROTO_FRAME_MIN ||
            len > PROTO_FRAME_MAX) {
            hunt(p);
            continue;
        }
        if (p->holds < len)
            return ERR_OK;
        size_t body = len - PROTO_FRAME_CHECK;
        if (wire_crc32(0, f, body) != get_u32(f + body)) {
            hunt(p);
            continue;
        }
        p->hunting = false;
        enum err err = take(p, f, len, e);
        drop(p, len);
        if (err != ERR_OK)
            return err;
    }
    return ERR_OK;
}

enum err frame_feed(struct frame_parser *p, const uint8_t *bytes, size_t len, struct err_msg *e)
{
    while (len > 0) {
        size_t room = sizeof p->held - p->holds;
        size_t n = len < room ? len : room;
        memcpy(p->held + p->holds, bytes, n);
        p->holds += n;
        bytes += n;
        len -= n;
        TRY(scan(p, e));
    }
    return ERR_OK;
}

enum err frame_end(struct frame_parser *p, struct err_msg *e)
{
    if (p->low && p->rise_at <= p->end)
        TRY(frame_tell_rise(p, p->rise_at, e));
    p->low = false;
    return ERR_OK;
}
