/* Little-endian numbers, and the check word. Freestanding: for device and host. */
#ifndef WHICHEND_ADAPTER_WIRE_H
#define WHICHEND_ADAPTER_WIRE_H

#include <stddef.h>
#include <stdint.h>

static inline void put_u16(uint8_t *p, uint32_t v)
{
    p[0] = (uint8_t)v;
    p[1] = (uint8_t)(v >> 8);
}
static inline void put_u32(uint8_t *p, uint32_t v)
{
    put_u16(p, v);
    put_u16(p + 2, v >> 16);
}
static inline void put_u64(uint8_t *p, uint64_t v)
{
    put_u32(p, (uint32_t)v);
    put_u32(p + 4, (uint32_t)(v >> 32));
}
static inline uint16_t get_u16(const uint8_t *p)
{
    return (uint16_t)(p[0] | (unsigned)p[1] << 8);
}
static inline uint32_t get_u32(const uint8_t *p)
{
    return get_u16(p) | (uint32_t)get_u16(p + 2) << 16;
}
static inline uint64_t get_u64(const uint8_t *p)
{
    return get_u32(p) | (uint64_t)get_u32(p + 4) << 32;
}

/* CRC-32 of ISO 3309 over more bytes; begin with 0. */
uint32_t wire_crc32(uint32_t crc, const uint8_t *bytes, size_t len);

#endif
