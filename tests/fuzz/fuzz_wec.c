/* Any bytes as a .wec file, as they are, and with the checksums put right: a fuzzer never
 * guesses those, and what lies behind them must hold too. */
#include "capture/wec.h"
#include "drain.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <zlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* The input as the plain payload of an EDGE chunk in a file that is right in all else. */
static void drain_payload(const uint8_t *data, size_t size)
{
    static const char HEADER[] = "tick 10000000/1\nlines INDEX RDATA STEP\nrails V5 V12\n";
    uint8_t *file = malloc(compressBound((uLong)size) + 1000);
    if (file == NULL)
        return;
    memcpy(file, WEC_MAGIC, WEC_MAGIC_BYTES);
    file[WEC_MAGIC_BYTES] = WEC_VERSION;
    size_t at = WEC_MAGIC_BYTES + 1;
    const struct {
        const char *type;
        const uint8_t *plain;
        size_t len;
    } CHUNKS[] = {{"HEAD", (const uint8_t *)HEADER, sizeof HEADER - 1}, {"EDGE", data, size}};
    for (uint32_t i = 0; i < 2; i++) {
        uLongf packed = compressBound((uLong)CHUNKS[i].len);
        if (compress2(file + at + WEC_FRAME_BYTES, &packed, CHUNKS[i].plain,
                      (uLong)CHUNKS[i].len, 1) != Z_OK)
            break;
        struct wec_frame f = {
            .sequence = i,
            .packed_len = (uint32_t)packed,
            .plain_len = (uint32_t)CHUNKS[i].len,
            .last_tick = i == 0 ? 0 : INT64_C(1) << 40,
            .payload_crc = (uint32_t)crc32(0, file + at + WEC_FRAME_BYTES, (uInt)packed)};
        memcpy(f.type, CHUNKS[i].type, sizeof f.type);
        wec_frame_put(&f, file + at);
        at += WEC_FRAME_BYTES + packed;
    }
    drain(file, at, NULL);
    free(file);
}

/* A copy with every check of a frame and its payload put right, as far as the frames reach. */
static void drain_checked(const uint8_t *data, size_t size)
{
    uint8_t *copy = malloc(size + 1);
    if (copy == NULL)
        return;
    memcpy(copy, data, size);
    size_t at = WEC_MAGIC_BYTES + 1;
    for (uint32_t i = 0; at + WEC_FRAME_BYTES <= size; i++) {
        struct wec_frame f;
        uint8_t *head = copy + at;
        uint32_t crc = (uint32_t)crc32(0, head, WEC_FRAME_BYTES - 4);
        for (unsigned k = 0; k < 4; k++)
            head[36 + k] = (uint8_t)(crc >> (8 * k));
        if (!wec_frame_get(head, &f) || f.packed_len > size - at - WEC_FRAME_BYTES)
            break;
        f.sequence = i;
        f.payload_crc = (uint32_t)crc32(0, head + WEC_FRAME_BYTES, f.packed_len);
        wec_frame_put(&f, head);
        at += WEC_FRAME_BYTES + f.packed_len;
    }
    drain(copy, size, NULL);
    free(copy);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    drain(data, size, NULL);
    drain_checked(data, size);
    drain_payload(data, size);
    return 0;
}
