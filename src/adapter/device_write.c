/* Writing: two armings that cannot happen by one mistake, and what must hold when the gate
 * opens.
 */
#include "adapter/device_private.h"
#include "adapter/wire.h"

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
    return protected(d) ? REFUSE_WPROT : REFUSE_NOTHING;
}

enum refusal device_arm_one(struct device *d, const uint8_t *name, size_t len)
{
    struct device_arming *a = &d->arming;
    uint64_t now = d->hw->ticks(d->ctx);
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
    uint64_t off = d->play.gate_off_at;
    return d->play.writing || (off != 0 && now - off < device_us(d, d->limits.erase_us));
}

enum refusal device_write(struct device *d, uint32_t gate_us)
{
    uint64_t now = d->hw->ticks(d->ctx);
    bool armed = device_armed_two(d, now);
    enum refusal why = may_arm(d);
    if (d->play.writing)
        return REFUSE_BUSY;
    device_disarm(d); /* one write an arming, whatever comes of it */
    if (why != REFUSE_NOTHING)
        return why;
    if (!armed)
        return REFUSE_NOT_ARMED;
    if (d->motion.phase != STEP_IDLE)
        return REFUSE_BUSY;
    if (gate_us == 0 || gate_us > d->limits.gate_us)
        return REFUSE_LIMIT;
    if (!one_selected(d->hw->levels(d->ctx)))
        return REFUSE_SELECT;
    if (d->motion.moved && now - d->motion.last_step < device_us(d, d->limits.settle_us))
        return REFUSE_SETTLE;
    if (device_erasing(d, now))
        return REFUSE_ERASE_DELAY;
    if (d->play.fill == 0)
        return REFUSE_NO_DATA;
    d->play.writing = true;
    d->play.waits_index = false;
    d->play.tick = d->play.gate_from = now;
    d->play.gate_until = now + device_us(d, gate_us);
    device_drive(d);
    return REFUSE_NOTHING;
}
