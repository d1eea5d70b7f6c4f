/* Items of bulk OUT blocks (protocol.h), as a host makes them. */
#ifndef WHICHEND_ADAPTER_ITEMS_H
#define WHICHEND_ADAPTER_ITEMS_H

#include "adapter/protocol.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define ITEM_BYTES_MAX (1 + EVENT_VARINT_MAX + 1)

/* Each returns the bytes written at p. */
size_t item_put_fall(uint8_t *p, uint32_t delta);
size_t item_put_index(uint8_t *p, uint32_t delta, bool high);

/* Bytes of the item at p, which one of the above wrote. */
size_t item_len(const uint8_t *p);

/* Head and check around the items that stand at block + PROTO_BLOCK_HEAD, `items` bytes of
 * them. Returns the length of the whole block. */
size_t block_close(uint8_t *block, size_t items, uint32_t sequence);

/* Room for items in one block. */
#define BLOCK_ITEMS_MAX (PROTO_FRAME_MAX - PROTO_BLOCK_HEAD - PROTO_FRAME_CHECK)

#endif
