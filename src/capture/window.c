#include "capture/window.h"

#include <stdlib.h>
#include <string.h>

enum err window_init(struct window *w, struct source *src, struct err_msg *e)
{
    memset(w, 0, sizeof *w);
    w->src = src;
    w->room = WINDOW_BLOCK;
    w->data = calloc(1, w->room + WINDOW_PAD);
    if (w->data == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", source_name(src));
    return ERR_OK;
}

void window_release(struct window *w)
{
    free(w->data);
    memset(w, 0, sizeof *w);
}

/* End of the last whole item in the bytes held. */
static void find_stop(struct window *w)
{
    size_t stop = w->len;
    if (w->unit == WINDOW_LINES)
        while (stop > w->pos && w->data[stop - 1] != '\n')
            stop--;
    else if (w->unit == WINDOW_WORDS)
        while (stop > w->pos && w->data[stop - 1] > ' ')
            stop--;
    w->stop = stop;
}

/* The end of the input: whatever is left is an item. */
static void finish(struct window *w)
{
    w->end = true;
    find_stop(w);
    if (w->unit != WINDOW_BYTES_ANY && w->stop < w->len) {
        w->cut = true;
        w->data[w->len++] = '\n';
        w->stop = w->len;
    }
}

void window_set_unit(struct window *w, enum window_unit unit)
{
    w->unit = unit;
    if (w->end)
        finish(w);
    else
        find_stop(w);
}

/* More room where the item at hand fills all there is. */
static enum err make_room(struct window *w, struct err_msg *e)
{
    if (w->len < w->room)
        return ERR_OK;
    if (w->room == WINDOW_BYTES)
        return err_set(
            e, ERR_FORMAT, "%s:%llu: a word or line of more than %u bytes", source_name(w->src),
            (unsigned long long)source_line_at(w->src, w->offset + w->pos), WINDOW_BYTES);
    uint8_t *grown = realloc(w->data, 2 * w->room + WINDOW_PAD);
    if (grown == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", source_name(w->src));
    memset(grown + w->room, 0, w->room + WINDOW_PAD);
    w->data = grown;
    w->room *= 2;
    return ERR_OK;
}

enum err window_fill(struct window *w, struct err_msg *e)
{
    if (w->pos > 0) {
        memmove(w->data, w->data + w->pos, w->len - w->pos);
        w->offset += w->pos;
        w->len -= w->pos;
        w->stop -= w->pos;
        w->pos = 0;
    }
    size_t before = w->stop;
    while (w->stop == before && !w->end) {
        size_t got = 0;
        TRY(make_room(w, e));
        TRY(source_read(w->src, w->data + w->len, w->room - w->len, &got, e));
        w->len += got;
        if (got == 0)
            finish(w);
        else
            find_stop(w);
    }
    return ERR_OK;
}

enum err window_take(struct window *w, void *to, size_t len, size_t *got, struct err_msg *e)
{
    uint8_t *out = to;
    *got = 0;
    while (*got < len) {
        if (w->pos == w->stop) {
            TRY(window_fill(w, e));
            if (w->pos == w->stop)
                return ERR_OK;
        }
        size_t n = w->stop - w->pos;
        if (n > len - *got)
            n = len - *got;
        if (out != NULL)
            memcpy(out + *got, w->data + w->pos, n);
        w->pos += n;
        *got += n;
    }
    return ERR_OK;
}
