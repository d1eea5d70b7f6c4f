/* What the lines look like at the two plugs. */
#include "judge/world.h"

/* A line at both plugs. */
struct plugs {
    struct pattern machine, drive;
};

static struct pattern make(double never, double toggles, double always, double erratic)
{
    return (struct pattern){{never, toggles, always, erratic, 0.0005}};
}

/* An output that may hold its level all through. */
static struct pattern level(double never, double toggles, double held)
{
    return (struct pattern){{never, toggles, 0.02 * held + 0.001, 0.008, held}};
}

static struct pattern mix(struct pattern a, struct pattern b, double share_b)
{
    for (int i = 0; i < STATE_COUNT; i++)
        a.p[i] = a.p[i] * (1 - share_b) + b.p[i] * share_b;
    return a;
}

static struct pattern never(void)
{
    return make(0.992, 0.0025, 0.0005, 0.005);
}
static struct pattern always(void)
{
    return make(0.001, 0.014, 0.98, 0.005);
}
static struct pattern live(void)
{
    return make(0.0001, 0.975, 0.0124, 0.0125);
}
static struct pattern erratic(void)
{
    return make(0.05, 0.4, 0.05, 0.5);
}

/* What the machine's driver does with a line in this session when nothing is wrong with the
 * line. */
static struct pattern driven(const struct play *p, enum sig s)
{
    switch (s) {
    case SIG_SEL:
    case SIG_MOT:
        return make(0.0002, 0.967, 0.025, 0.0078);
    case SIG_HLOAD:
        /* loaded for reading, by machines that use the line at all */
        if (!p->s->head_load)
            return make(0.4, 0.55, 0.04, 0.01);
        return p->blind || !p->restored ? make(0.5, 0.44, 0.05, 0.01)
                                        : make(0.002, 0.94, 0.05, 0.008);
    case SIG_STEP:
        return p->out_steps || p->in_steps ? live() : never();
    case SIG_SIDE:
        return p->untold & UNTOLD_SIDE_1 ? make(0.001, 0.94, 0.05, 0.009)
                                         : make(0.99, 0.004, 0.001, 0.005);
    case SIG_WGATE:
    case SIG_WDATA:
        return p->untold & UNTOLD_WRITES ? live() : never();
    case SIG_DENSITY:
        return make(0.47, 0.08, 0.44, 0.01);
    case SIG_DIR:
    case SIG_INDEX:
    case SIG_TRK00:
    case SIG_WPROT:
    case SIG_RDATA:
    case SIG_READY:
    case SIG_DSKCHG:
    case SIG_COUNT:
        break;
    }
    return make(0.3, 0.5, 0.18, 0.02);
}

static struct pattern by_rx(enum rx r, struct pattern ok)
{
    switch (r) {
    case RX_NEVER:
        return never();
    case RX_STUCK:
        return always();
    case RX_NOISY:
        return mix(ok, erratic(), 0.5);
    case RX_OK:
        break;
    }
    return ok;
}

/* A line that touches one that is on: low whenever that one is. */
static struct pattern touching(const struct play *p, enum sig s, struct pattern ok)
{
    int partner = p->f->join_a == (int)s   ? p->f->join_b
                  : p->f->join_b == (int)s ? p->f->join_a
                                           : -1;

    if (partner < 0)
        return ok;
    if (s == SIG_WPROT && (p->untold & UNTOLD_PROTECTED) && partner >= SIG_FROM_DRIVE)
        return ok; /* on already, as long as the drive is selected */
    if (partner == SIG_WPROT && (p->untold & UNTOLD_PROTECTED) && s >= SIG_FROM_DRIVE)
        return level(0.005, 0.08, 0.9);
    switch (touch_of(p, (enum sig)partner)) {
    case TOUCH_ON:
        return (struct pattern){{0.01, 0.3, 0.15, 0.03, s < SIG_FROM_DRIVE ? 0.001 : 0.5}};
    case TOUCH_PULSES:
        return make(0.01, 0.75, 0.02, 0.22);
    case TOUCH_SOMETIMES:
        return mix(ok, make(0.02, 0.85, 0.08, 0.05), 0.8);
    case TOUCH_IDLE:
        break;
    }
    return ok;
}

/* Its driver is cut off from the resistor that pulls the line up at the far end, and the tap
 * has none of its own: an open collector then says nothing. */
static bool unloaded(const struct play *p, enum sig s)
{
    const struct state *f = p->f;

    return !p->s->tap_pull_up && (f->conductor[s] == MODE_DEAD || f->plug == PLUG_UNPLUGGED);
}

static struct pattern floats(struct pattern driven)
{
    return mix(driven, make(0.38, 0.12, 0.42, 0.08), 0.8);
}

static struct plugs machine_line(const struct play *p, enum sig s)
{
    const struct state *f = p->f;
    struct plugs w;
    struct pattern ok = f->machine ? never() : driven(p, s);
    bool tied = f->plug == PLUG_REVERSED || play_row_at(p, TAP_MACHINE_END) ||
                f->conductor[s] == MODE_STUCK;

