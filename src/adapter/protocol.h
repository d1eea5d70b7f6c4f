// clang-format off
/* The open adapter protocol, version 1: every constant and layout that a USB flux adapter and a
 * host agree on. DEVELOPERS.md, "The adapter protocol", says the same in words.
 *
 * This header is freestanding: it includes nothing of ours and serves device and host alike.
 * Numbers are little endian. Line and rail numbers are those of base/line.h, frozen here.
 *
 * Finding: an interface of class PROTO_CLASS, subclass PROTO_SUBCLASS, protocol PROTO_PROTOCOL
 * with one bulk IN and one bulk OUT endpoint in alternate setting 0; then REQ_IDENTIFY must answer
 * with PROTO_MAGIC. Vendor and product numbers mean nothing.
 *
 * Control requests are vendor requests to the interface (bmRequestType 0xC1 in, 0x41 out; wIndex is
 * the interface's number). A request that is unknown, malformed or refused is stalled, and
 * REQ_STATUS then says why (enum refusal). Every request that is understood is a sign of life; a
 * host that gives none for the watchdog's time finds all outputs released.
 *
 * Bulk IN is a stream of frames, back to back, each PROTO_FRAME_HEAD bytes, records, and a check:
 *
 *    0  u8[2]  PROTO_SYNC0 PROTO_SYNC1
 *    2  u16    length of the whole frame, check included: PROTO_FRAME_MIN .. PROTO_FRAME_MAX
 *    4  u32    sequence: 0 in the first frame of a stream, one more in each that follows
 *    8  u64    first tick: nothing in the frame happened before it; the clock starts at power-on
 *   16  u32    span: the stream is known up to first tick + span; the next frame begins there
 *   20  u8     stream: the number given with REQ_START; frames of another stream are stale
 *   21  u8     FRAME_ flags
 *   22  u16    0
 *   24  records: u8 type, u8 0, u16 length of what follows, so many bytes
 *  end  u32    CRC-32 (the one of zlib and ISO 3309) of all bytes before it
 *
 * Records of unknown types are passed over. Of the known ones a frame holds at most one EVENTS,
 * with its WIDTHS directly before it; LOST and STATE come before both.
 */
// clang-format on
#ifndef WHICHEND_ADAPTER_PROTOCOL_H
#define WHICHEND_ADAPTER_PROTOCOL_H

#include <stdint.h>

/* The number of the layout. A host refuses another major; a higher minor only adds requests,
 * records and bytes at the end of replies. */
#define PROTO_MAJOR 1
#define PROTO_MINOR 0

#define PROTO_CLASS    0xff
#define PROTO_SUBCLASS 0x57
#define PROTO_PROTOCOL 0x01

#define PROTO_MAGIC       "WHICHEND"
#define PROTO_MAGIC_BYTES 8

/* ---- lines and rails: bit numbers in every mask, and numbers in EVENTS ---- */
enum wire_line {
    WIRE_SELECT0,
    WIRE_SELECT1,
    WIRE_SELECT2,
    WIRE_SELECT3,
    WIRE_MOTOR,
    WIRE_MOTOR0,
    WIRE_MOTOR1,
    WIRE_DIR,
    WIRE_STEP,
    WIRE_SIDE,
    WIRE_WGATE,
    WIRE_WDATA,
    WIRE_DENSITY,
    WIRE_HLOAD,
    WIRE_INUSE,
    WIRE_LOWCUR,
    WIRE_FAULTRESET,
    WIRE_INDEX,
    WIRE_TRK00,
    WIRE_WPROT,
    WIRE_RDATA,
    WIRE_READY,
    WIRE_DSKCHG,
    WIRE_HDOUT,
    WIRE_SECTOR,
    WIRE_TWOSIDED,
    WIRE_FAULT,
    WIRE_LINES
};
#define WIRE_BIT(l)        ((uint32_t)1 << (l))
#define WIRE_ALL           (WIRE_BIT(WIRE_LINES) - 1u)
#define WIRE_FROM_MACHINE  (WIRE_BIT(WIRE_INDEX) - 1u)
#define WIRE_FROM_DRIVE    (WIRE_ALL & ~WIRE_FROM_MACHINE)
#define WIRE_SELECTS       0x0fu
#define WIRE_MOTORS        (WIRE_BIT(WIRE_MOTOR) | WIRE_BIT(WIRE_MOTOR0) | WIRE_BIT(WIRE_MOTOR1))
#define WIRE_NEVER_BY_HAND (WIRE_BIT(WIRE_WGATE) | WIRE_BIT(WIRE_WDATA) | WIRE_BIT(WIRE_STEP))

