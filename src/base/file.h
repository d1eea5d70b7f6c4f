/* Files: whole reads with a ceiling, and outputs that appear whole or not at all. */
#ifndef WHICHEND_BASE_FILE_H
#define WHICHEND_BASE_FILE_H

#include "base/buf.h"
#include "base/err.h"

#include <stdbool.h>
#include <stdio.h>

/* Read a regular file into out (initialised by the caller with its ceiling). ERR_NO_INPUT where
 * it is missing, ERR_FORMAT where it is larger than the ceiling or not a regular file, ERR_IO
 * on a read error. */
enum err file_read(const char *path, struct buf *out, struct err_msg *e);

/* An output file written aside and renamed when complete. */
struct out_file {
    FILE *stream;
    char *path;
    char *temp_path;
    bool replace;
};

/* ERR_CREATE when it cannot be made, exists and replace is false, or is no regular file. A link
 * is followed: what it points to is replaced. */
enum err out_file_open(struct out_file *f, const char *path, bool replace, struct err_msg *e);
/* For a file that must be there, as far as it goes, while it is still written: it takes its
 * name now. After it commit only flushes and closes, and abort leaves the file as it is. Fails
 * as commit does. */
enum err out_file_appear(struct out_file *f, struct err_msg *e);
/* Flush, sync, rename, sync the folder. On failure the temporary is removed and nothing has
 * changed. Either way f is empty afterwards. Without `replace` a file that appeared meanwhile
 * is left alone (ERR_CREATE). */
enum err out_file_commit(struct out_file *f, struct err_msg *e);
/* Throw away; safe after commit and on a zeroed struct. */
void out_file_abort(struct out_file *f);

/* Join folder and name into out (initialised here; yours: buf_release). "" is the working
 * folder. */
enum err path_join(struct buf *out, const char *folder, const char *name);

/* true when `name` is a relative path that stays inside the folder it is joined to: no leading
 * '/', no
 * ".." part, not empty, and following links does not lead outside `folder`. The last parts need
 * not exist. */
bool path_stays_inside(const char *folder, const char *name);

#endif
