/* INI text through libinih's stream form, with what it leaves out: line numbers, whole names,
 * duplicate sections and keys, empty sections, and ceilings.
 *
 * ';' starts a comment at a line's start, and after white space behind a value. '#' only at a
 * line's start. Indented lines are lines like any other: a value never goes on over a line's
 * end. UTF-8 with or without a byte order mark, lines ending in LF or CR LF. Section names as
 * written ("lines at-machine"), at most 49 bytes, as are keys.
 */
#ifndef WHICHEND_BASE_INI_FILE_H
#define WHICHEND_BASE_INI_FILE_H

#include "base/err.h"

#include <stddef.h>

#define INI_FILE_BYTES_MAX (4u << 20)
#define INI_LINE_BYTES_MAX 1000
#define INI_ENTRIES_MAX    100000

struct ini_entry {
    const char *section; /* "" before the first section */
    const char *key;     /* NULL for the section's own line (so that empty sections are seen) */
    const char *value;   /* NULL for the section's own line */
    int line;            /* 1-based */
};

struct ini_file {
    char *path; /* for messages */
    struct ini_entry *entry;
    size_t count;
    char *text; /* owns the strings */
};

/* Read and check a file. ERR_NO_INPUT missing, ERR_FORMAT with "path:line: reason" for a line
 * that is no INI, a line or name too long, a key before any section, a key twice in one
 * section, a section twice, a NUL or another control byte, text that is not UTF-8. */
enum err ini_file_read(const char *path, struct ini_file *out, struct err_msg *e);
/* The same from memory; `path` only names it in messages. */
enum err ini_file_parse(const char *path, const char *data, size_t len, struct ini_file *out,
                        struct err_msg *e);
void ini_file_release(struct ini_file *f);

/* Value of a key, or NULL. */
const char *ini_file_get(const struct ini_file *f, const char *section, const char *key);

#endif
