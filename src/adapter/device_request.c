/* Control requests: every field is checked before anything changes. */
#include "adapter/device_private.h"
#include "adapter/wire.h"

static void put_caps(const struct device *d, uint8_t *p)
{
    static const char magic[] = PROTO_MAGIC;
    const struct device_config *c = d->config;
    for (unsigned i = 0; i < PROTO_MAGIC_BYTES; i++)
        p[CAP_MAGIC + i] = (uint8_t)magic[i];
    put_u16(p + CAP_MAJOR, PROTO_MAJOR);
    put_u16(p + CAP_MINOR, PROTO_MINOR);
    put_u16(p + CAP_LENGTH, CAP_BYTES);
    put_u16(p + CAP_FLAGS, c->flags);
    put_u32(p + CAP_LINES_IN, c->lines_in);
    put_u32(p + CAP_LINES_OUT, c->lines_out);
    put_u32(p + CAP_ROLES, c->roles);
    put_u32(p + CAP_TICK_HZ, c->tick_hz);
    put_u32(p + CAP_BUFFER, c->queue_bytes);
    put_u32(p + CAP_PLAY, c->play_bytes);
    put_u32(p + CAP_RAILS, c->rails);
    put_u32(p + CAP_WATCHDOG_MS, c->watchdog_ms);
    put_u32(p + CAP_PULSE, c->pulse_ticks);
    p[CAP_PINS] = c->pins[0];
    p[CAP_PINS + 1] = c->pins[1];
    p[CAP_PINS + 2] = p[CAP_PINS + 3] = 0;
}

static uint8_t status_flags(const struct device *d, uint64_t now)
{
    return (uint8_t)((d->stream.on ? STATF_STREAMING : 0) |
                     (device_armed_one(d, now) ? STATF_ARMED_ONE : 0) |
                     (device_armed_two(d, now) ? STATF_ARMED_TWO : 0) |
                     (d->pull_ups ? STATF_PULL_UPS : 0) | (d->play.on ? STATF_PLAYING : 0) |
                     (d->play.writing || d->play.waits_index ? STATF_WRITING : 0) |
                     (d->motion.phase != STEP_IDLE ? STATF_STEPPING : 0));
}

static void put_status(const struct device *d, uint8_t *p)
{
    uint64_t now = d->hw->ticks(d->ctx);
    p[STATUS_ROLE] = (uint8_t)d->role;
    p[STATUS_FLAGS] = status_flags(d, now);
    p[STATUS_REFUSAL] = (uint8_t)d->refusal;
    p[STATUS_RELEASED] = (uint8_t)d->released;
    put_u32(p + STATUS_DRIVEN, d->driven);
    put_u32(p + STATUS_LEVELS, d->hw->levels(d->ctx));
    put_u64(p + STATUS_TICK, now);
    put_u32(p + STATUS_LOST, d->stream.lost_total + d->stream.lost);
    put_u32(p + STATUS_QUEUED, d->stream.queued);
    put_u32(p + STATUS_PEAK, d->stream.peak);
    put_u32(p + STATUS_CHALLENGE, device_armed_one(d, now) ? d->arming.challenge : 0);
    uint32_t unit = d->driven & WIRE_SELECTS;
    bool known = d->role == WIRE_ROLE_AS_DRIVE ||
                 (d->motion.known && (unit == 0 || unit == d->motion.unit));
    put_u16(p + STATUS_CYLINDER, known ? d->motion.cylinder : CYLINDER_UNKNOWN);
    put_u16(p + STATUS_PLAY_FREE, (d->config->play_bytes - d->play.fill) / 64);
    for (unsigned i = 0; i < WIRE_RAILS; i++) {
        bool metered = (d->config->rails & WIRE_BIT(i)) != 0;
        int32_t mv = metered ? d->hw->rail_mv(d->ctx, i) : WIRE_NO_METER;
        put_u32(p + STATUS_RAILS + 4 * i, (uint32_t)mv);
    }
}

int device_control_in(struct device *d, uint8_t request, uint16_t value, uint8_t *reply,
                      size_t room)
{
    uint8_t whole[CAP_BYTES]; /* the longest */
    _Static_assert((int)CAP_BYTES >= (int)STATUS_BYTES, "replies fit");
    size_t len = 0;
    if (request == REQ_IDENTIFY) {
        put_caps(d, whole);
        len = CAP_BYTES;
    } else if (request == REQ_STATUS) {
        put_status(d, whole);
        len = STATUS_BYTES;
    } else if (request == REQ_PIN_LEVELS && d->role == WIRE_ROLE_BOTH_PLUGS) {
        d->hw->pin_levels(d->ctx, false, whole);
        len = PIN_LEVELS_BYTES;
    } else {
        d->refusal = request == REQ_PIN_LEVELS ? REFUSE_ROLE : REFUSE_UNKNOWN;
        return -1;
    }
    (void)value;
    d->heard_at = d->hw->ticks(d->ctx);
    len = len < room ? len : room;
    for (size_t i = 0; i < len; i++)
        reply[i] = whole[i];
    return (int)len;
}

