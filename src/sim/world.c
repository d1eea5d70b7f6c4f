#include "sim/world.h"

#include <string.h>

#define GLITCH_MIN_NS 60
#define GLITCH_MAX_NS 260

static bool level_low(const struct net *n)
{
    return n->grounded || (n->low_by != 0 && !n->lifted);
}

static void tell(struct world *w, int net, bool low)
{
    if (w->silent)
        return;
    enum level level = low ? LEVEL_LOW : LEVEL_HIGH;
    for (int i = w->first_port[net]; i < w->first_port[net + 1]; i++) {
        const struct port *p = &w->port[i];
        if (p->kind != PORT_TAP_MACHINE && p->kind != PORT_TAP_DRIVE)
            continue;
        int tap = p->kind == PORT_TAP_MACHINE ? TAP_MACHINE_END : TAP_DRIVE_END;
        enum err err = sim_tap_edge(&w->tap[tap], w->now, p->line, level);
        if (err != ERR_OK && w->err == ERR_OK)
            w->err = err;
    }
    for (int i = w->first_port[net]; i < w->first_port[net + 1]; i++) {
        const struct port *p = &w->port[i];
        if (p->kind == PORT_MACHINE)
            sim_machine_input(&w->machine, p->line, low);
        else if (p->kind == PORT_DRIVE)
            sim_drive_input(&w->drive, p->line, low);
        else if (p->kind == PORT_OTHER_DRIVE)
            sim_drive_input(&w->other, p->line, low);
        else if (p->kind == PORT_GUEST)
            w->guest->input(w->guest->ctx, p->line, low);
    }
}

static void settle(struct world *w, int net)
{
    struct net *n = &w->nets.net[net];
    bool low = level_low(n);
    if (low) {
        n->rise_at = NEVER;
        if (!n->low) {
            n->low = true;
            tell(w, net, true);
        }
    } else if (n->low && n->rise_at == NEVER) {
        n->rise_at = w->now + (n->lifted ? 0 : n->rise_ns);
        if (!n->listed)
            w->rising[w->risings++] = net;
        n->listed = true;
    }
}

static void rises(struct world *w)
{
    for (int i = 0; i < w->risings; i++) {
        int net = w->rising[i];
        struct net *n = &w->nets.net[net];
        if (n->rise_at > w->now && n->rise_at != NEVER)
            continue;
        w->rising[i--] = w->rising[--w->risings];
        n->listed = false;
        if (n->rise_at == NEVER)
            continue;
        n->rise_at = NEVER;
        n->low = false;
        tell(w, net, false);
    }
}

/* A disturbance of a net: low though nobody pulls, or high though somebody does. */
static void force(struct world *w, int net, bool high, int64_t delay_ns, int64_t width_ns)
{
    if (net == NET_NONE || w->glitches >= GLITCHES_MAX)
        return;
    int64_t from = w->now + delay_ns;
    w->glitch[w->glitches++] = (struct glitch){from, from + width_ns, net, high, false};
}

static void begin_glitch(struct world *w, struct glitch *g)
{
    struct net *n = &w->nets.net[g->net];
    g->begun = true;
    if (g->high)
        n->lifted = true;
    else
        n->low_by |= 1u << PARTY_NOISE;
    settle(w, g->net);
}

static void glitches_go(struct world *w)
{
    for (int i = 0; i < w->glitches; i++) {
        if (!w->glitch[i].begun && w->glitch[i].from <= w->now)
            begin_glitch(w, &w->glitch[i]);
        if (w->glitch[i].until > w->now)
            continue;
        int net = w->glitch[i].net;
        w->glitch[i--] = w->glitch[--w->glitches];
        w->nets.net[net].lifted = false;
        w->nets.net[net].low_by &= ~(1u << PARTY_NOISE);
        settle(w, net);
    }
}

static void neighbours_jump(struct world *w, enum line line, double p)
{
    for (int i = 0; i < LINE_COUNT; i++) {
        if (sim_nets_neighbours(w->spec.cable, line, (enum line)i) &&
            sim_rng_chance(&w->rng, p))
            force(w, w->nets.machine[i], false, 20,
                  sim_rng_between(&w->rng, GLITCH_MIN_NS, GLITCH_MAX_NS));
    }
}

