#include "cli/archive_bus.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LISTEN_MS   2050 /* the adapter listens two seconds before it drives a line */
#define SLICE_MS    10
#define BREAK_PS    (UINT64_C(4000000) * 1000) /* 4 ms without a transition end a stretch */
#define STRETCH_MIN 32                         /* fewer intervals tell nothing */
#define STRETCH_MAX ((size_t)1 << 22)

/* ---- flux to sectors ---- */

static enum err sector(struct archive_bus *b, const struct sector_read *s)
{
    struct archive_seen *seen = b->seen;
    if (s->id_good) {
        seen->ids++;
        b->votes[s->cylinder]++;
        seen->good += s->data == FIELD_GOOD;
        seen->failed += s->data == FIELD_DAMAGED && !s->cut;
    }
    return archive_read(b->into, b->track, s, b->pass);
}

static enum err stretch_end(struct archive_bus *b)
{
    struct archive_flux *f = &b->flux;
    struct tick tick = session_tick(&b->u->session);
    struct flux_options o = {
        .sample_ns = tick_ns(tick), .keep_bytes = true, .keep_quality = true};
    struct flux flux = {.interval_ps = f->interval, .count = f->count};
    struct flux_read read;
    uint64_t zero = b->recording ? b->recorder.first : 0;
    f->begun = false;
    if (f->count < STRETCH_MIN || f->first < zero ||
        !ticks_to_ns((int64_t)(f->first - zero), tick, &flux.start_ns)) {
        f->count = 0;
        return ERR_OK;
    }
    TRY(flux_decode(&flux, &o, &read));
    f->count = 0;
    if (read.quality.transitions > b->seen->transitions) {
        b->seen->transitions = read.quality.transitions;
        b->seen->code = read.quality.encoding;
        b->seen->margin = read.quality.margin_percent;
        b->seen->margin_u = read.quality.margin_u_percent;
    }
    enum err e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < read.sector_count; i++)
        e = sector(b, &read.sector[i]);
    flux_read_release(&read);
    return e;
}

static enum err fall(struct archive_bus *b, uint64_t tick)
{
    struct archive_flux *f = &b->flux;
    int64_t from_ps = 0;
    int64_t to_ps = 0;
    if (!f->on || tick < f->from)
        return ERR_OK;
    if (f->begun) {
        struct tick t = session_tick(&b->u->session);
        if (!ticks_to_ps((int64_t)(f->last - f->first), t, &from_ps) ||
            !ticks_to_ps((int64_t)(tick - f->first), t, &to_ps) ||
            (uint64_t)(to_ps - from_ps) > BREAK_PS)
            TRY(stretch_end(b));
    }
    if (!f->begun) {
        f->begun = true;
        f->first = f->last = tick;
        return ERR_OK;
    }
    TRY(array_grow((void **)&f->interval, &f->cap, f->count + 1, sizeof f->interval[0],
                   STRETCH_MAX));
    f->interval[f->count++] = (uint32_t)(to_ps - from_ps);
    f->last = tick;
    return ERR_OK;
}

/* ---- events ---- */

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct archive_bus *b = ctx;
    bool falls = b->level[line] == LEVEL_HIGH && level == LEVEL_LOW;
    b->level[line] = (uint8_t)level;
    b->falls += falls && line == LINE_INDEX;
    b->write_gate = b->write_gate || (line == LINE_WGATE && level == LEVEL_LOW);
    if (falls && line == LINE_RDATA) {
        enum err err = fall(b, tick);
        if (err != ERR_OK)
            return err_set(e, err, "%s", err_text(err));
    }
    return b->recording ? b->to.edge(b->to.ctx, tick, line, level, e) : ERR_OK;
}

static enum err on_lost(void *ctx, const struct frame_loss *loss, struct err_msg *e)
{
    struct archive_bus *b = ctx;
    for (int i = 0; i < LINE_COUNT; i++)
        if (loss->lines & WIRE_BIT(i))
            b->level[i] = LEVEL_UNKNOWN;
    enum err err = b->flux.begun ? stretch_end(b) : ERR_OK;
    if (err != ERR_OK)
        return err_set(e, err, "%s", err_text(err));
    return b->recording ? b->to.lost(b->to.ctx, loss, e) : ERR_OK;
}

