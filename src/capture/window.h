/* A window that slides over the bytes of a source, so that text can be scanned in place.
 *
 * [pos, stop) holds whole items only (words, or lines of text): what the last block cut in two
 * waits behind stop until the next fill. At the end of the input a '\n' is put behind the last
 * byte.
 */
#ifndef WHICHEND_CAPTURE_WINDOW_H
#define WHICHEND_CAPTURE_WINDOW_H

#include "capture/source.h"

#define WINDOW_BYTES (1u << 20)   /* the longest item */
#define WINDOW_BLOCK (256u << 10) /* read at a time: small enough to stay in a cache */
#define WINDOW_PAD   16           /* bytes that may be looked at behind the data */

enum window_unit { WINDOW_WORDS, WINDOW_LINES, WINDOW_BYTES_ANY };

struct window {
    struct source *src; /* borrowed */
    uint8_t *data;
    size_t room;     /* bytes that fit; it grows up to WINDOW_BYTES where an item is long */
    size_t pos;      /* next byte to scan */
    size_t stop;     /* end of the whole items */
    size_t len;      /* bytes held */
    uint64_t offset; /* place of data[0] in the decoded input */
    bool end;        /* the source is used up */
    bool cut;        /* at the end only: the last byte ended no item by itself */
    enum window_unit unit;
};

enum err window_init(struct window *w, struct source *src, struct err_msg *e);
void window_release(struct window *w);

/* Move what is left to the front and read on. After it pos < stop unless the input is used up.
 * ERR_FORMAT where an item is longer than the window; else as source_read. */
enum err window_fill(struct window *w, struct err_msg *e);

/* What lies between pos and stop counts as whole in another unit from here on. */
void window_set_unit(struct window *w, enum window_unit unit);

/* Copy up to `len` bytes out (unit WINDOW_BYTES_ANY); *got is less only at the end. `to` NULL:
 * skip. */
enum err window_take(struct window *w, void *to, size_t len, size_t *got, struct err_msg *e);

#endif
