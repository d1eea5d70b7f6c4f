/* Which variables or columns of a file are lines and rails: the contract's rule for names, and
 * the map made by hand.
 *
 * A signal is what carries levels (one identifier code of a VCD, one column of a CSV); several
 * names may stand for one signal. Names are told one by one and nothing is kept of those that
 * mean nothing here.
 */
#ifndef WHICHEND_CAPTURE_NAMES_H
#define WHICHEND_CAPTURE_NAMES_H

#include "capture/line_map_private.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum name_kind {
    NAME_BIT,  /* can be a line */
    NAME_REAL, /* can be a rail */
    NAME_ANY,  /* can be either (a column) */
    NAME_WIDE, /* a vector, and whatever else can be neither */
};

/* A line or rail and the signal that carries it. The targets of one signal are chained. */
struct name_target {
    uint32_t signal;
    enum line line; /* LINE_NONE: a rail */
    enum rail rail;
    bool active_high;
    uint8_t next; /* an earlier target of the same signal, 1-based; 0: none */
};

#define NAME_TARGETS_MAX (LINE_COUNT + RAIL_COUNT)

struct names;

/* map may be NULL; file and map are borrowed until names_free. */
enum err names_new(const char *file, const struct line_map *map, struct names **out,
                   struct err_msg *e);
void names_free(struct names *n); /* NULL allowed */

/* One name. path: scopes and name joined by '.', the name beginning at `name_at`; a bit range
 * may end it. */
enum err names_add(struct names *n, const char *path, size_t name_at, enum name_kind kind,
                   uint32_t signal, struct err_msg *e);

/* What is to be read of a file. */
struct name_targets {
    struct name_target item[NAME_TARGETS_MAX];
    size_t count;
    size_t signals; /* distinct ones among them */
    line_set lines;
    unsigned rails;
};

/* After the last name. Errors as capture_open says. `what` is "variable" or "column". */
enum err names_resolve(const struct names *n, const char *what, struct name_targets *out,
                       struct err_msg *e);

#endif
