/* Any bytes as a VCD (or whatever they are found to be): read to the end, with lines mapped by
 * hand. */
#include "capture/capture.h"

#include <stdint.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char *const NAMES[][2] = {
        {"RDATA", "D0:high"}, {"SECTOR", "D0"}, {"V5", "supply"}};
    struct line_map map = {.count = 0};
    /* The last byte says which of the names are mapped, so that files that lack them are read
     * too. */
    for (size_t i = 0; size > 0 && i < sizeof NAMES / sizeof NAMES[0]; i++)
        if (data[size - 1] & 1u << i)
            line_map_add(&map, NAMES[i][0], NAMES[i][1], 0, NULL);
    struct capture *c = NULL;
    struct chunk k = {.last = false};
    struct err_msg e = {.code = ERR_OK};
    int64_t tick = 0;
    if (capture_open_memory("it", data, size, &map, &c, &e) == ERR_OK) {
        while (!k.last && capture_next(c, &k, &e) == ERR_OK) {
            for (size_t i = 0; i < k.count; i++) {
                if (edge_tick(&k, i) < tick || edge_tick(&k, i) > k.end_tick ||
                    !(capture_info(c)->lines & LINE_BIT(edge_line(k.edge[i]))))
                    abort();
                tick = edge_tick(&k, i);
            }
            if (k.count > CHUNK_EDGES_MAX || k.end_tick < tick)
                abort();
        }
    }
    capture_close(c);
    line_map_release(&map);
    return 0;
}