enum wire_rail { WIRE_V5, WIRE_V12, WIRE_V24, WIRE_RAILS };
#define WIRE_NO_METER INT32_MIN /* millivolts of a rail that is not metered */

/* ---- control requests ---- */
enum request {
    REQ_IDENTIFY = 0x01, /* in: capabilities, CAP_BYTES or more */
    REQ_STATUS = 0x02,   /* in: STATUS_BYTES or more */
    REQ_ALIVE = 0x03,    /* out, no data: a sign of life and nothing else */
    REQ_ROLE = 0x04,     /* out, wValue: enum wire_role; as-drive: unit << 8. Releases all */
    REQ_LIMITS = 0x05,   /* out, LIMITS_BYTES: once after each REQ_ROLE */
    REQ_START = 0x06,    /* out, wValue: stream number 0..255; data: u32 lines to record */
    REQ_STOP = 0x07,     /* out: no more is recorded; a frame with FRAME_LAST ends the stream */
    REQ_RELEASE = 0x08,  /* out: all outputs off, pull-ups off, arming lost, no role */
    REQ_DRIVE = 0x09,    /* out: u32 mask, u32 active; never WGATE, WDATA, STEP */
    REQ_STEP = 0x0a,     /* out, wValue: 0 inward, 1 outward; data: u16 steps */
    REQ_PULL_UPS = 0x0b, /* out, wValue: 0 off, 1 on; on only with the drive's +5 V there */
    REQ_ARM_ONE = 0x0c,  /* out: name of the scratch disk, 1..ARM_NAME_MAX bytes */
    REQ_ARM_TWO = 0x0d,  /* out: u32 CRC-32 of the challenge (u32, from status) and the name */
    REQ_DISARM = 0x0e,   /* out */
    REQ_WRITE = 0x0f, /* out, wValue: 0 now, 1 from the next INDEX on; data: u32 longest time of
                         the gate in us. Uses up the arming */
    REQ_PLAY = 0x10,  /* out, wValue: 1 start, 0 stop; as-drive, from bulk OUT */
    REQ_PIN = 0x11, /* out: wValue low byte plug 0/1, high byte pin; data: u8 1 low, 0 let go */
    REQ_PIN_LEVELS =
        0x12, /* in: PIN_LEVELS_BYTES: plug 0 pins 1..64, plug 1 pins 1..64, 1 high */
};

enum wire_role {
    WIRE_ROLE_NONE,
    WIRE_ROLE_INLINE,     /* listens; no output is ever driven */
    WIRE_ROLE_AS_MACHINE, /* works a drive */
    WIRE_ROLE_AS_DRIVE,   /* answers a machine */
    WIRE_ROLE_BOTH_PLUGS, /* both plugs of a cable on the adapter */
    WIRE_ROLE_LOOP,       /* the adapter's own leads, looped back */
    WIRE_ROLES
};

