/* An archive for people, and as the document that is disk.json. */
#ifndef WHICHEND_REPORT_ARCHIVE_H
#define WHICHEND_REPORT_ARCHIVE_H

#include "archive/fat.h"
#include "archive/object.h"
#include "report/report.h"

#define ARCHIVE_SCHEMA "whichend.archive/1"

struct archive_view {
    const struct archive *archive;
    const struct archive_layout *layout;
    const struct archive_object *object;
    const char *folder; /* as the person gave it */
    const char *utc;    /* when this was written */
    const uint8_t *image;
    const struct fat_volume *volume;
};

/* All of it is there and good. */
bool archive_complete(const struct archive_view *v);
enum err report_archive_json(const struct archive_view *v, struct buf *out);
enum err report_archive_text(const struct archive_view *v, const struct text_style *st,
                             struct buf *out);

#endif
