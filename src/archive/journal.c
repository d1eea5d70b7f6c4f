#include "archive/journal.h"

#include "archive/journal_private.h"
#include "archive/layout.h"
#include "base/file.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define JOURNAL_BYTES_MAX ((size_t)512 << 20)

static void put_u32(uint8_t *p, uint32_t v)
{
    for (int i = 0; i < 4; i++)
        p[i] = (uint8_t)(v >> (8 * i));
}

static uint32_t get_u32(const uint8_t *p)
{
    return (uint32_t)p[0] | (uint32_t)p[1] << 8 | (uint32_t)p[2] << 16 | (uint32_t)p[3] << 24;
}

/* Head and payload. The head is at the start of b already, to be filled in. */
static void head(struct buf *b, enum journal_type type)
{
    uint8_t *p = (uint8_t *)b->data;
    put_u32(p, (uint32_t)type);
    put_u32(p + 4, (uint32_t)(b->len - JOURNAL_HEAD_BYTES));
    uint32_t crc = archive_crc32(p, 8);
    crc ^= archive_crc32(p + JOURNAL_HEAD_BYTES, b->len - JOURNAL_HEAD_BYTES);
    put_u32(p + 8, crc);
}

static enum err room_for_head(struct buf *b)
{
    static const char zero[JOURNAL_HEAD_BYTES];
    buf_init(b, JOURNAL_RECORD_MAX);
    return buf_add(b, zero, sizeof zero);
}

static enum err write_record(FILE *f, struct buf *b, enum journal_type type, enum err made,
                             const char *path, struct err_msg *e)
{
    if (made != ERR_OK) {
        buf_release(b);
        return err_set(e, made, "%s: %s", path, err_text(made));
    }
    head(b, type);
    bool whole = fwrite(b->data, 1, b->len, f) == b->len;
    buf_release(b);
    return whole ? ERR_OK : err_set(e, ERR_IO, "%s: %s", path, strerror(errno));
}

static enum err write_pass(FILE *f, const struct archive_pass *p, const char *path,
                           struct err_msg *e)
{
    struct buf b;
    enum err made = room_for_head(&b);
    if (made == ERR_OK)
        made = journal_put_pass(&b, p);
    return write_record(f, &b, JOURNAL_PASS, made, path, e);
}

static enum err write_object(FILE *f, const struct archive_object *o, const char *path,
                             struct err_msg *e)
{
    struct buf b;
    enum err made = room_for_head(&b);
    if (made == ERR_OK)
        made = journal_put_object(&b, o);
    return write_record(f, &b, JOURNAL_OBJECT, made, path, e);
}

static enum err write_track(FILE *f, const struct archive_track *t, const char *path,
                            struct err_msg *e)
{
    struct buf b;
    enum err made = room_for_head(&b);
    if (made == ERR_OK)
        made = journal_put_track(&b, t);
    return write_record(f, &b, JOURNAL_TRACK, made, path, e);
}

static enum err write_all(FILE *f, const struct archive *a, const char *path, struct err_msg *e)
{
    if (fwrite(JOURNAL_MAGIC, 1, JOURNAL_MAGIC_BYTES, f) != JOURNAL_MAGIC_BYTES)
        return err_set(e, ERR_IO, "%s: %s", path, strerror(errno));
    TRY(write_object(f, &a->object, path, e));
    for (size_t i = 0; i < a->pass_count; i++)
        TRY(write_pass(f, &a->pass[i], path, e));
    for (size_t i = 0; i < a->tracks.count; i++)
        TRY(write_track(f, &a->tracks.track[i], path, e));
    return ERR_OK;
}

