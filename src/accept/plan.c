#include "accept/plan.h"

#include "accept/drive_limits.h"
#include "accept/plan_private.h"

#include <stdio.h>

#define STARTS       3
#define COAST_MS     2500 /* until a spindle stands still, common practice */
#define SELECTS      10
#define SELECT_MS    5
#define SPEED_TURNS  25
#define READ_TURNS   2
#define INWARD_PROBE 6 /* cylinders inward, on which TRK00 must let go */
#define QUICK_PLACES 5
#define ID_PART      3 /* of a turn: long enough for an identifier */

static void show(struct run *r, const char *what, double share)
{
    r->share = share;
    if (r->b->progress != NULL)
        r->b->progress(r->b->progress_ctx, what, share);
}

static enum err stop_run(struct run *r, const char *why)
{
    r->stopped = true;
    (void)snprintf(r->out->rest, sizeof r->out->rest, "%s", why);
    return ERR_OK;
}

/* Motor from standstill to speed, a few times; then a stretch at speed where the head happens
 * to be. The drive is not asked to move yet. */
static enum err block_start(struct run *r, struct err_msg *e)
{
    TRY(block_begin(r, "start", r->b->lines, e));
    for (int i = 0; i < STARTS; i++) {
        TRY(run_select(r, true, e));
        TRY(run_wait(r, 50, e));
        TRY(run_motor(r, true, e));
        TRY(run_wait(r, r->start_ms, e));
        TRY(run_turns(r, i + 1 < STARTS ? 3 : SPEED_TURNS, e));
        if (i + 1 == STARTS)
            break;
        TRY(run_motor(r, false, e));
        TRY(run_wait(r, COAST_MS, e));
    }
    return block_end(r, e);
}

/* Track 0 from wherever the head is, and inward a little: TRK00 must let go. */
static enum err block_track0(struct run *r, struct err_msg *e)
{
    TRY(block_begin(r, "track0", r->b->lines, e));
    TRY(run_turns(r, 1, e));
    TRY(run_restore(r, e));
    if (r->at != 0) {
        TRY(block_end(r, e));
        return stop_run(r, "track 0 was not found");
    }
    TRY(run_turns(r, 1, e));
    for (int i = 0; i < SELECTS; i++) {
        TRY(run_select(r, false, e));
        TRY(run_wait(r, SELECT_MS, e));
        TRY(run_select(r, true, e));
        TRY(run_wait(r, SELECT_MS, e));
    }
    TRY(run_seek(r, INWARD_PROBE, e));
    TRY(run_turns(r, 1, e));
    struct adapter_status st;
    TRY(session_status(r->s, &st, e));
    bool lets_go = (st.levels & WIRE_BIT(WIRE_TRK00)) != 0;
    TRY(run_seek(r, 0, e));
    TRY(block_end(r, e));
    return lets_go
               ? ERR_OK
               : stop_run(r, "TRK00 does not tell where the head is: it was not sent further");
}

/* Which cylinders are read on both sides for whole turns. */
static bool is_read(const struct run *r, int cylinder)
{
    if (!r->b->quick)
        return true;
    for (int i = 0; i < QUICK_PLACES; i++)
        if (cylinder == i * r->last / (QUICK_PLACES - 1))
            return true;
    return false;
}

/* Inward over every cylinder, reading; outward again, with a look at each. */
static enum err block_tracks(struct run *r, struct err_msg *e)
{
    TRY(block_begin(r, "tracks", r->b->lines, e));
    for (int c = 0; c <= r->last; c++) {
        show(r, "reading", 0.2 + 0.6 * c / (r->last + 1));
        TRY(run_seek(r, c, e));
        TRY(run_wait(r, r->turn_ms / ID_PART, e));
        for (int side = 0; is_read(r, c) && side < r->sides; side++) {
            TRY(run_side(r, side, e));
            TRY(run_turns(r, READ_TURNS, e));
        }
        TRY(run_side(r, 0, e));
    }
    for (int c = r->last - 1; c >= 0; c--) {
        show(r, "reading outward", 0.8 + 0.1 * (r->last - c) / (r->last + 1));
        TRY(run_seek(r, c, e));
        TRY(run_wait(r, r->turn_ms / ID_PART, e));
    }
    return block_end(r, e);
}

static enum err blocks(struct run *r, struct err_msg *e)
{
    static enum err (*const list[])(struct run *, struct err_msg *) = {
        block_start, block_track0, block_tracks};
    show(r, "listening", 0);
    TRY(run_role(r, r->b->limits.step_us, e));
    for (size_t i = 0; i < sizeof list / sizeof list[0] && !r->stopped; i++) {
        show(r, "working the drive", 0.1 * (double)i);
        TRY(list[i](r, e));
    }
    return ERR_OK;
}

static void begin(struct run *r)
{
    const struct profile *d = r->b->drive;
    r->turn_ms = drive_turn_ms(d);
    r->start_ms = (int)profile_max(d, "start_ms", 1000);
    r->settle_ms = (int)profile_max(d, "settle_ms", profile_number(d, "settle_ms", 15)) + 1;
    r->last = r->b->limits.last_cylinder;
    r->sides = (int)profile_number(d, "sides", 2);
    r->at = -1;
}

enum err accept_plan_run(const struct accept_bench *b, struct accept_run *out,
                         struct err_msg *e)
{
    struct run r = {.b = b, .s = b->session, .out = out};
    struct err_msg late = {0};
    *out = (struct accept_run){.count = 0};
    begin(&r);
    enum err err = blocks(&r, e);
    if (err != ERR_OK && r.recorder.writer != NULL)
        (void)block_end(&r, &late);
    recorder_abandon(&r.recorder);
    if (!b->session->gone)
        (void)session_release(b->session, &late);
    return err;
}
