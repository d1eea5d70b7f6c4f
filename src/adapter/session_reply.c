/* Replies of an adapter, which may lie, and words for what it says. */
#include "adapter/session.h"
#include "adapter/wire.h"

#include <string.h>

_Static_assert((int)WIRE_LINES == (int)LINE_COUNT && (int)WIRE_SELECT3 == (int)LINE_SELECT3 &&
                   (int)WIRE_WGATE == (int)LINE_WGATE && (int)WIRE_INDEX == (int)LINE_INDEX &&
                   (int)WIRE_RDATA == (int)LINE_RDATA && (int)WIRE_FAULT == (int)LINE_FAULT,
               "lines on the wire are the lines of base/line.h");
_Static_assert((int)WIRE_RAILS == (int)RAIL_COUNT && (int)WIRE_V24 == (int)RAIL_V24,
               "rails on the wire are the rails of base/line.h");

#define TICK_HZ_MIN 1000000u
#define TICK_HZ_MAX 1000000000u
#define BUFFER_MIN  1024u

static const char *contradiction(const struct adapter_caps *c)
{
    if (c->tick_hz < TICK_HZ_MIN || c->tick_hz > TICK_HZ_MAX)
        return "its clock has no possible rate";
    if (c->lines_in == 0 || (c->lines_in & ~WIRE_ALL) != 0)
        return "it records no line, or lines that there are not";
    if ((c->lines_out & ~WIRE_ALL) != 0)
        return "it drives lines that there are not";
    if ((c->roles & ~((1u << WIRE_ROLES) - 2u)) != 0 || c->roles == 0)
        return "it takes no role, or roles that there are not";
    bool drives = (c->roles & (1u << WIRE_ROLE_AS_MACHINE | 1u << WIRE_ROLE_AS_DRIVE)) != 0;
    if (drives && (c->lines_out == 0 || (c->lines_out & ~c->lines_in) != 0))
        return "it drives lines that it cannot read back";
    if (drives && (c->watchdog_ms == 0 || c->watchdog_ms > PROTO_WATCHDOG_MS))
        return "it would hold its outputs although nobody is there";
    if (c->buffer < BUFFER_MIN)
        return "it has no buffer";
    if ((c->roles & 1u << WIRE_ROLE_BOTH_PLUGS) != 0 &&
        (c->pins[0] == 0 || c->pins[0] > 64 || c->pins[1] == 0 || c->pins[1] > 64))
        return "its plugs have no possible number of pins";
    if ((c->rails & ~((1u << WIRE_RAILS) - 1u)) != 0)
        return "it meters rails that there are not";
    return NULL;
}

enum err caps_read(const uint8_t *r, size_t len, struct adapter_caps *out, struct err_msg *e)
{
    struct adapter_caps c;
    if (len < CAP_LENGTH || memcmp(r + CAP_MAGIC, PROTO_MAGIC, PROTO_MAGIC_BYTES) != 0)
        return err_set(e, ERR_ADAPTER, "this is no adapter: it does not answer as one");
    c.major = get_u16(r + CAP_MAJOR);
    c.minor = get_u16(r + CAP_MINOR);
    if (c.major != PROTO_MAJOR)
        return err_set(e, ERR_ADAPTER,
                       "the adapter speaks version %u.%u of the protocol, this program %u; one "
                       "of the two needs another version",
                       c.major, c.minor, (unsigned)PROTO_MAJOR);
    if (len < CAP_BYTES || get_u16(r + CAP_LENGTH) < CAP_BYTES)
        return err_set(e, ERR_ADAPTER, "the adapter's capabilities are cut short");
    c.flags = get_u16(r + CAP_FLAGS);
    c.lines_in = get_u32(r + CAP_LINES_IN);
    c.lines_out = get_u32(r + CAP_LINES_OUT);
    c.roles = get_u32(r + CAP_ROLES);
    c.tick_hz = get_u32(r + CAP_TICK_HZ);
    c.buffer = get_u32(r + CAP_BUFFER);
    c.play = get_u32(r + CAP_PLAY);
    c.rails = get_u32(r + CAP_RAILS);
    c.watchdog_ms = get_u32(r + CAP_WATCHDOG_MS);
    c.pulse = get_u32(r + CAP_PULSE);
    c.pins[0] = r[CAP_PINS];
    c.pins[1] = r[CAP_PINS + 1];
    const char *why = contradiction(&c);
    if (why != NULL)
        return err_set(e, ERR_ADAPTER, "the adapter's capabilities cannot be true: %s", why);
    *out = c;
    return ERR_OK;
}

