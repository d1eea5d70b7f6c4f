#include "adapter/items.h"

#include "adapter/wire.h"

static size_t put_varint(uint8_t *p, uint32_t v)
{
    size_t n = 0;
    while (v >= 0x80) {
        p[n++] = (uint8_t)(v | 0x80);
        v >>= 7;
    }
    p[n++] = (uint8_t)v;
    return n;
}

size_t item_put_fall(uint8_t *p, uint32_t delta)
{
    if (delta < EVENT_SHORT) {
        p[0] = (uint8_t)delta;
        return 1;
    }
    if (delta < EVENT_MIDDLE_END) {
        p[0] = (uint8_t)(EVENT_MIDDLE + ((delta - EVENT_SHORT) >> 8));
        p[1] = (uint8_t)(delta - EVENT_SHORT);
        return 2;
    }
    p[0] = EVENT_LONG;
    return 1 + put_varint(p + 1, delta);
}

size_t item_put_index(uint8_t *p, uint32_t delta, bool high)
{
    p[0] = EVENT_LINE;
    size_t n = 1 + put_varint(p + 1, delta);
    p[n] = (uint8_t)(WIRE_INDEX << 1 | high);
    return n + 1;
}

size_t item_len(const uint8_t *p)
{
    size_t n = 1;
    if (p[0] < EVENT_MIDDLE)
        return 1;
    if (p[0] <= EVENT_MIDDLE_TOP)
        return 2;
    while (p[n] & 0x80)
        n++;
    return n + 1 + (p[0] == EVENT_LINE);
}

size_t block_close(uint8_t *block, size_t items, uint32_t sequence)
{
    size_t len = PROTO_BLOCK_HEAD + items;
    block[0] = PROTO_SYNC0;
    block[1] = PROTO_SYNC1;
    put_u16(block + 2, (uint32_t)(len + PROTO_FRAME_CHECK));
    put_u32(block + 4, sequence);
    put_u32(block + len, wire_crc32(0, block, len));
    return len + PROTO_FRAME_CHECK;
}
