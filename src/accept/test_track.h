/* A track to write on a scratch disk and find again: sectors in the ISO/ECMA MFM track format,
 * with numbers that no usual format has, so that what was there before is told apart.
 */
#ifndef WHICHEND_ACCEPT_TEST_TRACK_H
#define WHICHEND_ACCEPT_TEST_TRACK_H

#include "base/err.h"
#include "profile/profile.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define TEST_SECTOR_FIRST 0xA1 /* number of the first sector; 512 bytes each */

enum test_pattern {
    TEST_SPARSE,  /* 55h: the longest intervals, the hardest to write over */
    TEST_CROWDED, /* 6D B6 DBh: short beside long, the most peak shift (common practice) */
    TEST_ERASED,  /* hardly a transition */
    TEST_PATTERNS
};

/* What a drive's profile gives room for. */
struct test_layout {
    double cell_ns; /* channel cell */
    double turn_ns; /* at the rated speed */
    int sectors;
};
/* false: its profile knows no MFM, or no speed. */
bool test_layout_of(const struct profile *drive, struct test_layout *out);

/* Pulses from the index on, in ticks after one another, for a little less than a turn. *delta
 * is yours: free. ERR_MEMORY. */
enum err test_track_make(const struct test_layout *l, enum test_pattern pattern, int cylinder,
                         int side, uint32_t tick_hz, uint32_t **delta, size_t *count);

#endif
