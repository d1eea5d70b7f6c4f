/* Any bytes as a CSV: read to the end. */
#include "drain.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    drain(data, size, NULL);
    return 0;
}
