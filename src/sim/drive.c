#include "sim/drive.h"

#include "sim/world.h"

#include <stdlib.h>

#define STEP_SHORTEST_NS 250 /* its receiver swallows what is shorter */

bool sim_drive_has(const struct drive *d, enum fault_kind kind)
{
    return d->party == PARTY_DRIVE && sim_spec_has(&d->w->spec, kind);
}

static bool driver_is(const struct drive *d, enum fault_kind kind, enum line line)
{
    return d->party == PARTY_DRIVE && sim_spec_has_line(&d->w->spec, kind, line);
}

static void set_output(struct drive *d, enum line line, bool low)
{
    if (!(d->spec->lines & LINE_BIT(line)))
        return;
    low = low && d->selected && d->powered;
    if (driver_is(d, FAULT_DRIVE_LINE_DEAD, line))
        low = false;
    if (driver_is(d, FAULT_DRIVE_LINE_STUCK, line))
        low = true;
    bool was = (d->pulled & LINE_BIT(line)) != 0;
    if (low == was)
        return;
    d->pulled ^= LINE_BIT(line);
    sim_world_pull(d->w, d->party, line, low);
}

void sim_drive_rdata(struct drive *d)
{
    set_output(d, LINE_RDATA, d->head.rise_at != NEVER);
}

void sim_drive_outputs(struct drive *d)
{
    const struct index_sensor *x = &d->index;
    const struct drive_spec *s = d->spec;
    bool index = x->covered && !x->skip && !sim_drive_has(d, FAULT_INDEX_DEAD) &&
                 (!s->gate_ready || d->ready) && (!s->gate_seek || d->settled_at == NEVER);
    bool trk00 = (d->trk00 || sim_drive_has(d, FAULT_TRACK0_STUCK)) &&
                 !sim_drive_has(d, FAULT_TRACK0_DEAD);
    bool protected_ =
        d->disk->protected_ || !d->disk->present || sim_drive_has(d, FAULT_WPROT_STUCK);
    set_output(d, LINE_INDEX, index);
    set_output(d, LINE_TRK00, trk00);
    set_output(d, LINE_WPROT, protected_);
    set_output(d, LINE_READY, d->ready);
    set_output(d, LINE_DSKCHG, d->changed);
    set_output(d, LINE_TWOSIDED, d->disk->present && d->disk->format.sides == 2);
    set_output(d, LINE_HDOUT, false);
    set_output(d, LINE_FAULT, false);
    sim_drive_rdata(d);
}

static void motor_changes(struct drive *d)
{
    bool on = d->powered && (!d->spec->motor_line || (d->active & LINE_BIT(LINE_MOTOR)));
    if (on == d->motor)
        return;
    d->motor = on;
    d->index.seen = 0;
    if (on && sim_drive_has(d, FAULT_SUPPLY_SAGS))
        d->reset_at = d->w->now + sim_rng_between(&d->rng, 25, 110) * NS_PER_MS;
    if (!on) {
        d->ready = false;
        sim_drive_outputs(d);
        sim_head_sync(d);
    }
}

static void step(struct drive *d)
{
    int64_t now = d->w->now;
    int64_t gap = now - d->last_step_at;
    d->last_step_at = now;
    if (!d->selected || !d->powered || d->writer.on)
        return;
    if (d->disk->present)
        d->changed = false;
    bool lost = gap * 100 < d->spec->step_min_ns * 55;
    lost = lost || (sim_drive_has(d, FAULT_STEPPER_SLIPS) && sim_rng_chance(&d->rng, 0.25));
    if (sim_drive_has(d, FAULT_STEPPER_STUCK) || sim_drive_has(d, FAULT_12V_MISSING) || lost) {
        sim_drive_outputs(d);
        return;
    }
    d->cylinder += (d->active & LINE_BIT(LINE_DIR)) ? 1 : -1;
    if (d->cylinder < 0)
        d->cylinder = 0;
    if (d->cylinder > d->spec->last_cylinder)
        d->cylinder = d->spec->last_cylinder;
    d->trk00_at = now + d->spec->trk00_ns;
    d->settled_at = now + d->spec->settle_ns;
    sim_drive_outputs(d);
    sim_head_sync(d);
}

static void reacts(struct drive *d, enum line line, bool active)
{
    const struct drive_spec *s = d->spec;
    if (line == s->select) {
        d->selected = active && d->powered;
        sim_drive_outputs(d);
        sim_head_write_gate(d, d->selected && (d->active & LINE_BIT(LINE_WGATE)));
    } else if (line == LINE_MOTOR) {
        motor_changes(d);
    } else if (line == LINE_STEP) {
        bool long_enough = d->w->now - d->step_fell_at > STEP_SHORTEST_NS;
        d->step_fell_at = active ? d->w->now : d->step_fell_at;
        if (active == s->step_leading && (active || long_enough))
            step(d);
    } else if (line == LINE_WGATE) {
        sim_head_write_gate(d, active && d->selected);
    } else if (line == LINE_WDATA && active) {
        sim_head_write_pulse(d);
        return;
    }
    sim_head_sync(d);
}

