/* What the image holds: every sector that the disk should have, in its place.
 *
 * Sectors lie in the image by cylinder, side, sector number. Which numbers a track should have
 * is taken from the disk itself: those that a quarter or more of its tracks have, and all
 * between.
 */
#ifndef WHICHEND_ARCHIVE_LAYOUT_H
#define WHICHEND_ARCHIVE_LAYOUT_H

#include "archive/archive.h"

struct archive_slot {
    int32_t cylinder, side;
    uint8_t number, size_code;
    const struct archive_sector *sector; /* NULL: no identifier of it was ever read; borrowed */
    size_t offset;
};

/* A sector that is no part of the image, and why. */
struct archive_outside {
    int32_t cylinder, side;
    const struct archive_sector *sector;
    const char *why;
};

struct archive_layout {
    struct archive_slot *slot;
    size_t count, cap;
    struct archive_outside *outside;
    size_t outside_count, outside_cap;
    size_t bytes;
    int32_t cylinders, sides;
    bool uniform; /* all tracks alike: the next three hold for all */
    int32_t sectors;
    uint8_t first_number, size_code;
    enum encoding encoding;
    int32_t blank; /* places within that were looked at and hold no sector */
};

/* Cylinders and sides that are there whatever was read; 0: only what was. */
struct archive_extent {
    int32_t cylinders, sides;
};

/* Borrows from a, which must not change meanwhile. ERR_MEMORY. */
enum err archive_layout_make(const struct archive *a, const struct archive_extent *least,
                             struct archive_layout *out);
void archive_layout_release(struct archive_layout *l);

/* What stands in a slot where nothing was read. */
enum archive_fill { FILL_NONE, FILL_AS_READ, FILL_PATTERN };
enum archive_fill archive_slot_fill(const struct archive_slot *s);
enum field_state archive_slot_state(const struct archive_slot *s);
extern const char ARCHIVE_PATTERN[]; /* repeated over an absent sector */
/* The image, layout->bytes of it; yours. */
enum err archive_image(const struct archive_layout *l, uint8_t **out);
uint32_t archive_crc32(const uint8_t *bytes, size_t len);

struct archive_totals {
    int64_t sectors, state[4], sure, seen_absent; /* state by enum field_state; seen_absent:
                                                     identifier read, data never */
};
struct archive_totals archive_count(const struct archive_layout *l);

#endif
