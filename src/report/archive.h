/* An archive for people, and as the document that is disk.json. */
#ifndef WHICHEND_REPORT_ARCHIVE_H
#define WHICHEND_REPORT_ARCHIVE_H

#include "archive/fat.h"
#include "report/report.h"

#define ARCHIVE_SCHEMA "whichend.archive/1"

struct archive_view {
    const struct archive *archive;
    const struct archive_layout *layout;
    const char *folder; /* as the person gave it */
    const char *utc;    /* when this was written */
    const uint8_t *image;
    const struct fat_volume *volume;
};

/* disk.json and disk.img as they were written, into an empty archive. A sector whose
 * bytes are not those that its checksum was made of counts as never read; *out_lost of them.
 * ERR_FORMAT with the reason where it is no such document. */
enum err archive_json_read(const char *name, const char *json, size_t json_len,
                           const uint8_t *image, size_t image_len, struct archive *a,
                           size_t *out_lost, struct err_msg *e);
/* All of it is there and good. */
bool archive_complete(const struct archive_view *v);
enum err report_archive_json(const struct archive_view *v, struct buf *out);
enum err report_archive_text(const struct archive_view *v, const struct text_style *st,
                             struct buf *out);

#endif
