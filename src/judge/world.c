/* The play: power, select, motor, and the way of every signal from driver to receiver. */
#include "judge/world.h"

#include <string.h>

/* Chance of the plain yes-or-no choices. Our own guesses of what a bench session looks like
 * (common practice). */
static double untold_chance(const struct setting *s, unsigned untold)
{
    const unsigned seeking =
        ASKED_READ | ASKED_BOOT | ASKED_VERIFY | ASKED_SEEK | ASKED_WRITE | ASKED_FORMAT;
    double chance[4] = {0.2, s->asked && !(s->asked & seeking) ? 0.15 : 0.8,
                        s->two_sided ? 0.4 : 0.02, 0.12};
    double p = 1;

    for (int i = 0; i < 4; i++)
        p *= untold & (1u << i) ? chance[i] : 1 - chance[i];
    return p;
}

enum touch touch_of(const struct play *p, enum sig partner)
{
    switch (partner) {
    case SIG_SEL:
    case SIG_MOT:
    case SIG_READY:
    case SIG_HLOAD:
        return TOUCH_ON;
    case SIG_STEP:
    case SIG_INDEX:
    case SIG_RDATA:
        return TOUCH_PULSES;
    case SIG_WDATA:
    case SIG_WGATE:
        return p->writes ? TOUCH_PULSES : TOUCH_IDLE;
    case SIG_DIR:
        return p->untold & UNTOLD_SEEKS_IN ? TOUCH_SOMETIMES : TOUCH_IDLE;
    case SIG_SIDE:
        return p->untold & UNTOLD_SIDE_1 ? TOUCH_SOMETIMES : TOUCH_IDLE;
    case SIG_TRK00:
        return TOUCH_SOMETIMES;
    case SIG_WPROT:
        return p->untold & UNTOLD_PROTECTED ? TOUCH_ON : TOUCH_IDLE;
    case SIG_DENSITY:
    case SIG_DSKCHG:
    case SIG_COUNT:
        break;
    }
    return TOUCH_IDLE;
}

bool play_joined(const struct play *p, enum sig a, enum sig b)
{
    return (p->f->join_a == (int)a && p->f->join_b == (int)b) ||
           (p->f->join_a == (int)b && p->f->join_b == (int)a);
}

/* A signal that touches another: what arrives. */
static enum rx touched(const struct play *p, enum sig s, enum rx otherwise)
{
    enum sig partner;

    if (p->f->join_a == (int)s)
        partner = (enum sig)p->f->join_b;
    else if (p->f->join_b == (int)s)
        partner = (enum sig)p->f->join_a;
    else
        return otherwise;
    /* write data that touches the gate is held low through every write; a gate and steps that
     * touch what moves only in a write do their work otherwise; DIR low holds STEP, which works
     * outward only */
    if (s == SIG_WDATA && partner == SIG_WGATE)
        return p->writes ? RX_STUCK : otherwise;
    if (partner == SIG_WDATA || partner == SIG_WGATE || (s == SIG_STEP && partner == SIG_DIR) ||
        (s == SIG_WDATA && partner == SIG_STEP))
        return otherwise;
    switch (touch_of(p, partner)) {
    case TOUCH_ON:
        return RX_STUCK;
    case TOUCH_PULSES:
    case TOUCH_SOMETIMES:
        return RX_NOISY;
    case TOUCH_IDLE:
        break;
    }
    return otherwise;
}

static enum rx by_mode(unsigned char mode, enum rx otherwise)
{
    return mode == MODE_DEAD ? RX_NEVER : mode == MODE_STUCK ? RX_STUCK : otherwise;
}

bool play_row_at(const struct play *p, enum tap at)
{
    bool machine = p->untold & UNTOLD_PLUG;

    return p->f->plug == PLUG_ROW && machine == (at == TAP_MACHINE_END);
}

/* From the machine into the drive. */
static enum rx through_plug(const struct play *p, enum rx otherwise)
{
    switch (p->f->plug) {
    case PLUG_REVERSED:
        return RX_STUCK;
    case PLUG_ROW: /* signal pins on the grounds' row; their conductors hang free */
        return play_row_at(p, TAP_DRIVE_END) ? RX_STUCK : RX_NEVER;
    case PLUG_PAIR:
    case PLUG_UNPLUGGED:
        return RX_NEVER;
    case PLUG_OK:
        break;
    }
    return otherwise;
}

