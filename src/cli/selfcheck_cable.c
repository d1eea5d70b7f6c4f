/* The reading of a cable in words: lines and pins from the cable's profile. */
#include "cli/selfcheck.h"

#include <stdio.h>

#define WALKED "each pin was pulled low in turn and the others watched: "

void selfcheck_plan(const struct adapter_use *u, struct cable_plan *out)
{
    const struct profile *c = u->cable;
    bool apart = (u->session.caps.flags & CAPF_GROUNDS_APART) != 0;
    *out = (struct cable_plan){.pins = {(unsigned)cable_pins(c), (unsigned)cable_drive_pins(c)},
                               .apart = apart,
                               .twisted = profile_flag(c, "twist", false)};
    for (int plug = 0; plug < 2; plug++)
        for (unsigned p = 1; p <= out->pins[plug]; p++)
            out->ground[plug][p] = cable_pin_is_ground(c, plug == 1, (int)p);
    for (int p = 1; p <= (int)out->pins[0]; p++) {
        int far = cable_far_pin(c, p);
        bool used = cable_pin_is_used(c, false, p) && cable_pin_is_used(c, true, far);
        bool ground = cable_pin_is_ground(c, false, p) && cable_pin_is_ground(c, true, far);
        out->far[p] = (uint8_t)far;
        out->carried[p] = far != 0 && (used || (apart && ground));
    }
}

/* ---- names ---- */

struct name {
    char text[96];
    char part[16]; /* of a fault's name */
};

/* "INDEX (pin 8)"; through a twist "MOTOR0 (pin 10), at the drive MOTOR (pin 16)". */
static struct name name_of(const struct profile *cable, unsigned pin, unsigned far)
{
    struct name n;
    enum line here = cable_machine_line(cable, (int)pin);
    enum line there = cable_drive_line(cable, (int)far);
    enum line line = pin != 0 ? here : there;
    bool ground = pin != 0 ? cable_pin_is_ground(cable, false, (int)pin)
                           : cable_pin_is_ground(cable, true, (int)far);
    const char *word = line != LINE_NONE ? line_name(line) : ground ? "ground" : "a conductor";
    bool moves = pin != 0 && far != 0 && (pin != far || here != there);
    if (moves && here == there)
        (void)snprintf(n.text, sizeof n.text, "%s (pin %u; at the drive pin %u)", word, pin,
                       far);
    else if (moves)
        (void)snprintf(n.text, sizeof n.text, "%s (pin %u; at the drive %s, pin %u)", word, pin,
                       there != LINE_NONE ? line_name(there) : "no line", far);
    else
        (void)snprintf(n.text, sizeof n.text, "%s (pin %u%s)", word, pin != 0 ? pin : far,
                       pin != 0 ? "" : " at the drive");
    if (line != LINE_NONE)
        (void)snprintf(n.part, sizeof n.part, "%s", line_name(line));
    else if (ground)
        (void)snprintf(n.part, sizeof n.part, "ground");
    else
        (void)snprintf(n.part, sizeof n.part, "pin-%u", pin != 0 ? pin : far);
    return n;
}

/* ---- faults of the whole ---- */

static const struct {
    enum cable_fault_kind kind;
    const char *fault, *text, *why, *next;
} whole[] = {
    {CABLE_NOTHING, "cable.plug.unplugged", "no conductor arrives at the other plug",
     WALKED "none followed at the other plug, none sat on ground",
     "push both plugs home on the adapter, look for a plug that is crimped on nothing, and "
     "check again"},
    {CABLE_REVERSED, "cable.plug.reversed", "one of the two plugs is on the wrong way round",
     WALKED "every signal pin of both plugs sits on ground, as when the two rows change places",
     "look for pin 1 at both plugs (the coloured edge of a ribbon) and turn the one that is "
     "wrong; a plug that is crimped on the wrong way stays wrong: another cable"},
    {CABLE_OFF_BY_ROW, "cable.plug.off-by-row", "one of the two plugs is one row out",
     WALKED "the signal pins of one plug sit on ground, those of the other on nothing",
     "take both plugs off and put them on again with both rows in; a plug one row out has "
     "destroyed drives"},
    {CABLE_TWIST_MISSING, "cable.twist.missing",
     "the twist is missing: conductors 10 to 16 run straight",
     WALKED "each arrives at its own number",
     "this is a straight cable, or its middle plug: use the twisted one, or strap drives and "
     "machine for a straight cable"},
    {CABLE_TWIST_FOUND, "cable.twist.wrong", "conductors are turned over where none should be",
     WALKED "they arrive in reversed order",
     "this is a twisted cable: use a straight one, or the profile of the twisted one"},
    {CABLE_TWIST_PLACE, "cable.twist.wrong", "the twist is in the wrong place",
     WALKED "other conductors than those of the profile arrive in reversed order",
     "count the conductors that are turned over from pin 1; another cable"},
    {CABLE_OFF_BY_PAIR, "cable.plug.off-by-pair", "a plug is off by a pair of pins",
     WALKED "they arrive two pins away",
     "take both plugs off and put them on again, pin 1 on pin 1"},
};

