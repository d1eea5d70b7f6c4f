/* A drive that misses its own limits, and the hands of a person at the bench. */
#include "sim/sim_link_private.h"

static bool worn(const struct sim_link *s, enum link_fault_kind kind)
{
    return sim_link_has(&s->faults, kind, LINE_NONE);
}

static double most(const struct profile *drive, const char *key, double fallback)
{
    return profile_max(drive, key, profile_number(drive, key, fallback));
}

void sim_link_wear(struct sim_link *s)
{
    struct drive_spec *d = &s->world->spec.drive;
    const struct profile *p = s->options.drive;
    if (worn(s, LINK_FAULT_SPEED_OFF))
        d->speed = profile_min(p, "speed_rpm", 295.5) / d->nominal_rpm - 0.005;
    if (worn(s, LINK_FAULT_SPEED_NEAR))
        d->speed = 1.012;
    if (worn(s, LINK_FAULT_START_SLOW))
        d->start_ns = (int64_t)(2.4e6 * most(p, "start_ms", 500));
    if (worn(s, LINK_FAULT_INDEX_WIDE))
        d->index_width_ns = (int64_t)(1.3e3 * most(p, "index_width_us", 5000));
    if (worn(s, LINK_FAULT_STEPPER_SLOW)) /* a step is lost below 55 % of this */
        d->step_min_ns = 2 * d->step_min_ns;
    if (worn(s, LINK_FAULT_SETTLE_LONG))
        d->settle_ns = (int64_t)(1.6e6 * most(p, "settle_ms", 15));
}

void sim_link_disk_as_left(struct sim_link *s)
{
    struct world *w = s->world;
    if (!s->disk_touched || w->no_drive)
        return;
    w->disk.present = !s->disk_out;
    w->disk.protected_ = s->disk_protected;
    sim_drive_outputs(&w->drive);
}

enum err sim_link_disk(struct link *link, enum sim_disk_job job)
{
    if (link->ops != sim_link_ops())
        return ERR_INTERNAL;
    struct sim_link *s = link->state;
    if (s->world == NULL)
        return ERR_INTERNAL;
    struct drive *d = &s->world->drive;
    bool out = job == SIM_DISK_OUT || (job != SIM_DISK_IN && s->disk_out);
    if (!s->disk_touched)
        s->disk_protected = s->world->disk.protected_;
    s->disk_touched = true;
    if (job == SIM_DISK_PROTECT || job == SIM_DISK_OPEN)
        s->disk_protected = job == SIM_DISK_PROTECT;
    d->changed = d->changed || out;
    d->ready = d->ready && !out;
    s->disk_out = out;
    sim_link_disk_as_left(s);
    sim_head_sync(d);
    return s->world->err;
}
