/* Pulses from bulk OUT: a drive's read data with INDEX, or what is written. */
#include "adapter/device_private.h"
#include "adapter/wire.h"

void device_play_clear(struct device *d)
{
    d->play.fill = d->play.head = d->play.sequence = 0;
    d->play.index_at = 0;
}

static uint8_t at(const struct device *d, uint32_t i)
{
    return d->config->play[(d->play.head + i) % d->config->play_bytes];
}

static void use(struct device *d, uint32_t n)
{
    d->play.head = (d->play.head + n) % d->config->play_bytes;
    d->play.fill -= n;
}

static uint32_t take_varint(struct device *d)
{
    uint32_t v = 0;
    for (unsigned i = 0; i < EVENT_VARINT_MAX && d->play.fill > 0; i++) {
        uint8_t byte = at(d, 0);
        use(d, 1);
        v |= (uint32_t)(byte & 0x7f) << (7 * i);
        if ((byte & 0x80) == 0)
            break;
    }
    return v;
}

bool device_play_take(struct device *d, struct play_item *out)
{
    if (d->play.fill == 0)
        return false;
    uint8_t code = at(d, 0);
    *out = (struct play_item){code, true, false};
    if (code < EVENT_SHORT) {
        use(d, 1);
    } else if (code <= EVENT_MIDDLE_TOP) {
        out->delta = EVENT_SHORT + ((uint32_t)(code - EVENT_MIDDLE) << 8) + at(d, 1);
        use(d, 2);
    } else {
        use(d, 1);
        out->delta = take_varint(d);
        if (code == EVENT_LINE) {
            out->pulse = false;
            out->high = at(d, 0) & 1;
            use(d, 1);
        }
    }
    return true;
}

/* Every item whole, and none but falls and INDEX. */
static bool items_hold(const uint8_t *p, const uint8_t *end)
{
    while (p < end) {
        uint8_t code = *p++;
        if (code > EVENT_LINE)
            return false;
        if (code >= EVENT_MIDDLE && code <= EVENT_MIDDLE_TOP && p++ == end)
            return false;
        if (code < EVENT_LONG)
            continue;
        unsigned n = 1;
        while (p < end && (*p & 0x80) != 0 && n < EVENT_VARINT_MAX) {
            p++;
            n++;
        }
        if (p == end || (*p++ & 0x80) != 0)
            return false;
        if (code == EVENT_LINE && (p == end || *p++ >> 1 != WIRE_INDEX))
            return false;
    }
    return true;
}

bool device_block_room(const struct device *d)
{
    return d->config->play_bytes - d->play.fill >= PROTO_FRAME_MAX;
}

bool device_block(struct device *d, const uint8_t *bytes, size_t len)
{
    if (len < PROTO_BLOCK_MIN || len > PROTO_FRAME_MAX || bytes[0] != PROTO_SYNC0 ||
        bytes[1] != PROTO_SYNC1 || get_u16(bytes + 2) != len || !device_block_room(d))
        return false;
    size_t body = len - PROTO_FRAME_CHECK;
    if (wire_crc32(0, bytes, body) != get_u32(bytes + body) ||
        get_u32(bytes + 4) != d->play.sequence)
        return false;
    if (!items_hold(bytes + PROTO_BLOCK_HEAD, bytes + body))
        return false;
    d->play.sequence++;
    uint32_t to = (d->play.head + d->play.fill) % d->config->play_bytes;
    for (size_t i = PROTO_BLOCK_HEAD; i < body; i++) {
        d->config->play[to] = bytes[i];
        to = to + 1 == d->config->play_bytes ? 0 : to + 1;
    }
    d->play.fill += (uint32_t)(body - PROTO_BLOCK_HEAD);
    return true;
}

enum refusal device_play_start(struct device *d)
{
    if (d->role != WIRE_ROLE_AS_DRIVE)
        return REFUSE_ROLE;
    if (!d->limits.given)
        return REFUSE_NO_LIMITS;
    d->play.on = true;
    d->play.begun = d->play.hushed = false;
    d->play.tick = d->hw->ticks(d->ctx) + device_ms(d, DEVICE_AHEAD_MS);
    return REFUSE_NOTHING;
}

void device_play_stop(struct device *d)
{
    d->play.on = d->play.index_low = false;
    d->hw->no_pulses(d->ctx);
    device_play_clear(d);
    device_drive(d);
}

void device_play_hush(struct device *d)
{
    d->play.hushed = true;
    d->hw->no_pulses(d->ctx);
}

static void index_due(struct device *d, uint64_t now)
{
    if (d->play.index_at == 0 || d->play.index_at > now)
        return;
    d->play.index_at = 0;
    d->play.index_low = !d->play.index_low;
    device_drive(d);
}

void device_play_pulse(struct device *d)
{
    d->play.last_pulse = d->play.tick;
    d->hw->pulse(d->ctx, d->play.tick);
}

static void play_on(struct device *d, uint64_t now)
{
    struct device_play *p = &d->play;
    struct play_item i;
    uint64_t until = now + device_ms(d, DEVICE_AHEAD_MS);
    index_due(d, now);
    while (p->tick < until && p->index_at == 0) {
        if (!device_play_take(d, &i)) {
            if (p->tick < now && p->begun) /* nothing was there in time */
                device_stream_mark(d, MARK_UNDERRUN, 0);
            if (p->tick < now)
                p->tick = until;
            return;
        }
        p->begun = true;
        p->tick += i.delta;
        if (!i.pulse && i.high == p->index_low)
            p->index_at = p->tick;
        else if (i.pulse && d->master && d->selected && !p->hushed && p->tick > now)
            device_play_pulse(d);
    }
}

void device_play_poll(struct device *d, uint64_t now)
{
    if (d->play.on)
        play_on(d, now);
}

uint64_t device_play_next(const struct device *d)
{
    if (d->play.writing)
        return d->play.gate_until;
    return d->play.on && d->play.index_at != 0 ? d->play.index_at : UINT64_MAX;
}
