#include "sim/play.h"

#include "sim/spec_lines.h"
#include "sim/world.h"

#include <stdlib.h>

#define SESSION_LONGEST_NS (12 * NS_PER_S)

struct sim_play {
    struct world world;
};

static double terminator_ohm(const struct sim_options *o)
{
    double ohm = profile_number(o->drive, "pull_up_ohm", 1000);
    return ohm < 150 ? 150 : ohm;
}

static bool heals(const struct spec *s)
{
    return sim_spec_has(s, FAULT_PULL_UPS_MISSING) ||
           sim_spec_has(s, FAULT_PULL_UP_LINE_MISSING) ||
           sim_spec_has(s, FAULT_TERMINATOR_MISSING);
}

/* What a recorder is set to: 24 to 100 million samples a second, or far too few. */
static void tap_make(struct world *w, int index, const struct sim_options *o, struct rng *r)
{
    static const struct {
        int64_t sample_fs, tick_fs;
    } rates[] = {{41666667, FS_PER_NS},
                 {40 * FS_PER_NS, 10 * FS_PER_NS},
                 {20 * FS_PER_NS, 10 * FS_PER_NS},
                 {10 * FS_PER_NS, 10 * FS_PER_NS}};
    struct tap *t = &w->tap[index];
    bool drive_end = index == TAP_DRIVE_END;
    size_t pick = (size_t)sim_rng_between(r, 0, 3);
    bool slow = sim_spec_has(&w->spec, FAULT_SAMPLED_TOO_SLOWLY);
    t->index = index;
    t->info.used = drive_end ? o->drive_end : o->machine_end;
    t->info.sample_fs =
        slow ? (sim_rng_chance(r, 0.5) ? 1000 : 500) * FS_PER_NS : rates[pick].sample_fs;
    t->info.tick = (struct tick){slow ? 10 * FS_PER_NS : rates[pick].tick_fs, 1};
    t->info.lines =
        sim_spec_tap_lines(o, w->spec.machine.lines, w->spec.drive.lines, drive_end);
    /* the recorder's own pull-ups would hide the fault */
    t->info.pull_up_ohm = heals(&w->spec) || !t->info.used ? 0 : o->pull_up_ohm;
    t->flux_open = w->flux_ns <= 0;
    if (index == TAP_DRIVE_END && !o->both_one_clock) {
        t->offset_ns = sim_rng_between(r, 5, 400) * NS_PER_MS;
        t->drift_ppb = sim_rng_between(r, -30000, 30000);
    }
}

/* A lead fault is at one of the taps in use. */
static void leads(struct world *w, struct rng *r)
{
    bool both = w->tap[0].info.used && w->tap[1].info.used;
    int at = both ? (int)sim_rng_between(r, 0, 1) : w->tap[0].info.used ? 0 : 1;
    for (int i = 0; i < w->spec.faults; i++) {
        const struct fault *f = &w->spec.fault[i];
        if (f->kind == FAULT_LEAD_OPEN && (w->tap[at].info.lines & LINE_BIT(f->a)))
            w->tap[at].open_leads |= LINE_BIT(f->a);
        else if (f->kind == FAULT_LEAD_OPEN)
            w->tap[1 - at].open_leads |= LINE_BIT(f->a);
    }
}

static void add_port(struct world *w, int net, enum port_kind kind, enum line line)
{
    if (net != NET_NONE && w->ports < PORTS_MAX)
        w->port[w->ports++] = (struct port){kind, line, net};
}

static bool guest_hears(const struct world *w, bool at_machine, bool at_drive)
{
    return w->guest != NULL && (w->guest->at_drive_end ? at_drive : at_machine);
}

