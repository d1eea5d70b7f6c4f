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
    uint32_t turn; /* ticks */
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

#define PLAYER_ITEM_MAX 7

/* Begin so many ticks behind the index: the first item, with the ticks that are left of it,
 * goes into out (PLAYER_ITEM_MAX bytes); returns where the next one lies. */
size_t player_seek(const struct player_track *t, uint32_t phase, uint8_t *out);
/* The next block of a track: *at is where in the turn it begins, moved on; `first` goes before
 * it where it is not NULL. Returns its length, at most PROTO_FRAME_MAX. */
size_t player_block(const struct player_track *t, size_t *at, const uint8_t *first,
                    uint32_t sequence, uint8_t *out);

#endif
