/* One frame of the stream while it is filled: the device's side. Freestanding.
 *
 * Events come in order of time. Before each, frame_room says whether the frame must be closed
 * first; a closed frame is handed on and a new one opened at the tick where the last one ended.
 */
#ifndef WHICHEND_ADAPTER_FRAME_BUILD_H
#define WHICHEND_ADAPTER_FRAME_BUILD_H

#include "adapter/protocol.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define FRAME_BODY        (PROTO_FRAME_MAX - PROTO_FRAME_HEAD - PROTO_FRAME_CHECK)
#define FRAME_APART_MAX   32 /* widths far from the base; one more closes the frame */
#define FRAME_EXTRA_BYTES 96 /* STATE, LOST */
#define FRAME_TAIL_BYTES  64 /* MARK, RAILS */

struct frame_build {
    uint64_t first; /* tick */
    uint64_t last;  /* of the last item */
    uint8_t extra[FRAME_EXTRA_BYTES];
    uint8_t tail[FRAME_TAIL_BYTES];
    uint8_t event[FRAME_BODY];
    uint8_t half[FRAME_BODY / 2];
    uint16_t apart[FRAME_APART_MAX];
    uint16_t extras, tails, events, falls, aparts; /* bytes, but falls and aparts */
    uint16_t items;                                /* falls and lines */
    uint16_t base;                                 /* width */
    bool widths;                                   /* WIDTHS are sent */
    uint8_t pulse_line;                            /* of the falls that follow */
};

void frame_open(struct frame_build *f, uint64_t first, bool widths);
bool frame_empty(const struct frame_build *f);
/* Room for any one item more? */
bool frame_room(const struct frame_build *f);
/* tick is not before f->last, and at most PROTO_SPAN_MAX after f->first. */
/* The pulses that follow are of this line: WIRE_RDATA, as at first, or WIRE_WDATA. */
void frame_pulses_of(struct frame_build *f, unsigned line);
void frame_fall(struct frame_build *f, uint64_t tick, uint16_t width);
void frame_line(struct frame_build *f, uint64_t tick, unsigned line, bool high);
void frame_state(struct frame_build *f, uint32_t known, uint32_t levels);
void frame_lost(struct frame_build *f, uint64_t from, uint64_t to, uint32_t count,
                uint32_t lines, enum lost_reason why);
/* false where there is no room for it in this frame. */
bool frame_mark(struct frame_build *f, uint64_t tick, enum mark kind, uint32_t value);
bool frame_rails(struct frame_build *f, const int32_t mv[WIRE_RAILS]);
/* The whole frame into out (PROTO_FRAME_MAX bytes); returns its length. */
size_t frame_close(const struct frame_build *f, uint64_t end, uint32_t sequence, uint8_t stream,
                   uint8_t flags, uint8_t *out);

#endif
