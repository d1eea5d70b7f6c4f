/* A good disk to answer a machine with: whole turns of read data taken out of a capture, track
 * by track, as blocks for the adapter's bulk OUT. */
#ifndef WHICHEND_ADAPTER_PLAYER_H
#define WHICHEND_ADAPTER_PLAYER_H

#include "adapter/protocol.h"
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct player_track {
    int cylinder, side;
    uint8_t *item; /* one turn, index pulse first, as items of EVENTS; goes round */
    size_t len;
    uint32_t pulses;
};

struct player {
    struct player_track *track;
    size_t tracks, cap;
    struct player_track blank; /* index pulses and nothing else, for what was not visited */
};

/* The first whole turn of each track that the capture holds. ERR_FORMAT where it holds none. */
enum err player_load(struct player *p, const char *path, uint32_t tick_hz, struct err_msg *e);
void player_release(struct player *p); /* safe on a zeroed struct */

/* NULL where the capture did not visit it. */
const struct player_track *player_find(const struct player *p, int cylinder, int side);

/* The next block of a track: *at is where in the turn it begins, moved on; 0 at first. Returns
 * its length, at most PROTO_FRAME_MAX. */
size_t player_block(const struct player_track *t, size_t *at, uint32_t sequence, uint8_t *out);

#endif
