/* One adapter in use: what it can do, its role, its lines, and its stream.
 *
 * The device holds to its interlocks by itself (device.h); this side asks for nothing that they
 * forbid, turns every refusal into a sentence, and gives the signs of life that keep outputs
 * up. One thread calls all of it. ERR_ADAPTER: the adapter refused, failed or is gone; the
 * message says which, and `gone` tells whether it can still be talked to.
 */
#ifndef WHICHEND_ADAPTER_SESSION_H
#define WHICHEND_ADAPTER_SESSION_H

#include "adapter/frame.h"
#include "adapter/link.h"
#include "adapter/protocol.h"
#include "base/units.h"

#include <stdbool.h>

struct adapter_caps {
    uint16_t major, minor, flags;
    uint32_t lines_in, lines_out, roles, tick_hz, buffer, play, rails, watchdog_ms, pulse;
    uint8_t pins[2];
};

struct adapter_status {
    enum wire_role role;
    uint8_t flags; /* STATF_ */
    enum refusal refusal;
    enum release released;
    uint32_t driven, levels, lost, queued, peak, challenge;
    uint64_t tick;
    int cylinder; /* -1: not known */
    uint32_t play_free;
    int32_t rail_mv[WIRE_RAILS];
};

/* What the drive's and the machine's profile allow (REQ_LIMITS). */
struct adapter_limits {
    uint16_t last_cylinder, step_low_us;
    uint32_t step_us, turn_us, settle_us, erase_us, gate_us;
};

struct session {
    struct link link; /* owned */
    struct adapter_caps caps;
    struct frame_parser frames;
    bool streaming, gone;
    uint8_t stream;
    int64_t alive_ms;    /* last sign of life */
    int64_t progress_ms; /* the stream last went on */
    uint64_t progress_tick;
    bool released; /* the device let its outputs go by itself */
    enum release released_why;
    uint32_t stalls;
    bool stepping;
    struct frame_sink sink; /* of the caller */
};

/* Takes the link over, also on failure. Capabilities are read and must make sense: another
 * major version, numbers that contradict one another and an answer that is too short are
 * ERR_ADAPTER. */
enum err session_open(struct session *s, struct link *link, struct err_msg *e);
/* Releases all outputs first, as far as the adapter still listens. Safe on a zeroed struct. */
void session_close(struct session *s);

/* Length of a tick. */
struct tick session_tick(const struct session *s);
enum err session_status(struct session *s, struct adapter_status *out, struct err_msg *e);

/* unit: as-drive only. */
enum err session_role(struct session *s, enum wire_role role, unsigned unit, struct err_msg *e);
enum err session_limits(struct session *s, const struct adapter_limits *l, struct err_msg *e);
/* ERR_OK with *on false where the drive's +5 V is not there or the adapter has none. */
enum err session_pull_ups(struct session *s, bool *on, struct err_msg *e);
enum err session_release(struct session *s, struct err_msg *e);

/* Record these lines; events go to the sink as they are read. */
enum err session_start(struct session *s, uint32_t lines, const struct frame_sink *sink,
                       struct err_msg *e);
/* Read for at most so long; returns after the first bytes. Also where nothing came ERR_OK,
 * unless it has been silent for so long that it must be lost. */
enum err session_read(struct session *s, int timeout_ms, struct err_msg *e);
/* Read on for so long. */
enum err session_wait(struct session *s, int ms, struct err_msg *e);
/* End the stream and read it to its end. */
enum err session_stop(struct session *s, struct err_msg *e);

/* Lines by hand: those of mask, active or not. */
enum err session_drive(struct session *s, uint32_t mask, uint32_t active, struct err_msg *e);
/* A step train, to its end. *cylinder: -1 not known. */
enum err session_step(struct session *s, bool outward, unsigned steps, int *cylinder,
                      struct err_msg *e);
/* Both armings, for the scratch disk that the person named. */
enum err session_arm(struct session *s, const char *disk, struct err_msg *e);
/* One pin of a plug low or let go; the levels of all pins. */
enum err session_pin(struct session *s, unsigned plug, unsigned pin, bool low,
                     struct err_msg *e);
enum err session_pin_levels(struct session *s, uint8_t out[PIN_LEVELS_BYTES],
                            struct err_msg *e);
/* A block of pulses to play (protocol.h, bulk OUT). */
enum err session_play(struct session *s, bool on, struct err_msg *e);
enum err session_block(struct session *s, const uint8_t *block, size_t len, struct err_msg *e);

/* For messages; never NULL. */
const char *refusal_text(enum refusal r);
const char *release_text(enum release r);
/* "as-machine"; NULL for none. */
const char *role_word(enum wire_role role);

/* The reply to REQ_IDENTIFY taken apart; also for tests and fuzzing. */
enum err caps_read(const uint8_t *reply, size_t len, struct adapter_caps *out,
                   struct err_msg *e);
enum err status_read(const uint8_t *reply, size_t len, struct adapter_status *out,
                     struct err_msg *e);

#endif