static void say_whole(struct selfcheck *c, const struct cable_fault *f)
{
    static const char *const at[] = {"the machine's plug is off", "the drive's plug is off"};
    for (size_t i = 0; i < sizeof whole / sizeof whole[0]; i++) {
        if (whole[i].kind != f->kind)
            continue;
        struct check_item *x = selfcheck_add(c, LINE_NONE);
        (void)snprintf(x->fault, sizeof x->fault, "%s", whole[i].fault);
        (void)snprintf(x->text, sizeof x->text, "%s", whole[i].text);
        x->why = whole[i].why;
        if (f->by_arrival)
            x->why = f->kind == CABLE_REVERSED ? WALKED "they arrive counted from the other end"
                                               : WALKED
                         "those of one row arrive one pin away, the others nowhere";
        x->next = whole[i].next;
        if (f->first != 0)
            (void)snprintf(x->text, sizeof x->text, "%s: pins %u to %u", whole[i].text,
                           f->first, f->last);
        if (f->kind == CABLE_OFF_BY_PAIR)
            (void)snprintf(x->text, sizeof x->text,
                           "%s by a pair of pins: pin 8 of the machine's side arrives at %d",
                           f->plug >= 0 ? at[f->plug] : "one of the two plugs is off",
                           8 + f->shift);
    }
}

/* ---- faults of conductors ---- */

#define CRUSHED                                                                                \
    "look where the cable was crushed or cut: a ribbon's neighbours are signal and ground; "   \
    "another cable"

static const struct {
    enum cable_fault_kind kind;
    const char *mode, *text, *why, *next;
} single[] = {
    {CABLE_OPEN, "open", " is open between the plugs",
     WALKED "this one is followed by none at the other plug, from either side",
     "press both plugs' caps home over that conductor, look for a nick or a bent pin, check "
     "again while it is moved (--wiggle); else another cable"},
    {CABLE_GROUNDED, "short", " touches ground",
     WALKED "this one is low although nothing pulls it", CRUSHED},
    {CABLE_PIN_DEAD, "not-tested", " was not tested: the adapter's own pin does not follow",
     WALKED "this one does not even follow itself",
     "the adapter's driver or input at that pin is dead: whichend selfcheck --role loop"},
};

static void conductor_fault(const struct profile *cable, const struct cable_fault *f,
                            struct selfcheck *c)
{
    for (size_t i = 0; i < sizeof single / sizeof single[0]; i++) {
        if (single[i].kind != f->kind)
            continue;
        struct name n = name_of(cable, f->pin, f->far);
        struct check_item *x = selfcheck_add(c, cable_machine_line(cable, (int)f->pin));
        bool open = f->kind == CABLE_OPEN;
        (void)snprintf(x->fault, sizeof x->fault, "cable.%s.%s", n.part,
                       f->at_times ? "intermittent" : single[i].mode);
        if (f->at_times)
            (void)snprintf(x->text, sizeof x->text, "%s %s: so in %u of %u looks", n.text,
                           open ? "opens and closes" : "touches ground at times", f->seen,
                           f->of);
        else
            (void)snprintf(x->text, sizeof x->text, "%s%s", n.text, single[i].text);
        x->why = single[i].why;
        x->next = single[i].next;
        x->untested = f->kind == CABLE_PIN_DEAD;
    }
}

static bool is_ground(const struct profile *cable, unsigned pin)
{
    return cable_pin_is_ground(cable, false, (int)pin);
}

static void touch_fault(const struct profile *cable, const struct cable_fault *f,
                        struct selfcheck *c)
{
    struct name a = name_of(cable, f->pin, f->far);
    struct name b = name_of(cable, f->other, f->other_far);
    bool ground = is_ground(cable, f->other);
    struct check_item *x = selfcheck_add(c, cable_machine_line(cable, (int)f->pin));
    if (ground)
        (void)snprintf(x->fault, sizeof x->fault, "cable.%s.%s", a.part,
                       f->at_times ? "intermittent" : "short");
    else
        (void)snprintf(x->fault, sizeof x->fault, "cable.%s+%s.%s", a.part, b.part,
                       f->at_times ? "intermittent" : "short");
    if (f->at_times)
        (void)snprintf(x->text, sizeof x->text,
                       "%s and %s touch at times: so in %u of %u looks", a.text, b.text,
                       f->seen, f->of);
    else
        (void)snprintf(x->text, sizeof x->text, "%s and %s touch", a.text, b.text);
    x->why = WALKED "these two follow one another";
    x->next = ground
                  ? CRUSHED
                  : "lines two pins apart meet inside a plug or by a solder bridge: look into "
                    "both plugs at those pins; else another cable";
}

