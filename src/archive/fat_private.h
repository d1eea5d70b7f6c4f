/* Between the files that read a FAT volume. */
#ifndef WHICHEND_ARCHIVE_FAT_PRIVATE_H
#define WHICHEND_ARCHIVE_FAT_PRIVATE_H

#include "archive/fat.h"

#define FAT_CLUSTERS_MAX 65524 /* more would be another format than ECMA-107's */

/* A volume while it is read. Offsets are in bytes of the image. */
struct fat_walk {
    const struct fat_image *image;
    struct fat_volume *v;
    size_t table, root, data; /* where they begin */
    size_t cluster_bytes;
    uint16_t *next;    /* of every cluster, from either table */
    uint8_t *doubtful; /* no table has that entry in a sector that counts; one byte a cluster */
    uint8_t *owned;    /* by a file: one byte a cluster */
};

#define FAT_FREE 0
#define FAT_BAD  0xFFF7 /* of both kinds, once read */
#define FAT_END  0xFFF8 /* and above */

uint16_t fat_u16(const uint8_t *p);
uint32_t fat_u32(const uint8_t *p);
/* Worst state of a stretch; FIELD_ABSENT past the image's end. */
enum field_state fat_state(const struct fat_image *image, size_t offset, size_t len);

/* Boot record: bits 0 where it is none. */
bool fat_boot(const struct fat_image *image, struct fat_volume *v);
/* Both tables into w->next. ERR_MEMORY. */
enum err fat_tables(struct fat_walk *w);
/* Root and folders into v->file. ERR_MEMORY. */
enum err fat_folders(struct fat_walk *w);

#endif
