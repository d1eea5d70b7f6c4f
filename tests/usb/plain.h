/* A device whose stream is a count: byte i of the stream says what it must be, so that one byte
 * lost, doubled or in the wrong place is seen. It answers REQ_IDENTIFY and these requests:
 *
 *   REQ_START   data: u32 bytes a second (0: as fast as they are taken), u64 bytes in all; ends
 * with a short or empty packet REQ_STOP    no more REQ_STATUS  u32 bytes that came by bulk OUT,
 * u32 sum of them
 */
#ifndef WHICHEND_TESTS_PLAIN_H
#define WHICHEND_TESTS_PLAIN_H

#include "usb_device.h"

struct plain;

struct plain *plain_new(const char *serial, size_t packet);
struct usb_device *plain_device(struct plain *p);
void plain_free(struct plain *p);

/* Byte i of the stream: a 32-bit count, little endian, stirred so that no run looks like
 * another. */
static inline uint8_t plain_byte(uint64_t i)
{
    return (uint8_t)(((uint32_t)(i / 4) * 2654435761u) >> (8 * (i % 4)));
}

#endif