static void order_fault(const struct profile *cable, const struct cable_fault *f,
                        struct selfcheck *c)
{
    struct name a = name_of(cable, f->pin, f->far);
    struct name b = name_of(cable, f->other, f->other_far);
    struct check_item *x = selfcheck_add(c, cable_machine_line(cable, (int)f->pin));
    if (f->kind == CABLE_SWAPPED) {
        (void)snprintf(x->fault, sizeof x->fault, "cable.%s+%s.swapped", a.part, b.part);
        (void)snprintf(x->text, sizeof x->text, "%s and %s are exchanged", a.text, b.text);
    } else {
        (void)snprintf(x->fault, sizeof x->fault, "cable.%s.misplaced", a.part);
        (void)snprintf(x->text, sizeof x->text, "%s arrives at pin %u of the drive's plug",
                       a.text, f->other_far);
    }
    x->why = WALKED "the wrong ones follow at the other plug";
    x->next = "such a cable was made so: compare it with its drawing, or with the profile's "
              "source; another cable";
}

/* A signal and a ground: it is the signal's fault. */
static struct cable_fault signal_first(const struct profile *cable, const struct cable_fault *f)
{
    struct cable_fault o = *f;
    if (f->kind == CABLE_JOINED && is_ground(cable, f->pin)) {
        o.pin = f->other;
        o.far = f->other_far;
        o.other = f->pin;
        o.other_far = f->far;
    }
    return o;
}

static void say_fault(const struct profile *cable, const struct cable_fault *found,
                      struct selfcheck *c)
{
    const struct cable_fault in_order = signal_first(cable, found), *f = &in_order;
    switch (f->kind) {
    case CABLE_OPEN:
    case CABLE_GROUNDED:
    case CABLE_PIN_DEAD:
        conductor_fault(cable, f, c);
        break;
    case CABLE_JOINED:
        touch_fault(cable, f, c);
        break;
    case CABLE_SWAPPED:
    case CABLE_MISPLACED:
        order_fault(cable, f, c);
        break;
    case CABLE_NOTHING:
    case CABLE_REVERSED:
    case CABLE_OFF_BY_ROW:
    case CABLE_OFF_BY_PAIR:
    case CABLE_TWIST_MISSING:
    case CABLE_TWIST_FOUND:
    case CABLE_TWIST_PLACE:
        say_whole(c, f);
        break;
    }
    struct check_item *x = &c->item[c->items - 1];
    x->pin = (int)f->pin;
    x->far = (int)f->far;
    x->at_times = f->at_times;
    x->seen = f->at_times ? f->seen : 0;
    x->of = f->at_times ? f->of : 0;
}

/* ---- what was not tested ---- */

static enum err grounds(const struct adapter_use *u, struct buf *out)
{
    const struct profile *c = u->cable;
    int first = 0;
    int last = 0;
    int count = 0;
    if (u->session.caps.flags & CAPF_GROUNDS_APART)
        return ERR_OK;
    for (int p = 1; p <= cable_pins(c); p++)
        if (cable_pin_is_ground(c, false, p)) {
            first = first == 0 ? p : first;
            last = p;
            count++;
        }
    if (count == 0)
        return ERR_OK;
    if (count == 2)
        return buf_printf(out, "grounds %d and %d, use a meter\n", first, last);
    return buf_printf(out, "grounds %d..%d, use a meter\n", first, last);
}

static enum err not_tested(const struct adapter_use *u, struct selfcheck *out)
{
    struct buf *b = &out->not_tested;
    TRY(grounds(u, b));
    if (profile_flag(u->cable, "logic_inside", false))
        TRY(buf_str(b, "the logic between the plugs: it needs a supply and a drive\n"));
    if (out->passes < 10)
        TRY(buf_str(b, "contact that comes and goes: move the cable with --wiggle\n"));
    return buf_str(b, "contact resistance: squeeze and move the plugs, and measure the low "
                      "level under 33 mA\n");
}

enum err selfcheck_of_cable(const struct adapter_use *u, const struct cable_plan *plan,
                            const struct cable_seen *seen, struct selfcheck *out)
{
    struct cable_reading reading;
    cable_read(plan, seen, &reading);
    out->role = WIRE_ROLE_BOTH_PLUGS;
    out->cable = profile_name(u->cable);
    out->passes = seen->passes;
    out->looked_at = plan->pins[0] + plan->pins[1];
    for (size_t i = 0; i < reading.faults; i++)
        say_fault(u->cable, &reading.fault[i], out);
    for (unsigned p = 1; p <= plan->pins[0]; p++) {
        if (!plan->carried[p])
            continue;
        out->conductor[out->conductors++] = (struct check_conductor){
            .line = cable_machine_line(u->cable, (int)p),
            .pin = (int)p,
            .far = plan->far[p],
            .state = reading.sound[p] && reading.far[p] == plan->far[p] ? "sound" : "faulty"};
    }
    return not_tested(u, out);
}
