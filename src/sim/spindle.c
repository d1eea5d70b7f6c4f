#include "sim/drive.h"
#include "sim/world.h"

#define SLICE_NS 200000
#define COAST_NS 4.0e8

static double target_speed(const struct drive *d)
{
    const struct drive_spec *s = d->spec;
    bool disk_needed = !s->spins_empty && !d->disk->present;
    if (!d->motor || disk_needed || sim_drive_has(d, FAULT_MOTOR_DEAD) ||
        sim_drive_has(d, FAULT_12V_MISSING))
        return 0;
    double rpm = s->nominal_rpm;
    if (s->low_rpm > 0 && (s->lines & LINE_BIT(LINE_DENSITY))) {
        bool low = (d->active & LINE_BIT(LINE_DENSITY)) != 0;
        rpm = low == s->density_low_is_low ? s->low_rpm : rpm;
    }
    return s->speed * (1 + d->spindle.trim) * rpm / 60e9 * d->disk->format.turn_ns;
}

static double swing(struct drive *d, double turn)
{
    const struct drive_spec *s = d->spec;
    struct spindle *p = &d->spindle;
    double angle = p->rotor / turn + p->wow_phase;
    p->wander += 2e-5 * sim_rng_gauss(&d->rng) - 0.01 * p->wander;
    p->hunt_phase += 1.7 * SLICE_NS / 1e9;
    return s->wow * sim_sine_turns(angle) + s->wow_ninth * sim_sine_turns(9 * angle) +
           s->drift * p->wander / 2e-4 +
           s->hunting * sim_sine_turns(p->hunt_phase) *
               (0.6 + 0.4 * sim_sine_turns(0.37 * p->hunt_phase));
}

/* The hub drags behind the rotor all the time a little, and lets go now and then. */
static double slip(struct drive *d)
{
    struct spindle *p = &d->spindle;
    if (d->spec->slip <= 0)
        return 0;
    if (p->slice_start >= p->slip_until) {
        bool letting_go = sim_rng_chance(&d->rng, 0.6);
        p->slip_until = p->slice_start + sim_rng_between(&d->rng, 20, 160) * NS_PER_MS;
        p->slip_now = d->spec->slip * (letting_go ? sim_rng_range(&d->rng, 0.8, 2.0) : 0.25);
    }
    return p->slip_now;
}

static void ready_changes(struct drive *d)
{
    double nominal = d->spec->nominal_rpm / 60e9 * d->disk->format.turn_ns;
    double low =
        d->spec->low_rpm > 0 ? d->spec->low_rpm / 60e9 * d->disk->format.turn_ns : nominal;
    double v = d->spindle.speed;
    bool at_speed = v > 0.5 * low && v > 0.5 * d->spec->speed * low;
    bool settled = target_speed(d) > 0 && v > 0.97 * target_speed(d);
    bool ready = d->disk->present && at_speed && settled && d->index.seen >= 2;
    if (ready != d->ready) {
        d->ready = ready;
        sim_drive_outputs(d);
        sim_head_sync(d);
    }
}

static double index_angle_at_start(const struct drive *d, double *rate)
{
    *rate = d->spec->rotor_index ? d->spindle.rotor_rate : d->spindle.disk_rate;
    return d->spec->rotor_index ? d->spindle.rotor : d->spindle.disk;
}

static double hole_angle(const struct drive *d, int hole)
{
    int holes = d->disk->sector_holes + 1;
    double turn = d->disk->format.turn_ns;
    int turns = hole / holes;
    int in_turn = hole % holes;
    double base = turn * turns;
    if (in_turn == 0)
        return base; /* the index hole; the sector holes lie so that it is in the middle between
                        two */
    return base + turn * ((double)in_turn - 0.5) / (double)(holes - 1);
}

static double mark_width(const struct drive *d)
{
    double width = (double)d->spec->index_width_ns;
    if (d->disk->sector_holes > 0)
        width *= 0.5;
    return width;
}

/* When the next edge comes within this slice. */
static void plan_index(struct drive *d)
{
    double rate;
    double angle = index_angle_at_start(d, &rate);
    bool windows = d->spec->rotor_index || (d->disk->present && !d->disk->upside_down);
    d->index.at = NEVER;
    if (rate <= 0 || !windows)
        return;
    double ahead = d->index.next - angle;
    int64_t t = d->spindle.slice_start + (int64_t)((ahead > 0 ? ahead : 0) / rate);
    d->index.at = t < d->spindle.slice_end ? t : NEVER;
}

void sim_spindle_slice(struct drive *d)
{
    struct spindle *p = &d->spindle;
    double dt = (double)(p->slice_end - p->slice_start);
    p->rotor += p->rotor_rate * dt;
    p->disk += p->disk_rate * dt;
    double want = target_speed(d);
    double tau = want > p->speed ? (double)d->spec->start_ns / 5.0 : COAST_NS;
    double step = SLICE_NS / tau;
    p->speed += (want - p->speed) * (step > 1 ? 1 : step);
    if (want <= 0 && p->speed < 0.004)
        p->speed = 0;
    p->slice_start = p->slice_end;
    p->slice_end += SLICE_NS;
    p->rotor_rate = p->speed * (1.0 + swing(d, d->disk->format.turn_ns));
    p->disk_rate = d->disk->present ? p->rotor_rate * (1.0 - slip(d)) : p->rotor_rate;
    d->head.dirt += 0.02 * sim_rng_gauss(&d->noise) - 0.004 * d->head.dirt;
    plan_index(d);
    sim_head_plan(d);
    ready_changes(d);
}

/* The first mark that has not passed yet. */
void sim_index_restart(struct drive *d)
{
    double rate;
    double angle = index_angle_at_start(d, &rate);
    d->index.hole = 0;
    while (hole_angle(d, d->index.hole) < angle)
        d->index.hole++;
    d->index.next = hole_angle(d, d->index.hole);
    d->index.covered = false;
    plan_index(d);
}

void sim_index_event(struct drive *d)
{
    struct index_sensor *x = &d->index;
    x->covered = !x->covered;
    if (x->covered) {
        x->next = hole_angle(d, x->hole) + mark_width(d);
        x->skip = sim_drive_has(d, FAULT_INDEX_WEAK) && sim_rng_chance(&d->rng, 0.4);
        if (!x->skip && !sim_drive_has(d, FAULT_INDEX_DEAD))
            x->seen++;
    } else {
        x->hole++;
        x->next = hole_angle(d, x->hole);
    }
    plan_index(d);
    sim_drive_outputs(d);
}

double sim_drive_angle(const struct drive *d, int64_t t)
{
    return d->spindle.disk + d->spindle.disk_rate * (double)(t - d->spindle.slice_start);
}
