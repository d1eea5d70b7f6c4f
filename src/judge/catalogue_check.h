/* Check the files that the judge alone reads: profiles/faults and profiles/tests. */
#ifndef WHICHEND_JUDGE_CATALOGUE_CHECK_H
#define WHICHEND_JUDGE_CATALOGUE_CHECK_H

#include "base/buf.h"
#include "profile/profile.h"

/* Adds one "path:line: text" a line to problems and counts them: a section without source or
 * without what its kind needs, a number that is none, an effect that the model does not know.
 * *files counts what was read. Damaged INI is ERR_FORMAT. */
enum err catalogue_check(const struct profile_path *path, struct buf *problems, size_t *count,
                         size_t *files, struct err_msg *e);

#endif
