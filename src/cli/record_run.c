#include "cli/record_plan.h"

#include <stdio.h>
#include <string.h>

#define BLOCKS_A_TIME 8
#define LISTEN_MS     2050 /* the adapter listens two seconds before it drives a line */

static bool stopped(void)
{
    return stop_asked != 0;
}

/* ---- events on their way to the file ---- */

/* The trigger has come: what every line is at goes first. */
static enum err start_now(struct recording *g, uint64_t tick, struct err_msg *e)
{
    g->started = true;
    for (int i = 0; i < LINE_COUNT; i++)
        if (g->level[i] != LEVEL_UNKNOWN)
            TRY(g->to.edge(g->to.ctx, tick, (enum line)i, (enum level)g->level[i], e));
    return ERR_OK;
}

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct recording *g = ctx;
    bool news = g->level[line] != (uint8_t)level;
    bool was_known = g->level[line] != LEVEL_UNKNOWN;
    if (!g->started && line_is_select(line) && level == LEVEL_LOW && news && was_known)
        TRY(start_now(g, tick, e));
    g->level[line] = (uint8_t)level;
    if (line == LINE_INDEX && level == LEVEL_LOW && news && was_known)
        g->index_falls++;
    return g->started ? g->to.edge(g->to.ctx, tick, line, level, e) : ERR_OK;
}

static enum err on_lost(void *ctx, const struct frame_loss *loss, struct err_msg *e)
{
    struct recording *g = ctx;
    for (int i = 0; i < LINE_COUNT; i++)
        if (loss->lines & WIRE_BIT(i))
            g->level[i] = LEVEL_UNKNOWN;
    return g->started ? g->to.lost(g->to.ctx, loss, e) : ERR_OK;
}

static enum err on_rails(void *ctx, uint64_t tick, const int32_t mv[WIRE_RAILS],
                         struct err_msg *e)
{
    struct recording *g = ctx;
    return g->started ? g->to.rails(g->to.ctx, tick, mv, e) : ERR_OK;
}

enum err record_begin(struct adapter_use *u, struct recording *g, bool replace,
                      struct err_msg *e)
{
    const struct frame_sink sink = {g, on_edge, on_lost, on_rails, NULL};
    struct adapter_limits limits = adapter_use_limits(u);
    memset(g->level, LEVEL_UNKNOWN, sizeof g->level);
    g->started = !g->plan.wait_select;
    TRY(session_role(&u->session, g->role, g->role == WIRE_ROLE_AS_DRIVE ? u->unit : 0, e));
    if (g->role != WIRE_ROLE_INLINE)
        TRY(session_limits(&u->session, &limits, e));
    TRY(recorder_open(&g->recorder, g->path, &g->info, replace, NULL, e));
    g->to = recorder_sink(&g->recorder);
    return session_start(&u->session, (uint32_t)g->info.lines, &sink, e);
}

/* Read on, keep the file up to date, show how far it is. */
static enum err go_on(struct adapter_use *u, struct recording *g, int ms, double share,
                      struct err_msg *e)
{
    TRY(session_wait(&u->session, ms, e));
    if (g->started)
        TRY(recorder_keep(&g->recorder, u->session.frames.end, e));
    progress_share(&g->progress, share);
    return ERR_OK;
}

static enum err let_go(struct adapter_use *u, struct err_msg *e)
{
    if (!u->session.released)
        return ERR_OK;
    return err_set(e, ERR_ADAPTER, "%s: the adapter released all outputs: %s",
                   u->session.link.name, release_text(u->session.released_why));
}

/* Time since the recording began, by the link's clock. */
struct since {
    int64_t begun_ms;
};

static struct since since_now(struct adapter_use *u)
{
    return (struct since){u->session.link.ops->now_ms(u->session.link.state)};
}

static int64_t since_ms(struct adapter_use *u, const struct recording *g, struct since *s)
{
    if (!g->started)
        *s = since_now(u);
    return since_now(u).begun_ms - s->begun_ms;
}

/* ---- in line ---- */

static enum err run_inline(struct adapter_use *u, struct recording *g, struct err_msg *e)
{
    int64_t all = 1000 * g->plan.seconds;
    struct since clock = since_now(u);
    for (int64_t done = 0; !stopped() && done < all; done = since_ms(u, g, &clock)) {
        progress_step(&g->progress, g->started ? "recording" : "waiting for a select",
                      (double)done / (double)all);
        TRY(go_on(u, g, 50, (double)done / (double)all, e));
    }
    return ERR_OK;
}

/* ---- as a machine ---- */

/* So many whole turns by index, or so long as they should take twice over. */
static enum err turns(struct adapter_use *u, struct recording *g, double share,
                      struct err_msg *e)
{
    uint64_t want = g->index_falls + g->plan.turns + 1;
    int64_t limit = 2 * (int64_t)(g->plan.turns + 1) * adapter_use_turn_ms(u);
    for (int64_t ms = 0; g->index_falls < want && ms < limit && !stopped(); ms += 10) {
        TRY(go_on(u, g, 10, share, e));
        TRY(let_go(u, e));
    }
    return ERR_OK;
}

