#include "adapter/device.h"

#include "adapter/device_private.h"
#include "adapter/wire.h"

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

/* What stays pulled for the rest of the erase delay. */
static void fade(struct device *d, enum release why)
{
    uint64_t now = d->hw->ticks(d->ctx);
    d->fading = 0;
    if (why == RELEASE_START || !device_erasing(d, now))
        return;
    if (d->play.writing) {
        d->play.gate_off_at = now;
        d->play.wrote = true;
    }
    d->fading = d->driven & ~WIRE_NEVER_BY_HAND;
    d->fade_at = d->play.gate_off_at + device_us(d, d->limits.erase_us);
}

void device_release(struct device *d, enum release why)
{
    bool held = d->driven != 0 || d->role != WIRE_ROLE_NONE || d->pull_ups;
    fade(d, why);
    d->wanted = 0;
    d->role = WIRE_ROLE_NONE;
    d->master = false;
    d->motion.phase = STEP_IDLE;
    d->motion.left = 0;
    d->limits.given = false;
    d->play.on = d->play.writing = d->play.waits_index = d->play.index_low = false;
    device_disarm(d);
    device_play_clear(d);
    d->driven = d->fading;
    d->hw->outputs(d->ctx, d->driven);
    d->hw->pull_ups(d->ctx, false);
    for (unsigned plug = 0; plug < 2; plug++)
        for (unsigned pin = 1; pin <= d->config->pins[plug]; pin++)
            d->hw->pin(d->ctx, plug, pin, false);
    d->pins_low[0] = d->pins_low[1] = 0;
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
    low = (low & d->config->lines_out) | d->fading;
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
    device_write_edge(d, tick, line, high);
}

/* An output that is not low although it was pulled a while ago, or low although it was let go.
 */
static void read_back(struct device *d, uint64_t now)
{
    if (d->role == WIRE_ROLE_NONE || d->role == WIRE_ROLE_LOOP ||
        now - d->driven_at < device_us(d, DEVICE_FOLLOW_US))
        return;
    uint32_t levels = d->hw->levels(d->ctx);
    if (d->driven & levels)
        device_release(d, RELEASE_READBACK);
    else if (d->master && (own_lines(d, now) & ~levels & ~d->driven) != 0)
        device_release(d, RELEASE_CLASH);
}

static void read_back_pins(struct device *d, uint64_t now)
{
    uint8_t high[PIN_LEVELS_BYTES] = {0};
    if ((d->pins_low[0] | d->pins_low[1]) == 0 ||
        now - d->pins_at < device_us(d, DEVICE_FOLLOW_US))
        return;
    d->hw->pin_levels(d->ctx, false, high);
    for (unsigned plug = 0; plug < 2; plug++)
        if (d->pins_low[plug] & get_u64(high + 8 * (size_t)plug)) {
            device_release(d, RELEASE_READBACK);
            return;
        }
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
    read_back_pins(d, now);
    if (d->fading != 0 && now >= d->fade_at) {
        d->fading = 0;
        device_drive(d);
    }
    if (d->role == WIRE_ROLE_AS_DRIVE && !d->master && d->selected && device_bus_free(d, now)) {
        d->master = true;
        device_drive(d);
    }
    if (d->pull_ups && d->role != WIRE_ROLE_LOOP &&
        d->hw->rail_mv(d->ctx, WIRE_V5) < SUPPLY_THERE_MV) {
        d->pull_ups = false;
        d->hw->pull_ups(d->ctx, false);
    }
    device_motion_poll(d, now);
    device_write_poll(d, now);
    device_play_poll(d, now);
    device_stream_poll(d, now);
}

uint64_t device_next(const struct device *d)
{
    uint64_t next = d->motion.phase != STEP_IDLE ? d->motion.at : UINT64_MAX;
    uint64_t play = device_play_next(d);
    if (d->fading != 0 && d->fade_at < next)
        next = d->fade_at;
    return play < next ? play : next;
}

void device_bus_event(struct device *d)
{
    device_release(d, RELEASE_BUS);
    device_stream_stop(d, true);
}
