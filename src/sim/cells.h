/* Channel cells of FM and MFM, and whole tracks in the ISO/ECMA layouts. */
#ifndef WHICHEND_SIM_CELLS_H
#define WHICHEND_SIM_CELLS_H

#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* One byte a cell, 1 where there is a transition. */
struct cells {
    uint8_t *cell;
    size_t count, cap;
    bool last_one; /* last data bit written, for the MFM clock rule */
    bool failed;   /* out of memory once: everything after is dropped */
};

void sim_cells_release(struct cells *c);
void sim_cells_mfm_byte(struct cells *c, uint8_t byte);
void sim_cells_mfm_mark(struct cells *c, uint16_t pattern); /* 4489 or 5224 */
void sim_cells_fm_byte(struct cells *c, uint8_t byte, uint8_t clock);

uint16_t sim_crc16(uint16_t crc, uint8_t byte); /* x16+x12+x5+1, most significant bit first */

/* How a disk is laid out. */
struct disk_format {
    bool fm;
    double cell_ns; /* one channel cell at the speed it was made for */
    double turn_ns; /* of that speed */
    int sectors;
    int size_code; /* 128 << code bytes */
    int gap3;
    int cylinders, sides;
};

#define SECTOR_BYTES_MAX 1024

/* What the sectors of a disk hold: an image's, by cylinder, side and number, as far as it goes;
 * else what follows from the seed. */
struct disk_content {
    uint64_t seed;
    const uint8_t *image; /* borrowed; NULL none */
    size_t image_bytes;
};
void sim_sector_fill(const struct disk_content *d, const struct disk_format *f, int cylinder,
                     int side, int sector, uint8_t *out);

/* A data field from its sync on (marks, data, check bytes, one byte for the gate's turn-off).
 */
void sim_cells_data_field(struct cells *c, const struct disk_format *f, const uint8_t *data);
/* A whole track, from the index to at least `total` cells. */
void sim_cells_track(struct cells *c, const struct disk_format *f,
                     const struct disk_content *content, int cylinder, int side, size_t total);

#endif
