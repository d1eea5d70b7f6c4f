/* Read a capture to its end and hold each chunk to what capture.h promises; a broken promise
 * aborts. */
#ifndef WHICHEND_TESTS_FUZZ_DRAIN_H
#define WHICHEND_TESTS_FUZZ_DRAIN_H

#include "capture/capture.h"

#include <stdint.h>
#include <stdlib.h>

static inline void drain_chunk(const struct capture *c, const struct chunk *k, int64_t *tick)
{
    for (size_t i = 0; i < k->count; i++) {
        if (edge_tick(k, i) < *tick || edge_tick(k, i) > k->end_tick ||
            !(capture_info(c)->lines & LINE_BIT(edge_line(k->edge[i]))))
            abort();
        *tick = edge_tick(k, i);
    }
    for (size_t i = 0; i < k->rail_count; i++)
        if (k->rail[i].tick > k->end_tick || (i > 0 && k->rail[i].tick < k->rail[i - 1].tick))
            abort();
    if (k->count > CHUNK_EDGES_MAX || k->end_tick < *tick)
        abort();
}

/* map may be NULL. */
static inline void drain(const uint8_t *data, size_t size, const struct line_map *map)
{
    struct capture *c = NULL;
    struct chunk k = {.last = false};
    struct err_msg e = {.code = ERR_OK};
    int64_t tick = 0;
    if (capture_open_memory("it", data, size, map, &c, &e) == ERR_OK) {
        while (!k.last && capture_next(c, &k, &e) == ERR_OK)
            drain_chunk(c, &k, &tick);
    }
    capture_close(c);
}

#endif
