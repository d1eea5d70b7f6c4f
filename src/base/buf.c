#include "base/buf.h"

#include "base/units.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void buf_init(struct buf *b, size_t max_bytes)
{
    *b = (struct buf){.max = max_bytes < SIZE_MAX ? max_bytes : SIZE_MAX - 1};
}

void buf_release(struct buf *b)
{
    free(b->data);
    buf_init(b, b->max);
}

/* Room for `len` more bytes and the NUL. */
static enum err make_room(struct buf *b, size_t len)
{
    if (len > b->max - b->len)
        return ERR_MEMORY;
    void *data = b->data;
    TRY(array_grow(&data, &b->cap, b->len + len + 1, 1, b->max + 1));
    b->data = data;
    return ERR_OK;
}

enum err buf_add(struct buf *b, const void *bytes, size_t len)
{
    TRY(make_room(b, len));
    if (len > 0)
        memcpy(b->data + b->len, bytes, len);
    b->len += len;
    b->data[b->len] = '\0';
    return ERR_OK;
}

enum err buf_str(struct buf *b, const char *s)
{
    return buf_add(b, s, strlen(s));
}

enum err buf_printf(struct buf *b, const char *fmt, ...)
{
    va_list ap;
    va_start(ap, fmt);
    int n = vsnprintf(NULL, 0, fmt, ap);
    va_end(ap);
    if (n < 0)
        return ERR_INTERNAL;
    TRY(make_room(b, (size_t)n));
    va_start(ap, fmt);
    vsnprintf(b->data + b->len, (size_t)n + 1, fmt, ap);
    va_end(ap);
    b->len += (size_t)n;
    return ERR_OK;
}

enum err array_grow(void **items, size_t *cap, size_t need, size_t size, size_t max)
{
    if (need <= *cap && *items != NULL)
        return ERR_OK;
    if (need > max)
        return ERR_MEMORY;
    size_t next = *cap > max / 2 ? max : *cap * 2;
    if (next < 16)
        next = max < 16 ? max : 16;
    if (next < need)
        next = need;
    size_t bytes;
    if (!mul_size(next, size, &bytes) || bytes == 0)
        return ERR_MEMORY;
    void *grown = realloc(*items, bytes);
    if (grown == NULL)
        return ERR_MEMORY;
    *items = grown;
    *cap = next;
    return ERR_OK;
}
