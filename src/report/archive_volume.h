/* The FAT volume of an archive in its two forms. */
#ifndef WHICHEND_REPORT_ARCHIVE_VOLUME_H
#define WHICHEND_REPORT_ARCHIVE_VOLUME_H

#include "archive/fat.h"
#include "report/json.h"
#include "report/report.h"

/* null where there is none. */
json_t *archive_volume_json(const struct fat_volume *v, bool *failed);
/* Nothing where there is none. */
enum err archive_volume_text(const struct fat_volume *v, const struct text_style *st,
                             struct buf *out);

#endif
