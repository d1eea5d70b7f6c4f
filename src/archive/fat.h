/* A FAT volume on the image, where it is one: what hangs together, and which files touch
 * sectors that are not good. Source: ECMA-107, Volume and File Structure of Disk Cartridges for
 * Information Interchange (boot record, 12-bit and 16-bit tables, root directory).
 *
 * Every number on a disk may be damaged or meant to harm: all are bounded by the image.
 */
#ifndef WHICHEND_ARCHIVE_FAT_H
#define WHICHEND_ARCHIVE_FAT_H

#include "archive/layout.h"
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define FAT_STATE_UNIT 128 /* bytes of the image that one state stands for */

/* An image and what its parts count as: an enum field_state for every FAT_STATE_UNIT bytes;
 * state NULL: all of it is good. Borrowed. */
struct fat_image {
    const uint8_t *bytes;
    size_t len;
    const uint8_t *state;
};

#define FAT_PATH_MAX 256
struct fat_file {
    char path[FAT_PATH_MAX]; /* "LETTERS/SPRING.TXT"; what cannot be shown is '?' */
    bool folder;
    uint32_t bytes;      /* as its entry says */
    uint16_t date, time; /* as its entry has them */
    uint32_t clusters;   /* of its chain, as far as it holds */
    int32_t touched[4];  /* sectors of it, by enum field_state */
    bool entry_good;     /* the sector that names it is */
    const char *problem; /* of its chain; NULL none */
};

struct fat_volume {
    int bits; /* of a table's entry: 12 or 16; 0: no volume is found */
    char label[12];
    uint32_t sector_bytes, cluster_sectors, reserved, tables, root_entries, sectors,
        table_sectors, track_sectors, heads;
    uint32_t clusters;              /* in the data area */
    uint32_t used, free, bad, lost; /* of them; lost: used, and no file's */
    int64_t differ;                 /* entries in which the tables do not agree */
    int64_t differ_good;            /* of those: entries that lie in good sectors of both */
    bool short_image;               /* the volume is larger than the image */
    bool truncated;                 /* more files, or deeper folders, than are listed */
    struct fat_file *file;          /* folders too, in the order of the directory */
    size_t count, cap;
};

/* out->bits is 0 where the image holds no FAT volume. ERR_MEMORY only. */
enum err fat_read(const struct fat_image *image, struct fat_volume *out);
void fat_release(struct fat_volume *v);
/* Some sector of it is not good, or its chain is broken. */
bool fat_file_touched(const struct fat_file *f);

/* State of every FAT_STATE_UNIT bytes of the image; yours. ERR_MEMORY. */
enum err fat_states(const struct archive_layout *l, uint8_t **out);
/* Cylinders and sides that a volume of this layout needs; zeros where it does not fit it. */
struct archive_extent fat_extent(const struct fat_volume *v, const struct archive_layout *l);

#endif
