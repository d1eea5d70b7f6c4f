/* Private to src/report: maps of sectors, cylinders across, downward in the order on the track,
 * a panel a side. */
#ifndef WHICHEND_REPORT_PAGE_MAP_H
#define WHICHEND_REPORT_PAGE_MAP_H

#include "base/buf.h"

#include <stddef.h>
#include <stdint.h>

enum look {
    LOOK_GOOD,
    LOOK_ONCE, /* good, in one turn alone */
    LOOK_REPAIRED,
    LOOK_DAMAGED,
    LOOK_ABSENT,
    LOOK_NO_ID, /* its identifier is damaged */
    LOOKS
};

struct map_sector {
    int32_t cylinder, side;
    uint32_t row; /* place on the track */
    enum look look;
};

#define MAP_CYLINDERS_MAX 128
#define MAP_ROWS_MAX      48

struct sector_map {
    const char *id, *title;
    const char *describe; /* figures in words; the map says what does not fit */
    const struct map_sector *sector;
    size_t count;
};

/* Nothing for no sectors. */
enum err map_draw(struct buf *out, const struct sector_map *m);

#endif
