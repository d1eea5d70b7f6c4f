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

/* What must hold before a track is written. The person and the program answer for it; what the
 * adapter can see of it is looked at again by session_write, and once more by the device. */
struct write_permit {
    const char *disk;   /* the scratch disk's name as the person was shown it */
    const char *typed;  /* what the person typed back; NULL only where `recorded` is false */
    bool scratch;       /* the case or the person says that it may be overwritten */
    bool recorded;      /* some identifier on this disk can be read */
    int cylinder;       /* in the identifiers read just now under the head; -1: none */
    bool wprot_trusted; /* the sensor of WPROT is no suspect */
    bool medium_fits;   /* density and medium agree */
    bool low_current;   /* an inner track that asks for LOWCUR active */
    uint32_t turn_low_us, turn_high_us;              /* limits of the speed */
    int32_t low_mv[WIRE_RAILS], high_mv[WIRE_RAILS]; /* high 0: the drive has no such rail */
};

struct session {
    struct link link; /* owned */
    struct adapter_caps caps;
    struct frame_parser frames;
    bool streaming, gone;
    uint8_t stream;
    int64_t alive_ms;    /* last sign of life */
    uint32_t erase_us;   /* of the limits */
    int64_t progress_ms; /* the stream last went on */
    uint64_t progress_tick;
    bool released; /* the device let its outputs go by itself */
    enum release released_why;
    uint32_t troubles;   /* stalls, babble and transfers that failed */
    uint32_t underruns;  /* MARK_UNDERRUN */
    bool written;        /* MARK_WRITTEN came */
    uint32_t written_us; /* what it said */
    uint8_t index_level;
    uint32_t index_falls;   /* in a row, none lost between them */
    uint64_t index_at[3];   /* ticks of the last three, latest last */
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
/* Blocks of pulses to play (protocol.h, bulk OUT), one or several behind one another. */
enum err session_play(struct session *s, bool on, struct err_msg *e);
enum err session_block(struct session *s, const uint8_t *blocks, size_t len, struct err_msg *e);

/* Write one track, from the index on: pulses on WDATA so many ticks after one another.
 *
 *   session_role(as-machine), session_limits, session_start with INDEX among the lines; two
 * seconds; session_drive to select and start the motor, session_step to the track (SIDE by
 * session_drive); read it, and take `cylinder` out of its identifiers; then session_write, once
 * a track; read it back.
 *
 * Two turns are timed, rails, WPROT, the select and the head's place are held against the
 * permit, it is armed twice, written, the erase delay waited out and disarmed, whatever comes
 * of it. ERR_USAGE: the permit does not permit; nothing was asked of the device. ERR_ADAPTER:
 * something is not as it must be, or the write ended before its time; the message says what. */
enum err session_write(struct session *s, const struct write_permit *permit,
                       const uint32_t *delta, size_t pulses, struct err_msg *e);

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
