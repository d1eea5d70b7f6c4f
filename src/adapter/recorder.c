#include "adapter/recorder.h"

static int64_t since_first(struct recorder *r, uint64_t tick)
{
    if (!r->begun) {
        r->begun = true;
        r->first = tick;
    }
    int64_t at = tick > r->first ? (int64_t)(tick - r->first) : 0;
    r->now = at > r->now ? at : r->now;
    return r->now;
}

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct recorder *r = ctx;
    int64_t at = since_first(r, tick);
    if (r->lines & LINE_BIT(line)) {
        r->edges += r->level[line] != (uint8_t)level && r->level[line] != LEVEL_UNKNOWN;
        r->level[line] = (uint8_t)level;
        TRY(capture_writer_edge(r->writer, at, line, level, e));
    }
    return r->watch.edge != NULL ? r->watch.edge(r->watch.ctx, tick, line, level, e) : ERR_OK;
}

static void note_loss(struct recorder *r, const struct frame_loss *l, int64_t from, int64_t to)
{
    if (l->count == LOST_UNCOUNTED)
        r->lost_uncounted = true;
    else
        r->lost_events += l->count;
    struct recorder_loss loss = {.count = l->count, .cause = l->cause, .reason = l->reason};
    bool fits =
        ticks_to_ns(from, r->tick, &loss.from_ns) && ticks_to_ns(to, r->tick, &loss.to_ns);
    if (r->losses < RECORDER_LOSSES_MAX && fits)
        r->loss[r->losses] = loss;
    r->losses++;
}

static enum err on_lost(void *ctx, const struct frame_loss *l, struct err_msg *e)
{
    struct recorder *r = ctx;
    int64_t from = since_first(r, l->from);
    for (int i = 0; i < LINE_COUNT; i++) {
        if ((l->lines & WIRE_BIT(i)) == 0 || (r->lines & LINE_BIT(i)) == 0)
            continue;
        r->level[i] = LEVEL_UNKNOWN;
        TRY(capture_writer_edge(r->writer, from, (enum line)i, LEVEL_UNKNOWN, e));
    }
    note_loss(r, l, from, since_first(r, l->to));
    return r->watch.lost != NULL ? r->watch.lost(r->watch.ctx, l, e) : ERR_OK;
}

static enum err on_rails(void *ctx, uint64_t tick, const int32_t mv[WIRE_RAILS],
                         struct err_msg *e)
{
    struct recorder *r = ctx;
    int64_t at = since_first(r, tick);
    for (int i = 0; i < RAIL_COUNT; i++)
        if ((r->rails & 1u << i) != 0 && mv[i] != WIRE_NO_METER)
            TRY(capture_writer_rail(r->writer, at, (enum rail)i, mv[i], e));
    return r->watch.rails != NULL ? r->watch.rails(r->watch.ctx, tick, mv, e) : ERR_OK;
}

static void on_mark(void *ctx, uint64_t tick, enum mark kind, uint32_t value)
{
    const struct recorder *r = ctx;
    if (r->watch.mark != NULL)
        r->watch.mark(r->watch.ctx, tick, kind, value);
}

enum err recorder_open(struct recorder *r, const char *path, const struct capture_info *info,
                       bool replace, const struct frame_sink *watch, struct err_msg *e)
{
    *r = (struct recorder){.tick = info->tick, .lines = info->lines, .rails = info->rails};
    for (int i = 0; i < LINE_COUNT; i++)
        r->level[i] = LEVEL_UNKNOWN;
    if (watch != NULL)
        r->watch = *watch;
    if (!ns_to_ticks(NS_PER_S, info->tick, &r->flush_ticks))
        return err_set(e, ERR_INTERNAL, "%s: no such tick", path);
    TRY(capture_writer_open(path, CAPTURE_WEC, info, replace, &r->writer, e));
    enum err err = capture_writer_flush(r->writer, e);
    if (err != ERR_OK)
        recorder_abandon(r);
    return err;
}

struct frame_sink recorder_sink(struct recorder *r)
{
    return (struct frame_sink){r, on_edge, on_lost, on_rails, on_mark};
}

enum err recorder_keep(struct recorder *r, uint64_t tick, struct err_msg *e)
{
    int64_t at = r->begun && tick > r->first ? (int64_t)(tick - r->first) : 0;
    if (at - r->flushed_at < r->flush_ticks)
        return ERR_OK;
    r->flushed_at = at;
    return capture_writer_flush(r->writer, e);
}

enum err recorder_finish(struct recorder *r, uint64_t end_tick, struct err_msg *e)
{
    struct capture_writer *w = r->writer;
    int64_t end = r->begun ? since_first(r, end_tick) : 0;
    r->writer = NULL;
    return capture_writer_finish(w, end, e);
}

void recorder_abandon(struct recorder *r)
{
    capture_writer_abort(r->writer);
    r->writer = NULL;
}
