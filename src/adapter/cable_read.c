#include "adapter/cable_read.h"

#include <string.h>

#define TWIST_PINS  3 /* a run of fewer signal pins turned over is two that are swapped */
#define CLEARLY     4 /* conductors by which another layout must fit better than the plan's */
#define MOST(n, of) (4 * (n) >= 3 * (of))

enum often { NEVER, AT_TIMES, ALWAYS };

struct reader {
    const struct cable_plan *plan;
    const struct cable_seen *seen;
    struct cable_reading *out;
};

/* Where each machine's pin would lead. */
struct layout {
    struct cable_fault says;
    uint8_t far[CABLE_PINS_MAX + 1];
};

static enum often often(uint32_t n, uint32_t of)
{
    return n == 0 ? NEVER : n >= of ? ALWAYS : AT_TIMES;
}

static uint32_t together(const struct reader *r, unsigned a, unsigned b)
{
    return r->seen->low[a][b] + r->seen->low[b][a];
}

static enum often joined(const struct reader *r, unsigned a, unsigned b)
{
    return often(together(r, a, b), 2 * r->seen->passes);
}

static enum often grounded(const struct reader *r, unsigned plug, unsigned pin)
{
    return pin == 0 ? NEVER : often(r->seen->idle[cable_node(plug, pin)], r->seen->passes);
}

static enum often arrives(const struct reader *r, unsigned pin, unsigned far)
{
    return far == 0 ? NEVER : joined(r, cable_node(0, pin), cable_node(1, far));
}

static struct cable_fault *add(struct reader *r, enum cable_fault_kind kind)
{
    static const struct cable_fault none = {.plug = -1};
    struct cable_reading *o = r->out;
    struct cable_fault *f =
        &o->fault[o->faults < CABLE_FAULTS_MAX ? o->faults++ : CABLE_FAULTS_MAX - 1];
    *f = none;
    f->kind = kind;
    return f;
}

/* ---- the whole ---- */

struct census {
    unsigned conductors;
    unsigned grounded[2]; /* of their pins at either plug */
    unsigned alive;       /* machine's pins that arrive anywhere */
};

static bool arrives_anywhere(const struct reader *r, unsigned pin)
{
    for (unsigned q = 1; q <= r->plan->pins[1]; q++)
        if (arrives(r, pin, q) != NEVER)
            return true;
    return false;
}

static struct census take_census(const struct reader *r)
{
    struct census c = {0};
    for (unsigned p = 1; p <= r->plan->pins[0]; p++) {
        if (!r->plan->carried[p])
            continue;
        c.conductors++;
        c.grounded[0] += grounded(r, 0, p) == ALWAYS;
        c.grounded[1] += grounded(r, 1, r->plan->far[p]) == ALWAYS;
        c.alive += arrives_anywhere(r, p);
    }
    return c;
}

static bool whole_is_wrong(struct reader *r)
{
    struct census c = take_census(r);
    bool low[2] = {MOST(c.grounded[0], c.conductors), MOST(c.grounded[1], c.conductors)};
    if (c.conductors == 0 || c.alive > 0)
        return false;
    if (low[0] && low[1])
        (void)add(r, CABLE_REVERSED);
    else if (low[0] || low[1])
        (void)add(r, CABLE_OFF_BY_ROW);
    else if (c.grounded[0] + c.grounded[1] == 0)
        (void)add(r, CABLE_NOTHING);
    return r->out->faults > 0;
}

/* ---- which layout ---- */

static int fit(const struct reader *r, const struct layout *l)
{
    int n = 0;
    for (unsigned p = 1; p <= r->plan->pins[0]; p++)
        if (r->plan->carried[p] && arrives_anywhere(r, p))
            n += arrives(r, p, l->far[p]) != NEVER ? 1 : -1;
    return n;
}

static void straight(const struct reader *r, struct layout *l)
{
    for (unsigned p = 1; p <= CABLE_PINS_MAX; p++)
        l->far[p] = p <= r->plan->pins[1] ? (uint8_t)p : 0;
}

static void keep_better(const struct reader *r, const struct layout *l, struct layout *best,
                        int *best_fit)
{
    int n = fit(r, l);
    if (n < *best_fit + (best->says.kind == CABLE_OPEN ? CLEARLY : 1))
        return;
    *best = *l;
    *best_fit = n;
}

