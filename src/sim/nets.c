#include "sim/nets.h"

#include <string.h>

/* Threshold of a receiver with hysteresis over RC: ln((5 - 0.2) / (5 - 2.0)) (bus.ttl,
 * bus.rise* of the handbook: 300 pF of cable). */
#define RISE_FACTOR    0.47
#define CABLE_FARAD    300e-12
#define LEAK_OHM       47e3
#define INPUT_PULL_OHM 20e3 /* drive's own input pull-up where no terminator is fitted */

enum place { MACHINE_HEADER, MACHINE_PLUG, DRIVE_PLUG, DRIVE_HEADER, PLACES };
#define NODES  (PLACES * PINS_MAX + 1)
#define GROUND (PLACES * PINS_MAX)

struct build {
    int parent[NODES];
    int pins_machine, pins_drive;
    bool ribbon;
    const struct nets_options *o;
};

static int node(enum place place, int pin)
{
    return (int)place * PINS_MAX + pin;
}

static int find(struct build *b, int x)
{
    while (b->parent[x] != x) {
        b->parent[x] = b->parent[b->parent[x]];
        x = b->parent[x];
    }
    return x;
}

static void join(struct build *b, int x, int y)
{
    b->parent[find(b, x)] = find(b, y);
}

static const struct fault *fault_of(const struct nets_options *o, enum fault_kind kind,
                                    enum line line)
{
    for (int i = 0; i < o->faults; i++) {
        if (o->fault[i].kind == kind && (line == LINE_NONE || o->fault[i].a == line))
            return &o->fault[i];
    }
    return NULL;
}

/* The fault of a conductor: a pin may bear several names, so pins are compared. */
static const struct fault *conductor_fault(const struct nets_options *o, enum fault_kind kind,
                                           int pin)
{
    for (int i = 0; i < o->faults; i++) {
        if (o->fault[i].kind == kind && cable_machine_pin(o->cable, o->fault[i].a) == pin)
            return &o->fault[i];
    }
    return NULL;
}

static void plug(struct build *b, enum place header, enum place contact, int pins, int shift,
                 bool turned)
{
    for (int p = 1; p <= pins; p++) {
        int q = turned ? pins + 1 - p : p + shift;
        if (q >= 1 && q <= pins)
            join(b, node(header, p), node(contact, q));
    }
}

/* Off by a row: the odd and even rows change places, one way or the other. */
static void plug_off_by_row(struct build *b, enum place header, enum place contact, int pins,
                            bool up)
{
    for (int p = 1; p <= pins; p++) {
        int q = up ? p + 1 : p - 1;
        bool leaves = up ? p % 2 == 0 : p % 2 == 1; /* that row hangs in the air */
        if (!leaves && q >= 1 && q <= pins)
            join(b, node(header, p), node(contact, q));
    }
}

static void plugs(struct build *b, struct rng *r)
{
    const struct nets_options *o = b->o;
    bool at_drive = sim_rng_chance(r, 0.6);
    int shift = sim_rng_chance(r, 0.5) ? 2 : -2;
    bool up = sim_rng_chance(r, 0.5);
    for (int end = 0; end < 2; end++) {
        enum place header = end ? DRIVE_HEADER : MACHINE_HEADER;
        enum place contact = end ? DRIVE_PLUG : MACHINE_PLUG;
        int pins = end ? b->pins_drive : b->pins_machine;
        bool here = (end == 1) == at_drive;
        if (here && fault_of(o, FAULT_UNPLUGGED, LINE_NONE))
            continue;
        if (here && fault_of(o, FAULT_PLUG_OFF_BY_ROW, LINE_NONE))
            plug_off_by_row(b, header, contact, pins, up);
        else
            plug(b, header, contact, pins,
                 here && fault_of(o, FAULT_PLUG_OFF_BY_PAIR, LINE_NONE) ? shift : 0,
                 here && fault_of(o, FAULT_PLUG_REVERSED, LINE_NONE));
    }
}

static void grounds(struct build *b)
{
    if (!b->ribbon || b->o->grounds_apart)
        return;
    for (int p = 1; p <= b->pins_machine; p += 2)
        join(b, node(MACHINE_HEADER, p), GROUND);
    for (int p = 1; p <= b->pins_drive; p += 2)
        join(b, node(DRIVE_HEADER, p), GROUND);
}

/* Where a conductor that begins at this pin of the machine's plug ends. */
static int far_pin(const struct build *b, int pin)
{
    const struct profile *cable = b->o->cable;
    enum line at_machine = cable_machine_line(cable, pin);
    enum line at_drive =
        at_machine != LINE_NONE ? cable_to_drive(cable, at_machine) : LINE_NONE;
    if (at_machine != LINE_NONE)
        return at_drive != LINE_NONE ? cable_drive_pin(cable, at_drive) : 0;
    return b->ribbon ? cable_far_pin(cable, pin) : 0;
}

