#include "capture/source.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <zlib.h>

#define PACKED_BYTES     (128u << 10)
#define LINE_COUNT_BLOCK (64u << 10)

struct source {
    char *name;
    int fd;                /* -1: memory */
    const uint8_t *memory; /* borrowed */
    uint64_t size;
    uint64_t pos; /* bytes taken from the file or the memory */

    bool gzip;
    bool inflating; /* z is initialised */
    bool in_member; /* between the first byte of a member and its last */
    z_stream z;
    uint8_t *packed; /* gzip only */
};

/* Bytes as they lie in the file. */
static enum err raw_read(struct source *s, void *to, size_t room, size_t *got,
                         struct err_msg *e)
{
    if (s->fd < 0) {
        size_t left = (size_t)(s->size - s->pos);
        *got = room < left ? room : left;
        if (*got > 0)
            memcpy(to, s->memory + s->pos, *got);
    } else {
        ssize_t n;
        do
            n = read(s->fd, to, room);
        while (n < 0 && errno == EINTR);
        if (n < 0)
            return err_set(e, ERR_IO, "%s: reading failed: %s", s->name, strerror(errno));
        *got = (size_t)n;
    }
    s->pos += *got;
    return ERR_OK;
}

static enum err raw_rewind(struct source *s, struct err_msg *e)
{
    if (s->fd >= 0 && lseek(s->fd, 0, SEEK_SET) < 0)
        return err_set(e, ERR_IO, "%s: cannot go back to its start: %s", s->name,
                       strerror(errno));
    s->pos = 0;
    return ERR_OK;
}

static enum err gzip_begin(struct source *s, struct err_msg *e)
{
    if (s->inflating)
        inflateEnd(&s->z);
    s->inflating = false;
    if (s->packed == NULL)
        s->packed = calloc(1, PACKED_BYTES);
    memset(&s->z, 0, sizeof s->z);
    if (s->packed == NULL || inflateInit2(&s->z, 15 + 16) != Z_OK)
        return err_set(e, ERR_MEMORY, "%s: out of memory", s->name);
    s->inflating = true;
    s->in_member = false;
    return ERR_OK;
}

/* Rewind, and find out whether this is gzip. */
static enum err source_begin(struct source *s, struct err_msg *e)
{
    uint8_t head[3];
    size_t have = 0;
    size_t got = 1;
    TRY(raw_rewind(s, e));
    while (have < sizeof head && got > 0) {
        TRY(raw_read(s, head + have, sizeof head - have, &got, e));
        have += got;
    }
    TRY(raw_rewind(s, e));
    s->gzip =
        have == sizeof head && head[0] == 0x1f && head[1] == 0x8b && head[2] == Z_DEFLATED;
    return s->gzip ? gzip_begin(s, e) : ERR_OK;
}

/* NULL where memory runs out. */
static struct source *source_new(const char *name)
{
    struct source *s = calloc(1, sizeof *s);
    if (s == NULL)
        return NULL;
    s->fd = -1;
    s->name = strdup(name);
    if (s->name == NULL) {
        free(s);
        return NULL;
    }
    return s;
}

static enum err check_regular(struct source *s, struct err_msg *e)
{
    struct stat st;
    if (fstat(s->fd, &st) != 0)
        return err_set(e, ERR_NO_INPUT, "%s: %s", s->name, strerror(errno));
    if (S_ISDIR(st.st_mode))
        return err_set(e, ERR_FORMAT, "%s: a folder, not a capture file", s->name);
    if (!S_ISREG(st.st_mode))
        return err_set(e, ERR_FORMAT,
                       "%s: not a regular file: save the capture to a file first", s->name);
    s->size = (uint64_t)st.st_size;
    return ERR_OK;
}

enum err source_open(const char *path, struct source **out, struct err_msg *e)
{
    struct source *s = source_new(path);
    if (s == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", path);
    s->fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK |
                           O_NOCTTY); /* never wait for a pipe's writer */
    enum err err =
        s->fd < 0 ? err_set(e, ERR_NO_INPUT, "%s: %s", path, strerror(errno)) : ERR_OK;
    if (err == ERR_OK)
        err = check_regular(s, e);
    if (err == ERR_OK)
        err = source_begin(s, e);
    if (err != ERR_OK) {
        source_close(s);
        return err;
    }
    *out = s;
    return ERR_OK;
}