enum rx rx_machine_plug(const struct play *p, enum sig s)
{
    enum rx r = touched(p, s, by_mode(p->f->machine_out[s], p->f->machine ? RX_NEVER : RX_OK));
    bool tied = p->f->plug == PLUG_REVERSED || play_row_at(p, TAP_MACHINE_END);

    return tied || p->f->conductor[s] == MODE_STUCK ? RX_STUCK : r;
}

enum rx rx_machine_to_drive(const struct play *p, enum sig s)
{
    enum rx r = p->f->machine ? RX_NEVER : RX_OK;

    r = by_mode(p->f->machine_out[s], r);
    r = touched(p, s, r);
    r = by_mode(p->f->conductor[s], r);
    if (p->f->twist == TWIST_MISPLACED && s == SIG_SEL)
        r = RX_NOISY; /* another of these lines may select it */
    else if (p->f->twist && (s == SIG_SEL || s == SIG_MOT))
        r = RX_NEVER;
    return through_plug(p, r);
}

/* A supply that breaks down may do so before the disk is at speed, or now and then while it
 * turns. */
static bool gives_way(const struct play *p)
{
    return p->f->sags && !(p->untold & UNTOLD_LATE);
}

/* Of the early ones, those that leave the disk turning, too slowly (our own guess). */
#define TURNS_ON_LESS 0.4

enum rx rx_drive_plug(const struct play *p, enum sig s)
{
    enum rx r = by_mode(p->f->drive_out[s], RX_OK);

    r = touched(p, s, r);
    if (p->f->conductor[s] == MODE_STUCK || p->f->plug == PLUG_REVERSED ||
        play_row_at(p, TAP_DRIVE_END))
        return RX_STUCK;
    if (s == SIG_READY && gives_way(p)) /* never at speed */
        return RX_NEVER;
    return r;
}

enum rx rx_in_machine(const struct play *p, enum sig s)
{
    enum rx r = by_mode(p->f->conductor[s], rx_drive_plug(p, s));

    if (p->f->plug == PLUG_ROW)
        r = play_row_at(p, TAP_MACHINE_END) ? RX_STUCK : RX_NEVER;
    else
        r = through_plug(p, r);
    return by_mode(p->f->machine_in[s], r);
}

static void play_drive(struct play *p)
{
    const struct state *f = p->f;
    enum rx sel = p->in[SIG_SEL], mot = p->in[SIG_MOT];

    p->alive = !f->no_5v && !f->drive;
    p->selected = !p->alive || f->strap || sel == RX_NEVER ? 0 : sel == RX_NOISY ? 0.5 : 1;
    p->turning = p->alive && !(f->no_12v) && f->spin != SPIN_STILL && !gives_way(p) &&
                 (!p->s->has_motor || mot != RX_NEVER);
    p->turns = p->turning ? 1 : p->alive && gives_way(p) ? TURNS_ON_LESS : 0;
    if (f->medium == MEDIUM_ABSENT)
        p->turns *= 0.25;
    p->index = p->turns * p->selected;
    if (f->index_dead || (f->medium == MEDIUM_UPSIDE_DOWN && !p->s->rotor_index))
        p->index = 0;
    if (f->medium == MEDIUM_ABSENT)
        p->index *= p->s->rotor_index ? 0.6 : 0.1;
    if (f->sags)
        p->index *= 0.7;
    p->blind = p->seen[SIG_INDEX] != RX_OK || p->index < 0.2;
}

static bool restore_fails(const struct play *p)
{
    return !(p->untold & UNTOLD_WAITS) &&
           (p->out_steps == 2 || p->refused || (!p->restored && !p->f->machine));
}

/* Choices that differ in nothing here are counted once: going on matters where a restore fails,
 * setting in late where a gate is held on, a supply gives way or a contact swallows steps. */