/* What a bus without proper grounds or terminators does at an edge. */
static void bus_disturbs(struct world *w, enum party party, enum line line, bool low, int net)
{
    bool fast = line == LINE_RDATA || line == LINE_WDATA;
    if (w->no_ground && low)
        neighbours_jump(w, line, fast ? 0.02 : 0.25);
    if (party != PARTY_MACHINE)
        return;
    if (w->no_ground && low && line_is_motor(line))
        w->bounce_at = w->now + NS_PER_MS / 10;
    if (w->ringing && low && sim_rng_chance(&w->rng, 0.5))
        force(w, net, true, sim_rng_between(&w->rng, 50, 120),
              sim_rng_between(&w->rng, 50, 160));
    if (w->weak_low && low && sim_rng_chance(&w->rng, 0.35))
        force(w, net, true, sim_rng_between(&w->rng, 0, 300),
              sim_rng_chance(&w->rng, 0.1) ? 12000 : sim_rng_between(&w->rng, 60, 400));
}

void sim_world_pull(struct world *w, enum party party, enum line line, bool low)
{
    int net = party == PARTY_MACHINE ? w->nets.machine[line] : w->nets.drive[line];
    if (net == NET_NONE)
        return;
    struct net *n = &w->nets.net[net];
    n->holders[party] += low ? 1 : -1; /* two lines of one party may meet in one net */
    if (n->holders[party] > 0)
        n->low_by |= 1u << party;
    else
        n->low_by &= ~(1u << party);
    settle(w, net);
    if (w->no_ground || w->ringing || w->weak_low)
        bus_disturbs(w, party, line, low, net);
}

/* Ground shifts while the motor's starting current runs through the signal wires. */
static void bounce(struct world *w)
{
    static const enum line shaken[] = {LINE_INDEX, LINE_TRK00, LINE_STEP,
                                       LINE_RDATA, LINE_WPROT, LINE_DIR};
    enum line line = shaken[sim_rng_between(&w->rng, 0, 5)];
    force(w, w->nets.machine[line], false, 0, sim_rng_between(&w->rng, GLITCH_MIN_NS, 600));
    w->bounce_at = w->now + sim_rng_between(&w->rng, 300000, 9000000);
    if (w->drive.spindle.speed > 0.98)
        w->bounce_at = NEVER;
}

static void flux_window(struct world *w, bool open)
{
    for (int i = 0; i < TAPS; i++) {
        enum err err = sim_tap_flux_window(&w->tap[i], w->now, open);
        if (err != ERR_OK && w->err == ERR_OK)
            w->err = err;
    }
}

void sim_world_open_flux(struct world *w)
{
    if (w->flux_ns <= 0)
        return;
    flux_window(w, true);
    w->flux_until = w->now + w->flux_ns;
}

static int64_t earlier(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

static int64_t next_event(const struct world *w)
{
    int64_t next = sim_machine_next(&w->machine);
    if (!w->no_drive)
        next = earlier(next, sim_drive_next(&w->drive));
    if (w->guest != NULL)
        next = earlier(next, w->guest->next(w->guest->ctx));
    if (w->has_other)
        next = earlier(next, sim_drive_next(&w->other));
    for (int i = 0; i < w->risings; i++)
        next = earlier(next, w->nets.net[w->rising[i]].rise_at);
    for (int i = 0; i < w->glitches; i++)
        next = earlier(next, w->glitch[i].begun ? w->glitch[i].until : w->glitch[i].from);
    return earlier(next, earlier(w->flux_until, w->bounce_at));
}

static void due(struct world *w)
{
    rises(w);
    glitches_go(w);
    if (w->bounce_at <= w->now)
        bounce(w);
    if (!w->no_drive && sim_drive_next(&w->drive) <= w->now)
        sim_drive_event(&w->drive);
    if (w->has_other && sim_drive_next(&w->other) <= w->now)
        sim_drive_event(&w->other);
    sim_machine_event(&w->machine);
    if (w->guest != NULL && w->guest->next(w->guest->ctx) <= w->now)
        w->guest->event(w->guest->ctx);
    if (w->flux_until <= w->now) {
        w->flux_until = NEVER;
        flux_window(w, false);
    }
}

void sim_world_step(struct world *w, int64_t t)
{
    int64_t next = next_event(w);
    while (w->guest != NULL && earlier(next, t) > w->hold_at) {
        w->now = w->now > w->hold_at ? w->now : w->hold_at;
        w->guest->hold(w->guest->ctx);
        next = next_event(w); /* who held it may have pulled lines */
    }
    if (next > t) {
        w->now = t;
        return;
    }
    if (next > w->now)
        w->now = next;
    due(w);
}

void sim_world_run(struct world *w, int64_t t)
{
    while (w->now < t)
        sim_world_step(w, t);
    while (next_event(w) <= t)
        sim_world_step(w, t);
}
