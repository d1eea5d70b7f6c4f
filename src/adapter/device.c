#include "adapter/device.h"

#include "adapter/device_private.h"

#define PULSE_US 3 /* a pulse is over so long after it began */

static uint32_t bit(unsigned line)
{
    return WIRE_BIT(line);
}

void device_init(struct device *d, const struct device_hw *hw, void *ctx,
                 const struct device_config *config)
{
    static const struct device none; /* all zero */
    *d = none;
    d->hw = hw;
    d->ctx = ctx;
    d->config = config;
    device_release(d, RELEASE_START);
    d->levels = hw->levels(ctx);
    d->heard_at = d->quiet_since = hw->ticks(ctx);
}

void device_release(struct device *d, enum release why)
{
    bool held = d->driven != 0 || d->role != WIRE_ROLE_NONE || d->pull_ups;
    d->wanted = 0;
    d->role = WIRE_ROLE_NONE;
    d->master = false;
    d->motion.phase = STEP_IDLE;
    d->motion.left = 0;
    d->limits.given = false;
    d->play.on = d->play.writing = d->play.index_low = false;
    device_disarm(d);
    device_play_clear(d);
    d->driven = 0;
    d->hw->outputs(d->ctx, 0);
    d->hw->pull_ups(d->ctx, false);
    for (unsigned plug = 0; plug < 2; plug++)
        for (unsigned pin = 1; pin <= d->config->pins[plug]; pin++)
            d->hw->pin(d->ctx, plug, pin, false);
    d->pull_ups = false;
    d->released = why;
    d->driven_at = d->hw->ticks(d->ctx);
    if (held)
        device_stream_mark(d, MARK_RELEASED, (uint32_t)why);
}

static uint32_t drive_lines(const struct device *d)
{
    uint32_t low = d->wanted;
    if (!d->master || !d->selected)
        return 0;
    if (d->motion.known && d->motion.cylinder == 0)
        low |= bit(WIRE_TRK00);
    if (d->play.index_low)
        low |= bit(WIRE_INDEX);
    return low;
}

void device_drive(struct device *d)
{
    uint32_t low = 0;
    if (d->role == WIRE_ROLE_LOOP)
        low = d->wanted;
    else if (d->role == WIRE_ROLE_AS_MACHINE && d->master)
        low = d->wanted | device_motion_lines(d) | (d->play.writing ? bit(WIRE_WGATE) : 0);
    else if (d->role == WIRE_ROLE_AS_DRIVE)
        low = drive_lines(d);
    low &= d->config->lines_out;
    if (low == d->driven)
        return;
    d->driven = low;
    d->driven_at = d->hw->ticks(d->ctx);
    d->hw->outputs(d->ctx, low);
}

/* Lines that this role drives and nobody else may. */
static uint32_t own_lines(const struct device *d, uint64_t now)
{
    bool pulses = now <= d->play.last_pulse + device_us(d, PULSE_US);
    if (d->role == WIRE_ROLE_AS_MACHINE)
        return WIRE_FROM_MACHINE & ~(pulses ? bit(WIRE_WDATA) : 0);
    if (d->role == WIRE_ROLE_AS_DRIVE)
        return WIRE_FROM_DRIVE & ~(pulses ? bit(WIRE_RDATA) : 0);
    return 0;
}

bool device_bus_free(const struct device *d, uint64_t now)
{
    uint32_t held = own_lines(d, now) & ~d->hw->levels(d->ctx) & ~d->driven;
    if (held != 0)
        return false;
    if (d->role == WIRE_ROLE_AS_DRIVE)
        return d->selected_sum + (d->selected ? now - d->selected_at : 0) >=
               device_ms(d, DEVICE_ANSWER_MS);
    return now - d->quiet_since >= device_ms(d, DEVICE_LISTEN_MS);
}

static void foreign(struct device *d, uint64_t tick, bool high)
{
    d->quiet_since = tick;
    d->selected_sum = 0;
    d->selected_at = tick;
    if (d->master && !high)
        device_release(d, RELEASE_CLASH);
}

static void select_edge(struct device *d, uint64_t tick, bool high)
{
    if (d->selected && high)
        d->selected_sum += tick - d->selected_at;
    d->selected = !high;
    d->selected_at = tick;
    device_drive(d);
}

void device_edge(struct device *d, uint64_t tick, unsigned line, bool high)
{
    if (line >= WIRE_LINES || ((d->levels & bit(line)) != 0) == high)
        return;
    d->levels ^= bit(line);
    device_stream_edge(d, tick, line, high);
    /* A line that we let go a moment ago rises late; only its fall would be another's doing. */
    bool ours = (d->driven & bit(line)) != 0 || (d->master && high);
    if ((own_lines(d, tick) & bit(line)) != 0 && !ours)
        foreign(d, tick, high);
    if (d->role == WIRE_ROLE_AS_DRIVE && line == WIRE_SELECT0 + (unsigned)d->unit)
        select_edge(d, tick, high);
    device_motion_edge(d, tick, line, high);
    if (line == WIRE_INDEX && !high)
        d->play.waits_index = false;
}

/* An output that is not low although it was pulled a while ago. */
static void read_back(struct device *d, uint64_t now)
{
    if (d->driven == 0 || d->role == WIRE_ROLE_LOOP ||
        now - d->driven_at < device_us(d, DEVICE_FOLLOW_US))
        return;
    if (d->driven & d->hw->levels(d->ctx))
        device_release(d, RELEASE_READBACK);
}

static void watchdog(struct device *d, uint64_t now)
{
    bool matters = d->role > WIRE_ROLE_INLINE || d->pull_ups;
    if (matters && now - d->heard_at > device_ms(d, d->config->watchdog_ms))
        device_release(d, RELEASE_SILENCE);
}

void device_poll(struct device *d)
{
    uint64_t now = d->hw->ticks(d->ctx);
    watchdog(d, now);
    read_back(d, now);
    if (d->role == WIRE_ROLE_AS_DRIVE && !d->master && d->selected && device_bus_free(d, now)) {
        d->master = true;
        device_drive(d);
    }
    if (d->pull_ups && d->hw->rail_mv(d->ctx, WIRE_V5) < SUPPLY_THERE_MV) {
        d->pull_ups = false;
        d->hw->pull_ups(d->ctx, false);
    }
    device_motion_poll(d, now);
    device_play_poll(d, now);
    device_stream_poll(d, now);
}

uint64_t device_next(const struct device *d)
{
    uint64_t next = d->motion.phase != STEP_IDLE ? d->motion.at : UINT64_MAX;
    uint64_t play = device_play_next(d);
    return play < next ? play : next;
}

void device_bus_event(struct device *d)
{
    device_release(d, RELEASE_BUS);
    device_stream_stop(d, true);
}