    if (f->machine_out[s] == MODE_DEAD)
        ok = never();
    else if (f->machine_out[s] == MODE_STUCK)
        ok = always();
    ok = touching(p, s, ok);
    if (f->contact)
        ok = mix(ok, erratic(), 0.15);
    if (f->grounds)
        ok = mix(ok, erratic(), 0.15);
    /* the drive's inputs end at the terminator: without it they ring, with two their lows are
     * weak */
    if (f->terminator_missing || f->terminator_double)
        ok = mix(ok, erratic(), 0.3);
    w.machine = tied ? always() : unloaded(p, s) ? floats(ok) : ok;
    w.drive = w.machine;
    if (f->conductor[s] == MODE_DEAD || f->plug == PLUG_UNPLUGGED)
        w.drive = never();
    if (f->plug == PLUG_PAIR)
        w.drive = make(0.5, 0.38, 0.06, 0.06);
    if (f->plug == PLUG_ROW)
        w.drive = tied ? never() : always();
    if (f->twist && (s == SIG_SEL || s == SIG_MOT))
        w.drive = f->twist == TWIST_MISPLACED ? make(0.5, 0.32, 0.17, 0.01)
                                              : make(0.6, 0.25, 0.14, 0.01);
    return w;
}

/* What the drive means to say while it is selected. */
static struct pattern meant(const struct play *p, enum sig s)
{
    const struct state *f = p->f;
    double flux = p->turns * (1 - p->silent);

    switch (s) {
    case SIG_INDEX:
        return mix(never(), f->index_weak ? make(0.003, 0.85, 0.007, 0.14) : live(),
                   p->index / (p->selected + 1e-9));
    case SIG_TRK00:
        if (f->track0_stuck)
            return level(0.0002, 0.02, 0.97);
        if (f->track0_dead || !p->zero_seen)
            return never();
        if (p->zero_seen && !p->moved_in)
            return p->untold & UNTOLD_AT_ZERO ? level(0.0002, 0.22, 0.77)
                                              : level(0.0002, 0.5, 0.49);
        return level(0.0002, 0.97, 0.02);
    case SIG_WPROT:
        if (f->medium == MEDIUM_ABSENT)
            return level(0.5, 0.06, 0.43);
        return p->untold & UNTOLD_PROTECTED ? level(0.005, 0.1, 0.89)
                                            : level(0.972, 0.018, 0.006);
    case SIG_RDATA:
        return mix(never(), live(), flux);
    case SIG_READY:
        return mix(never(),
                   p->s->ready_sure ? level(0.004, 0.75, 0.23) : level(0.15, 0.62, 0.22),
                   p->index / (p->selected + 1e-9));
    case SIG_DSKCHG:
        return f->medium == MEDIUM_ABSENT ? level(0.2, 0.2, 0.59) : level(0.6, 0.25, 0.14);
    case SIG_SEL:
    case SIG_MOT:
    case SIG_DIR:
    case SIG_STEP:
    case SIG_SIDE:
    case SIG_WGATE:
    case SIG_WDATA:
    case SIG_DENSITY:
    case SIG_HLOAD:
    case SIG_COUNT:
        break;
    }
    return never();
}

/* A line that nothing pulls up rises slowly at both plugs: short pulses stay low between, slow
 * levels come through late. */
static struct pattern slow_rise(enum sig s, struct pattern ok)
{
    return s == SIG_RDATA ? mix(ok, make(0.01, 0.1, 0.7, 0.19), 0.8)
                          : mix(ok, make(0.05, 0.4, 0.4, 0.15), 0.15);
}

static struct plugs drive_line(const struct play *p, enum sig s)
{
    const struct state *f = p->f;
    struct plugs w;
    struct pattern ok = mix(never(), meant(p, s), p->selected);

    if (f->sags || f->grounds)
        ok = mix(ok, erratic(), 0.25);
    ok = touching(p, s, ok);
    w.drive = f->join_a == (int)s || f->join_b == (int)s ? ok : by_rx(p->plug_out[s], ok);
    w.drive = unloaded(p, s) ? floats(w.drive) : w.drive;
    w.machine = w.drive;
    if (f->conductor[s] == MODE_DEAD || f->plug == PLUG_UNPLUGGED || f->plug == PLUG_PAIR)
        w.machine = f->plug == PLUG_PAIR ? make(0.8, 0.12, 0.04, 0.04) : never();
    if (f->plug == PLUG_REVERSED)
        w.machine = w.drive = always();
    if (f->twist == TWIST_MISPLACED && s == SIG_INDEX) { /* it lies beside the selects */
        w.machine = mix(w.machine, make(0.8, 0.1, 0.08, 0.02), 0.65);
        w.drive = mix(w.drive, make(0.3, 0.35, 0.33, 0.02), 0.65);
    }
    if (f->plug == PLUG_ROW) {
        bool at_machine = play_row_at(p, TAP_MACHINE_END);

        w.machine = at_machine ? always() : never();
        w.drive = at_machine ? never() : always();
    }
    if (f->contact)
        w.machine = mix(w.machine, erratic(), 0.1);
    if (f->pull_up && !p->s->tap_pull_up) {
        w.machine = slow_rise(s, w.machine);
        w.drive = slow_rise(s, w.drive);
    }
    return w;
}

struct pattern world_line(const struct world *w, enum sig s, enum tap tap)
{
    struct plugs p = s < SIG_FROM_DRIVE ? machine_line(&w->play, s) : drive_line(&w->play, s);

    return tap == TAP_MACHINE_END ? p.machine : p.drive;
}