/* The pin whose conductor begins here where two are exchanged. */
static int swapped(const struct nets_options *o, int pin)
{
    for (int i = 0; i < o->faults; i++) {
        int a = cable_machine_pin(o->cable, o->fault[i].a);
        int b = cable_machine_pin(o->cable, o->fault[i].b);
        if (o->fault[i].kind == FAULT_CABLE_SWAP && (pin == a || pin == b))
            return a + b - pin;
    }
    return pin;
}

static int twist(int pin, int from, int to)
{
    return pin >= from && pin <= to ? from + to - pin : pin;
}

static void conductors(struct build *b, struct rng *r)
{
    const struct nets_options *o = b->o;
    bool misplaced = sim_rng_chance(r, 0.5);
    bool twisted = profile_flag(o->cable, "twist", false);
    for (int p = 1; p <= b->pins_machine; p++) {
        int q = far_pin(b, swapped(o, p));
        if (fault_of(o, FAULT_TWIST_MISSING, LINE_NONE))
            q = p;
        if (fault_of(o, FAULT_TWIST_WRONG, LINE_NONE))
            q = twisted || misplaced ? twist(p, 8, 14) : twist(p, 10, 16);
        if (conductor_fault(o, FAULT_CABLE_OPEN, p) ||
            (fault_of(o, FAULT_GROUND_OPEN, LINE_NONE) &&
             cable_pin_is_ground(o->cable, false, p)))
            q = 0;
        if (q != 0)
            join(b, node(MACHINE_PLUG, p), node(DRIVE_PLUG, q));
        if (conductor_fault(o, FAULT_CABLE_SHORT, p))
            join(b, node(MACHINE_PLUG, p),
                 o->grounds_apart ? node(MACHINE_PLUG, p - 1) : GROUND); /* the neighbour */
        const struct fault *pair = conductor_fault(o, FAULT_CABLE_JOIN, p);
        if (pair != NULL)
            join(b, node(MACHINE_PLUG, p),
                 node(MACHINE_PLUG, cable_machine_pin(o->cable, pair->b)));
    }
}

/* Logic between the plugs (a box with a latch for the motor) passes these on; here it is a
 * wire. */
static void logic_inside(struct build *b)
{
    static const enum line passed[] = {LINE_MOTOR, LINE_READY};
    const struct profile *cable = b->o->cable;
    for (size_t i = 0; profile_flag(cable, "logic_inside", false) && i < 2; i++) {
        int p = cable_machine_pin(cable, passed[i]);
        int q = cable_drive_pin(cable, passed[i]);
        if (p != 0 && q != 0 && cable_to_drive(cable, passed[i]) == LINE_NONE)
            join(b, node(MACHINE_PLUG, p), node(DRIVE_PLUG, q));
    }
}

static enum err check(const struct nets_options *o, bool ribbon, struct err_msg *e)
{
    for (int i = 0; i < o->faults; i++) {
        const struct fault *f = &o->fault[i];
        bool of_ribbon = f->kind == FAULT_PLUG_REVERSED || f->kind == FAULT_PLUG_OFF_BY_PAIR ||
                         f->kind == FAULT_PLUG_OFF_BY_ROW;
        bool of_conductor = f->kind == FAULT_CABLE_OPEN || f->kind == FAULT_CABLE_SHORT ||
                            f->kind == FAULT_CABLE_JOIN || f->kind == FAULT_CABLE_SWAP;
        bool twisted = profile_flag(o->cable, "twist", false);
        if (of_ribbon && !ribbon)
            return err_set(e, ERR_USAGE, "%s: its plug fits one way only",
                           profile_name(o->cable));
        if (f->kind == FAULT_TWIST_MISSING && !twisted)
            return err_set(e, ERR_USAGE, "%s has no twist to miss", profile_name(o->cable));
        if (f->kind == FAULT_TWIST_WRONG && (!ribbon || cable_pins(o->cable) != 34))
            return err_set(e, ERR_USAGE, "%s cannot have a twist", profile_name(o->cable));
        enum line far = of_conductor ? cable_to_drive(o->cable, f->a) : LINE_NONE;
        bool used = (o->machine_lines & LINE_BIT(f->a)) ||
                    (far != LINE_NONE && (o->drive_lines & LINE_BIT(far)));
        if (of_conductor && (far == LINE_NONE || !used))
            return err_set(e, ERR_USAGE, "%s: nothing uses %s here", profile_name(o->cable),
                           line_name(f->a));
        if (f->kind == FAULT_CABLE_SWAP && cable_machine_pin(o->cable, f->b) == 0)
            return err_set(e, ERR_USAGE, "%s does not carry %s", profile_name(o->cable),
                           line_name(f->b));
        if (f->kind == FAULT_CABLE_JOIN && !sim_nets_neighbours(o->cable, f->a, f->b))
            return err_set(e, ERR_USAGE, "%s and %s are not two pins apart in %s",
                           line_name(f->a), line_name(f->b), profile_name(o->cable));
    }
    return ERR_OK;
}

