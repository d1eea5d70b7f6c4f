/* Writing: two armings that cannot happen by one mistake, and what must hold when the gate
 * opens.
 */
#include "adapter/device_private.h"
#include "adapter/wire.h"

#define LEAD_US         50   /* the gate is open so long before the first pulse counts */
#define LAST_US         3    /* and stays open behind the last one: that pulse is whole */
#define INDEX_WITHIN_MS 1000 /* several turns of any drive */

void device_disarm(struct device *d)
{
    d->arming.one = d->arming.two = false;
    d->arming.challenge = 0;
}

bool device_armed_one(const struct device *d, uint64_t now)
{
    return d->arming.one && now - d->arming.one_at <= device_ms(d, ARM_WITHIN_MS);
}

bool device_armed_two(const struct device *d, uint64_t now)
{
    return d->arming.two && now - d->arming.two_at <= device_ms(d, ARM_HOLDS_MS);
}

static bool protected(const struct device *d)
{
    return (d->hw->levels(d->ctx) & WIRE_BIT(WIRE_WPROT)) == 0;
}

static enum refusal may_arm(const struct device *d)
{
    if (d->role != WIRE_ROLE_AS_MACHINE)
        return REFUSE_ROLE;
    if (!(d->config->flags & CAPF_WRITE_LINK))
        return REFUSE_WRITE_LINK;
    if (!d->limits.given)
        return REFUSE_NO_LIMITS;
    if (!d->master)
        return REFUSE_BUS_ALIVE;
    if ((d->config->rails & WIRE_BIT(WIRE_V5)) &&
        d->hw->rail_mv(d->ctx, WIRE_V5) < SUPPLY_THERE_MV)
        return REFUSE_NO_SUPPLY;
    return protected(d) ? REFUSE_WPROT : REFUSE_NOTHING;
}

enum refusal device_arm_one(struct device *d, const uint8_t *name, size_t len)
{
    struct device_arming *a = &d->arming;
    uint64_t now = d->hw->ticks(d->ctx);
    if (d->play.writing || d->play.waits_index)
        return REFUSE_BUSY;
    device_disarm(d);
    enum refusal why = may_arm(d);
    if (why != REFUSE_NOTHING)
        return why;
    if (len == 0 || len > ARM_NAME_MAX)
        return REFUSE_MALFORMED;
    for (size_t i = 0; i < len; i++) {
        if (name[i] < 0x20 || name[i] == 0x7f)
            return REFUSE_MALFORMED;
        a->name[i] = name[i];
    }
    uint8_t seed[12];
    put_u64(seed, now);
    put_u32(seed + 8, ++a->count);
    a->len = (uint8_t)len;
    a->challenge = wire_crc32(0, seed, sizeof seed) | 1u; /* never 0 */
    a->one = true;
    a->one_at = now;
    device_play_clear(d);
    return REFUSE_NOTHING;
}

enum refusal device_arm_two(struct device *d, uint32_t answer)
{
    struct device_arming *a = &d->arming;
    uint64_t now = d->hw->ticks(d->ctx);
    bool late = !device_armed_one(d, now);
    uint8_t challenge[4];
    put_u32(challenge, a->challenge);
    uint32_t right = wire_crc32(wire_crc32(0, challenge, 4), a->name, a->len);
    enum refusal why = may_arm(d);
    bool armed = !late && why == REFUSE_NOTHING && answer == right;
    device_disarm(d); /* used up, or wrong: one try */
    if (why != REFUSE_NOTHING)
        return why;
    if (!armed)
        return REFUSE_NOT_ARMED;
    a->two = true;
    a->two_at = now;
    return REFUSE_NOTHING;
}

static bool one_selected(uint32_t levels)
{
    uint32_t low = ~levels & WIRE_SELECTS;
    return low != 0 && (low & (low - 1)) == 0;
}

bool device_erasing(const struct device *d, uint64_t now)
{
    const struct device_play *p = &d->play;
    return p->writing || (p->wrote && now - p->gate_off_at < device_us(d, d->limits.erase_us));
}

