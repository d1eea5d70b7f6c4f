/* Records of the journal as bytes. */
#ifndef WHICHEND_ARCHIVE_JOURNAL_PRIVATE_H
#define WHICHEND_ARCHIVE_JOURNAL_PRIVATE_H

#include "archive/archive.h"
#include "base/buf.h"

#define JOURNAL_MAGIC                                                                          \
    "\x8a\x57\x41\x52\x0d\x0a\x1a\x01" /* the last byte: version of the layout */
#define JOURNAL_MAGIC_BYTES 8
#define JOURNAL_RECORD_MAX  ((size_t)4 << 20)
#define JOURNAL_HEAD_BYTES  12 /* type, length, CRC-32 of both and the payload */

enum journal_type {
    JOURNAL_PASS = 0x53534150,
    JOURNAL_TRACK = 0x4b415254,
    JOURNAL_OBJECT = 0x454a424f
};

/* A record's payload at the end of out. ERR_MEMORY. */
enum err journal_put_pass(struct buf *out, const struct archive_pass *p);
enum err journal_put_object(struct buf *out, const struct archive_object *o);
enum err journal_put_track(struct buf *out, const struct archive_track *t);

/* false where the payload contradicts itself. Sectors of the track go to *tracks, an empty
 * store. */
bool journal_get_pass(const uint8_t *p, size_t len, struct archive_pass *out);
enum err journal_get_object(const uint8_t *p, size_t len, struct archive_object *out,
                            bool *good);
enum err journal_get_track(const uint8_t *p, size_t len, int32_t passes,
                           struct archive_tracks *tracks, bool *good);

#endif