enum err journal_begin(struct journal *j, const char *path, const struct archive *a,
                       struct err_msg *e)
{
    struct out_file f;
    *j = (struct journal){.stream = NULL};
    TRY(out_file_open(&f, path, true, e));
    enum err err = write_all(f.stream, a, path, e);
    if (err == ERR_OK)
        err = out_file_commit(&f, e);
    out_file_abort(&f);
    if (err != ERR_OK)
        return err;
    j->path = strdup(path);
    j->stream = j->path != NULL ? fopen(path, "ab") : NULL;
    if (j->stream != NULL)
        return ERR_OK;
    journal_close(j);
    return err_set(e, ERR_CREATE, "%s: %s", path, strerror(errno));
}

static enum err on_disk(struct journal *j, struct err_msg *e)
{
    if (fflush(j->stream) == 0 && fdatasync(fileno(j->stream)) == 0)
        return ERR_OK;
    return err_set(e, ERR_IO, "%s: %s", j->path, strerror(errno));
}

enum err journal_pass(struct journal *j, const struct archive_pass *pass, struct err_msg *e)
{
    TRY(write_pass(j->stream, pass, j->path, e));
    return on_disk(j, e);
}

enum err journal_track(struct journal *j, const struct archive_track *track, struct err_msg *e)
{
    TRY(write_track(j->stream, track, j->path, e));
    return on_disk(j, e);
}

void journal_close(struct journal *j)
{
    if (j->stream != NULL)
        (void)fclose(j->stream);
    free(j->path);
    *j = (struct journal){.stream = NULL};
}

/* One record into the archive; *good false: it contradicts itself. */
static enum err take(struct archive *a, uint32_t type, const uint8_t *p, size_t len, bool *good)
{
    struct archive_pass pass;
    struct archive_tracks one = {.track = NULL};
    int32_t index = 0;
    if (type == JOURNAL_PASS) {
        *good = journal_get_pass(p, len, &pass) && a->pass_count < ARCHIVE_PASSES_MAX;
        return *good ? archive_pass_add(a, &pass, &index) : ERR_OK;
    }
    if (type == JOURNAL_OBJECT)
        return journal_get_object(p, len, &a->object, good);
    *good = true;
    if (type != JOURNAL_TRACK)
        return ERR_OK; /* a later version's */
    enum err err = journal_get_track(p, len, (int32_t)a->pass_count, &one, good);
    if (err == ERR_OK && *good)
        err = archive_track_set(&a->tracks, &one.track[0]);
    archive_tracks_release(&one);
    return err;
}

enum err journal_parse(const char *name, const uint8_t *bytes, size_t len, struct archive *a,
                       bool *out_cut, struct err_msg *e)
{
    size_t at = JOURNAL_MAGIC_BYTES;
    bool good = true;
    if (len < JOURNAL_MAGIC_BYTES || memcmp(bytes, JOURNAL_MAGIC, JOURNAL_MAGIC_BYTES) != 0)
        return err_set(e, ERR_FORMAT, "%s: no archive that was cut short", name);
    while (good && len - at >= JOURNAL_HEAD_BYTES) {
        const uint8_t *p = bytes + at;
        size_t body = get_u32(p + 4);
        if (body > JOURNAL_RECORD_MAX || body > len - at - JOURNAL_HEAD_BYTES ||
            get_u32(p + 8) !=
                (archive_crc32(p, 8) ^ archive_crc32(p + JOURNAL_HEAD_BYTES, body)))
            break;
        enum err err = take(a, get_u32(p), p + JOURNAL_HEAD_BYTES, body, &good);
        if (err != ERR_OK)
            return err_set(e, err, "%s: %s", name, err_text(err));
        at += good ? JOURNAL_HEAD_BYTES + body : 0;
    }
    *out_cut = at < len;
    return ERR_OK;
}

enum err journal_read(const char *path, struct archive *a, bool *out_cut, struct err_msg *e)
{
    struct buf b;
    buf_init(&b, JOURNAL_BYTES_MAX);
    enum err err = file_read(path, &b, e);
    if (err == ERR_OK)
        err = journal_parse(path, (const uint8_t *)b.data, b.len, a, out_cut, e);
    buf_release(&b);
    return err;
}
