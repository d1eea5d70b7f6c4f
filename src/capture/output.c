#include "capture/output.h"

#include <errno.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#define BLOCK_BYTES      (64u << 10)
#define PRINTF_BYTES_MAX 1024

enum err output_open(struct output *o, const char *path, bool gzip, bool replace,
                     struct err_msg *e)
{
    memset(o, 0, sizeof *o);
    o->gzip = gzip;
    o->name = strdup(path);
    o->text = calloc(1, BLOCK_BYTES);
    o->packed = calloc(1, BLOCK_BYTES);
    enum err err =
        o->name != NULL && o->text != NULL && o->packed != NULL ? ERR_OK : ERR_MEMORY;
    if (err == ERR_OK && gzip) {
        o->deflating = deflateInit2(&o->z, Z_DEFAULT_COMPRESSION, Z_DEFLATED, 15 + 16, 8,
                                    Z_DEFAULT_STRATEGY) == Z_OK;
        err = o->deflating ? ERR_OK : ERR_MEMORY;
    }
    if (err != ERR_OK)
        err_set(e, err, "%s: out of memory", path);
    else
        err = out_file_open(&o->file, path, replace, e);
    if (err != ERR_OK)
        output_close(o);
    return err;
}

static enum err put_bytes(struct output *o, const void *bytes, size_t len, struct err_msg *e)
{
    if (fwrite(bytes, 1, len, o->file.stream) != len)
        return err_set(e, ERR_IO, "%s: writing failed: %s", o->name, strerror(errno));
    return ERR_OK;
}

static enum err deflate_text(struct output *o, int flush, struct err_msg *e)
{
    int z;
    o->z.next_in = (Bytef *)o->text;
    o->z.avail_in = (uInt)o->len;
    do {
        o->z.next_out = o->packed;
        o->z.avail_out = BLOCK_BYTES;
        z = deflate(&o->z, flush);
        if (z == Z_STREAM_ERROR)
            return err_set(e, ERR_INTERNAL, "%s: deflate failed", o->name);
        TRY(put_bytes(o, o->packed, BLOCK_BYTES - o->z.avail_out, e));
    } while (o->z.avail_out == 0);
    return ERR_OK;
}

static enum err flush_text(struct output *o, bool last, struct err_msg *e)
{
    enum err err = o->gzip ? deflate_text(o, last ? Z_FINISH : Z_NO_FLUSH, e)
                           : put_bytes(o, o->text, o->len, e);
    o->len = 0;
    return err;
}

enum err output_add(struct output *o, const void *bytes, size_t len, struct err_msg *e)
{
    const char *from = bytes;
    while (len > 0) {
        if (o->len == BLOCK_BYTES)
            TRY(flush_text(o, false, e));
        size_t n = BLOCK_BYTES - o->len;
        if (n > len)
            n = len;
        memcpy(o->text + o->len, from, n);
        o->len += n;
        from += n;
        len -= n;
    }
    return ERR_OK;
}

enum err output_printf(struct output *o, struct err_msg *e, const char *fmt, ...)
{
    char text[PRINTF_BYTES_MAX];
    va_list ap;
    va_start(ap, fmt);
    int n = vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    if (n < 0 || (size_t)n >= sizeof text)
        return err_set(e, ERR_INTERNAL, "%s: a line too long to be written", o->name);
    return output_add(o, text, (size_t)n, e);
}

enum err output_flush(struct output *o, bool appear, struct err_msg *e)
{
    TRY(flush_text(o, false, e));
    if (fflush(o->file.stream) != 0)
        return err_set(e, ERR_IO, "%s: writing failed: %s", o->name, strerror(errno));
    return appear ? out_file_appear(&o->file, e) : ERR_OK;
}

enum err output_commit(struct output *o, struct err_msg *e)
{
    TRY(flush_text(o, true, e));
    return out_file_commit(&o->file, e);
}

void output_close(struct output *o)
{
    if (o->deflating)
        deflateEnd(&o->z);
    out_file_abort(&o->file);
    free(o->name);
    free(o->text);
    free(o->packed);
    memset(o, 0, sizeof *o);
}
