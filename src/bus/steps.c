/* STEP pulses and the answers of TRK00. */
#include "bus/tracker.h"

static int8_t direction_now(const struct bus_tracker *t)
{
    enum level dir = t->line[LINE_DIR].level;
    return (int8_t)(dir == LEVEL_UNKNOWN ? 0 : dir == LEVEL_LOW ? 1 : -1);
}

void steps_judge_inward(struct bus_tracker *t)
{
    if (!t->in_pending) {
        return;
    }
    t->in_pending = false;
    t->in_run = t->trk00 == LEVEL_LOW ? t->in_run + 1 : 0;
    if (t->in_run > t->s.longest_in_with_trk00) {
        t->s.longest_in_with_trk00 = t->in_run;
    }
}

static void count_step(struct bus_tracker *t, int8_t direction)
{
    struct bus_story *s = &t->s;
    s->steps_in += direction > 0;
    s->steps_out += direction < 0;
    s->steps_unselected += !t->selected;
    t->out_run = direction < 0 && t->trk00 == LEVEL_HIGH ? t->out_run + 1 : 0;
    if (t->out_run > s->longest_out_without_trk00) {
        s->longest_out_without_trk00 = t->out_run;
    }
    if (direction <= 0) {
        t->in_run = 0;
    }
    t->in_pending = direction > 0 && t->selected;
}

static void time_step(struct bus_tracker *t, int64_t ns, int8_t direction)
{
    timing_seen(t, TIME_STEP_WIDTH, ns - t->step_fall_ns);
    if (t->dir_change_ns >= 0 && (!t->step_any || t->dir_change_ns > t->step_ns)) {
        timing_seen(t, TIME_DIR_SETUP, ns - t->dir_change_ns);
    }
    if (t->step_any && ns - t->step_ns <= BURST_NS && direction != 0 &&
        t->step_direction != 0) {
        timing_seen(t, direction == t->step_direction ? TIME_STEP_INTERVAL : TIME_STEP_REVERSE,
                    ns - t->step_ns);
    }
    timing_erase(t, t->step_fall_ns);
}

static enum err pulse(struct bus_tracker *t, int64_t ns)
{
    int8_t direction = direction_now(t);
    TRY(trk00_resolve(t, t->step_fall_ns));
    TRY(seek_before_pulse(t, ns, direction));
    steps_judge_inward(t);
    time_step(t, ns, direction);
    count_step(t, direction);
    if (t->selected) {
        TRY(head_ready(t));
        if (t->trk00 == LEVEL_LOW) {
            head_trk00_active(t, false);
        }
    }
    struct moment before = moment_now(t, ns);
    TRY(head_step(t, direction));
    if (t->selected) {
        t->settle_due_ns = ns + t->settle_ns;
    }
    TRY(place_update(t, ns));
    TRY(seek_pulse(t, ns, direction, &before));
    if (t->s.first_step_ns < 0) {
        t->s.first_step_ns = ns;
    }
    t->step_any = true;
    t->step_ns = ns;
    t->step_direction = direction;
    return ERR_OK;
}

enum err step_edge(struct bus_tracker *t, int64_t ns, enum level level)
{
    const struct line_track *l = &t->line[LINE_STEP];
    int64_t fall = t->step_fall_ns;
    if (level == LEVEL_UNKNOWN) {
        t->step_fall_ns = -1;
        TRY(head_lose(t, HEADS));
        TRY(place_update(t, ns));
        return t->seek.open ? seek_close(t, ns, false) : ERR_OK;
    }
    if (l->before == LEVEL_UNKNOWN) {
        return ERR_OK;
    }
    if (level == LEVEL_LOW) {
        bool rings = t->step_any && ns - t->step_ns < l->glitch_ns;
        t->step_fall_ns = rings ? -1 : ns;
        return ERR_OK;
    }
    enum err e = fall >= 0 && ns - fall >= l->glitch_ns ? pulse(t, ns) : ERR_OK;
    t->step_fall_ns = -1;
    return e;
}

static enum err trk00_believe(struct bus_tracker *t, int64_t ns)
{
    t->trk00_pending = false;
    t->trk00 = t->line[LINE_TRK00].level;
    if (!t->selected) {
        return ERR_OK;
    }
    seek_trk00(t, t->trk00);
    if (t->trk00 == LEVEL_LOW) {
        head_trk00_active(t, true);
    }
    return place_update(t, ns);
}

enum err trk00_resolve(struct bus_tracker *t, int64_t ns)
{
    return t->trk00_pending && ns - t->trk00_ns >= GATED_NS ? trk00_believe(t, ns) : ERR_OK;
}

enum err trk00_edge(struct bus_tracker *t, int64_t ns, enum level level)
{
    bool seen = t->line[LINE_TRK00].before != LEVEL_UNKNOWN && level != LEVEL_UNKNOWN;
    t->trk00_pending = seen && level != t->trk00;
    t->trk00_ns = ns;
    if (!seen) {
        t->trk00 = level;
    }
    return ERR_OK;
}

enum err steps_deselect(struct bus_tracker *t, int64_t ns)
{
    TRY(trk00_resolve(t, ns));
    if (t->trk00 == LEVEL_LOW) {
        head_trk00_active(t, false);
    }
    steps_judge_inward(t);
    seek_take_after(t, ns);
    return ERR_OK;
}