static enum err on_rails(void *ctx, uint64_t tick, const int32_t mv[WIRE_RAILS],
                         struct err_msg *e)
{
    struct archive_bus *b = ctx;
    return b->recording ? b->to.rails(b->to.ctx, tick, mv, e) : ERR_OK;
}

static line_set lines_of(const struct archive_bus *b)
{
    return adapter_use_lines(b->u, false) & b->u->session.caps.lines_in;
}

static enum err stream(struct archive_bus *b, struct err_msg *e)
{
    const struct frame_sink sink = {b, on_edge, on_lost, on_rails, NULL};
    memset(b->level, LEVEL_UNKNOWN, sizeof b->level);
    return session_start(&b->u->session, (uint32_t)lines_of(b), &sink, e);
}

static enum err wait(struct archive_bus *b, int ms, struct err_msg *e)
{
    for (int done = 0; done < ms; done += 4 * SLICE_MS) {
        int left = ms - done;
        if (stop_asked)
            return err_set(e, ERR_INTERRUPTED, "interrupted");
        TRY(session_wait(&b->u->session, left < 4 * SLICE_MS ? left : 4 * SLICE_MS, e));
        if (b->recording)
            TRY(recorder_keep(&b->recorder, b->u->session.frames.end, e));
    }
    progress_share(b->progress, b->share);
    if (b->u->session.released)
        return err_set(e, ERR_ADAPTER, "%s: the adapter released all outputs: %s",
                       b->u->session.link.name, release_text(b->u->session.released_why));
    if (b->write_gate)
        return err_set(e, ERR_ADAPTER,
                       "WGATE became active and nothing should write: open the lever or eject "
                       "first, then switch off; do not pull plugs");
    return ERR_OK;
}

enum err archive_bus_begin(struct archive_bus *b, struct err_msg *e)
{
    struct session *s = &b->u->session;
    struct adapter_limits limits = adapter_use_limits(b->u);
    bool pull_ups = false;
    b->at = -1;
    TRY(session_role(s, WIRE_ROLE_AS_MACHINE, 0, e));
    TRY(session_limits(s, &limits, e));
    TRY(stream(b, e));
    TRY(session_pull_ups(s, &pull_ups, e));
    progress_step(b->progress, "listening", 0);
    return wait(b, LISTEN_MS, e);
}

/* A file begins with what every line is at, which only a new stream tells. */
enum err archive_bus_record(struct archive_bus *b, const char *path, bool replace,
                            struct err_msg *e)
{
    struct session *s = &b->u->session;
    struct capture_info info = {.format = CAPTURE_WEC, .tick = session_tick(s)};
    info.lines = lines_of(b);
    info.rails = s->caps.rails;
    info.sample_fs = info.tick.fs_num / info.tick.fs_den;
    (void)snprintf(info.role, sizeof info.role, "%s", role_word(WIRE_ROLE_AS_MACHINE));
    (void)snprintf(info.tap, sizeof info.tap, "machine-end");
    (void)snprintf(info.detail, sizeof info.detail, "archive, adapter %.80s", s->link.name);
    TRY(session_stop(s, e));
    TRY(recorder_open(&b->recorder, path, &info, replace, NULL, e));
    b->to = recorder_sink(&b->recorder);
    b->recording = true;
    return stream(b, e);
}

static enum err recorded(struct archive_bus *b, double *seconds, struct err_msg *e)
{
    struct session *s = &b->u->session;
    int64_t ns = 0;
    if (!b->recording)
        return ERR_OK;
    b->recording = false;
    uint64_t end = s->frames.end;
    if (b->recorder.begun && end > b->recorder.first &&
        ticks_to_ns((int64_t)(end - b->recorder.first), session_tick(s), &ns))
        *seconds = (double)ns * 1e-9;
    return recorder_finish(&b->recorder, end, e);
}

/* ---- the drive ---- */

enum err archive_bus_start(struct archive_bus *b, struct err_msg *e)
{
    int ms =
        (int)profile_max(b->u->drive, "start_ms", 1000) + 2 * (int)adapter_use_turn_ms(b->u);
    progress_step(b->progress, "starting the drive", b->share);
    TRY(adapter_use_drive_on(b->u, e));
    TRY(wait(b, ms, e));
    return archive_bus_restore(b, e);
}