static bool voltage(struct device *d)
{
    uint8_t high[PIN_LEVELS_BYTES] = {0};
    d->hw->pin_levels(d->ctx, true, high);
    uint8_t any = 0;
    for (unsigned i = 0; i < PIN_LEVELS_BYTES; i++)
        any |= high[i];
    return any != 0;
}

static enum refusal take_role(struct device *d, uint16_t value)
{
    unsigned role = value & 0xff;
    unsigned unit = value >> 8;
    if (role >= WIRE_ROLES || unit > 3 || (unit != 0 && role != WIRE_ROLE_AS_DRIVE))
        return REFUSE_MALFORMED;
    if (role != WIRE_ROLE_NONE && !(d->config->roles & (1u << role)))
        return REFUSE_ROLE;
    device_release(d, RELEASE_ASKED);
    if (role >= WIRE_ROLE_BOTH_PLUGS && !(d->config->flags & CAPF_PINS_FLOAT))
        return REFUSE_ROLE; /* it could not see a voltage on what it would drive */
    if (role >= WIRE_ROLE_BOTH_PLUGS && voltage(d))
        return REFUSE_VOLTAGE;
    static const struct device_motion still;
    d->motion = still;
    d->motion.known = role == WIRE_ROLE_AS_DRIVE; /* its head begins at track 0 */
    d->role = (enum wire_role)role;
    d->unit = (uint8_t)unit;
    d->levels = d->hw->levels(d->ctx);
    d->quiet_since = d->selected_at = d->hw->ticks(d->ctx);
    d->selected_sum = 0;
    if (role == WIRE_ROLE_AS_DRIVE) /* until the host says otherwise the disk is protected */
        d->wanted = WIRE_BIT(WIRE_WPROT);
    d->selected =
        role == WIRE_ROLE_AS_DRIVE && (d->levels & WIRE_BIT(WIRE_SELECT0 + unit)) == 0;
    return REFUSE_NOTHING;
}

static enum refusal take_limits(struct device *d, const uint8_t *p)
{
    struct device_limits l = {.given = true,
                              .last_cylinder = get_u16(p + LIMITS_LAST_CYLINDER),
                              .step_us = get_u32(p + LIMITS_STEP_US),
                              .turn_us = get_u32(p + LIMITS_TURN_US),
                              .step_low_us = get_u16(p + LIMITS_STEP_LOW_US),
                              .settle_us = get_u32(p + LIMITS_SETTLE_US),
                              .erase_us = get_u32(p + LIMITS_ERASE_US),
                              .gate_us = get_u32(p + LIMITS_GATE_US)};
    if (d->role != WIRE_ROLE_AS_MACHINE && d->role != WIRE_ROLE_AS_DRIVE)
        return REFUSE_ROLE;
    if (d->limits.given)
        return REFUSE_BUSY;
    if (l.last_cylinder + LIMITS_OUTWARD_MORE >= 255 || l.step_us < LIMITS_STEP_US_MIN ||
        l.turn_us < l.step_us || l.step_low_us == 0 || l.step_low_us >= l.step_us ||
        l.step_us > 1000000 || l.turn_us > 1000000 || l.settle_us > 1000000 ||
        l.erase_us > 1000000 || l.gate_us > 1000000)
        return REFUSE_LIMIT;
    d->limits = l;
    return REFUSE_NOTHING;
}

static enum refusal may_drive(struct device *d, uint32_t mask, uint64_t now)
{
    if (d->role != WIRE_ROLE_AS_MACHINE && d->role != WIRE_ROLE_AS_DRIVE &&
        d->role != WIRE_ROLE_LOOP)
        return REFUSE_ROLE;
    uint32_t may = d->config->lines_out;
    if (d->role == WIRE_ROLE_AS_MACHINE)
        may &= WIRE_FROM_MACHINE & ~(WIRE_NEVER_BY_HAND | WIRE_BIT(WIRE_DIR));
    if (d->role == WIRE_ROLE_AS_DRIVE)
        may &= WIRE_FROM_DRIVE &
               ~(WIRE_BIT(WIRE_INDEX) | WIRE_BIT(WIRE_TRK00) | WIRE_BIT(WIRE_RDATA));
    if (!(d->config->flags & CAPF_WRITE_LINK))
        may &= ~WIRE_BIT(WIRE_WGATE);
    if (mask & ~may)
        return REFUSE_LINE;
    if (d->role != WIRE_ROLE_LOOP && !d->limits.given)
        return REFUSE_NO_LIMITS;
    if (device_erasing(d, now))
        return REFUSE_ERASE_DELAY;
    if (d->play.waits_index)
        return REFUSE_BUSY;
    if (d->motion.phase != STEP_IDLE && (mask & (WIRE_SELECTS | WIRE_MOTORS)) != 0)
        return REFUSE_BUSY;
    if (d->role == WIRE_ROLE_AS_MACHINE && !d->master) {
        if (!device_bus_free(d, now))
            return REFUSE_BUS_ALIVE;
        d->master = true;
    }
    return REFUSE_NOTHING;
}

