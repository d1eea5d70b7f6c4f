/* What the readers need of the map of names made by hand. */
#ifndef WHICHEND_CAPTURE_LINE_MAP_PRIVATE_H
#define WHICHEND_CAPTURE_LINE_MAP_PRIVATE_H

#include "base/buf.h"
#include "capture/capture.h"

/* Name of the line or rail that an entry is for. */
const char *map_target_name(const struct line_map_entry *m);

/* ERR_USAGE "--line ..." for a map from the command line, ERR_FORMAT "case:place: ..." for one
 * of a case. */
enum err map_error(const struct line_map *m, int place, struct err_msg *e, const char *fmt, ...)
    PRINTF_LIKE(4, 5);

#endif
