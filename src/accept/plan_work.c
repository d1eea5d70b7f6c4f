/* What every block is made of: a capture, time, outputs, and the head. */
#include "accept/plan_private.h"

#include <stdio.h>
#include <string.h>

#define LISTEN_MS 2050 /* the adapter listens two seconds before it drives a line */
#define SLICE_MS  10

static bool stop_asked(const struct run *r)
{
    return r->b->stop != NULL && *r->b->stop != 0;
}

/* ---- captures ---- */

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct run *r = ctx;
    (void)tick;
    (void)e;
    if (line != LINE_INDEX)
        return ERR_OK;
    r->falls += r->index == LEVEL_HIGH && level == LEVEL_LOW;
    r->index = (uint8_t)level;
    return ERR_OK;
}

enum err block_begin(struct run *r, const char *name, line_set lines, struct err_msg *e)
{
    struct accept_run *o = r->out;
    const struct frame_sink watch = {.ctx = r, .edge = on_edge};
    struct capture_info info = {.format = CAPTURE_WEC, .tick = session_tick(r->s)};
    if (o->count == ACCEPT_CAPTURES_MAX)
        return err_set(e, ERR_INTERNAL, "too many blocks");
    int n = snprintf(o->path[o->count], sizeof o->path[0], "%s/%zu-%s.wec", r->b->folder,
                     o->count + 1, name);
    if (n < 0 || (size_t)n >= sizeof o->path[0])
        return err_set(e, ERR_CREATE, "%.100s...: the name is too long", r->b->folder);
    info.lines = lines & r->s->caps.lines_in;
    info.rails = r->s->caps.rails;
    info.sample_fs = info.tick.fs_num / info.tick.fs_den;
    (void)snprintf(info.role, sizeof info.role, "%s", role_word(WIRE_ROLE_AS_MACHINE));
    (void)snprintf(info.tap, sizeof info.tap, "machine-end");
    (void)snprintf(info.detail, sizeof info.detail, "accept, block %s", name);
    r->falls = 0;
    r->index = LEVEL_UNKNOWN;
    TRY(recorder_open(&r->recorder, o->path[o->count], &info, true, &watch, e));
    o->count++;
    const struct frame_sink sink = recorder_sink(&r->recorder);
    return session_start(r->s, (uint32_t)info.lines, &sink, e);
}

enum err block_end(struct run *r, struct err_msg *e)
{
    if (r->recorder.writer == NULL)
        return ERR_OK;
    enum err err = session_stop(r->s, e);
    enum err last = recorder_finish(&r->recorder, r->s->frames.end, err == ERR_OK ? e : NULL);
    return err != ERR_OK ? err : last;
}

/* ---- time ---- */

enum err run_wait(struct run *r, int ms, struct err_msg *e)
{
    for (int done = 0; done < ms; done += 4 * SLICE_MS) {
        int left = ms - done;
        if (stop_asked(r))
            return err_set(e, ERR_INTERRUPTED, "interrupted");
        TRY(session_wait(r->s, left < 4 * SLICE_MS ? left : 4 * SLICE_MS, e));
        if (r->recorder.writer != NULL)
            TRY(recorder_keep(&r->recorder, r->s->frames.end, e));
    }
    return ERR_OK;
}

enum err run_turns(struct run *r, int turns, struct err_msg *e)
{
    uint64_t want = r->falls + (uint64_t)turns + 1;
    int most = 2 * (turns + 1) * r->turn_ms;
    for (int ms = 0; r->falls < want && ms < most; ms += SLICE_MS)
        TRY(run_wait(r, SLICE_MS, e));
    return ERR_OK;
}

/* ---- outputs ---- */

enum err run_motor(struct run *r, bool on, struct err_msg *e)
{
    return r->b->motor == 0 ? ERR_OK
                            : session_drive(r->s, r->b->motor, on ? r->b->motor : 0, e);
}

enum err run_select(struct run *r, bool on, struct err_msg *e)
{
    uint32_t bits = r->b->select | r->b->load;
    return session_drive(r->s, bits, on ? bits : 0, e);
}

enum err run_side(struct run *r, int side, struct err_msg *e)
{
    uint32_t bit = WIRE_BIT(WIRE_SIDE);
    if (r->sides < 2 || !(r->b->lines & LINE_BIT(LINE_SIDE)))
        return ERR_OK;
    return session_drive(r->s, bit, side == 1 ? bit : 0, e);
}

enum err run_role(struct run *r, uint32_t step_us, struct err_msg *e)
{
    struct adapter_limits l = r->b->limits;
    l.step_us = step_us;
    l.turn_us = l.turn_us > step_us ? l.turn_us : step_us;
    r->at = -1;
    TRY(session_role(r->s, WIRE_ROLE_AS_MACHINE, 0, e));
    TRY(session_limits(r->s, &l, e));
    TRY(session_pull_ups(r->s, &r->out->pull_ups, e));
    return run_wait(r, LISTEN_MS, e);
}

/* ---- the head ---- */

enum err run_restore(struct run *r, struct err_msg *e)
{
    unsigned most = (unsigned)r->last + LIMITS_OUTWARD_MORE;
    struct err_msg why = {0};
    r->at = -1;
    for (int tries = 0; tries < LIMITS_RESTORES && r->at != 0; tries++) {
        enum err err = session_step(r->s, true, most, &r->at, &why);
        if (err != ERR_OK && r->s->released && r->s->released_why == RELEASE_TRAVEL)
            return ERR_OK; /* track 0 never came, and the adapter let go */
        if (err != ERR_OK)
            return err_set(e, err, "%s", why.text);
        TRY(run_wait(r, r->settle_ms, e));
    }
    return ERR_OK;
}

enum err run_seek(struct run *r, int cylinder, struct err_msg *e)
{
    int to = cylinder;
    unsigned steps = (unsigned)(to > r->at ? to - r->at : r->at - to);
    if (steps > 0)
        TRY(session_step(r->s, to < r->at, steps, &r->at, e));
    r->at = to;
    return run_wait(r, r->settle_ms, e);
}
