/* Between the files of the archive. */
#ifndef WHICHEND_ARCHIVE_ARCHIVE_PRIVATE_H
#define WHICHEND_ARCHIVE_ARCHIVE_PRIVATE_H

#include "archive/archive.h"

#define FIELD_BYTES_MAX       8192
#define ARCHIVE_BYTES_MAX     ((size_t)64 << 20)
#define ARCHIVE_SUM_BYTES_MAX ((size_t)24 << 20)

/* A sector of which nothing is known but its identifier. */
void archive_sector_begin(struct archive_sector *s, const struct archive_sector *like);
enum err archive_sector_read(struct archive_tracks *t, struct archive_sector *s,
                             const struct sector_read *read, int32_t pass);
/* All turns of another reading of the same sector. */
enum err archive_sector_take(struct archive_tracks *t, struct archive_sector *s,
                             const struct archive_sector *from);
void archive_sector_release(struct archive_tracks *t, struct archive_sector *s);

#endif
