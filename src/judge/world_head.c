/* The play: where the head goes, and what the machine believes of it. */
#include "judge/world.h"

/* The machine's view of TRK00 once the head is at 0 (or anywhere, for one that is stuck). */
static enum rx track0_seen(const struct play *p)
{
    if (p->seen[SIG_TRK00] == RX_NEVER || p->seen[SIG_TRK00] == RX_STUCK)
        return p->seen[SIG_TRK00];
    if (p->selected < 0.5)
        return RX_NEVER;
    if (p->f->track0_dead)
        return RX_NEVER;
    return p->f->track0_stuck ? RX_STUCK : p->seen[SIG_TRK00];
}

static bool can_step(const struct play *p)
{
    const struct state *f = p->f;

    return p->selected > 0.2 && p->in[SIG_STEP] == RX_OK && !f->stepper_stuck && !f->no_12v &&
           (p->in[SIG_WGATE] != RX_STUCK || (p->untold & UNTOLD_LATE));
}

/* A contact at the machine that comes and goes may swallow steps. */
static bool loses_steps(const struct play *p)
{
    return p->f->contact && !(p->untold & UNTOLD_LATE);
}

void play_head(struct play *p)
{
    bool started_at_zero = p->untold & UNTOLD_AT_ZERO;
    enum rx track0 = track0_seen(p);
    enum rx dir = p->in[SIG_DIR];
    bool moves = can_step(p);
    bool outward = moves && dir != RX_STUCK;

    if (p->f->machine)
        return;
    p->refused = p->s->waits_ready && p->seen[SIG_READY] == RX_NEVER && p->s->has_ready;
    if (p->blind && (p->untold & UNTOLD_WAITS)) {
        p->at_zero = started_at_zero;
        p->zero_seen = started_at_zero && p->selected > 0.2;
        p->lost = true;
        return;
    }
    if (track0 == RX_STUCK || (started_at_zero && track0 != RX_NEVER)) {
        p->restored = true;
        p->at_zero = started_at_zero;
    } else if (p->refused && !(p->untold & UNTOLD_GOES_ON)) {
        p->at_zero = started_at_zero;
    } else {
        p->at_zero = (outward && !loses_steps(p)) || (started_at_zero && !moves);
        p->restored = p->at_zero && track0 == RX_OK;
        if (track0 == RX_NOISY)
            p->restored = p->at_zero;
        p->out_steps = p->restored ? 1 : 2;
    }
    p->zero_seen = (started_at_zero || p->at_zero) && p->selected > 0.2;
    p->in_steps =
        (p->untold & UNTOLD_SEEKS_IN) && (p->restored || (p->untold & UNTOLD_GOES_ON));
    p->moved_in = p->in_steps && moves && dir != RX_NEVER && !play_joined(p, SIG_STEP, SIG_DIR);
    p->lost = (p->in_steps && !p->moved_in) || !p->at_zero || p->f->stepper_slips;
}