/* What must hold at the moment when the gate opens. */
static enum refusal may_open(const struct device *d, uint64_t now)
{
    const struct device_motion *m = &d->motion;
    uint32_t levels = d->hw->levels(d->ctx);
    enum refusal why = may_arm(d);
    if (why != REFUSE_NOTHING)
        return why;
    if (m->phase != STEP_IDLE)
        return REFUSE_BUSY;
    if (!one_selected(levels))
        return REFUSE_SELECT;
    if (!m->known || m->unit != (~levels & WIRE_SELECTS))
        return REFUSE_LOST_HEAD;
    if (m->moved && now - m->last_step < device_us(d, d->limits.settle_us))
        return REFUSE_SETTLE;
    if (device_erasing(d, now))
        return REFUSE_ERASE_DELAY;
    return d->play.fill == 0 ? REFUSE_NO_DATA : REFUSE_NOTHING;
}

static void open_gate(struct device *d, uint64_t tick)
{
    struct device_play *p = &d->play;
    p->waits_index = false;
    p->writing = true;
    p->gate_from = tick;
    p->gate_until = tick + device_us(d, p->gate_us);
    p->tick = tick + device_us(d, LEAD_US);
    device_drive(d);
    device_write_poll(d, tick);
}

enum refusal device_write(struct device *d, bool at_index, uint32_t gate_us)
{
    uint64_t now = d->hw->ticks(d->ctx);
    bool armed = device_armed_two(d, now);
    if (d->play.writing || d->play.waits_index)
        return REFUSE_BUSY;
    device_disarm(d); /* one write an arming, whatever comes of it */
    enum refusal why = may_arm(d);
    if (why == REFUSE_NOTHING && !armed)
        why = REFUSE_NOT_ARMED;
    if (why == REFUSE_NOTHING && (gate_us == 0 || gate_us > d->limits.gate_us))
        why = REFUSE_LIMIT;
    if (why == REFUSE_NOTHING)
        why = may_open(d, now);
    if (why != REFUSE_NOTHING)
        return why;
    d->play.gate_us = gate_us;
    d->play.gate_from = now;
    d->play.waits_index = at_index;
    if (!at_index)
        open_gate(d, now);
    return REFUSE_NOTHING;
}

/* The gate shuts, or does not open after all. */
static void shut_gate(struct device *d, uint64_t now)
{
    struct device_play *p = &d->play;
    uint64_t us = p->writing ? (now - p->gate_from) * 1000000u / d->config->tick_hz + 1 : 0;
    if (p->writing) {
        p->gate_off_at = now;
        p->wrote = true;
    }
    p->writing = p->waits_index = false;
    device_play_clear(d);
    device_drive(d);
    device_stream_mark(d, MARK_WRITTEN, (uint32_t)us);
}

void device_write_stop(struct device *d)
{
    device_disarm(d);
    if (d->play.writing || d->play.waits_index)
        shut_gate(d, d->hw->ticks(d->ctx));
}

void device_write_edge(struct device *d, uint64_t tick, unsigned line, bool high)
{
    if (!d->play.waits_index || line != WIRE_INDEX || high)
        return;
    enum refusal why = may_open(d, tick);
    if (why == REFUSE_NOTHING) {
        open_gate(d, tick);
        return;
    }
    d->refusal = why;
    shut_gate(d, tick);
}

/* Pulses ahead of their time. false: too late for one of them. */
static bool give_pulses(struct device *d, uint64_t now)
{
    struct device_play *p = &d->play;
    struct play_item i;
    uint64_t ahead = now + device_ms(d, DEVICE_AHEAD_MS);
    uint64_t until = ahead < p->gate_until ? ahead : p->gate_until;
    while (p->tick < until) {
        if (!device_play_take(d, &i)) { /* all is written */
            uint64_t over = p->tick + device_us(d, LAST_US);
            p->gate_until = over < p->gate_until ? over : p->gate_until;
            return true;
        }
        p->tick += i.delta;
        if (!i.pulse || p->tick >= p->gate_until)
            continue;
        if (p->tick <= now)
            return false;
        device_play_pulse(d);
    }
    return true;
}

void device_write_poll(struct device *d, uint64_t now)
{
    struct device_play *p = &d->play;
    if (p->waits_index && now - p->gate_from > device_ms(d, INDEX_WITHIN_MS)) {
        d->refusal = REFUSE_NO_INDEX;
        shut_gate(d, now);
    }
    if (!p->writing)
        return;
    if (protected(d)) {
        d->refusal = REFUSE_WPROT;
        shut_gate(d, now);
    } else if (!give_pulses(d, now)) {
        device_stream_mark(d, MARK_UNDERRUN, 0);
        shut_gate(d, now);
    } else if (now >= p->gate_until) {
        shut_gate(d, now);
    }
}
