#include "capture/wec.h"

#include <stdlib.h>
#include <string.h>

#include <zlib.h>

struct wec {
    struct window *w; /* borrowed */
    struct wec_channels channels;
    struct name_targets targets;
    const struct name_target *target[NAME_TARGETS_MAX]; /* of each channel, into targets */
    uint32_t sequence;                                  /* of the next chunk */
    int64_t tick;                                       /* last one of the chunk before */
    uint8_t *packed;
    size_t packed_cap;
    uint8_t *plain;
    size_t plain_cap;
    z_stream z;
    bool inflating; /* z is initialised */
    struct wec_scratch scratch;
};

static void wec_close(void *state)
{
    struct wec *r = state;
    if (r == NULL)
        return;
    if (r->inflating)
        inflateEnd(&r->z);
    free(r->packed);
    free(r->plain);
    free(r);
}

static enum err damaged(const struct wec *r, uint64_t place, const char *why, struct err_msg *e)
{
    return err_set(e, ERR_FORMAT, "%s: damaged at byte %llu: %s", source_name(r->w->src),
                   (unsigned long long)place, why);
}

static uint64_t place_of(const struct wec *r)
{
    return r->w->offset + r->w->pos;
}

static bool type_is(const struct wec_frame *f, const char *type)
{
    return memcmp(f->type, type, sizeof f->type) == 0;
}

/* The lengths and times of a frame whose check was right: still nothing to rely on. */
static const char *frame_fault(const struct wec *r, const struct wec_frame *f)
{
    bool known = type_is(f, "HEAD") || type_is(f, "EDGE") || type_is(f, "END ");
    if (f->sequence != r->sequence)
        return "a chunk is missing or out of order";
    if (f->packed_len > (known ? WEC_PACKED_MAX : WEC_SKIP_MAX) ||
        (known && f->plain_len > WEC_PLAIN_MAX))
        return "a chunk of impossible length";
    if (f->first_tick < r->tick || f->last_tick < f->first_tick)
        return "time runs backwards";
    if (type_is(f, "EDGE") &&
        (uint64_t)(f->last_tick - f->first_tick) >> CHUNK_OFFSET_BITS != 0)
        return "a chunk of impossible span";
    return NULL;
}

/* Room for the lengths that a frame tells, which frame_fault has bounded. */
static enum err payload_room(struct wec *r, const struct wec_frame *f, struct err_msg *e)
{
    void *packed = r->packed;
    void *plain = r->plain;
    enum err err = array_grow(&packed, &r->packed_cap, f->packed_len, 1, WEC_PACKED_MAX);
    r->packed = packed;
    if (err == ERR_OK)
        err = array_grow(&plain, &r->plain_cap, f->plain_len + WEC_PLAIN_PAD, 1,
                         WEC_PLAIN_MAX + WEC_PLAIN_PAD);
    r->plain = plain;
    return err == ERR_OK ? ERR_OK
                         : err_set(e, err, "%s: out of memory", source_name(r->w->src));
}

/* One zlib stream after the other with the same inflater, which need not compute the stream's
 * own checksum: the chunk's has been right. */
static bool inflate_payload(struct wec *r, const struct wec_frame *f)
{
    if (r->inflating)
        inflateReset(&r->z);
    else
        r->inflating = inflateInit(&r->z) == Z_OK && inflateValidate(&r->z, 0) == Z_OK;
    if (!r->inflating)
        return false;
    r->z.next_in = r->packed;
    r->z.avail_in = f->packed_len;
    r->z.next_out = r->plain;
    r->z.avail_out = f->plain_len;
    return inflate(&r->z, Z_FINISH) == Z_STREAM_END && r->z.avail_out == 0;
}

/* The payload into r->plain. *whole is false where the file ends within it. */
static enum err read_payload(struct wec *r, const struct wec_frame *f, bool *whole,
                             struct err_msg *e)
{
    uint64_t place = place_of(r);
    size_t got = 0;
    TRY(payload_room(r, f, e));
    TRY(window_take(r->w, r->packed, f->packed_len, &got, e));
    *whole = got == f->packed_len;
    if (!*whole)
        return ERR_OK;
    if ((uint32_t)crc32(0, r->packed, f->packed_len) != f->payload_crc)
        return damaged(r, place, "the chunk's checksum is wrong", e);
    if (f->packed_len == 0 && f->plain_len == 0)
        return ERR_OK;
    if (!inflate_payload(r, f))
        return damaged(r, place, "the chunk cannot be inflated", e);
    return ERR_OK;
}

/* The next chunk's frame and payload; other types are passed over. *whole is false at the end
 * of the file. */