/* One plug sits turned over, or says.shift pins away. */
static void try_plug(const struct reader *r, struct cable_fault says, bool turned,
                     struct layout *best, int *best_fit)
{
    const struct cable_plan *plan = r->plan;
    for (int plug = 0; plug < 2; plug++) {
        struct layout l = {.says = says};
        l.says.plug = plan->twisted ? plug : -1; /* of a straight cable both look alike */
        const int pins[2] = {(int)plan->pins[0], (int)plan->pins[1]};
        for (int p = 1; p <= pins[0]; p++) {
            int from = plug == 1 ? p : turned ? pins[0] + 1 - p : p + says.shift;
            bool there = from >= 1 && from <= pins[0];
            int far = there ? plan->far[from] : 0;
            int to = far == 0 || plug == 0 ? far
                     : turned              ? pins[1] + 1 - far
                                           : far + says.shift;
            l.far[p] = to >= 1 && to <= pins[1] ? (uint8_t)to : 0;
        }
        keep_better(r, &l, best, best_fit);
    }
}

static void try_plugs(const struct reader *r, struct layout *best, int *best_fit)
{
    for (int s = -2; s <= 2; s += 4)
        try_plug(r, (struct cable_fault){.kind = CABLE_OFF_BY_PAIR, .shift = s}, false, best,
                 best_fit);
    /* Where grounds are wired together, these are seen by what sits on ground. */
    struct cable_fault row = {.kind = CABLE_OFF_BY_ROW, .by_arrival = true};
    for (row.shift = -1; r->plan->apart && row.shift <= 1; row.shift += 2)
        try_plug(r, row, false, best, best_fit);
    if (r->plan->apart)
        try_plug(r, (struct cable_fault){.kind = CABLE_REVERSED, .by_arrival = true}, true,
                 best, best_fit);
}

/* The other row hangs in the air, and nothing can be said of it. */
static void leave_out_silent(const struct reader *r, struct layout *l)
{
    for (unsigned p = 1; p <= r->plan->pins[0]; p++)
        if (!arrives_anywhere(r, p))
            l->far[p] = 0;
}

static unsigned signals_between(const struct cable_plan *plan, unsigned first, unsigned last)
{
    unsigned n = 0;
    for (unsigned p = first; p <= last; p++)
        n += plan->carried[p];
    return n;
}

static void try_twists(const struct reader *r, struct layout *best, int *best_fit)
{
    const struct cable_plan *plan = r->plan;
    for (unsigned a = 1; a <= plan->pins[0]; a++)
        for (unsigned b = a + 1; b <= plan->pins[0]; b++) {
            struct layout l = {
                .says = {.kind = plan->twisted ? CABLE_TWIST_PLACE : CABLE_TWIST_FOUND,
                         .first = a,
                         .last = b}};
            if (!plan->carried[a] || !plan->carried[b] ||
                signals_between(plan, a, b) <= TWIST_PINS)
                continue;
            straight(r, &l);
            for (unsigned p = a; p <= b; p++)
                l.far[p] = (uint8_t)(a + b - p);
            keep_better(r, &l, best, best_fit);
        }
}

/* The layout that fits best; the plan's own unless another fits clearly better. */
static void choose_layout(struct reader *r)
{
    struct layout best = {.says = {.kind = CABLE_OPEN}}; /* stands for none of the whole */
    memcpy(best.far, r->plan->far, sizeof best.far);
    int best_fit = fit(r, &best);
    struct layout plain = {.says = {.kind = CABLE_TWIST_MISSING}};
    straight(r, &plain);
    if (r->plan->twisted)
        keep_better(r, &plain, &best, &best_fit);
    try_plugs(r, &best, &best_fit);
    if (r->plan->pins[0] == r->plan->pins[1])
        try_twists(r, &best, &best_fit);
    if (best.says.kind == CABLE_OFF_BY_ROW)
        leave_out_silent(r, &best);
    if (best.says.kind != CABLE_OPEN)
        *add(r, best.says.kind) = best.says;
    memcpy(r->out->far, best.far, sizeof best.far);
}

/* ---- conductors ---- */

static unsigned near_of(const struct reader *r, unsigned far)
{
    for (unsigned p = 1; p <= r->plan->pins[0]; p++)
        if (r->out->far[p] == far && cable_is_walked(r->plan, 0, p))
            return p;
    return 0;
}

static struct cable_fault *about(struct reader *r, enum cable_fault_kind kind, unsigned pin,
                                 unsigned far, uint32_t seen, uint32_t of)
{
    struct cable_fault *f = add(r, kind);
    f->pin = pin;
    f->far = far;
    f->seen = seen;
    f->of = of;
    f->at_times = seen > 0 && seen < of;
    return f;
}

static bool own_pin_dead(const struct reader *r, unsigned plug, unsigned pin)
{
    return pin != 0 && together(r, cable_node(plug, pin), cable_node(plug, pin)) == 0 &&
           grounded(r, plug, pin) == NEVER;
}