void sim_drive_input(struct drive *d, enum line line, bool low)
{
    if (!line_from_machine(line) || !(d->spec->lines & LINE_BIT(line)))
        return;
    bool active = low && !sim_drive_has(d, FAULT_LOGIC_DEAD) &&
                  !driver_is(d, FAULT_DRIVE_LINE_DEAD, line);
    active = active || driver_is(d, FAULT_DRIVE_LINE_STUCK, line);
    bool was = (d->active & LINE_BIT(line)) != 0;
    if (active == was)
        return;
    d->active ^= LINE_BIT(line);
    if (d->powered)
        reacts(d, line, active);
}

/* The rail falls below what the logic needs, or comes back. */
static void supply(struct drive *d, bool on)
{
    d->powered = on;
    d->selected = on && (d->active & LINE_BIT(d->spec->select));
    d->trk00 = d->cylinder == 0;
    d->changed = true;
    if (on && sim_rng_chance(&d->rng, 0.3) && d->cylinder < d->spec->last_cylinder)
        d->cylinder++; /* the stepper's phases start anew */
    motor_changes(d);
    if (!on) {
        d->head.rise_at = NEVER;
        d->head.pulses = 0;
        sim_head_write_gate(d, false);
    }
    sim_drive_outputs(d);
    sim_head_sync(d);
}

void sim_drive_start(struct drive *d, struct world *w, enum party party,
                     const struct drive_spec *spec, struct disk *disk, uint64_t seed)
{
    *d = (struct drive){.w = w, .party = party, .spec = spec, .disk = disk};
    sim_rng_seed(&d->rng, seed, 20 + (uint64_t)party);
    sim_rng_seed(&d->noise, seed, 40 + (uint64_t)party);
    d->trk00_at = d->settled_at = d->read_ok_at = d->reset_at = d->reset_end = NEVER;
    d->last_step_at = -NS_PER_S;
    d->head.rise_at = d->head.noise_at = d->head.transition_at = NEVER;
    d->cylinder = spec->start_cylinder;
    d->trk00 = d->cylinder == 0;
    d->changed = true;
    d->powered = !sim_drive_has(d, FAULT_5V_MISSING);
    d->spindle.wow_phase = sim_rng_unit(&d->rng);
    d->spindle.disk = d->spindle.rotor = disk->format.turn_ns * sim_rng_unit(&d->rng);
    d->spindle.slice_end = 1;
    for (int i = 0; i < LINE_COUNT; i++) {
        if (line_from_machine((enum line)i) &&
            driver_is(d, FAULT_DRIVE_LINE_STUCK, (enum line)i) && d->powered)
            sim_drive_input(d, (enum line)i, true);
    }
    sim_index_restart(d);
    motor_changes(d);
    sim_drive_outputs(d);
}

int64_t sim_drive_next(const struct drive *d)
{
    const int64_t due[] = {d->spindle.slice_end, d->trk00_at,  d->settled_at, d->read_ok_at,
                           d->reset_at,          d->reset_end, d->index.at,   sim_head_next(d)};
    int64_t next = NEVER;
    for (size_t i = 0; i < sizeof due / sizeof due[0]; i++)
        next = due[i] < next ? due[i] : next;
    return next;
}

static bool falls_due(int64_t *at, int64_t now)
{
    if (*at > now)
        return false;
    *at = NEVER;
    return true;
}

static void timers(struct drive *d, int64_t now)
{
    if (falls_due(&d->trk00_at, now)) {
        d->trk00 = d->cylinder == 0;
        sim_drive_outputs(d);
    }
    if (falls_due(&d->settled_at, now)) {
        sim_drive_outputs(d);
        sim_head_sync(d);
    }
    if (falls_due(&d->read_ok_at, now))
        sim_head_sync(d);
    if (falls_due(&d->reset_at, now)) {
        supply(d, false);
        d->reset_end = now + sim_rng_between(&d->rng, 25, 90) * NS_PER_MS;
    }
    if (falls_due(&d->reset_end, now))
        supply(d, true);
}

void sim_drive_event(struct drive *d)
{
    int64_t now = d->w->now;
    if (sim_head_next(d) <= now)
        sim_head_event(d);
    if (d->index.at <= now)
        sim_index_event(d);
    timers(d, now);
    if (d->spindle.slice_end <= now)
        sim_spindle_slice(d);
}

void sim_drive_release(struct drive *d)
{
    free(d->writer.pos);
    d->writer.pos = NULL;
}
