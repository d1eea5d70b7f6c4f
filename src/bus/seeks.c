/* Runs of STEP pulses, and the restores among them. */
#include "base/buf.h"
#include "bus/tracker.h"

#define OTHER_PLACE 3

static void due_after(struct open_seek *k)
{
    int64_t gap = BURST_NS;
    if (k->s.steps > 1 && BURST_TIMES * k->s.min_interval_ns < gap) {
        gap = BURST_TIMES * k->s.min_interval_ns;
    }
    if (gap < STILL_NS) {
        gap = STILL_NS;
    }
    k->after_due_ns = k->s.end_ns + STILL_NS;
    k->close_due_ns = k->s.end_ns + gap;
}

static void seek_open(struct bus_tracker *t, int64_t ns, int8_t direction,
                      const struct moment *before)
{
    bool turned = t->dir_change_ns >= 0 && (!t->step_any || t->dir_change_ns > t->step_ns);
    t->seek = (struct open_seek){
        .open = true,
        .mask = t->select_mask,
        .start = *before,
        .s = {.start_ns = ns,
              .direction = direction,
              .selected = t->selected,
              .min_dir_setup_ns = turned ? ns - t->dir_change_ns : -1,
              .trk00_before = t->trk00,
              .trk00_after = LEVEL_UNKNOWN,
              .trk00_step = -1,
              .trk00_release_step = -1,
              .trk00_late_ns = -1},
    };
}

enum err seek_before_pulse(struct bus_tracker *t, int64_t ns, int8_t direction)
{
    const struct open_seek *k = &t->seek;
    bool goes_on = k->s.direction == direction && k->mask == t->select_mask &&
                   k->s.selected == t->selected;
    return k->open && !goes_on ? seek_close(t, ns, false) : ERR_OK;
}

enum err seek_pulse(struct bus_tracker *t, int64_t ns, int8_t direction,
                    const struct moment *before)
{
    struct open_seek *k = &t->seek;
    TRY(segment_step(t, ns));
    if (!k->open) {
        seek_open(t, ns, direction, before);
    }
    int64_t interval = ns - k->s.end_ns;
    if (k->s.steps > 0 && (k->s.min_interval_ns == 0 || interval < k->s.min_interval_ns)) {
        k->s.min_interval_ns = interval;
    }
    k->s.steps += k->s.steps < INT32_MAX;
    k->s.end_ns = ns;
    k->last = moment_now(t, ns);
    k->after_taken = false;
    k->changed = false;
    k->ready = t->selected && t->motor;
    due_after(k);
    return ERR_OK;
}

void seek_trk00(struct bus_tracker *t, enum level level)
{
    struct open_seek *k = &t->seek;
    int64_t late = t->trk00_ns - t->step_ns;
    /* A change after select changed may be select's doing. */
    if (!k->open || k->after_taken || t->select_since_ns > t->step_ns || late < 0) {
        return;
    }
    int32_t *step = level == LEVEL_LOW ? &k->s.trk00_step : &k->s.trk00_release_step;
    if (*step < 0) {
        *step = k->s.steps;
    }
    k->s.trk00_late_ns = late;
    timing_seen(t, TIME_TRK00, late);
}

void seek_take_after(struct bus_tracker *t, int64_t ns)
{
    struct open_seek *k = &t->seek;
    if (!k->open || k->after_taken) {
        return;
    }
    steps_judge_inward(t);
    k->after_taken = true;
    k->after_ns = ns;
    k->s.trk00_after = t->trk00;
    k->cylinder_known = k->s.selected && t->selected && head_cylinder(t, &k->cylinder);
}

enum err seek_due(struct bus_tracker *t, int64_t at)
{
    const struct open_seek *k = &t->seek;
    if (!k->open || at < k->after_due_ns) {
        return ERR_OK;
    }
    seek_take_after(t, at);
    return at >= k->close_due_ns ? seek_close(t, at, false) : ERR_OK;
}

void seek_note_change(struct bus_tracker *t, int64_t ns)
{
    struct open_seek *k = &t->seek;
    k->change = moment_now(t, ns);
    if (!k->changed) {
        k->off = k->change;
        k->changed = true;
    }
}

/* TRK00 against the count, once the head is there. */
static void contradictions(struct bus_tracker *t)
{
    const struct open_seek *k = &t->seek;
    /* Without a profile: common practice. */
    int64_t valid = bounded_ns(1e6 * limit_max(t->drive, "trk00_valid_ms", 3));
    if (!k->cylinder_known || k->after_ns - k->s.end_ns < valid) {
        return;
    }
    t->s.trk00_at_other_place += k->s.trk00_after == LEVEL_LOW && k->cylinder >= OTHER_PLACE;
    t->s.trk00_missing_at_zero += k->s.trk00_after == LEVEL_HIGH && k->cylinder == 0;
}

/* Outward steps that only a restore makes: as many as the machine's limit or the drive's
 * cylinders, and the count does not explain them. */
static bool hit_limit(const struct bus_tracker *t)
{
    const struct open_seek *k = &t->seek;
    int32_t most =
        t->limit_steps < t->last_cylinder + 1 ? t->limit_steps : t->last_cylinder + 1;
    return k->s.steps >= most && k->s.trk00_after == LEVEL_HIGH &&
           (!k->cylinder_known || k->cylinder <= 0);
}

static enum err seek_access(struct bus_tracker *t, int64_t ns, bool at_end)
{
    const struct open_seek *k = &t->seek;
    int64_t own = k->s.min_interval_ns > 0 ? 2 * k->s.min_interval_ns : STILL_NS;
    bool going = at_end && ns - k->s.end_ns < own;
    enum access_kind kind = ACCESS_SEEK;
    enum access_end end = going ? ACCESS_OPEN : ACCESS_DONE;
    if (k->s.direction < 0 && k->s.trk00_after == LEVEL_LOW && k->s.trk00_before != LEVEL_LOW) {
        kind = ACCESS_RESTORE;
        end = ACCESS_DONE;
    } else if (k->s.direction < 0 && hit_limit(t)) {
        kind = ACCESS_RESTORE;
        end = going ? ACCESS_OPEN : ACCESS_LIMIT;
        t->s.restores_failed++;
        if (k->s.steps > t->s.step_limit_seen) {
            t->s.step_limit_seen = k->s.steps;
        }
    }
    t->s.restores += kind == ACCESS_RESTORE;
    return access_add(t, kind, end, &k->start, k->s.end_ns,
                      k->last.index_pulses - k->start.index_pulses,
                      k->s.direction < 0 ? -k->s.steps : k->s.steps);
}

enum err seek_close(struct bus_tracker *t, int64_t ns, bool at_end)
{
    struct bus_story *s = &t->s;
    struct open_seek *k = &t->seek;
    seek_take_after(t, ns);
    contradictions(t);
    if (s->seek_count == SEEKS_MAX) {
        s->truncated = true;
    } else {
        if (s->seek_count == t->seek_cap) {
            TRY(array_grow((void **)&s->seek, &t->seek_cap, s->seek_count + 1,
                           sizeof s->seek[0], SEEKS_MAX));
        }
        s->seek[s->seek_count++] = k->s;
    }
    TRY(seek_access(t, ns, at_end));
    k->open = false;
    return segment_after_seek(t);
}
