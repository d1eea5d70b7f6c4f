/* Any bytes as a VCD (or whatever they are found to be): read to the end, with lines mapped by
 * hand. */
#include "drain.h"

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
    drain(data, size, &map);
    line_map_release(&map);
    return 0;
}
