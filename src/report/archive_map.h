/* What an archive's disk.json says of its disk, read back for a page. */
#ifndef WHICHEND_REPORT_ARCHIVE_MAP_H
#define WHICHEND_REPORT_ARCHIVE_MAP_H

#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct archived_sector {
    int32_t cylinder, side, number;
    char state[12]; /* good, repaired, damaged, absent */
    bool sure;      /* two turns alike */
};

/* A file of the volume that touches what is not good. */
struct archived_file {
    char path[256];
    bool folder, entry_good;
    int64_t bytes;
    int32_t repaired, damaged, absent; /* sectors */
    char problem[80];                  /* of its chain; "" none */
};
#define ARCHIVED_FILES_MAX 256

struct archived_told {
    char key[24], value[400];
};
#define ARCHIVED_TOLD_MAX    16
#define ARCHIVED_PASSES_MAX  24
#define ARCHIVED_SECTORS_MAX 65536

struct archive_map {
    bool complete;
    char utc[32], crc32[16];
    int64_t bytes; /* of the image; 0 none */
    int32_t cylinders, sides;
    struct archived_told told[ARCHIVED_TOLD_MAX]; /* of the object, what was told */
    size_t told_count;
    struct archived_told pass[ARCHIVED_PASSES_MAX]; /* when, and from what */
    size_t pass_count, passes;                      /* kept, and in all */
    struct archived_sector *sector;
    size_t sector_count, outside;
    char volume[16], label[16]; /* "FAT12"; "" none is found */
    bool tables_agree;
    size_t files, files_touched;                   /* folders among them */
    struct archived_file file[ARCHIVED_FILES_MAX]; /* the first of those touched */
    size_t file_count;
};

/* ERR_NO_INPUT, ERR_FORMAT for what archive did not write. */
enum err archive_map_read(const char *path, struct archive_map *out, struct err_msg *e);
void archive_map_release(struct archive_map *m);

#endif