static void ports(struct world *w)
{
    bool machine = w->guest == NULL || !w->guest->for_machine;
    for (int net = 0; net < w->nets.count; net++) {
        w->first_port[net] = w->ports;
        for (int i = 0; i < LINE_COUNT; i++) {
            enum line line = (enum line)i;
            bool at_machine = w->nets.machine[i] == net;
            bool at_drive = w->nets.drive[i] == net;
            if (machine && at_machine && (w->spec.machine.lines & LINE_BIT(line)))
                add_port(w, net, PORT_MACHINE, line);
            if (!w->no_drive && at_drive && (w->spec.drive.lines & LINE_BIT(line)))
                add_port(w, net, PORT_DRIVE, line);
            if (at_drive && w->has_other && (w->spec.drive.lines & LINE_BIT(line)))
                add_port(w, net, PORT_OTHER_DRIVE, line);
            if (at_machine && (w->tap[0].info.lines & LINE_BIT(line)))
                add_port(w, net, PORT_TAP_MACHINE, line);
            if (at_drive && (w->tap[1].info.lines & LINE_BIT(line)))
                add_port(w, net, PORT_TAP_DRIVE, line);
            if (guest_hears(w, at_machine, at_drive))
                add_port(w, net, PORT_GUEST, line);
        }
    }
    w->first_port[w->nets.count] = w->ports;
}

static enum err bus(struct world *w, const struct sim_options *o, struct rng *r,
                    struct err_msg *e)
{
    struct nets_options n = {.cable = o->cable,
                             .fault = w->spec.fault,
                             .faults = w->spec.faults,
                             .machine_lines = w->spec.machine.lines,
                             .drive_lines = w->spec.drive.lines,
                             .machine_pull_ohm = w->spec.machine.pull_ohm,
                             .drive_pull_ohm = terminator_ohm(o),
                             .machine_tap_ohm = w->tap[0].info.pull_up_ohm,
                             .drive_tap_ohm = w->tap[1].info.pull_up_ohm};
    if (w->guest != NULL && w->guest->for_machine)
        n.machine_pull_ohm = 0;
    if (w->no_drive)
        n.drive_pull_ohm = 0;
    TRY(sim_nets_build(&w->nets, &n, r, e));
    ports(w);
    return ERR_OK;
}

enum err sim_play_open(const struct sim_options *o, struct sim_play **out, struct err_msg *e)
{
    return sim_play_open_with(o, NULL, out, e);
}

struct world *sim_play_world(struct sim_play *p)
{
    return &p->world;
}

