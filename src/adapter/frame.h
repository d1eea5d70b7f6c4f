/* The stream as the host reads it: frames found in the bytes, checked, and taken apart into
 * events in order of time.
 *
 * Bytes may be cut anywhere, damaged, repeated or missing. A frame whose check fails is
 * searched through for the next one; a frame that was seen already is passed over; where frames
 * are missing, the time between is told as lost. Nothing that a device sends makes this fail
 * except time that runs backwards, which nobody can put right.
 */
#ifndef WHICHEND_ADAPTER_FRAME_H
#define WHICHEND_ADAPTER_FRAME_H

#include "adapter/protocol.h"
#include "base/err.h"
#include "base/line.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum loss_cause {
    LOSS_TOLD,   /* the device said so */
    LOSS_FRAMES, /* frames are missing or damaged */
    LOSS_GAP,    /* the next frame begins later than the one before ended */
};

struct frame_loss {
    uint64_t from, to; /* ticks; nothing of `lines` is known between them */
    uint32_t lines;
    uint32_t count; /* events; LOST_UNCOUNTED */
    enum loss_cause cause;
    enum lost_reason reason; /* of LOSS_TOLD; 0 */
};

/* What the stream says, in order of time. Each may be NULL. An error ends frame_feed. */
struct frame_sink {
    void *ctx;
    /* A line changes, or is known to be at a level. LEVEL_UNKNOWN is never sent: see lost. */
    enum err (*edge)(void *ctx, uint64_t tick, enum line line, enum level level,
                     struct err_msg *e);
    enum err (*lost)(void *ctx, const struct frame_loss *loss, struct err_msg *e);
    enum err (*rails)(void *ctx, uint64_t tick, const int32_t mv[WIRE_RAILS],
                      struct err_msg *e);
    void (*mark)(void *ctx, uint64_t tick, enum mark kind, uint32_t value);
};

struct frame_parser {
    struct frame_sink sink;
    uint32_t pulse; /* width of a pulse where none is sent */
    uint8_t stream; /* frames of other streams are stale */
    bool begun;     /* a frame of this stream was read */
    bool ended;     /* one with FRAME_LAST */
    uint32_t next;  /* sequence */
    uint64_t first; /* tick of the first frame */
    uint64_t end;   /* the stream is known up to here */
    bool low;       /* a pulse has fallen and rises at rise_at */
    unsigned low_line;
    uint64_t rise_at;
    uint32_t damaged;                  /* places where a frame did not hold together */
    uint32_t repeated, stale, skipped; /* frames, frames, unknown records */
    uint32_t losses;
    uint64_t lost_ticks;
    uint8_t held[2 * PROTO_FRAME_MAX];
    size_t holds;
    bool hunting; /* since the last whole frame bytes were thrown away */
};

void frame_begin(struct frame_parser *p, const struct frame_sink *sink, uint8_t stream,
                 uint32_t pulse_ticks);
/* More bytes. ERR_ADAPTER where time runs backwards; else what a sink returns. */
enum err frame_feed(struct frame_parser *p, const uint8_t *bytes, size_t len,
                    struct err_msg *e);
/* The stream ends, whole or not: the last rise is told. */
enum err frame_end(struct frame_parser *p, struct err_msg *e);

#endif
