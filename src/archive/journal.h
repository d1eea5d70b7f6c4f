/* The file that an archive grows in (disk.part), so that nothing is lost but the track in hand.
 *
 * It is written whole once, with what is known, and then only appended to: a record for every
 * pass that begins and every track that is done. A track's latest record holds all that is
 * known of it. Whatever moment the writing ended at, the records before it are whole; each has
 * its own checksum. DEVELOPERS.md has the layout.
 */
#ifndef WHICHEND_ARCHIVE_JOURNAL_H
#define WHICHEND_ARCHIVE_JOURNAL_H

#include "archive/archive.h"

#include <stdio.h>

struct journal {
    FILE *stream; /* NULL: not open */
    char *path;
};

/* A new file with all of the archive, which appears whole in place of any other; then open for
 * more. ERR_CREATE, ERR_IO. */
enum err journal_begin(struct journal *j, const char *path, const struct archive *a,
                       struct err_msg *e);
/* Both return once it is on the disk. ERR_IO: what came before still stands. */
enum err journal_pass(struct journal *j, const struct archive_pass *pass, struct err_msg *e);
enum err journal_track(struct journal *j, const struct archive_track *track, struct err_msg *e);
/* Close; the file stays. Safe on a zeroed struct. */
void journal_close(struct journal *j);

/* What the file holds, into an empty archive. Records behind one that is cut or damaged are not
 * there: *out_cut. ERR_NO_INPUT; ERR_FORMAT where it is no such file. */
enum err journal_read(const char *path, struct archive *a, bool *out_cut, struct err_msg *e);
enum err journal_parse(const char *name, const uint8_t *bytes, size_t len, struct archive *a,
                       bool *out_cut, struct err_msg *e);

#endif