/* Any pin of the same plug that hangs together with this one. */
static bool joined_here(const struct reader *r, unsigned plug, unsigned pin)
{
    for (unsigned q = 1; q <= r->plan->pins[plug]; q++)
        if (q != pin && joined(r, cable_node(plug, pin), cable_node(plug, q)) != NEVER)
            return true;
    return false;
}

/* Where else it arrives; 0: nowhere. */
static unsigned elsewhere(const struct reader *r, unsigned pin, unsigned far)
{
    for (unsigned q = 1; !joined_here(r, 0, pin) && q <= r->plan->pins[1]; q++)
        if (q != far && arrives(r, pin, q) != NEVER && !joined_here(r, 1, q))
            return q;
    return 0;
}

static void goes_elsewhere(struct reader *r, unsigned pin, unsigned far, unsigned to)
{
    unsigned other = near_of(r, to);
    bool swapped = other != 0 && elsewhere(r, other, to) == far;
    if (swapped && other < pin)
        return; /* told with the other one */
    struct cable_fault *f = about(r, swapped ? CABLE_SWAPPED : CABLE_MISPLACED, pin, far, 0, 0);
    f->other = other;
    f->other_far = to;
}

static bool ground_touches(struct reader *r, unsigned pin, unsigned far)
{
    uint32_t passes = r->seen->passes;
    uint32_t here = pin != 0 ? r->seen->idle[cable_node(0, pin)] : 0;
    uint32_t there = far != 0 ? r->seen->idle[cable_node(1, far)] : 0;
    uint32_t most = here > there ? here : there;
    if (most == 0)
        return false;
    (void)about(r, CABLE_GROUNDED, pin, far, most, passes);
    if (grounded(r, 0, pin) == grounded(r, 1, far) || most < passes)
        return true;
    (void)about(r, CABLE_OPEN, pin, far, 0, 0); /* ground at one end does not reach the other */
    return true;
}

static void conductor(struct reader *r, unsigned pin, unsigned far)
{
    uint32_t of = 2 * r->seen->passes;
    bool dead = own_pin_dead(r, 0, pin) || own_pin_dead(r, 1, far);
    if (ground_touches(r, pin, far))
        return;
    uint32_t seen = together(r, cable_node(0, pin), cable_node(1, far));
    if (seen >= of) {
        r->out->sound[pin] = true;
        return;
    }
    unsigned to = elsewhere(r, pin, far);
    if (dead)
        (void)about(r, CABLE_PIN_DEAD, pin, far, 0, 0);
    else if (seen == 0 && to != 0)
        goes_elsewhere(r, pin, far, to);
    else
        about(r, CABLE_OPEN, pin, far, of - seen, of)->at_times = seen > 0;
}

/* Looks in which pins of the same plug hung together. */
static uint32_t touch(const struct reader *r, unsigned plug, unsigned a, unsigned b)
{
    return a == 0 || b == 0 ? 0 : together(r, cable_node(plug, a), cable_node(plug, b));
}

/* Each pin of one plug with the next higher one that it touches: a group of three is two
 * pairs. */
static void touches(struct reader *r, unsigned plug, unsigned pin)
{
    const struct cable_reading *o = r->out;
    for (unsigned q = pin + 1; q <= r->plan->pins[plug]; q++) {
        unsigned here[2] = {plug == 0 ? pin : near_of(r, pin), plug == 0 ? q : near_of(r, q)};
        unsigned there[2] = {plug == 0 ? o->far[pin] : pin, plug == 0 ? o->far[q] : q};
        uint32_t seen = touch(r, plug, pin, q);
        bool grounds = r->plan->ground[plug][pin] && r->plan->ground[plug][q];
        if (seen == 0 || grounds) /* those are joined in every machine and drive */
            continue;
        if (plug == 1 && touch(r, 0, here[0], here[1]) > 0)
            return; /* told at the machine's plug */
        struct cable_fault *f =
            about(r, CABLE_JOINED, here[0], there[0], seen, 2 * r->seen->passes);
        f->other = here[1];
        f->other_far = there[1];
        r->out->sound[here[0]] = r->out->sound[here[1]] = false;
        return;
    }
}

void cable_read(const struct cable_plan *plan, const struct cable_seen *seen,
                struct cable_reading *out)
{
    struct reader r = {plan, seen, out};
    memset(out, 0, sizeof *out);
    memcpy(out->far, plan->far, sizeof out->far);
    if (seen->passes == 0 || whole_is_wrong(&r))
        return;
    choose_layout(&r);
    for (unsigned p = 1; p <= plan->pins[0]; p++)
        if (plan->carried[p] && out->far[p] != 0)
            conductor(&r, p, out->far[p]);
    for (unsigned plug = 0; plug < 2; plug++)
        for (unsigned p = 1; p <= plan->pins[plug]; p++)
            touches(&r, plug, p);
}
