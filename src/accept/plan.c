#include "accept/plan.h"

#include "accept/drive_limits.h"
#include "accept/plan_private.h"
#include "accept/settle.h"

#include <stdio.h>

#define KIND_RATE     2 /* of the shortest STEP to STEP, until it is known to follow that */
#define STARTS        3
#define COAST_MS      2500 /* until a spindle stands still, common practice */
#define START_TURNS   3
#define LOADS         2
#define LOAD_MS       350
#define WARM_RUNS_MS  45000
#define WARM_RESTS_MS 15000
#define WARM_STAY_MS  500
#define WARM_STRIDE   7 /* cylinders from stay to stay */
#define SELECTS       10
#define SELECT_MS     5
#define SPEED_TURNS   25
#define READ_TURNS    2
#define INWARD_PROBE  6 /* cylinders inward, on which TRK00 must let go */
#define QUICK_PLACES  5
#define ID_PART       3 /* of a turn: long enough for an identifier */

static void show(struct run *r, const char *what, double share)
{
    if (r->b->progress != NULL)
        r->b->progress(r->b->progress_ctx, what, share);
}

static enum err selects(struct run *r, struct err_msg *e)
{
    for (int i = 0; i < SELECTS; i++) {
        TRY(run_select(r, false, e));
        TRY(run_wait(r, SELECT_MS, e));
        TRY(run_select(r, true, e));
        TRY(run_wait(r, SELECT_MS, e));
    }
    return ERR_OK;
}

/* A head that is loaded apart: while its solenoid pulls in the rails are looked at. */
static enum err loads(struct run *r, struct err_msg *e)
{
    for (int i = 0; r->b->load != 0 && i < LOADS; i++) {
        TRY(session_drive(r->s, r->b->load, 0, e));
        TRY(run_wait(r, LOAD_MS, e));
        TRY(session_drive(r->s, r->b->load, r->b->load, e));
        TRY(run_wait(r, LOAD_MS, e));
    }
    return ERR_OK;
}

/* Motor from standstill to speed, a few times. The drive is not asked to move yet. */
static enum err block_start(struct run *r, struct err_msg *e)
{
    TRY(block_begin(r, "start", r->b->lines & ~LINE_BIT(LINE_RDATA), e));
    TRY(run_select(r, true, e)); /* selected, so that it shows what it does unasked */
    for (int i = 0; i < STARTS; i++) {
        TRY(run_motor(r, false, e));
        TRY(run_wait(r, COAST_MS, e));
        TRY(run_motor(r, true, e));
        TRY(run_spin_up(r, e));
        TRY(run_turns(r, START_TURNS, e));
    }
    r->no_index = r->falls == 0;
    return block_end(r, e);
}

/* A stretch at speed, both sides, where the head happens to be. */
static enum err block_speed(struct run *r, struct err_msg *e)
{
    TRY(block_begin(r, "speed", r->b->lines, e));
    TRY(run_turns(r, SPEED_TURNS, e));
    TRY(selects(r, e));
    TRY(loads(r, e));
    TRY(run_side(r, 1, e));
    if (r->sides > 1)
        TRY(run_turns(r, READ_TURNS, e));
    TRY(run_side(r, 0, e));
    return block_end(r, e);
}

/* Track 0 from wherever the head is, inward a little, on which TRK00 must let go, and back. */
static enum err block_track0(struct run *r, struct err_msg *e)
{
    bool exact = false;
    TRY(block_begin(r, "track0", r->b->lines, e));
    TRY(run_turns(r, 1, e));
    TRY(run_restore(r, e));
    if (!r->lost)
        TRY(run_turns(r, 1, e));
    if (!r->lost)
        TRY(selects(r, e));
    if (!r->lost)
        TRY(run_seek_settled(r, INWARD_PROBE, e));
    if (!r->lost)
        TRY(run_turns(r, 1, e));
    if (!r->lost)
        TRY(run_return(r, &exact, e));
    return block_end(r, e);
}

/* The drive at work, in blocks of a minute: the head goes over the whole disk and is parked
 * nowhere, and the motor rests between the blocks. Then the speed once more. */
static enum err block_warm(struct run *r, struct err_msg *e)
{
    for (int m = 0; m < r->b->warm_minutes && !r->lost; m++) {
        show(r, "running warm", (double)m / r->b->warm_minutes);
        TRY(run_motor(r, true, e));
        TRY(run_wait(r, r->start_ms, e));
        for (int ms = 0; ms < WARM_RUNS_MS && !r->lost; ms += WARM_STAY_MS) {
            TRY(run_seek(r, (r->at + WARM_STRIDE) % (r->last + 1), e));
            TRY(run_wait(r, WARM_STAY_MS, e));
        }
        TRY(run_motor(r, false, e));
        TRY(run_wait(r, WARM_RESTS_MS, e));
    }
    if (r->b->warm_minutes == 0 || r->lost)
        return ERR_OK;
    TRY(run_motor(r, true, e));
    TRY(block_begin(r, "warm", r->b->lines, e));
    TRY(run_spin_up(r, e));
    TRY(run_turns(r, SPEED_TURNS, e));
    return block_end(r, e);
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

static enum err read_sides(struct run *r, struct err_msg *e)
{
    for (int side = 0; side < r->sides; side++) {
        TRY(run_side(r, side, e));
        TRY(run_turns(r, READ_TURNS, e));
    }
    return run_side(r, 0, e);
}

/* Inward over every cylinder, reading; outward again, with a look at each. */
static enum err block_tracks(struct run *r, struct err_msg *e)
{
    int look_ms = r->turn_ms / ID_PART;
    if (look_ms + r->settle_ms < SETTLE_WINDOWS + 5)
        look_ms = SETTLE_WINDOWS + 5 - r->settle_ms; /* the settling is looked at, too */
    bool exact = false;
    TRY(block_begin(r, "tracks", r->b->lines, e));
    TRY(run_restore(r, e));
    for (int c = 0; c <= r->last && !r->lost; c++) {
        show(r, "reading", 0.2 + 0.5 * c / (r->last + 1));
        TRY(run_seek_settled(r, c, e));
        TRY(run_wait(r, look_ms, e));
        if (is_read(r, c) && !r->lost)
            TRY(read_sides(r, e));
    }
    for (int c = r->last - 1; c >= 1 && !r->lost; c--) {
        show(r, "reading outward", 0.7 + 0.1 * (r->last - c) / (r->last + 1));
        TRY(run_seek_settled(r, c, e));
        TRY(run_wait(r, look_ms, e));
    }
    if (!r->lost)
        TRY(run_return(r, &exact, e));
    TRY(run_wait(r, look_ms, e));
    return block_end(r, e);
}

static enum err blocks(struct run *r, struct err_msg *e)
{
    static const struct {
        const char *what;
        double share;
        enum err (*run)(struct run *, struct err_msg *);
    } list[] = {{"starting the spindle", 0.02, block_start},
                {"turning", 0.07, block_speed},
                {"looking for track 0", 0.1, block_track0},
                {"stepping", 0.15, block_rate},
                {"reading", 0.2, block_tracks},
                {"seeking", 0.8, block_slip},
                {"running warm", 0.9, block_warm},
                {"asking", 0.95, block_hands}};
    show(r, "listening", 0);
    TRY(run_role(r, r->step_us, e));
    for (size_t i = 0; i < sizeof list / sizeof list[0] && !r->lost; i++) {
        show(r, list[i].what, list[i].share);
        TRY(list[i].run(r, e));
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
    r->step_us = KIND_RATE * r->b->limits.step_us;
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
