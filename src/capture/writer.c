#include "capture/writer.h"

#include <stdlib.h>
#include <string.h>

__extension__ typedef __int128 i128;

struct capture_writer {
    struct output out;
    const struct format_writer *format;
    void *state;
    struct capture_info info;
    int64_t tick;
    uint8_t level[LINE_COUNT];
    int32_t millivolt[RAIL_COUNT];
    bool rail_known[RAIL_COUNT];
    bool appeared;
};

bool ticks_to_units(int64_t tick, struct tick t, int64_t unit_fs, int64_t *out)
{
    i128 fs = (i128)tick * t.fs_num; /* below 2^63 * 2^57 */
    i128 unit = (i128)t.fs_den * unit_fs;
    i128 units = (fs + unit / 2) / unit;
    if (units > INT64_MAX)
        return false;
    *out = (int64_t)units;
    return true;
}

static bool ends_in(const char *s, const char *tail)
{
    size_t len = strlen(s);
    size_t n = strlen(tail);
    return len >= n && strcmp(s + len - n, tail) == 0;
}

static const struct format_writer *writer_of(enum capture_format format)
{
    switch (format) {
    case CAPTURE_VCD:
        return &VCD_WRITER;
    case CAPTURE_CSV:
        return &CSV_WRITER;
    case CAPTURE_WEC:
        return &WEC_WRITER;
    }
    return NULL;
}

enum err capture_writer_open(const char *path, enum capture_format format,
                             const struct capture_info *info, bool replace,
                             struct capture_writer **out, struct err_msg *e)
{
    if (writer_of(format) == NULL || !tick_valid(info->tick))
        return err_set(e, ERR_INTERNAL, "%s: no such format, or no tick", path);
    struct capture_writer *w = calloc(1, sizeof *w);
    if (w == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", path);
    w->format = writer_of(format);
    w->info = *info;
    memset(w->level, LEVEL_UNKNOWN, sizeof w->level);
    bool gzip = format != CAPTURE_WEC && ends_in(path, ".gz");
    enum err err = output_open(&w->out, path, gzip, replace, e);
    if (err == ERR_OK)
        err = w->format->open(&w->out, &w->info, &w->state, e);
    if (err != ERR_OK) {
        capture_writer_abort(w);
        return err;
    }
    *out = w;
    return ERR_OK;
}

static enum err go_on(struct capture_writer *w, int64_t tick, struct err_msg *e)
{
    if (tick < w->tick)
        return err_set(e, ERR_INTERNAL, "%s: time runs backwards", w->out.name);
    w->tick = tick;
    return ERR_OK;
}

enum err capture_writer_edge(struct capture_writer *w, int64_t tick, enum line line,
                             enum level level, struct err_msg *e)
{
    if ((size_t)line >= LINE_COUNT || (w->info.lines & LINE_BIT(line)) == 0)
        return err_set(e, ERR_INTERNAL, "%s: an edge of a line that is not in the file",
                       w->out.name);
    TRY(go_on(w, tick, e));
    if (w->level[line] == (uint8_t)level)
        return ERR_OK;
    w->level[line] = (uint8_t)level;
    return w->format->edge(w->state, tick, line, level, e);
}

enum err capture_writer_rail(struct capture_writer *w, int64_t tick, enum rail rail,
                             int32_t millivolt, struct err_msg *e)
{
    if ((size_t)rail >= RAIL_COUNT || (w->info.rails & 1u << rail) == 0)
        return err_set(e, ERR_INTERNAL, "%s: a sample of a rail that is not in the file",
                       w->out.name);
    TRY(go_on(w, tick, e));
    if (w->rail_known[rail] && w->millivolt[rail] == millivolt)
        return ERR_OK;
    w->rail_known[rail] = true;
    w->millivolt[rail] = millivolt;
    return w->format->rail(w->state, tick, rail, millivolt, e);
}

enum err capture_writer_flush(struct capture_writer *w, struct err_msg *e)
{
    if (w->format->flush == NULL)
        return err_set(e, ERR_INTERNAL, "%s: this format cannot be read before its end",
                       w->out.name);
    TRY(w->format->flush(w->state, e));
    TRY(output_flush(&w->out, !w->appeared, e));
    w->appeared = true;
    return ERR_OK;
}

enum err capture_writer_finish(struct capture_writer *w, int64_t end_tick, struct err_msg *e)
{
    enum err err = go_on(w, end_tick, e);
    if (err == ERR_OK)
        err = w->format->finish(w->state, end_tick, e);
    if (err == ERR_OK)
        err = output_commit(&w->out, e);
    capture_writer_abort(w);
    return err;
}

void capture_writer_abort(struct capture_writer *w)
{
    if (w == NULL)
        return;
    w->format->close(w->state);
    output_close(&w->out);
    free(w);
}

/* Edges and samples of a chunk together, in order of time. */
static enum err copy_chunk(const struct chunk *c, struct capture_writer *out, struct err_msg *e)
{
    size_t r = 0;
    for (size_t i = 0; i <= c->count; i++) {
        for (; r < c->rail_count && (i == c->count || c->rail[r].tick <= edge_tick(c, i)); r++)
            TRY(capture_writer_rail(out, c->rail[r].tick, c->rail[r].rail, c->rail[r].millivolt,
                                    e));
        if (i < c->count)
            TRY(capture_writer_edge(out, edge_tick(c, i), edge_line(c->edge[i]),
                                    edge_level(c->edge[i]), e));
    }
    return ERR_OK;
}

enum err capture_copy(struct capture *in, struct capture_writer *out, struct err_msg *e)
{
    struct chunk c = {.last = false};
    while (!c.last) {
        enum err err = capture_next(in, &c, e);
        if (err == ERR_OK)
            err = copy_chunk(&c, out, e);
        if (err != ERR_OK) {
            capture_writer_abort(out);
            return err;
        }
    }
    return capture_writer_finish(out, c.end_tick, e);
}
