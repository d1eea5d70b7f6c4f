/* A growing byte buffer born with a ceiling. */
#ifndef WHICHEND_BASE_BUF_H
#define WHICHEND_BASE_BUF_H

#include "base/err.h"

#include <stddef.h>

struct buf {
    char *data; /* always NUL-terminated once anything was added; NULL before */
    size_t len; /* without the NUL */
    size_t cap;
    size_t max;
};

/* No allocation. max_bytes is the ceiling on len. */
void buf_init(struct buf *b, size_t max_bytes);
/* Free the contents; the buffer may be used again. */
void buf_release(struct buf *b);
/* ERR_MEMORY past the ceiling or out of memory; the contents stay as they were. */
enum err buf_add(struct buf *b, const void *bytes, size_t len);
enum err buf_str(struct buf *b, const char *s);
enum err buf_printf(struct buf *b, const char *fmt, ...) PRINTF_LIKE(2, 3);

/* Grow an array of `size`-byte items to hold at least `need` of them, doubling, never past
 * `max` items. *items and *cap are updated on success only. ERR_MEMORY past max or out of
 * memory. */
enum err array_grow(void **items, size_t *cap, size_t need, size_t size, size_t max);

#endif
