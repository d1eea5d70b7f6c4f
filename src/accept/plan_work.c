/* What every block is made of: a capture, time, outputs, and the head. */
#include "accept/plan_private.h"

#include <stdio.h>
#include <string.h>

#define LISTEN_MS   2050 /* the adapter listens two seconds before it drives a line */
#define STEADY_PART 200  /* two turns that differ by less of a turn */
#define START_TIMES 4    /* the drive's limit, until no steady speed is awaited any more */
#define SLICE_MS    10

static bool stop_asked(const struct run *r)
{
    return r->b->stop != NULL && *r->b->stop != 0;
}

/* ---- captures ---- */

static void index_fell(struct run *r, uint64_t tick)
{
    uint64_t turn = r->fall_tick > 0 ? tick - r->fall_tick : 0;
    uint64_t off = turn > r->turn_ticks ? turn - r->turn_ticks : r->turn_ticks - turn;
    r->steady = turn > 0 && r->turn_ticks > 0 && off < turn / STEADY_PART;
    r->turn_ticks = turn;
    r->fall_tick = tick;
    r->falls++;
}

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct run *r = ctx;
    (void)e;
    if (line == LINE_INDEX) {
        if (r->index == LEVEL_HIGH && level == LEVEL_LOW)
            index_fell(r, tick);
        r->index = (uint8_t)level;
    } else if (line == LINE_STEP) {
        r->steps += r->step == LEVEL_HIGH && level == LEVEL_LOW;
        r->step = (uint8_t)level;
    }
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
    r->falls = r->steps = 0;
    r->index = r->step = LEVEL_UNKNOWN;
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
    r->out->losses += r->recorder.losses;
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
    int most = (r->no_index ? turns : 2 * (turns + 1)) * r->turn_ms;
    for (int ms = 0; r->falls < want && ms < most; ms += SLICE_MS)
        TRY(run_wait(r, SLICE_MS, e));
    return ERR_OK;
}

/* ---- outputs ---- */

enum err run_spin_up(struct run *r, struct err_msg *e)
{
    int most = START_TIMES * (r->start_ms + r->turn_ms);
    r->fall_tick = r->turn_ticks = 0;
    r->steady = false;
    TRY(run_wait(r, r->start_ms, e));
    for (int ms = r->start_ms; !r->steady && !r->no_index && ms < most; ms += SLICE_MS)
        TRY(run_wait(r, SLICE_MS, e));
    return ERR_OK;
}

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
    r->lost = false;
    TRY(session_role(r->s, WIRE_ROLE_AS_MACHINE, 0, e));
    TRY(session_limits(r->s, &l, e));
    TRY(session_pull_ups(r->s, &r->out->pull_ups, e));
    return run_wait(r, LISTEN_MS, e);
}

enum err run_start(struct run *r, uint32_t step_us, struct err_msg *e)
{
    TRY(run_role(r, step_us, e));
    TRY(run_select(r, true, e));
    TRY(run_motor(r, true, e));
    return run_wait(r, r->settle_ms, e);
}

/* ---- the head ---- */

/* The adapter holds every step to the drive's limits, and lets go where TRK00 does not behave:
 * that is the drive's doing, and no error of the run. */
static enum err steps(struct run *r, bool outward, unsigned n, struct err_msg *e)
{
    struct err_msg why = {0};
    struct err_msg late = {0};
    struct adapter_status st;
    enum err err = session_step(r->s, outward, n, &r->at, &why);
    if (err == ERR_OK)
        return ERR_OK;
    bool ours = err == ERR_ADAPTER && !r->s->gone &&
                session_status(r->s, &st, &late) == ERR_OK && st.role == WIRE_ROLE_NONE &&
                (st.released == RELEASE_TRAVEL || st.released == RELEASE_TRACK0);
    if (!ours)
        return err_set(e, err, "%s", why.text);
    r->lost = true;
    r->at = -1;
    r->out->track0_stays = st.released == RELEASE_TRACK0;
    (void)snprintf(r->out->rest, sizeof r->out->rest, "%s", release_text(st.released));
    return ERR_OK;
}

enum err run_restore(struct run *r, struct err_msg *e)
{
    unsigned most = (unsigned)r->last + LIMITS_OUTWARD_MORE;
    r->at = -1;
    for (int tries = 0; tries < LIMITS_RESTORES && r->at != 0 && !r->lost; tries++) {
        TRY(steps(r, true, most, e));
        TRY(run_wait(r, r->settle_ms, e));
        if (r->at != 0 && !r->lost)
            TRY(run_turns(r, 1, e)); /* identifiers tell where it is instead */
    }
    return ERR_OK;
}

enum err run_seek(struct run *r, int cylinder, struct err_msg *e)
{
    if (r->at < 0)
        TRY(run_restore(r, e));
    int by = cylinder - r->at;
    return by == 0 || r->lost ? ERR_OK : steps(r, by < 0, (unsigned)(by < 0 ? -by : by), e);
}

enum err run_seek_settled(struct run *r, int cylinder, struct err_msg *e)
{
    TRY(run_seek(r, cylinder, e));
    return r->lost ? ERR_OK : run_wait(r, r->settle_ms, e);
}

enum err run_return(struct run *r, bool *exact, struct err_msg *e)
{
    struct adapter_status st;
    uint32_t want = r->steps + (uint32_t)r->at;
    *exact = false;
    TRY(run_seek(r, 0, e));
    if (r->lost)
        return ERR_OK;
    TRY(run_wait(r, r->settle_ms, e));
    TRY(session_status(r->s, &st, e));
    *exact = r->steps == want && (st.levels & WIRE_BIT(WIRE_TRK00)) == 0;
    return ERR_OK;
}
