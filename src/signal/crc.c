/* Check bytes of the ISO/ECMA formats: x^16 + x^12 + x^5 + 1, most significant bit first. */
#include "signal/signal.h"

/* Remainders of the sixteen values of one nibble. */
static const uint16_t nibble_remainder[16] = {
    0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50A5, 0x60C6, 0x70E7,
    0x8108, 0x9129, 0xA14A, 0xB16B, 0xC18C, 0xD1AD, 0xE1CE, 0xF1EF,
};

static uint16_t add_nibble(uint16_t crc, unsigned nibble)
{
    return (uint16_t)((unsigned)crc << 4 ^ nibble_remainder[(unsigned)crc >> 12 ^ nibble]);
}

uint16_t crc16_update(uint16_t crc, const uint8_t *bytes, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        crc = add_nibble(crc, bytes[i] >> 4);
        crc = add_nibble(crc, bytes[i] & 15u);
    }
    return crc;
}
