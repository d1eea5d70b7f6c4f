/* What a person tells of the object that is saved, from the [object] section of a file. */
#ifndef WHICHEND_ARCHIVE_OBJECT_H
#define WHICHEND_ARCHIVE_OBJECT_H

#include "base/err.h"

#include <stddef.h>

/* The keys: bench practice 33, and a remark. */
struct archive_object_key {
    const char *key;
    const char *text;
};
#define ARCHIVE_OBJECT_KEYS 11
extern const struct archive_object_key ARCHIVE_OBJECT_KEY[ARCHIVE_OBJECT_KEYS];

struct archive_object {
    char *value[ARCHIVE_OBJECT_KEYS]; /* NULL: not told; yours */
};

/* ERR_NO_INPUT; ERR_FORMAT with "file:line: reason" for another section or an unknown key. */
enum err archive_object_read(const char *path, struct archive_object *out, struct err_msg *e);
/* One value; copied. */
enum err archive_object_set(struct archive_object *o, size_t key, const char *value);
/* The index of a key; ARCHIVE_OBJECT_KEYS where it is none. */
size_t archive_object_find(const char *key);
void archive_object_release(struct archive_object *o);

#endif