static enum err next_chunk(struct wec *r, struct wec_frame *f, bool *whole, struct err_msg *e)
{
    for (;;) {
        uint8_t head[WEC_FRAME_BYTES];
        uint64_t place = place_of(r);
        size_t got = 0;
        TRY(window_take(r->w, head, sizeof head, &got, e));
        *whole = got == sizeof head;
        if (!*whole)
            return ERR_OK;
        if (!wec_frame_get(head, f))
            return damaged(r, place, "the checksum of a chunk's head is wrong", e);
        const char *fault = frame_fault(r, f);
        if (fault != NULL)
            return damaged(r, place, fault, e);
        r->sequence++;
        r->tick = f->last_tick;
        if (type_is(f, "HEAD") || type_is(f, "EDGE") || type_is(f, "END "))
            return read_payload(r, f, whole, e);
        TRY(window_take(r->w, NULL, f->packed_len, &got, e));
        *whole = got == f->packed_len;
        if (!*whole)
            return ERR_OK;
    }
}

/* Which line each channel is: by name, as in any other capture. */
static enum err name_channels(struct wec *r, const struct line_map *map,
                              struct capture_info *info, struct err_msg *e)
{
    struct names *names = NULL;
    const struct wec_channels *c = &r->channels;
    TRY(names_new(source_name(r->w->src), map, &names, e));
    enum err err = ERR_OK;
    for (size_t i = 0; i < c->lines + c->rails && err == ERR_OK; i++)
        err = i < c->lines
                  ? names_add(names, line_name(c->line[i]), 0, NAME_BIT, (uint32_t)i, e)
                  : names_add(names, rail_name(c->rail[i - c->lines]), 0, NAME_REAL,
                              (uint32_t)i, e);
    if (err == ERR_OK)
        err = names_resolve(names, "line", &r->targets, e);
    names_free(names);
    TRY(err);
    for (size_t i = 0; i < r->targets.count; i++) {
        const struct name_target *t = &r->targets.item[i];
        if (t->next != 0)
            return err_set(e, ERR_FORMAT, "%s: one line of the file cannot be two: %s and %s",
                           source_name(r->w->src), line_name(t->line),
                           line_name(r->targets.item[t->next - 1].line));
        r->target[t->signal] = t;
    }
    info->lines = r->targets.lines;
    info->rails = r->targets.rails;
    info->ignored = c->lines + c->rails - r->targets.signals;
    return ERR_OK;
}

static enum err read_head(struct wec *r, const struct line_map *map, struct capture_info *info,
                          struct err_msg *e)
{
    const char *name = source_name(r->w->src);
    uint8_t magic[WEC_MAGIC_BYTES + 1];
    size_t got = 0;
    struct wec_frame f = {.sequence = 0};
    bool whole = false;
    TRY(window_take(r->w, magic, sizeof magic, &got, e));
    if (got == sizeof magic && magic[WEC_MAGIC_BYTES] != WEC_VERSION)
        return err_set(e, ERR_FORMAT,
                       "%s: layout %u of a .wec file; this program knows layout %d", name,
                       magic[WEC_MAGIC_BYTES], WEC_VERSION);
    uint64_t place = place_of(r);
    if (got == sizeof magic)
        TRY(next_chunk(r, &f, &whole, e));
    if (!whole)
        return err_set(e, ERR_FORMAT, "%s: the file was cut short within its header", name);
    if (!type_is(&f, "HEAD"))
        return damaged(r, place, "the header is missing", e);
    const char *why = NULL;
    enum err err = wec_head_get((const char *)r->plain, f.plain_len, info, &r->channels, &why);
    if (err == ERR_FORMAT)
        return err_set(e, err, "%s: the header's \"%s\" is not understood", name, why);
    if (err != ERR_OK)
        return err_set(e, err, "%s: out of memory", name);
    return name_channels(r, map, info, e);
}

static enum err wec_open(struct window *w, const struct line_map *map,
                         struct capture_info *info, void **state, struct err_msg *e)
{
    struct wec *r = calloc(1, sizeof *r);
    if (r == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", source_name(w->src));
    r->w = w;
    window_set_unit(w, WINDOW_BYTES_ANY);
    enum err err = read_head(r, map, info, e);
    if (err != ERR_OK) {
        wec_close(r);
        return err;
    }
    *state = r;
    return ERR_OK;
}

static enum err wec_fill(void *state, struct build *b, struct err_msg *e)
{
    struct wec *r = state;
    struct wec_frame f;
    bool whole = false;
    uint64_t place = place_of(r);
    TRY(next_chunk(r, &f, &whole, e));
    if (!whole) {
        b->last = true;
        b->cut_short = true;
        return ERR_OK;
    }
    if (type_is(&f, "END ")) {
        b->now = f.last_tick;
        b->last = true;
        return ERR_OK;
    }
    b->base = f.first_tick;
    if (!type_is(&f, "EDGE") ||
        !wec_unpack(r->plain, f.plain_len, &f, &r->channels, r->target, &r->scratch, b))
        return damaged(r, place, "a chunk contradicts itself", e);
    return ERR_OK;
}

const struct reader WEC_READER = {wec_open, wec_fill, wec_close};