/* ---- reply to REQ_IDENTIFY ---- */
enum {
    CAP_MAGIC = 0,        /* PROTO_MAGIC */
    CAP_MAJOR = 8,        /* u16 */
    CAP_MINOR = 10,       /* u16 */
    CAP_LENGTH = 12,      /* u16: bytes of this reply */
    CAP_FLAGS = 14,       /* u16: CAPF_ */
    CAP_LINES_IN = 16,    /* u32: lines that it can record, in whatever role */
    CAP_LINES_OUT = 20,   /* u32: lines that it can drive */
    CAP_ROLES = 24,       /* u32: bit per enum wire_role */
    CAP_TICK_HZ = 28,     /* u32: ticks a second of the stream's clock, 1 MHz or more */
    CAP_BUFFER = 32,      /* u32: bytes of frames it can hold while the host does not read */
    CAP_PLAY = 36,        /* u32: bytes of bulk OUT blocks it can hold */
    CAP_RAILS = 40,       /* u32: bit per rail with a meter */
    CAP_WATCHDOG_MS = 44, /* u32: host silence after which outputs are released */
    CAP_PULSE = 48,       /* u32: ticks that RDATA is low after a fall where no WIDTHS say it */
    CAP_PINS = 52,        /* u8 plug 0, u8 plug 1: pins, in role both-plugs; 0: none */
    CAP_BYTES = 56
};
enum {
    CAPF_WIDTHS = 1,        /* sends WIDTHS */
    CAPF_PULL_UPS = 2,      /* has switched pull-ups */
    CAPF_WRITE_LINK = 4,    /* the link of the write gate's driver is closed */
    CAPF_GROUNDS_APART = 8, /* ground pins are wired apart, and so can be tested */
    CAPF_PINS_FLOAT = 16,   /* can look for foreign voltage before it drives a pin */
};
#define CAP_READ_MAX 512 /* what a host asks for */

/* ---- reply to REQ_STATUS ---- */
enum {
    STATUS_ROLE = 0,       /* u8 */
    STATUS_FLAGS = 1,      /* u8: STATF_ */
    STATUS_REFUSAL = 2,    /* u8: enum refusal of the last request that was stalled */
    STATUS_RELEASED = 3,   /* u8: enum release: why outputs were last let go */
    STATUS_DRIVEN = 4,     /* u32: lines that it pulls low now */
    STATUS_LEVELS = 8,     /* u32: levels as read, 1 high */
    STATUS_TICK = 12,      /* u64: now */
    STATUS_LOST = 20,      /* u32: events lost since REQ_START */
    STATUS_QUEUED = 24,    /* u32: bytes of frames waiting */
    STATUS_PEAK = 28,      /* u32: most that waited since REQ_START */
    STATUS_CHALLENGE = 32, /* u32: for REQ_ARM_TWO; 0 while there is none */
    STATUS_CYLINDER = 36,  /* u16: where its step count puts the head; 0xffff not known */
    STATUS_PLAY_FREE = 38, /* u16: bytes of bulk OUT that it can take now, in units of 64 */
    STATUS_RAILS = 40,     /* i32 each: V5, V12, V24 in mV, or WIRE_NO_METER */
    STATUS_BYTES = 52
};
enum {
    STATF_STREAMING = 1,
    STATF_ARMED_ONE = 2,
    STATF_ARMED_TWO = 4,
    STATF_PULL_UPS = 8,
    STATF_PLAYING = 16,
    STATF_WRITING = 32,
    STATF_STEPPING = 64,
};
#define CYLINDER_UNKNOWN 0xffffu

enum refusal {
    REFUSE_NOTHING,
    REFUSE_UNKNOWN,     /* no such request */
    REFUSE_MALFORMED,   /* length or value */
    REFUSE_ROLE,        /* not in this role, or a role it cannot take */
    REFUSE_BUSY,        /* stepping, writing, or already streaming */
    REFUSE_LINE,        /* a line that it cannot, or must not, drive */
    REFUSE_NO_LIMITS,   /* REQ_LIMITS first */
    REFUSE_LIMIT,       /* travel, step time or gate time past the limits */
    REFUSE_LOST_HEAD,   /* inward without ever having seen TRK00 */
    REFUSE_NO_SUPPLY,   /* pull-ups without the drive's +5 V */
    REFUSE_BUS_ALIVE,   /* another master: a line that it would drive moves or is held */
    REFUSE_VOLTAGE,     /* a conductor carries voltage */
    REFUSE_NOT_ARMED,   /* write without both armings, or they were late */
    REFUSE_WRITE_LINK,  /* the write link is open, as shipped */
    REFUSE_WPROT,       /* WPROT is active */
    REFUSE_SELECT,      /* not exactly one unit is selected */
    REFUSE_ERASE_DELAY, /* WGATE was active a moment ago */
    REFUSE_SETTLE,      /* the head moved a moment ago */
    REFUSE_NO_DATA,     /* nothing to write or play */
    REFUSE_NO_INDEX,    /* a write that waited for INDEX: none came */
    REFUSALS
};

