#include "capture/wec.h"
#include "capture/writer.h"

#include <stdlib.h>
#include <string.h>

#include <zlib.h>

/* A chunk is closed after this much time even when it is not full: what a cut costs at most. */
#define CHUNK_SPAN_FS FS_PER_S

struct wec_writer {
    struct output *out; /* borrowed */
    struct wec_channels channels;
    struct wec_batch batch;
    int64_t span_ticks;
    int64_t last_tick; /* of the chunks written */
    uint32_t sequence;
    uint8_t *plain;
    uint8_t *packed;
    struct wec_scratch scratch;
};

static void wec_write_close(void *state)
{
    struct wec_writer *w = state;
    if (w == NULL)
        return;
    free(w->batch.edge);
    free(w->batch.rail);
    free(w->plain);
    free(w->packed);
    free(w);
}

/* One chunk with the first plain_len bytes of w->plain. */
static enum err put_chunk(struct wec_writer *w, const char *type, size_t plain_len,
                          int64_t first, int64_t last, struct err_msg *e)
{
    uLongf packed_len = WEC_PACKED_MAX;
    if (plain_len == 0)
        packed_len = 0;
    else if (compress2(w->packed, &packed_len, w->plain, plain_len, Z_DEFAULT_COMPRESSION) !=
             Z_OK)
        return err_set(e, ERR_MEMORY, "%s: a chunk cannot be packed", w->out->name);
    struct wec_frame f = {.sequence = w->sequence++,
                          .packed_len = (uint32_t)packed_len,
                          .plain_len = (uint32_t)plain_len,
                          .first_tick = first,
                          .last_tick = last,
                          .payload_crc = (uint32_t)crc32(0, w->packed, (uInt)packed_len)};
    memcpy(f.type, type, sizeof f.type);
    uint8_t head[WEC_FRAME_BYTES];
    wec_frame_put(&f, head);
    TRY(output_add(w->out, head, sizeof head, e));
    w->last_tick = last;
    return output_add(w->out, w->packed, packed_len, e);
}

static enum err put_head(struct wec_writer *w, const struct capture_info *info,
                         struct err_msg *e)
{
    struct buf text;
    buf_init(&text, WEC_HEAD_TEXT_MAX);
    enum err err = wec_head_put(info, &text);
    if (err != ERR_OK) {
        err_set(e, err, "%s: the header cannot be written", w->out->name);
    } else {
        uint8_t start[WEC_MAGIC_BYTES + 1] = WEC_MAGIC;
        start[WEC_MAGIC_BYTES] = WEC_VERSION;
        memcpy(w->plain, text.data, text.len);
        err = output_add(w->out, start, sizeof start, e);
        if (err == ERR_OK)
            err = put_chunk(w, "HEAD", text.len, 0, 0, e);
    }
    buf_release(&text);
    return err;
}

static int64_t span_of(struct tick tick)
{
    const int64_t most = INT64_C(1) << (CHUNK_OFFSET_BITS - 1);
    int64_t ticks;
    if (!ns_to_ticks(CHUNK_SPAN_FS / FS_PER_NS, tick, &ticks) || ticks > most)
        return most;
    return ticks > 0 ? ticks : 1;
}

static enum err wec_write_open(struct output *out, const struct capture_info *info,
                               void **state, struct err_msg *e)
{
    struct wec_writer *w = calloc(1, sizeof *w);
    if (w != NULL) {
        w->out = out;
        w->batch.edge = calloc(CHUNK_EDGES_MAX, sizeof *w->batch.edge);
        w->batch.rail = calloc(CHUNK_RAILS_MAX, sizeof *w->batch.rail);
        w->plain = calloc(1, WEC_PLAIN_MAX);
        w->packed = calloc(1, WEC_PACKED_MAX);
    }
    if (w == NULL || w->batch.edge == NULL || w->batch.rail == NULL || w->plain == NULL ||
        w->packed == NULL) {
        wec_write_close(w);
        return err_set(e, ERR_MEMORY, "%s: out of memory", out->name);
    }
    wec_channels_of(info, &w->channels);
    w->span_ticks = span_of(info->tick);
    enum err err = put_head(w, info, e);
    if (err != ERR_OK) {
        wec_write_close(w);
        return err;
    }
    *state = w;
    return ERR_OK;
}

static enum err flush_batch(struct wec_writer *w, struct err_msg *e)
{
    struct wec_batch *b = &w->batch;
    if (b->count == 0 && b->rail_count == 0)
        return ERR_OK;
    size_t len = wec_pack(b, &w->channels, &w->scratch, w->plain);
    enum err err = put_chunk(w, "EDGE", len, b->first, b->last, e);
    b->count = 0;
    b->rail_count = 0;
    return err;
}

/* Room for one more at `tick`. */
static enum err make_room(struct wec_writer *w, int64_t tick, struct err_msg *e)
{
    struct wec_batch *b = &w->batch;
    if (b->count == CHUNK_EDGES_MAX || b->rail_count == CHUNK_RAILS_MAX ||
        tick - b->first > w->span_ticks)
        TRY(flush_batch(w, e));
    if (b->count == 0 && b->rail_count == 0)
        b->first = tick;
    b->last = tick;
    return ERR_OK;
}

static enum err wec_write_edge(void *state, int64_t tick, enum line line, enum level level,
                               struct err_msg *e)
{
    struct wec_writer *w = state;
    TRY(make_room(w, tick, e));
    w->batch.edge[w->batch.count++] = edge_pack((uint64_t)(tick - w->batch.first), line, level);
    return ERR_OK;
}

static enum err wec_write_rail(void *state, int64_t tick, enum rail rail, int32_t millivolt,
                               struct err_msg *e)
{
    struct wec_writer *w = state;
    TRY(make_room(w, tick, e));
    w->batch.rail[w->batch.rail_count++] = (struct rail_sample){tick, millivolt, rail};
    return ERR_OK;
}

static enum err wec_write_finish(void *state, int64_t end_tick, struct err_msg *e)
{
    struct wec_writer *w = state;
    TRY(flush_batch(w, e));
    return put_chunk(w, "END ", 0, end_tick, end_tick, e);
}

static enum err wec_write_flush(void *state, struct err_msg *e)
{
    return flush_batch(state, e);
}

const struct format_writer WEC_WRITER = {wec_write_open,  wec_write_edge,   wec_write_rail,
                                         wec_write_flush, wec_write_finish, wec_write_close};