enum err source_open_memory(const char *name, const void *data, size_t len, struct source **out,
                            struct err_msg *e)
{
    struct source *s = source_new(name);
    if (s == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", name);
    s->memory = data;
    s->size = len;
    enum err err = source_begin(s, e);
    if (err != ERR_OK) {
        source_close(s);
        return err;
    }
    *out = s;
    return ERR_OK;
}

void source_close(struct source *s)
{
    if (s == NULL)
        return;
    if (s->inflating)
        inflateEnd(&s->z);
    if (s->fd >= 0)
        close(s->fd);
    free(s->packed);
    free(s->name);
    free(s);
}

/* Place of the next packed byte, for messages. */
static unsigned long long packed_place(const struct source *s)
{
    return (unsigned long long)(s->pos - s->z.avail_in);
}

/* Between members: the next one, zero padding up to the end, or something that is neither. */
static enum err gzip_next_member(struct source *s, bool *end, struct err_msg *e)
{
    *end = false;
    if (s->z.avail_in == 0) {
        size_t got = 0;
        TRY(raw_read(s, s->packed, PACKED_BYTES, &got, e));
        s->z.next_in = s->packed;
        s->z.avail_in = (uInt)got;
        *end = got == 0;
    }
    if (*end)
        return ERR_OK;
    if (s->z.next_in[0] == 0) {
        s->z.next_in++;
        s->z.avail_in--;
        return ERR_OK;
    }
    if (s->z.next_in[0] != 0x1f)
        return err_set(e, ERR_FORMAT,
                       "%s: byte %llu: something other than gzip follows the gzip data",
                       s->name, packed_place(s));
    s->in_member = true;
    return inflateReset(&s->z) == Z_OK
               ? ERR_OK
               : err_set(e, ERR_INTERNAL, "%s: inflate cannot be reset", s->name);
}

static enum err gzip_step(struct source *s, struct err_msg *e)
{
    if (s->z.avail_in == 0) {
        size_t got = 0;
        TRY(raw_read(s, s->packed, PACKED_BYTES, &got, e));
        if (got == 0)
            return err_set(e, ERR_FORMAT,
                           "%s: byte %llu: the gzip data end early: the file was cut short",
                           s->name, packed_place(s));
        s->z.next_in = s->packed;
        s->z.avail_in = (uInt)got;
    }
    int z = inflate(&s->z, Z_NO_FLUSH);
    if (z == Z_STREAM_END)
        s->in_member = false;
    else if (z == Z_MEM_ERROR)
        return err_set(e, ERR_MEMORY, "%s: out of memory", s->name);
    else if (z != Z_OK && z != Z_BUF_ERROR)
        return err_set(e, ERR_FORMAT, "%s: byte %llu: damaged gzip data", s->name,
                       packed_place(s));
    return ERR_OK;
}

static enum err gzip_read(struct source *s, void *to, size_t room, size_t *got,
                          struct err_msg *e)
{
    uInt want = room > (1u << 30) ? 1u << 30 : (uInt)room;
    bool end = false;
    s->z.next_out = to;
    s->z.avail_out = want;
    while (s->z.avail_out == want && !end) {
        if (s->in_member)
            TRY(gzip_step(s, e));
        else
            TRY(gzip_next_member(s, &end, e));
    }
    *got = want - s->z.avail_out;
    return ERR_OK;
}

enum err source_read(struct source *s, void *to, size_t room, size_t *got, struct err_msg *e)
{
    return s->gzip ? gzip_read(s, to, room, got, e) : raw_read(s, to, room, got, e);
}

const char *source_name(const struct source *s)
{
    return s->name;
}

uint64_t source_line_at(struct source *s, uint64_t offset)
{
    uint64_t line = 1;
    uint8_t *block = malloc(LINE_COUNT_BLOCK);
    if (block == NULL || source_begin(s, NULL) != ERR_OK) {
        free(block);
        return line;
    }
    while (offset > 0) {
        size_t got = 0;
        size_t room = offset < LINE_COUNT_BLOCK ? (size_t)offset : LINE_COUNT_BLOCK;
        if (source_read(s, block, room, &got, NULL) != ERR_OK || got == 0)
            break;
        for (size_t i = 0; i < got; i++)
            line += block[i] == '\n';
        offset -= got;
    }
    free(block);
    return line;
}

double source_progress(const struct source *s)
{
    double share = s->size > 0 ? (double)s->pos / (double)s->size : 1.0;
    return share < 1.0 ? share : 1.0;
}