static double choice_chance(const struct play *p)
{
    bool waits = p->untold & UNTOLD_WAITS, fails = restore_fails(p);
    bool late = p->untold & UNTOLD_LATE;
    double chance = untold_chance(p->s, p->untold) * p->signal * p->write_choice;

    if (p->f->plug == PLUG_ROW)
        chance *= 0.5;

    if (p->blind && !p->f->machine)
        chance *= waits ? 0.45 : 0.55;
    else if (waits)
        return 0;
    if (fails)
        chance *= p->untold & UNTOLD_GOES_ON ? 0.4 : 0.6;
    if (p->in[SIG_WGATE] == RX_STUCK)
        chance *= late ? 0.3 : 0.7;
    else if (p->f->sags || p->f->contact)
        chance *= late ? 0.65 : 0.35;
    else if (late)
        return 0;
    return chance;
}

static void play_lines(struct play *p)
{
    for (enum sig s = 0; s < SIG_COUNT; s++) {
        if (s < SIG_FROM_DRIVE) {
            p->in[s] = by_mode(p->f->drive_in[s], rx_machine_to_drive(p, s));
        } else {
            p->plug_out[s] = rx_drive_plug(p, s);
            p->seen[s] = rx_in_machine(p, s);
        }
    }
}

static void without_machine(struct state *s)
{
    memset(s->machine_out, MODE_OK, sizeof s->machine_out);
    memset(s->machine_in, MODE_OK, sizeof s->machine_in);
    s->separator = s->machine = s->pull_up = s->contact = s->buffer = false;
}

static void without_drive(struct state *s)
{
    memset(s->drive_in, MODE_OK, sizeof s->drive_in);
    memset(s->drive_out, MODE_OK, sizeof s->drive_out);
    s->spin = SPIN_OK;
    s->medium = MEDIUM_OK;
    s->hub = s->index_dead = s->index_weak = s->track0_dead = s->track0_stuck = false;
    s->stepper_stuck = s->stepper_slips = s->head_dead = s->head_weak = s->head_side1 = false;
    s->write_dead = s->write_weak = s->fouled = s->drive = s->no_5v = s->no_12v = s->sags =
        s->strap = false;
}

void world_begin(const struct state *state, const struct setting *setting, struct play *out)
{
    *out = (struct play){.own = *state, .s = setting};
    out->f = &out->own;
    out->own.stepper_slips |= out->own.outrun;
    out->writes = (setting->asked & (ASKED_WRITE | ASKED_FORMAT)) != 0;
    if (setting->disk_none && out->own.medium == MEDIUM_OK)
        out->own.medium = MEDIUM_ABSENT;
    if (setting->disk_blank && !out->writes && out->own.medium == MEDIUM_OK)
        out->own.medium = MEDIUM_BLANK;
    if (setting->role == ROLE_AS_MACHINE)
        without_machine(&out->own);
    if (setting->role == ROLE_AS_DRIVE)
        without_drive(&out->own);
    play_lines(out);
}

/* Choices that are none in this play, seen before it is played. */
static bool no_choice(const struct play *p, unsigned untold)
{
    return ((untold & UNTOLD_PLUG) && p->f->plug != PLUG_ROW) ||
           ((untold & UNTOLD_LATE) && p->in[SIG_WGATE] != RX_STUCK && !p->f->sags &&
            !p->f->contact) ||
           ((untold & UNTOLD_WRITES) && !p->writes);
}

double world_play(const struct play *begun, unsigned untold, struct world *out)
{
    bool as_it_goes = begun->f->join_a >= 0 || begun->f->plug == PLUG_ROW;
    struct play p;
    double chance;

    out->play.signal = 1;
    if (!as_it_goes && no_choice(begun, untold))
        return 0;
    p = *begun;
    p.untold = untold;
    if (as_it_goes) {
        play_lines(&p); /* what a touching line does depends on the choice */
        if (no_choice(&p, untold))
            return 0;
    }
    play_drive(&p);
    if ((untold & UNTOLD_WAITS) && !p.blind)
        return 0;
    play_head(&p);
    if ((untold & UNTOLD_GOES_ON) && !restore_fails(&p))
        return 0;
    play_read(&p);
    play_machine(&p);
    chance = choice_chance(&p);
    out->play = p;
    return chance;
}