static enum err read_tracks(struct adapter_use *u, struct recording *g, struct err_msg *e)
{
    const struct places *p = &g->plan.places;
    int at = 0;
    int all = p->last - p->first + 1;
    for (int c = p->first; c <= p->last && !stopped(); c++) {
        TRY(adapter_use_seek(u, at, c, e));
        at = c;
        for (int side = 0; side < 2 && !stopped(); side++) {
            if (!p->side[side])
                continue;
            TRY(adapter_use_side(u, side, e));
            TRY(turns(u, g, (double)(c - p->first) / all, e));
            g->tracks++;
        }
    }
    TRY(adapter_use_side(u, 0, e));
    return ERR_OK;
}

static enum err run_as_machine(struct adapter_use *u, struct recording *g, struct err_msg *e)
{
    TRY(session_pull_ups(&u->session, &g->pull_ups, e));
    g->pull_ups_known = true;
    if (!g->pull_ups)
        (void)fprintf(stderr,
                      "whichend: pull-ups stay off: the adapter has none, or the drive's "
                      "+5 V is not there\n");
    progress_step(&g->progress, "listening", 0);
    for (int ms = 0; ms < LISTEN_MS && !stopped(); ms += 50)
        TRY(go_on(u, g, 50, (double)ms / LISTEN_MS, e));
    if (stopped())
        return ERR_OK;
    TRY(adapter_use_ask(u, "Nobody else is on the bus. Disk in, lever closed?", e));
    progress_step(&g->progress, "starting the drive", 0);
    TRY(adapter_use_drive_on(u, e));
    TRY(adapter_use_spin_up(u, e));
    TRY(let_go(u, e));
    if (stopped())
        return ERR_OK;
    TRY(adapter_use_restore(u, e));
    progress_step(&g->progress, "reading", 0);
    return read_tracks(u, g, e);
}

/* ---- as a drive ---- */

struct answering {
    const struct player_track *track;
    int cylinder, side;
    size_t at;
    uint32_t sequence;
    bool playing;
    uint64_t begun; /* device tick of the start */
    uint32_t phase; /* where in the turn that was: the disk turns on through a seek */
    uint8_t first[PLAYER_ITEM_MAX];
    bool has_first;
};

static uint32_t phase_at(const struct answering *w, uint64_t tick)
{
    if (!w->playing || w->track->turn == 0)
        return 0;
    return (uint32_t)((w->phase + (tick - w->begun)) % w->track->turn);
}

static enum err change_track(struct adapter_use *u, struct recording *g, struct answering *w,
                             const struct adapter_status *st, struct err_msg *e)
{
    int side = g->level[LINE_SIDE] == LEVEL_LOW;
    int cylinder = st->cylinder >= 0 ? st->cylinder : 0;
    if (w->playing && cylinder == w->cylinder && side == w->side)
        return ERR_OK;
    const struct player_track *track = player_find(&g->player, cylinder, side);
    struct adapter_status now;
    g->wanted++;
    g->answered += track != NULL;
    TRY(session_play(&u->session, false, e));
    TRY(session_play(&u->session, true, e));
    TRY(session_status(&u->session, &now, e));
    uint32_t phase = phase_at(w, now.tick);
    *w = (struct answering){.track = track != NULL ? track : &g->player.blank,
                            .cylinder = cylinder,
                            .side = side,
                            .playing = true,
                            .begun = now.tick,
                            .phase = phase,
                            .has_first = true};
    w->at = player_seek(w->track, phase, w->first);
    return ERR_OK;
}

/* Keep the adapter a little ahead, no more: a seek makes it all void. */
static enum err feed(struct adapter_use *u, struct answering *w, struct adapter_status *st,
                     struct err_msg *e)
{
    uint8_t blocks[BLOCKS_A_TIME * PROTO_FRAME_MAX];
    uint32_t most = w->track->pulses > 0 ? UINT32_MAX : 64; /* a blank turn is a few bytes */
    uint32_t held = u->session.caps.play - st->play_free;
    uint32_t enough = u->session.caps.play / 2 < most ? u->session.caps.play / 2 : most;
    while (held < enough) {
        size_t len = 0;
        for (int i = 0; i < BLOCKS_A_TIME && held + len < enough; i++) {
            len += player_block(w->track, &w->at, w->has_first ? w->first : NULL, w->sequence++,
                                blocks + len);
            w->has_first = false;
        }
        TRY(session_block(&u->session, blocks, len, e));
        held += (uint32_t)len;
    }
    return ERR_OK;
}

static enum err run_as_drive(struct adapter_use *u, struct recording *g, struct err_msg *e)
{
    struct answering w = {0};
    struct adapter_status st;
    int64_t all = 1000 * g->plan.seconds;
    uint32_t protect = WIRE_BIT(WIRE_WPROT);
    /* What a machine that may be faulty must not think: that it may write here. */
    TRY(session_drive(&u->session, protect | WIRE_BIT(WIRE_READY),
                      protect | WIRE_BIT(WIRE_READY), e));
    struct since clock = since_now(u);
    for (int64_t done = 0; !stopped() && done < all; done = since_ms(u, g, &clock)) {
        TRY(session_status(&u->session, &st, e));
        TRY(change_track(u, g, &w, &st, e));
        TRY(feed(u, &w, &st, e));
        TRY(go_on(u, g, 5, (double)done / (double)all, e));
        TRY(let_go(u, e));
    }
    return ERR_OK;
}

enum err record_run(struct adapter_use *u, struct recording *g, struct err_msg *e)
{
    if (g->role == WIRE_ROLE_AS_MACHINE)
        return run_as_machine(u, g, e);
    if (g->role == WIRE_ROLE_AS_DRIVE)
        return run_as_drive(u, g, e);
    return run_inline(u, g, e);
}