bool sim_nets_neighbours(const struct profile *cable, enum line a, enum line b)
{
    int p = cable_machine_pin(cable, a);
    int q = cable_machine_pin(cable, b);
    return p != 0 && q != 0 && (p - q == 2 || q - p == 2);
}

static int number(struct nets *n, int *of_root, int root)
{
    if (of_root[root] == NET_NONE && n->count < NETS_MAX) {
        n->net[n->count] = (struct net){.siemens = 1 / LEAK_OHM, .rise_at = INT64_MAX};
        of_root[root] = n->count++;
    }
    return of_root[root];
}

static void name_nets(struct nets *n, struct build *b)
{
    int of_root[NODES];
    for (int i = 0; i < NODES; i++)
        of_root[i] = NET_NONE;
    n->count = 0;
    for (int l = 0; l < LINE_COUNT; l++) {
        int p = cable_machine_pin(b->o->cable, (enum line)l);
        int q = cable_drive_pin(b->o->cable, (enum line)l);
        n->machine[l] =
            p != 0 ? number(n, of_root, find(b, node(MACHINE_HEADER, p))) : NET_NONE;
        n->drive[l] = q != 0 ? number(n, of_root, find(b, node(DRIVE_HEADER, q))) : NET_NONE;
    }
    int ground = of_root[find(b, GROUND)];
    if (ground != NET_NONE)
        n->net[ground].grounded = true;
}

static void pull(struct nets *n, int net, double ohm)
{
    if (net != NET_NONE && ohm > 0)
        n->net[net].siemens += 1 / ohm;
}

static void rise_time(struct net *t)
{
    t->rise_ns = (int64_t)(RISE_FACTOR * CABLE_FARAD / t->siemens * 1e9);
}

static void pull_ups(struct nets *n, const struct nets_options *o)
{
    bool none = fault_of(o, FAULT_PULL_UPS_MISSING, LINE_NONE) != NULL;
    bool unterminated = fault_of(o, FAULT_TERMINATOR_MISSING, LINE_NONE) != NULL;
    bool twice = fault_of(o, FAULT_TERMINATOR_DOUBLE, LINE_NONE) != NULL;
    for (int i = 0; i < LINE_COUNT; i++) {
        enum line l = (enum line)i;
        if ((o->machine_lines & LINE_BIT(l)) && !line_from_machine(l) && !none &&
            !fault_of(o, FAULT_PULL_UP_LINE_MISSING, l))
            pull(n, n->machine[l], o->machine_pull_ohm);
        if ((o->drive_lines & LINE_BIT(l)) && line_from_machine(l)) {
            pull(n, n->drive[l], unterminated ? INPUT_PULL_OHM : o->drive_pull_ohm);
            pull(n, n->drive[l], twice ? o->drive_pull_ohm : 0);
        }
        pull(n, n->machine[l], o->machine_tap_ohm);
        pull(n, n->drive[l], o->drive_tap_ohm);
    }
    for (int i = 0; i < n->count; i++) {
        rise_time(&n->net[i]);
        n->net[i].low = n->net[i].grounded;
    }
}

void sim_nets_load(struct nets *n, int net, double siemens)
{
    if (net == NET_NONE)
        return;
    n->net[net].siemens += siemens;
    rise_time(&n->net[net]);
}

static enum err join_all(struct build *b, const struct nets_options *o, struct rng *r,
                         struct err_msg *e)
{
    *b = (struct build){.o = o};
    for (int i = 0; i < NODES; i++)
        b->parent[i] = i;
    b->ribbon = strncmp(profile_name(o->cable), "ribbon", 6) == 0;
    b->pins_machine = cable_pins(o->cable);
    b->pins_drive = cable_drive_pins(o->cable);
    if (b->pins_machine >= PINS_MAX || b->pins_drive >= PINS_MAX)
        return err_set(e, ERR_FORMAT, "%s: more pins than the simulator holds",
                       profile_name(o->cable));
    TRY(check(o, b->ribbon, e));
    grounds(b);
    conductors(b, r);
    plugs(b, r);
    return ERR_OK;
}

enum err sim_nets_build(struct nets *n, const struct nets_options *o, struct rng *r,
                        struct err_msg *e)
{
    struct build b;
    TRY(join_all(&b, o, r, e));
    logic_inside(&b); /* works only with its supply, so in no check of the copper alone */
    name_nets(n, &b);
    pull_ups(n, o);
    return ERR_OK;
}

enum err sim_nets_pins(struct pin_groups *g, const struct nets_options *o, struct rng *r,
                       struct err_msg *e)
{
    struct build b;
    TRY(join_all(&b, o, r, e));
    for (int p = 0; p < PINS_MAX; p++) {
        g->group[0][p] = find(&b, node(MACHINE_HEADER, p));
        g->group[1][p] = find(&b, node(DRIVE_HEADER, p));
    }
    g->ground = find(&b, GROUND);
    return ERR_OK;
}
