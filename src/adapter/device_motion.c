/* Step trains, and how far they may go. The device keeps the count: a host that is wrong, or
 * lies, cannot drive a positioner out of its groove or hammer its stop. */
#include "adapter/device_private.h"

#define DIR_SETUP_US 24 /* DIR stable before STEP: more than any drive asks for */

uint32_t device_motion_lines(const struct device *d)
{
    const struct device_motion *m = &d->motion;
    uint32_t low = 0;
    if (m->phase != STEP_IDLE && !m->outward)
        low |= WIRE_BIT(WIRE_DIR);
    if (m->phase == STEP_LOW)
        low |= WIRE_BIT(WIRE_STEP);
    return low;
}

static enum refusal travel(const struct device *d, bool outward, uint16_t steps)
{
    const struct device_motion *m = &d->motion;
    uint32_t most = (uint32_t)d->limits.last_cylinder + LIMITS_OUTWARD_MORE;
    if (!outward && !m->known)
        return REFUSE_LOST_HEAD;
    if (!outward && (uint32_t)m->cylinder + steps > d->limits.last_cylinder)
        return REFUSE_LIMIT;
    bool search = outward && (!m->known || steps > m->cylinder);
    if (search && (steps > most || m->restores >= LIMITS_RESTORES))
        return REFUSE_LIMIT;
    return REFUSE_NOTHING;
}

enum refusal device_step(struct device *d, bool outward, uint16_t steps)
{
    struct device_motion *m = &d->motion;
    uint64_t now = d->hw->ticks(d->ctx);
    if (d->role != WIRE_ROLE_AS_MACHINE)
        return REFUSE_ROLE;
    if (!d->limits.given)
        return REFUSE_NO_LIMITS;
    if (m->phase != STEP_IDLE || d->play.writing || d->play.waits_index)
        return REFUSE_BUSY;
    if (device_erasing(d, now))
        return REFUSE_ERASE_DELAY;
    if (!d->master)
        return REFUSE_BUS_ALIVE;
    if (steps == 0)
        return REFUSE_MALFORMED;
    uint32_t unit = d->driven & WIRE_SELECTS;
    if (unit == 0 || (unit & (unit - 1)) != 0)
        return REFUSE_SELECT; /* steps that nobody takes would be counted */
    if (unit != m->unit) {    /* another drive has its head elsewhere */
        m->unit = unit;
        m->known = false;
    }
    enum refusal why = travel(d, outward, steps);
    if (why != REFUSE_NOTHING)
        return why;
    uint64_t from = now;
    if (m->moved) {
        bool turns = outward != m->last_outward;
        uint32_t gap_us = turns ? d->limits.turn_us : d->limits.step_us;
        uint64_t soonest = m->last_step + device_us(d, gap_us);
        from = soonest > now ? soonest : now;
    }
    if (outward && steps > m->cylinder)
        m->known = false; /* a search for track 0 */
    m->outward = outward;
    m->left = steps;
    m->phase = STEP_SET_DIR;
    m->at = from + device_us(d, DIR_SETUP_US);
    device_drive(d);
    return REFUSE_NOTHING;
}

static bool at_track0(const struct device *d)
{
    return (d->hw->levels(d->ctx) & WIRE_BIT(WIRE_TRK00)) == 0;
}

static void ends(struct device *d)
{
    struct device_motion *m = &d->motion;
    m->phase = STEP_IDLE;
    m->left = 0;
    device_drive(d);
    device_stream_mark(d, MARK_STEPPED, m->known ? m->cylinder : CYLINDER_UNKNOWN);
    if (m->outward && !m->known && ++m->restores >= LIMITS_RESTORES)
        device_release(d, RELEASE_TRAVEL);
}

static void count(struct device_motion *m)
{
    if (!m->known)
        return;
    if (!m->outward)
        m->cylinder++;
    else if (m->cylinder > 0)
        m->cylinder--;
}

/* A search ends where TRK00 is active; a head that goes inward must leave it. false: released.
 */
static bool heed_track0(struct device *d)
{
    struct device_motion *m = &d->motion;
    if (!at_track0(d))
        return true;
    if (m->outward) {
        m->known = true;
        m->cylinder = 0;
        m->restores = 0;
        m->left = 0;
    } else if (m->cylinder >= LIMITS_TRACK0_WITHIN) {
        m->known = false;
        device_release(d, RELEASE_TRACK0);
        return false;
    }
    return true;
}

/* One phase after another; a phase that is over leads to the next. Each counts from when it
 * really began: a poll that came late makes no step shorter. */
static void phase_over(struct device *d, uint64_t now)
{
    struct device_motion *m = &d->motion;
    uint64_t low = device_us(d, d->limits.step_low_us);
    if (m->phase == STEP_LOW) {
        bool followed = (d->hw->levels(d->ctx) & WIRE_BIT(WIRE_STEP)) == 0;
        m->phase = STEP_HIGH;
        m->at = m->last_step + device_us(d, d->limits.step_us);
        if (m->at < now + low)
            m->at = now + low;
        m->left--;
        count(m);
        device_drive(d);
        if (!followed)
            device_release(d, RELEASE_READBACK);
        return;
    }
    if (!heed_track0(d))
        return;
    if (m->left == 0) {
        ends(d);
        return;
    }
    m->phase = STEP_LOW;
    m->moved = true;
    m->last_step = now;
    m->last_outward = m->outward;
    m->at = now + low;
    device_drive(d);
}

void device_motion_poll(struct device *d, uint64_t now)
{
    while (d->motion.phase != STEP_IDLE && d->motion.at <= now)
        phase_over(d, now);
}

/* As a drive: where the machine's steps would have put the head. What lay under it before is
 * not read any more. */
void device_motion_edge(struct device *d, uint64_t tick, unsigned line, bool high)
{
    struct device_motion *m = &d->motion;
    if (d->role == WIRE_ROLE_AS_DRIVE && line == WIRE_SIDE)
        device_play_hush(d);
    if (d->role != WIRE_ROLE_AS_DRIVE || line != WIRE_STEP || !high || !d->selected)
        return;
    bool inward = (d->levels & WIRE_BIT(WIRE_DIR)) == 0;
    m->moved = true;
    m->last_step = tick;
    if (inward && m->cylinder < d->limits.last_cylinder)
        m->cylinder++;
    else if (!inward && m->cylinder > 0)
        m->cylinder--;
    device_play_hush(d);
    device_drive(d);
}