enum err sim_play_open_with(const struct sim_options *o, const struct guest *guest,
                            struct sim_play **out, struct err_msg *e)
{
    if (o->machine == NULL || o->drive == NULL || o->cable == NULL)
        return err_set(e, ERR_USAGE, "a machine, a drive and a cable are needed");
    struct sim_play *p = calloc(1, sizeof *p);
    if (p == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    struct world *w = &p->world;
    struct rng r;
    enum err err = sim_spec_make(&w->spec, &w->disk, o, e);
    w->flux_ns = (int64_t)(o->flux_seconds * 1e9);
    w->guest = guest;
    w->hold_at = NEVER;
    w->no_drive = guest != NULL && guest->for_drive;
    w->has_other = !w->no_drive && sim_spec_has(&w->spec, FAULT_SELECT_SHARED);
    sim_rng_seed(&r, o->seed, 70);
    for (int i = 0; i < TAPS; i++)
        tap_make(w, i, o, &r);
    leads(w, &r);
    if (err == ERR_OK)
        err = bus(w, o, &r, e);
    if (err != ERR_OK) {
        sim_play_close(p);
        return err;
    }
    *out = p;
    return ERR_OK;
}

void sim_play_info(const struct sim_play *p, int tap, struct sim_tap_info *out)
{
    *out = p->world.tap[tap].info;
}

const struct spec *sim_play_spec(const struct sim_play *p)
{
    return &p->world.spec;
}

/* Before time begins: levels as the parts have set them. */
static enum err start_taps(struct world *w, const struct sim_sink *sink)
{
    for (int i = 0; i < w->nets.count; i++) {
        struct net *n = &w->nets.net[i];
        n->low = n->grounded || n->low_by != 0;
        n->rise_at = NEVER;
        n->listed = false;
    }
    w->risings = w->glitches = 0;
    for (int tap = 0; tap < TAPS; tap++) {
        bool low[LINE_COUNT] = {false};
        for (int i = 0; i < LINE_COUNT; i++) {
            int net = tap == TAP_DRIVE_END ? w->nets.drive[i] : w->nets.machine[i];
            low[i] = net != NET_NONE && w->nets.net[net].low;
        }
        w->tap[tap].sink = sink;
        TRY(sim_tap_start(&w->tap[tap], low));
    }
    return ERR_OK;
}

static void tell_parts(struct world *w)
{
    for (int i = 0; i < w->ports; i++) {
        const struct port *p = &w->port[i];
        if (!w->nets.net[p->net].low)
            continue;
        if (p->kind == PORT_MACHINE)
            sim_machine_input(&w->machine, p->line, true);
        else if (p->kind == PORT_DRIVE)
            sim_drive_input(&w->drive, p->line, true);
        else if (p->kind == PORT_OTHER_DRIVE)
            sim_drive_input(&w->other, p->line, true);
    }
}

static void start_parts(struct world *w)
{
    uint64_t seed = w->spec.seed;
    const struct spec *s = &w->spec;
    sim_rng_seed(&w->rng, seed, 80);
    w->no_ground = sim_spec_has(s, FAULT_GROUND_OPEN);
    w->ringing = sim_spec_has(s, FAULT_TERMINATOR_MISSING);
    w->weak_low = sim_spec_has(s, FAULT_TERMINATOR_DOUBLE);
    w->flux_until = w->bounce_at = NEVER;
    w->end = SESSION_LONGEST_NS;
    if (!w->no_drive)
        sim_drive_start(&w->drive, w, PARTY_DRIVE, &s->drive, &w->disk, seed);
    if (w->has_other) {
        w->other_disk = w->disk;
        w->other_disk.content.seed ^= 0x5DEECE66D;
        w->other_disk.first_ns += 31000;
        w->other_disk.writer_speed = 2.0 - w->disk.writer_speed;
        w->other_disk.present = s->seed % 3 != 0;
        sim_drive_start(&w->other, w, PARTY_OTHER_DRIVE, &s->drive, &w->other_disk, seed + 7);
        w->other.cylinder += 2;
    }
    if (w->guest != NULL && w->guest->for_machine)
        sim_machine_absent(&w->machine, w);
    else
        sim_machine_start(&w->machine, w, seed);
}

enum err sim_play_begin(struct sim_play *p, const struct sim_sink *sink, struct err_msg *e)
{
    struct world *w = &p->world;
    w->tap[0].sink = w->tap[1].sink = sink;
    w->silent = true;
    start_parts(w);
    enum err err = start_taps(w, sink);
    if (err != ERR_OK)
        return err_set(e, err, "the session could not be begun");
    w->silent = false;
    tell_parts(w);
    return ERR_OK;
}

enum err sim_play_run(struct sim_play *p, const struct sim_sink *sink, struct sim_result *out,
                      struct err_msg *e)
{
    struct world *w = &p->world;
    *out = (struct sim_result){.outcome = "unknown"};
    TRY(sim_play_begin(p, sink, e));
    sim_machine_session(&w->machine, out);
    for (int i = 0; i < TAPS && w->err == ERR_OK; i++)
        w->err = sim_tap_finish(&w->tap[i], w->now, &out->end_tick[i]);
    out->seconds_ns = w->now;
    return w->err == ERR_OK ? ERR_OK
                            : err_set(e, w->err, "the session could not be played to its end");
}

void sim_play_close(struct sim_play *p)
{
    if (p == NULL)
        return;
    sim_disk_release(&p->world.disk);
    sim_disk_release(&p->world.other_disk);
    sim_drive_release(&p->world.drive);
    sim_drive_release(&p->world.other);
    free(p);
}
