/* The play: the read signal, and whether the machine can make use of it. */
#include "judge/world.h"

static void scale(double *v, double by, double *to)
{
    double taken = *v * (1 - by);

    *v -= taken;
    *to += taken;
}

/* Read signal at the drive's plug while selected and turning. */
static void play_signal(struct play *p)
{
    const struct state *f = p->f;

    p->clean = 1;
    if (f->head_dead) {
        scale(&p->clean, 0, &p->silent);
        scale(&p->silent, 0.55, &p->noise);
    }
    if (f->head_weak)
        scale(&p->clean, 0.1, &p->poor);
    if (f->medium == MEDIUM_BLANK) {
        scale(&p->clean, 0, &p->noise);
        scale(&p->noise, 0.8, &p->silent);
    }
    if (f->medium == MEDIUM_DENSITY) {
        scale(&p->clean, 0.25, &p->noise);
        scale(&p->noise, 0.5, &p->poor);
    }
    if (f->medium == MEDIUM_WORN)
        scale(&p->clean, 0.7, &p->poor);
    if (f->medium == MEDIUM_TRACKS)
        scale(&p->clean, 0.5, &p->poor);
    if (f->spin == SPIN_UNSTEADY || f->hub || f->sags || f->stepper_slips)
        scale(&p->clean, 0.5, &p->poor);
    if (f->grounds || f->terminator_missing || f->terminator_double)
        scale(&p->clean, 0.6, &p->poor);
    if (f->shared)
        scale(&p->clean, 0.15, &p->poor);
    if (f->fouled)
        scale(&p->clean, 0.3, &p->poor);
    if (p->in[SIG_SIDE] == RX_NOISY || p->plug_out[SIG_RDATA] == RX_NOISY)
        scale(&p->clean, 0.2, &p->poor);
    if (p->in[SIG_HLOAD] == RX_NEVER && p->s->head_load)
        scale(&p->clean, 0.1, &p->silent);
    if (p->in[SIG_WGATE] == RX_STUCK) {
        /* a head that writes reads nothing; before the gate came on it read */
        double left = p->untold & UNTOLD_LATE ? 0.6 : 0.05;

        scale(&p->clean, left, &p->silent);
        scale(&p->poor, left, &p->silent);
        scale(&p->noise, 0.2, &p->silent);
    }
    if (p->f->medium == MEDIUM_ABSENT) {
        p->silent = 0.9;
        p->noise = 0.1;
        p->clean = p->poor = 0;
    }
}

/* Take one of the four: the choice that nobody told. */
static void choose_signal(struct play *p)
{
    double *of[] = {&p->clean, &p->poor, &p->noise, &p->silent};
    unsigned which = (p->untold & UNTOLD_SIGNAL) / UNTOLD_POOR;

    p->signal = *of[which];
    for (unsigned i = 0; i < 4; i++)
        *of[i] = i == which;
}

/* Faults that spoil some reads and leave others. */
static double spoilt_at_times(const struct play *p, double ok)
{
    const struct state *f = p->f;

    if (f->contact)
        ok *= 0.35;
    if (f->hub || f->sags)
        ok *= 0.8;
    if (p->in[SIG_WGATE] == RX_STUCK)
        ok *= 0.05;
    if (f->index_weak)
        ok *= 0.6;
    if (f->buffer)
        ok *= 0.2;
    if (f->fouled)
        ok *= 0.4;
    if (p->in[SIG_DENSITY] != RX_OK)
        ok *= 0.6;
    return ok;
}

/* Chance that the machine reads what it asks for, given that it has come so far. */
static double usable(const struct play *p)
{
    const struct state *f = p->f;
    double ok = p->clean * 0.99 + p->poor * 0.12;

    ok *= p->selected * p->turns;
    if (p->seen[SIG_RDATA] != RX_OK || f->separator)
        ok *= p->seen[SIG_RDATA] == RX_NOISY ? 0.15 : 0.01;
    if (p->lost)
        ok *= f->stepper_slips ? 0.25 : 0.02;
    if (f->pull_up)
        ok *= p->s->tap_pull_up ? 0.8 : 0.2;
    if (f->spin == SPIN_FAST || f->spin == SPIN_SLOW)
        ok *= 0.5;
    if (f->medium == MEDIUM_WORN)
        ok *= 0.3;
    if (f->medium == MEDIUM_TRACKS || f->medium == MEDIUM_HARD_SECTORED ||
        f->medium == MEDIUM_DENSITY)
        ok *= 0.05;
    if (p->in[SIG_SIDE] != RX_OK)
        ok *= p->in[SIG_SIDE] == RX_STUCK ? 0.1 : p->untold & UNTOLD_SIDE_1 ? 0.1 : 1;
    if (f->head_side1 && (p->untold & UNTOLD_SIDE_1))
        ok *= 0.1;
    return spoilt_at_times(p, ok);
}

void play_read(struct play *p)
{
    const struct state *f = p->f;

    play_signal(p);
    choose_signal(p);
    p->read_ok = usable(p);
    if (!p->restored)
        p->read_ok *= 0.05;
    if (p->s->has_ready && p->s->waits_ready && p->seen[SIG_READY] == RX_NEVER)
        p->read_ok *= 0.05;
    if (f->strap || f->machine)
        p->read_ok *= 0.02;
    if (p->blind) {
        /* limits are counted in index pulses: without them a chip waits, unless this making has
         * a timer */
        bool waits = p->untold & UNTOLD_WAITS;

        p->hang = waits ? 0.85 : (1 - p->s->no_index_timer) * 0.6;
        p->read_ok *= waits ? 0.02 : 0.3;
    }
}

/* Writing: a chip cannot tell that nothing was written; the read back shows it, or nobody
 * looks. */
static void play_write(struct play *p)
{
    const struct state *f = p->f;
    bool is_protected = p->untold & UNTOLD_PROTECTED;
    bool lost =
        f->write_dead || is_protected || p->in[SIG_WGATE] != RX_OK || p->in[SIG_WDATA] != RX_OK;

    if (f->write_weak) {
        p->read_ok = 0.3;
        p->wrong = 0.2;
    } else if (lost) {
        p->read_ok = 0.15;
        p->wrong = 0.5;
    } else {
        p->read_ok = 0.96;
    }
}

void play_machine(struct play *p)
{
    bool refused = p->seen[SIG_WPROT] == RX_STUCK ||
                   (p->seen[SIG_WPROT] != RX_NEVER && (p->untold & UNTOLD_PROTECTED));

    p->wrong = p->f->buffer ? 0.6 : 0.06;
    p->write_choice = 1;
    if (!p->writes)
        return;
    /* a session that writes reads first; what fails to read is not written */
    p->write_reached = refused ? 0.003 : 0.97 * p->read_ok + 0.01;
    p->write_choice = p->untold & UNTOLD_WRITES ? p->write_reached : 1 - p->write_reached;
    if (p->untold & UNTOLD_WRITES)
        play_write(p);
    else
        p->read_ok = 0.04;
}