enum err archive_bus_rest(struct archive_bus *b, struct err_msg *e)
{
    uint32_t bits = adapter_use_select(b->u) | adapter_use_motor(b->u) | WIRE_BIT(WIRE_SIDE) |
                    WIRE_BIT(WIRE_HLOAD);
    return session_drive(&b->u->session, bits, 0, e);
}

enum err archive_bus_end(struct archive_bus *b, double *seconds, struct err_msg *e)
{
    struct err_msg late = {0}; /* what ended the work is told already */
    if (!b->u->session.gone)
        (void)session_release(&b->u->session, &late);
    (void)session_stop(&b->u->session, &late);
    enum err err = recorded(b, seconds, e);
    recorder_abandon(&b->recorder);
    free(b->flux.interval);
    b->flux.interval = NULL;
    return err;
}

enum err archive_bus_restore(struct archive_bus *b, struct err_msg *e)
{
    b->at = -1;
    TRY(adapter_use_restore(b->u, e));
    b->at = 0;
    return wait(b, (int)profile_max(b->u->drive, "settle_ms", 15) + 1, e);
}

enum err archive_bus_seek(struct archive_bus *b, int cylinder, bool slow, struct err_msg *e)
{
    int step_ms = (int)(adapter_use_limits(b->u).step_us / 1000) + 1;
    if (b->at < 0)
        TRY(archive_bus_restore(b, e));
    while (slow && b->at != cylinder) {
        int to = b->at + (cylinder > b->at ? 1 : -1);
        TRY(session_step(&b->u->session, to < b->at, 1, &b->at, e));
        b->at = to;
        TRY(wait(b, 2 * step_ms, e));
    }
    TRY(adapter_use_seek(b->u, b->at, cylinder, e));
    b->at = cylinder;
    return wait(b, SLICE_MS, e);
}

static enum err turns(struct archive_bus *b, int count, struct err_msg *e)
{
    uint64_t want = b->falls + (uint64_t)count + 1;
    int most = 2 * (count + 1) * (int)adapter_use_turn_ms(b->u);
    for (int ms = 0; b->falls < want && ms < most; ms += SLICE_MS)
        TRY(wait(b, SLICE_MS, e));
    return ERR_OK;
}

static int32_t most_voted(const int32_t votes[256])
{
    int32_t best = 0;
    for (int32_t i = 1; i < 256; i++)
        best = votes[i] > votes[best] ? i : best;
    return votes[best] > 0 ? best : -1;
}

/* Until the other head reads, twice over. */
static uint64_t side_ticks(const struct archive_bus *b)
{
    double us = profile_number(b->u->drive, "side_valid_us", 100);
    return (uint64_t)(2 * us) * (b->u->session.caps.tick_hz / 1000000);
}

enum err archive_bus_read(struct archive_bus *b, int cylinder, int side, int turn_count,
                          struct archive_tracks *into, int32_t pass, struct archive_seen *out,
                          struct err_msg *e)
{
    struct archive_key key = archive_place(cylinder, side);
    struct adapter_status now;
    *out = (struct archive_seen){.id_cylinder = -1};
    memset(b->votes, 0, sizeof b->votes);
    b->into = into;
    b->pass = pass;
    b->seen = out;
    enum err err = archive_track_at(into, &key, &b->track);
    if (err != ERR_OK || b->track == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    TRY(adapter_use_side(b->u, side, e));
    /* what is on its way to here was read of another side, or on the move */
    TRY(session_status(&b->u->session, &now, e));
    b->flux = (struct archive_flux){.on = true,
                                    .from = now.tick + side_ticks(b),
                                    .interval = b->flux.interval,
                                    .cap = b->flux.cap};
    err = turns(b, turn_count, e);
    b->flux.on = false;
    if (err != ERR_OK) {
        /* the stream is read to its end later, when nobody counts what this stretch held */
        b->flux.begun = false;
        b->flux.count = 0;
        return err;
    }
    if (b->flux.begun)
        err = stretch_end(b);
    if (err != ERR_OK)
        return err_set(e, err, "%s", err_text(err));
    out->id_cylinder = most_voted(b->votes);
    b->track->turns += turn_count;
    if (b->track->code == ENC_NONE || out->code == ENC_MFM || out->code == ENC_FM)
        b->track->code = out->code;
    return ERR_OK;
}