enum err status_read(const uint8_t *r, size_t len, struct adapter_status *out,
                     struct err_msg *e)
{
    if (len < STATUS_BYTES)
        return err_set(e, ERR_ADAPTER, "the adapter's status is cut short");
    if (r[STATUS_ROLE] >= WIRE_ROLES || r[STATUS_REFUSAL] >= REFUSALS ||
        r[STATUS_RELEASED] >= RELEASES)
        return err_set(e, ERR_ADAPTER, "the adapter's status makes no sense");
    uint16_t cylinder = get_u16(r + STATUS_CYLINDER);
    *out = (struct adapter_status){.role = (enum wire_role)r[STATUS_ROLE],
                                   .flags = r[STATUS_FLAGS],
                                   .refusal = (enum refusal)r[STATUS_REFUSAL],
                                   .released = (enum release)r[STATUS_RELEASED],
                                   .driven = get_u32(r + STATUS_DRIVEN),
                                   .levels = get_u32(r + STATUS_LEVELS),
                                   .tick = get_u64(r + STATUS_TICK),
                                   .lost = get_u32(r + STATUS_LOST),
                                   .queued = get_u32(r + STATUS_QUEUED),
                                   .peak = get_u32(r + STATUS_PEAK),
                                   .challenge = get_u32(r + STATUS_CHALLENGE),
                                   .cylinder = cylinder == CYLINDER_UNKNOWN ? -1 : cylinder,
                                   .play_free = 64u * get_u16(r + STATUS_PLAY_FREE)};
    for (unsigned i = 0; i < WIRE_RAILS; i++) {
        uint32_t mv = get_u32(r + STATUS_RAILS + 4 * i);
        memcpy(&out->rail_mv[i], &mv, sizeof mv);
    }
    return ERR_OK;
}

const char *refusal_text(enum refusal r)
{
    static const char *const text[REFUSALS] = {
        [REFUSE_NOTHING] = "no reason given",
        [REFUSE_UNKNOWN] = "it does not know the request",
        [REFUSE_MALFORMED] = "the request is malformed",
        [REFUSE_ROLE] = "it cannot do this in this role",
        [REFUSE_BUSY] = "it is busy",
        [REFUSE_LINE] = "it cannot, or must not, drive that line",
        [REFUSE_NO_LIMITS] = "it has not been told the drive's limits",
        [REFUSE_LIMIT] = "that is past the drive's limits",
        [REFUSE_LOST_HEAD] = "no step inward before track 0 was seen",
        [REFUSE_NO_SUPPLY] = "the drive's +5 V is not there",
        [REFUSE_BUS_ALIVE] = "another master is on the bus, or a line is held: a line that it "
                             "would drive moves or is active",
        [REFUSE_VOLTAGE] = "a conductor carries voltage: take the cable off machine and drive",
        [REFUSE_NOT_ARMED] = "writing is not armed",
        [REFUSE_WRITE_LINK] = "its write link is open, as shipped",
        [REFUSE_WPROT] = "the disk is write protected",
        [REFUSE_SELECT] = "not exactly one unit is selected",
        [REFUSE_ERASE_DELAY] = "the write gate was active a moment ago",
        [REFUSE_SETTLE] = "the head has not settled",
        [REFUSE_NO_DATA] = "there is nothing to write",
        [REFUSE_NO_INDEX] = "no index pulse came to begin at",
    };
    return (unsigned)r < REFUSALS && text[r] != NULL ? text[r] : "for a reason not known here";
}

const char *release_text(enum release r)
{
    static const char *const text[RELEASES] = {
        [RELEASE_START] = "the adapter was reset",
        [RELEASE_ASKED] = "as asked",
        [RELEASE_BUS] = "the USB connection was reset or suspended",
        [RELEASE_SILENCE] = "the program gave no sign of life in time",
        [RELEASE_READBACK] =
            "an output did not follow: its line is held high, or its driver is "
            "dead",
        [RELEASE_TRAVEL] = "track 0 was not found in two searches",
        [RELEASE_CLASH] =
            "a line went active, or stays so, that the adapter does not pull: another master, "
            "or two lines that touch",
        [RELEASE_TRACK0] = "TRK00 stays active while the head goes inward: it is stuck, and "
                           "nothing tells the head's place",
    };
    return (unsigned)r < RELEASES ? text[r] : "for a reason not known here";
}

const char *role_word(enum wire_role role)
{
    static const char *const word[WIRE_ROLES] = {NULL,       "inline",     "as-machine",
                                                 "as-drive", "both-plugs", "loop"};
    return (unsigned)role < WIRE_ROLES ? word[role] : NULL;
}