static enum refusal drive(struct device *d, uint32_t mask, uint32_t active)
{
    enum refusal why = may_drive(d, mask, d->hw->ticks(d->ctx));
    if (why == REFUSE_NOTHING && (active & ~mask) != 0)
        why = REFUSE_MALFORMED;
    if (why != REFUSE_NOTHING)
        return why;
    d->wanted = (d->wanted & ~mask) | active;
    device_drive(d);
    return REFUSE_NOTHING;
}

static enum refusal pull_ups(struct device *d, uint16_t value)
{
    if (value > 1 || !(d->config->flags & CAPF_PULL_UPS))
        return REFUSE_MALFORMED;
    if (value == 1 && d->role == WIRE_ROLE_NONE)
        return REFUSE_ROLE;
    if (value == 1 && d->role != WIRE_ROLE_LOOP &&
        d->hw->rail_mv(d->ctx, WIRE_V5) < SUPPLY_THERE_MV)
        return REFUSE_NO_SUPPLY;
    d->pull_ups = value == 1;
    d->hw->pull_ups(d->ctx, d->pull_ups);
    return REFUSE_NOTHING;
}

static enum refusal pin(struct device *d, uint16_t value, uint8_t low)
{
    unsigned plug = value & 0xff;
    unsigned number = value >> 8;
    if (d->role != WIRE_ROLE_BOTH_PLUGS)
        return REFUSE_ROLE;
    if (plug > 1 || number == 0 || number > d->config->pins[plug] || low > 1)
        return REFUSE_MALFORMED;
    uint64_t bit = (uint64_t)1 << (number - 1);
    d->pins_low[plug] = low != 0 ? d->pins_low[plug] | bit : d->pins_low[plug] & ~bit;
    d->pins_at = d->hw->ticks(d->ctx);
    d->hw->pin(d->ctx, plug, number, low != 0);
    return REFUSE_NOTHING;
}

static enum refusal start(struct device *d, uint16_t value, uint32_t lines)
{
    if (value > 255 || (lines & ~d->config->lines_in) != 0 || lines == 0)
        return REFUSE_MALFORMED;
    if (d->stream.on && !d->stream.stopping) /* one that stops may belong to a host that died */
        return REFUSE_BUSY;
    device_stream_start(d, (uint8_t)value, lines);
    return REFUSE_NOTHING;
}

/* Bytes of data that a request takes; -1: any number. */
static int data_len(uint8_t request)
{
    switch (request) {
    case REQ_LIMITS:
        return LIMITS_BYTES;
    case REQ_START:
    case REQ_ARM_TWO:
    case REQ_WRITE:
        return 4;
    case REQ_DRIVE:
        return 8;
    case REQ_STEP:
        return 2;
    case REQ_PIN:
        return 1;
    case REQ_ARM_ONE:
        return -1;
    default:
        return 0;
    }
}

static enum refusal obey(struct device *d, uint8_t request, uint16_t value, const uint8_t *p,
                         size_t len)
{
    switch (request) {
    case REQ_ALIVE:
        return REFUSE_NOTHING;
    case REQ_ROLE:
        return take_role(d, value);
    case REQ_LIMITS:
        return take_limits(d, p);
    case REQ_START:
        return start(d, value, get_u32(p));
    case REQ_STOP:
        device_stream_stop(d, false);
        return REFUSE_NOTHING;
    case REQ_RELEASE:
        device_release(d, RELEASE_ASKED);
        return REFUSE_NOTHING;
    case REQ_DRIVE:
        return drive(d, get_u32(p), get_u32(p + 4));
    case REQ_STEP:
        return value > 1 ? REFUSE_MALFORMED : device_step(d, value == 1, get_u16(p));
    case REQ_PULL_UPS:
        return pull_ups(d, value);
    case REQ_ARM_ONE:
        return device_arm_one(d, p, len);
    case REQ_ARM_TWO:
        return device_arm_two(d, get_u32(p));
    case REQ_DISARM:
        device_write_stop(d);
        return REFUSE_NOTHING;
    case REQ_WRITE:
        return value > 1 ? REFUSE_MALFORMED : device_write(d, value == 1, get_u32(p));
    case REQ_PLAY:
        if (value == 1)
            return device_play_start(d);
        device_play_stop(d);
        return value == 0 ? REFUSE_NOTHING : REFUSE_MALFORMED;
    case REQ_PIN:
        return pin(d, value, p[0]);
    default:
        return REFUSE_UNKNOWN;
    }
}

int device_control_out(struct device *d, uint8_t request, uint16_t value, const uint8_t *data,
                       size_t len)
{
    int wants = data_len(request);
    enum refusal why = REFUSE_MALFORMED;
    if (wants < 0 || (size_t)wants == len)
        why = obey(d, request, value, data, len);
    if (why != REFUSE_UNKNOWN && why != REFUSE_MALFORMED)
        d->heard_at = d->hw->ticks(d->ctx);
    if (why == REFUSE_NOTHING)
        return 0;
    d->refusal = why;
    return -1;
}
