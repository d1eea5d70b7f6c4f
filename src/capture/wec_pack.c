#include "capture/wec.h"

#include <assert.h>
#include <string.h>

/* ---- writing ---- */

static uint8_t *put_varint(uint8_t *out, uint64_t value)
{
    for (; value >= 128; value >>= 7)
        *out++ = (uint8_t)(value | 128);
    *out++ = (uint8_t)value;
    return out;
}

/* Every second delta from `from` on, byte by byte: all first bytes, then all second ones... */
static uint8_t *put_series(uint8_t *out, const uint64_t *delta, size_t count, size_t from)
{
    bool more = true;
    for (unsigned shift = 0; more; shift += 7) {
        more = false;
        for (size_t i = from; i < count; i += 2) {
            uint64_t rest = delta[i] >> shift;
            if (rest == 0 && shift != 0)
                continue;
            *out++ = (uint8_t)((rest & 127) | (rest >= 128 ? 128u : 0u));
            more = more || rest >= 128;
        }
    }
    return out;
}

static bool alternates(const uint8_t *level, size_t count)
{
    if (level[0] == LEVEL_UNKNOWN)
        return false;
    for (size_t i = 1; i < count; i++)
        if (level[i] != (level[i - 1] ^ 1))
            return false;
    return true;
}

/* One line's edges out of the batch; nothing where it has none. */
static uint8_t *put_line(uint8_t *out, const struct wec_batch *batch, enum line line,
                         size_t channel, struct wec_scratch *s)
{
    size_t n = 0;
    uint64_t before = 0;
    for (size_t i = 0; i < batch->count; i++) {
        packed_edge edge = batch->edge[i];
        if (edge_line(edge) != line)
            continue;
        s->delta[n] = (edge >> 8) - before;
        s->level[n++] = (uint8_t)edge_level(edge);
        before = edge >> 8;
    }
    if (n == 0)
        return out;
    bool turns = alternates(s->level, n);
    *out++ = (uint8_t)channel;
    *out++ = turns ? s->level[0] : 2;
    out = put_varint(out, n);
    if (!turns) {
        memcpy(out, s->level, n);
        out += n;
    }
    out = put_series(out, s->delta, n, 0);
    return put_series(out, s->delta, n, 1);
}

static uint8_t *put_rail(uint8_t *out, const struct wec_batch *batch, enum rail rail,
                         size_t channel)
{
    size_t n = 0;
    for (size_t i = 0; i < batch->rail_count; i++)
        n += batch->rail[i].rail == rail;
    if (n == 0)
        return out;
    *out++ = (uint8_t)channel;
    *out++ = 0;
    out = put_varint(out, n);
    int64_t before = batch->first;
    for (size_t i = 0; i < batch->rail_count; i++) {
        if (batch->rail[i].rail != rail)
            continue;
        int64_t mv = batch->rail[i].millivolt;
        out = put_varint(out, (uint64_t)(batch->rail[i].tick - before));
        out = put_varint(out, mv < 0 ? (uint64_t)(-2 * mv - 1) : (uint64_t)(2 * mv));
        before = batch->rail[i].tick;
    }
    return out;
}

size_t wec_pack(const struct wec_batch *batch, const struct wec_channels *c,
                struct wec_scratch *scratch, uint8_t *out)
{
    uint8_t *p = out + 1; /* the count of groups, at most 30, is one byte */
    size_t groups = 0;
    for (size_t i = 0; i < c->lines; i++) {
        uint8_t *next = put_line(p, batch, c->line[i], i, scratch);
        groups += next != p;
        p = next;
    }
    for (size_t i = 0; i < c->rails; i++) {
        uint8_t *next = put_rail(p, batch, c->rail[i], c->lines + i);
        groups += next != p;
        p = next;
    }
    out[0] = (uint8_t)groups;
    assert((size_t)(p - out) <= WEC_PLAIN_MAX);
    return (size_t)(p - out);
}
