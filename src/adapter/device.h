/* The device's side of the protocol: requests, roles, interlocks, and the stream of frames,
 * over a small hardware layer. Freestanding: no libc, no allocation, no statics; the simulated
 * adapter and a firmware are built from the same files (device*.c, frame_build.c, wire.c).
 *
 * One thread of control calls all of it. The hardware layer reports every change of a line with
 * its tick, in order, and calls device_poll at least every millisecond and at device_next.
 */
#ifndef WHICHEND_ADAPTER_DEVICE_H
#define WHICHEND_ADAPTER_DEVICE_H

#include "adapter/frame_build.h"
#include "adapter/protocol.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* What the core asks of the hardware. */
struct device_hw {
    /* Pull exactly these lines low and let all others go; 0 is the state after reset. */
    void (*outputs)(void *ctx, uint32_t driven);
    void (*pull_ups)(void *ctx, bool on);
    uint32_t (*levels)(void *ctx);                /* of all lines, 1 high */
    uint64_t (*ticks)(void *ctx);                 /* since power-on; never set back */
    int32_t (*rail_mv)(void *ctx, unsigned rail); /* or WIRE_NO_METER */
    /* Bulk IN: take what fits now, return how much. */
    size_t (*send)(void *ctx, const uint8_t *bytes, size_t len);
    /* One pulse on WDATA (as-machine) or RDATA (as-drive) at a tick that is still to come. When
     * outputs are set to 0, pulses still to come are dropped. */
    void (*pulse)(void *ctx, uint64_t tick);
    /* Drop the pulses still to come; one that has begun ends in its time. */
    void (*no_pulses)(void *ctx);
    /* Role both-plugs: pull one pin of a plug low, or let it go. */
    void (*pin)(void *ctx, unsigned plug, unsigned pin, bool low);
    /* Levels of all pins (REQ_PIN_LEVELS); floating: without the adapter's own pull-ups, so
     * that a high is a voltage from outside. */
    void (*pin_levels)(void *ctx, bool floating, uint8_t out[PIN_LEVELS_BYTES]);
};

/* What this make of adapter can do: the capabilities, and its memory. */
struct device_config {
    uint32_t lines_in, lines_out, roles, tick_hz, rails, watchdog_ms, pulse_ticks;
    uint16_t flags; /* CAPF_ */
    uint8_t pins[2];
    uint8_t *queue; /* frames that wait; several PROTO_FRAME_MAX */
    uint32_t queue_bytes;
    uint8_t *play; /* blocks that wait */
    uint32_t play_bytes;
};

struct device_limits {
    bool given;
    uint16_t last_cylinder;
    uint16_t step_low_us;
    uint32_t step_us, turn_us, settle_us, erase_us, gate_us;
};

enum step_phase { STEP_IDLE, STEP_SET_DIR, STEP_LOW, STEP_HIGH };

struct device_motion {
    enum step_phase phase;
    bool outward, known, moved; /* moved: there was a step, at last_step */
    uint16_t cylinder, left;
    uint8_t restores; /* searches for TRK00 that did not find it */
    uint32_t unit;    /* the select that `cylinder` is of */
    uint64_t at;      /* of the next phase */
    uint64_t last_step;
    bool last_outward;
};

struct device_stream {
    bool on, losing, stopping;
    uint8_t number;
    uint32_t lines, sequence;
    struct frame_build frame;
    uint64_t end; /* of the last frame queued */
    uint64_t state_at, rails_at;
    bool low; /* a fall of RDATA or WDATA waits for its rise */
    unsigned low_line;
    uint64_t fell_at;
    uint32_t levels; /* as sent */
    uint32_t lost, lost_total;
    uint32_t head, queued, peak; /* of config->queue */
};

struct device_play {
    bool on, writing;
    bool waits_index; /* the gate opens with the next INDEX */
    bool begun;       /* an item was taken since `on` */
    bool hushed;      /* as-drive: the head has moved, or SIDE changed, since `on` */
    uint32_t head, fill, sequence; /* of config->play: items without their blocks' frames */
    uint64_t tick;                 /* of the last item played */
    uint64_t last_pulse;           /* the hardware may still be at it */
    bool index_low;
    uint64_t index_at;                           /* an INDEX item still to come, or 0 */
    uint64_t gate_from, gate_until, gate_off_at; /* also: since when INDEX is waited for */
    bool wrote;                                  /* gate_off_at holds */
    uint32_t gate_us;                            /* longest, as asked */
};

struct device_arming {
    uint8_t name[ARM_NAME_MAX];
    uint8_t len;
    uint32_t challenge; /* 0: none */
    bool one, two;
    uint64_t one_at, two_at;
    uint32_t count; /* of challenges, so that none comes twice */
};

struct device {
    const struct device_hw *hw;
    void *ctx;
    const struct device_config *config;
    enum wire_role role;
    uint8_t unit; /* as-drive: which select it answers */
    enum refusal refusal;
    enum release released;
    bool pull_ups;
    uint32_t wanted; /* by hand: REQ_DRIVE */
    uint32_t fading; /* after a release while writing: let go at fade_at, not before */
    uint64_t fade_at;
    uint64_t pins_low[2]; /* both-plugs: bit a pin */
    uint64_t pins_at;     /* when they last changed */
    uint32_t driven;      /* pulled low now */
    uint32_t levels;      /* as last reported or read */
    uint64_t driven_at;   /* when that last changed */
    bool master; /* as-machine, as-drive: the bus was found free, lines may be driven */
    uint64_t quiet_since;  /* no foreign line has moved or is held since */
    uint64_t selected_at;  /* as-drive: our select went low, while it is */
    uint64_t selected_sum; /* as-drive: how long it was low with nobody answering */
    bool selected;
    uint64_t heard_at; /* last request */
    struct device_limits limits;
    struct device_motion motion;
    struct device_stream stream;
    struct device_play play;
    struct device_arming arming;
};

#define DEVICE_LISTEN_MS 2000 /* as-machine: nobody else moves a line for so long */
#define DEVICE_ANSWER_MS 20   /* as-drive: nobody answers a select for so long */
#define DEVICE_FOLLOW_US 200  /* an output is low by then */

void device_init(struct device *d, const struct device_hw *hw, void *ctx,
                 const struct device_config *config);

/* A line changed at a tick; in order over all lines. */
void device_edge(struct device *d, uint64_t tick, unsigned line, bool high);
/* Timers, stream, interlocks. */
void device_poll(struct device *d);
/* Tick at which device_poll must run next; UINT64_MAX: whenever. */
uint64_t device_next(const struct device *d);

/* A control request. in: the reply's length, or -1: stall. out: 0, or -1: stall. */
int device_control_in(struct device *d, uint8_t request, uint16_t value, uint8_t *reply,
                      size_t room);
int device_control_out(struct device *d, uint8_t request, uint16_t value, const uint8_t *data,
                       size_t len);
/* Bulk OUT: one block. false: stall the endpoint. device_block_room: may the next be taken? */
bool device_block(struct device *d, const uint8_t *bytes, size_t len);
bool device_block_room(const struct device *d);
/* USB reset, suspend, unplugged, configuration set. */
void device_bus_event(struct device *d);

#endif