/* Why all outputs were let go. */
enum release {
    RELEASE_START,    /* power-on or reset */
    RELEASE_ASKED,    /* REQ_RELEASE, REQ_ROLE */
    RELEASE_BUS,      /* USB reset, suspend, unplugged, configuration set */
    RELEASE_SILENCE,  /* the host gave no sign of life */
    RELEASE_READBACK, /* an output does not follow */
    RELEASE_TRAVEL,   /* TRK00 never came, twice */
    RELEASE_CLASH,    /* another master moves a line, or one that was let go stays low */
    RELEASE_TRACK0,   /* TRK00 stays active although the head went inward */
    RELEASES
};

/* ---- REQ_LIMITS: what the profiles allow; the device holds the host to it ---- */
enum {
    LIMITS_LAST_CYLINDER = 0, /* u16, to 244: never inward past it; outward at most this + 10 */
    LIMITS_STEP_US = 2,       /* u32: least time from STEP to STEP */
    LIMITS_TURN_US = 6,       /* u32: least time where the direction turns round */
    LIMITS_STEP_LOW_US = 10,  /* u16: STEP low */
    LIMITS_SETTLE_US = 12,    /* u32: no WGATE before this after the last STEP */
    LIMITS_ERASE_US = 16,     /* u32: after WGATE no step, side, select or motor change */
    LIMITS_GATE_US = 20,      /* u32: longest WGATE */
    LIMITS_BYTES = 24
};
#define LIMITS_OUTWARD_MORE 10  /* steps past the last cylinder, looking for TRK00 */
#define LIMITS_RESTORES     2   /* one try and one more */
#define LIMITS_STEP_US_MIN  500 /* no drive is faster */
#define LIMITS_TRACK0_WITHIN                                                                   \
    3 /* TRK00 is inactive so many cylinders inward, or it is stuck                            \
       */

#define ARM_NAME_MAX       32
#define ARM_WITHIN_MS      2000  /* second arming after the first */
#define ARM_HOLDS_MS       10000 /* write after the second */
#define SUPPLY_THERE_MV    4500
#define PIN_LEVELS_BYTES   16
#define PROTO_CONTROL_MAX  512 /* no request or reply is longer */
#define PROTO_WATCHDOG_MS  500 /* longest watchdog that a device may have */
#define PROTO_HEARTBEAT_MS 100 /* a stream sends a frame at least so often */

/* ---- frames ---- */
#define PROTO_SYNC0       0xb6
#define PROTO_SYNC1       0x57
#define PROTO_FRAME_HEAD  24
#define PROTO_FRAME_CHECK 4
#define PROTO_FRAME_MIN   (PROTO_FRAME_HEAD + PROTO_FRAME_CHECK)
#define PROTO_FRAME_MAX   512
#define PROTO_RECORD_HEAD 4
#define PROTO_SPAN_MAX    0xffffffffu
#define FRAME_LAST        1 /* the stream ends here */

enum record_type {
    REC_STATE = 0x01, /* u32 lines known, u32 levels: at the first tick. In the first frame of a
                         stream, after each LOST, and at least once a second */
    REC_EVENTS = 0x02, /* see below */
    REC_WIDTHS = 0x03, /* see below */
    REC_LOST = 0x04,   /* LOST_BYTES: what the device could not keep, before the first tick */
    REC_MARK = 0x05,   /* MARK_BYTES: something that the device did */
    REC_RAILS = 0x06,  /* i32 mV of V5, V12, V24 at the frame's end, or WIRE_NO_METER */
};

/* LOST: nothing of `lines` is known from `from` (not before the end of the frame before) to
 * `to` (not after the first tick of this frame). */
