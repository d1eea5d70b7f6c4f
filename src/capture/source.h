/* The bytes of an input, in order: a plain file, a gzip file (any number of members) or memory.
 */
#ifndef WHICHEND_CAPTURE_SOURCE_H
#define WHICHEND_CAPTURE_SOURCE_H

#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct source;

/* Regular files only. ERR_NO_INPUT where it is missing or unreadable, ERR_FORMAT for a folder,
 * a pipe... */
enum err source_open(const char *path, struct source **out, struct err_msg *e);
/* Borrows name and data until source_close. */
enum err source_open_memory(const char *name, const void *data, size_t len, struct source **out,
                            struct err_msg *e);
void source_close(struct source *s); /* NULL allowed */

/* Up to `room` bytes; *got is 0 only at the end. ERR_FORMAT with the place where gzip data are
 * damaged or cut short, ERR_IO where reading fails. */
enum err source_read(struct source *s, void *to, size_t room, size_t *got, struct err_msg *e);

/* As given at open, for messages. */
const char *source_name(const struct source *s);

/* 1-based line of the byte at `offset` of the decoded input. Reads the input again from its
 * start, so that the way without errors need not count lines: the source is spent afterwards.
 */
uint64_t source_line_at(struct source *s, uint64_t offset);

/* Share of the input consumed, 0..1. */
double source_progress(const struct source *s);

#endif
