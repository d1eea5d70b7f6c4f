/* Any bytes as a CSV: read to the end. */
#include "capture/capture.h"

#include <stdint.h>
#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct capture *c = NULL;
    struct chunk k = {.last = false};
    struct err_msg e = {.code = ERR_OK};
    int64_t tick = 0;
    if (capture_open_memory("it", data, size, NULL, &c, &e) == ERR_OK) {
        while (!k.last && capture_next(c, &k, &e) == ERR_OK) {
            for (size_t i = 0; i < k.count; i++) {
                if (edge_tick(&k, i) < tick || edge_tick(&k, i) > k.end_tick)
                    abort();
                tick = edge_tick(&k, i);
            }
            for (size_t i = 0; i < k.rail_count; i++)
                if (k.rail[i].tick > k.end_tick ||
                    (i > 0 && k.rail[i].tick < k.rail[i - 1].tick))
                    abort();
        }
    }
    capture_close(c);
    return 0;
}