enum {
    LOST_FROM = 0,    /* u64 tick */
    LOST_TO = 8,      /* u64 tick */
    LOST_COUNT = 16,  /* u32 events; LOST_UNCOUNTED */
    LOST_LINES = 20,  /* u32 */
    LOST_REASON = 24, /* u8: enum lost_reason */
    LOST_BYTES = 25
};
#define LOST_UNCOUNTED 0xffffffffu
enum lost_reason { LOST_HOST_SLOW = 1, LOST_SAMPLER = 2 };

enum {
    MARK_AFTER = 0, /* u32 ticks after the first */
    MARK_KIND = 4,  /* u8: enum mark */
    MARK_VALUE = 5, /* u32 */
    MARK_BYTES = 9
};
enum mark {
    MARK_RELEASED = 1, /* value: enum release */
    MARK_STEPPED = 2,  /* a step train ended; value: cylinder, or CYLINDER_UNKNOWN */
    MARK_WRITTEN = 3,  /* WGATE was let go; value: us that it was active, 0: never */
    MARK_UNDERRUN = 4, /* playing or writing: the host did not keep up */
};

/* EVENTS: items in order of time, each so many ticks after the one before (the first: after the
 * frame's first tick). A code byte b says what it is:
 *
 *   0x00..0xef  RDATA falls b ticks later
 *   0xf0..0xf7  RDATA falls EVENT_SHORT + (b - 0xf0) * 256 + next byte ticks later
 *   0xf8        RDATA falls; a varint of ticks follows
 *   0xf9        a line changes; a varint of ticks, then u8 line << 1 | level
 *   0xfa        no time passes: the falls that follow are of WDATA
 *   0xfb        the same: of RDATA again, as they are at each frame's beginning
 *   other       not used: the frame is damaged
 *
 * A fall item is a whole pulse. It is sent as a line (0xf9, twice) where its rise came so late
 * that 16 bits do not hold the width, or where something else had to be said while it was low.
 * A fall is the last item, or one follows 0xfa and 0xfb.
 *
 * A varint has 7 bits a byte, low ones first; the top bit says that more follow; at most
 * EVENT_VARINT_MAX bytes.
 *
 * WIDTHS: how long the line stays low after each fall of the EVENTS record behind it: u16 base
 * in ticks, u16 count of the falls, then 4 bits a fall (low half of a byte first): 0..14 is
 * base - 7 .. base + 7, 15 stands for the next of the u16 widths that follow the halves.
 *
 * At 48 MHz a fall of HD MFM (2, 3 or 4 us: 96, 144, 192 ticks) takes 1.5 bytes with its width
 * and 1 without; 500,000 a second in frames of 512 bytes are some 820 and 540 kB/s. */
#define EVENT_SHORT      0xf0
#define EVENT_MIDDLE     0xf0
#define EVENT_MIDDLE_TOP 0xf7
#define EVENT_LONG       0xf8
#define EVENT_LINE       0xf9
#define EVENT_OF_WDATA   0xfa
#define EVENT_OF_RDATA   0xfb
#define EVENT_MIDDLE_END (EVENT_SHORT + 8 * 256) /* first delta that needs EVENT_LONG */
#define EVENT_VARINT_MAX 5
#define WIDTH_SPREAD     7
#define WIDTH_APART      15

/* ---- bulk OUT: blocks of pulses to play (as-drive) or to write ----
 *
 *    0  u8[2]  PROTO_SYNC0 PROTO_SYNC1
 *    2  u16    length of the whole block, PROTO_BLOCK_MIN .. PROTO_FRAME_MAX
 *    4  u32    sequence, from 0 after REQ_PLAY or REQ_ARM_ONE
 *    8  items as in EVENTS: a fall of RDATA is a pulse to play or write; line INDEX may change
 *  end  u32    CRC-32 of all bytes before it
 *
 * A block that is wrong is dropped and the bulk OUT endpoint stalled. */
#define PROTO_BLOCK_HEAD 8
#define PROTO_BLOCK_MIN  (PROTO_BLOCK_HEAD + PROTO_FRAME_CHECK)

#endif
