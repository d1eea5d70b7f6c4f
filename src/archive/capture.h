/* Sectors out of a capture. */
#ifndef WHICHEND_ARCHIVE_CAPTURE_H
#define WHICHEND_ARCHIVE_CAPTURE_H

#include "archive/archive.h"
#include "capture/capture.h"
#include "evidence/survey.h"

/* Reads c to its end and merges what it holds. pass: file, from, utc, detail are set by the
 * caller. A recording that is in the archive already is passed over with a warning, so that a
 * turn never counts twice. ERR_FORMAT where the capture is damaged: nothing of it is taken. */
enum err archive_capture(struct archive *a, struct capture *c,
                         const struct survey_options *options, const struct archive_pass *pass,
                         struct err_msg *e);

#endif
