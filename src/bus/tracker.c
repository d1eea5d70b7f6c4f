/* The bus tracker: takes edges in, hands them to the files beside it. */
#include "bus/tracker.h"

#include <assert.h>
#include <stdlib.h>

/* Where profiles are silent: the handbook's widest (start 1 s), common practice for the rest.
 */
#define SPIN_UP_MS 1000
#define SETTLE_MS  18
#define STEP_LIMIT 255
#define CYLINDERS  80
/* A write that comes later after a step says nothing of the machine's wait. */
#define SETTLE_SEEN_NS NS_PER_S
#define CYLINDERS_MAX  1000

static int32_t bounded_count(double v)
{
    return v > CYLINDERS_MAX ? CYLINDERS_MAX : v > 1 ? (int32_t)v : 1;
}

static double limit_number(const struct profile *p, const char *key, double fallback)
{
    return p != NULL ? profile_number(p, key, fallback) : fallback;
}

enum err bus_tracker_new(const struct profile *drive, const struct profile *controller,
                         line_set recorded, struct bus_tracker **out)
{
    struct bus_tracker *t = calloc(1, sizeof *t);
    if (t == NULL) {
        return ERR_MEMORY;
    }
    t->drive = drive;
    t->controller = controller;
    t->recorded = recorded;
    t->selected = true;
    t->motor = true;
    t->motor_low_ns = -1;
    t->due_ns = NEVER;
    t->settle_due_ns = NEVER;
    t->segment.spin_due_ns = NEVER;
    t->settle_ns = bounded_ns(1e6 * limit_max(drive, "settle_ms", SETTLE_MS));
    t->spin_up_ns = bounded_ns(1e6 * limit_max(drive, "start_ms", SPIN_UP_MS));
    t->limit_steps = bounded_count(limit_number(controller, "step_limit", STEP_LIMIT));
    t->last_cylinder = bounded_count(limit_number(drive, "cylinders", CYLINDERS)) - 1;
    t->trk00 = LEVEL_UNKNOWN;
    t->step_fall_ns = -1;
    t->dir_change_ns = -1;
    t->index_fall_ns = -1;
    t->gate_fall_ns = -1;
    t->gate_rise_ns = -1;
    t->place = (struct bus_place){.side = -1, .unit = -1, .motor = true, .settled = true};
    t->s.motor_on_ns = -1;
    t->s.select_on_ns = -1;
    t->s.first_step_ns = -1;
    t->s.last_activity_ns = -1;
    t->s.first_index_ns = -1;
    t->s.index_before_first_step = -1;
    lines_start(t);
    timing_start(t);
    *out = t;
    return ERR_OK;
}

static int64_t due_next(const struct bus_tracker *t)
{
    const struct open_seek *k = &t->seek;
    int64_t due =
        t->settle_due_ns < t->segment.spin_due_ns ? t->settle_due_ns : t->segment.spin_due_ns;
    if (k->open) {
        int64_t seek = k->after_taken ? k->close_due_ns : k->after_due_ns;
        due = seek < due ? seek : due;
    }
    if (t->trk00_pending && t->trk00_ns + TRK00_STEADY < due) {
        due = t->trk00_ns + TRK00_STEADY;
    }
    return due;
}

static enum err due_now(struct bus_tracker *t, int64_t at)
{
    if (t->trk00_pending && t->trk00_ns + TRK00_STEADY <= at) {
        TRY(trk00_resolve(t, at));
    }
    if (t->settle_due_ns <= at) {
        t->settle_due_ns = NEVER;
        TRY(place_update(t, at));
    }
    TRY(seek_due(t, at));
    if (t->segment.spin_due_ns <= at) {
        struct moment now = moment_now(t, at);
        TRY(segment_update(t, &now));
    }
    return ERR_OK;
}

/* What time alone brings about, up to ns. */
static enum err run_due(struct bus_tracker *t, int64_t ns)
{
    while (t->due_ns <= ns) {
        int64_t at = t->due_ns;
        TRY(due_now(t, at));
        t->due_ns = due_next(t);
        assert(t->due_ns > at);
    }
    return ERR_OK;
}

static enum err access_changed(struct bus_tracker *t, int64_t ns)
{
    struct moment now = {0};
    TRY(place_update(t, ns));
    if (t->seek.open) {
        seek_note_change(t, ns);
        return ERR_OK;
    }
    now = moment_now(t, ns);
    return segment_update(t, &now);
}

/* A select line is about to take a level. */
static enum err select_change(struct bus_tracker *t, int64_t ns, enum line line,
                              enum level level)
{
    unsigned mask = 0;
    bool high = false;
    for (unsigned i = 0; i < UNITS; i++) {
        enum line s = (enum line)(LINE_SELECT0 + (int)i);
        enum level l = s == line ? level : t->line[s].level;
        mask |= l == LEVEL_LOW ? 1u << i : 0;
        high = high || l == LEVEL_HIGH;
    }
    bool selected = mask != 0 || !high;
    if (mask == t->select_mask && selected == t->selected) {
        return ERR_OK;
    }
    if (t->selected && (t->select_mask & ~mask) != 0) {
        TRY(steps_deselect(t, ns));
        timing_erase(t, ns);
    }
    for (int i = 0; i < LINE_COUNT; i++) {
        line_book(t, (enum line)i, ns);
    }
    t->s.selected_ns += t->select_mask != 0 ? ns - t->select_since_ns : 0;
    if (mask != 0 && t->s.select_on_ns < 0) {
        t->s.select_on_ns = ns;
    }
    t->select_mask = mask;
    t->selected = selected;
    t->select_since_ns = ns;
    t->s.units_used |= (int32_t)mask;
    return ERR_OK;
}

static enum err motor_edge(struct bus_tracker *t, int64_t ns, bool seen)
{
    bool low = false;
    bool high = false;
    for (int i = LINE_MOTOR; i <= LINE_MOTOR1; i++) {
        low = low || t->line[i].level == LEVEL_LOW;
        high = high || t->line[i].level == LEVEL_HIGH;
    }
    bool was_low = t->motor_low_ns >= 0;
    t->motor = low || !high;
    if (low && !was_low) {
        t->motor_low_ns = ns;
        if (t->s.motor_on_ns < 0) {
            t->s.motor_on_ns = ns;
            t->motor_seen_on = seen;
        }
    } else if (!low && was_low) {
        t->s.motor_ns += ns - t->motor_low_ns;
        t->motor_low_ns = -1;
        timing_erase(t, ns);
    }
    TRY(access_changed(t, ns));
    return low && !was_low && seen ? segment_motor(t, ns) : ERR_OK;
}

static void gate_end(struct bus_tracker *t, int64_t ns)
{
    int64_t width = ns - t->gate_fall_ns;
    t->s.write_gate_ns += width;
    if (width > t->s.longest_write_gate_ns) {
        t->s.longest_write_gate_ns = width;
    }
    t->gate_fall_ns = -1;
}

static enum err gate_edge(struct bus_tracker *t, int64_t ns, enum level level)
{
    if (t->gate_fall_ns >= 0) {
        gate_end(t, ns);
        t->gate_rise_ns = level == LEVEL_HIGH ? ns : -1;
    }
    if (level == LEVEL_LOW) {
        t->gate_fall_ns = ns;
        t->gate_rise_ns = -1;
        t->gate_data_seen = t->line[LINE_WGATE].before == LEVEL_UNKNOWN;
        t->s.write_gates++;
        if (t->step_any && ns - t->step_ns < SETTLE_SEEN_NS) {
            timing_seen(t, TIME_SETTLE, ns - t->step_ns);
        }
        if (t->seek.open) {
            TRY(seek_close(t, ns, false));
        }
    }
    return access_changed(t, ns);
}

static void write_data_edge(struct bus_tracker *t, int64_t ns, enum level level)
{
    if (level != LEVEL_LOW) {
        return;
    }
    t->s.write_pulses_outside_gate += t->line[LINE_WGATE].level == LEVEL_HIGH;
    if (t->gate_fall_ns < 0) {
        return;
    }
    t->s.write_pulses_in_gate++;
    if (!t->gate_data_seen) {
        t->gate_data_seen = true;
        timing_seen(t, TIME_GATE_DATA, ns - t->gate_fall_ns);
    }
}

static void index_edge(struct bus_tracker *t, int64_t ns, enum level level)
{
    int64_t fall = t->index_fall_ns;
    t->index_fall_ns = level == LEVEL_LOW ? ns : -1;
    if (level != LEVEL_HIGH || fall < 0 || ns - fall < t->line[LINE_INDEX].glitch_ns) {
        return;
    }
    t->index_pulses++;
    timing_seen(t, TIME_INDEX_WIDTH, ns - fall);
    if (t->s.motor_on_ns < 0 || fall < t->s.motor_on_ns) {
        return;
    }
    if (t->s.first_index_ns < 0) {
        t->s.first_index_ns = fall;
    }
    t->s.index_before_first_step += t->s.first_step_ns < 0;
}

/* Settled by the line's kind; the line's own level is already the new one. */
static enum err dispatch(struct bus_tracker *t, int64_t ns, enum line line, enum level level,
                         bool seen)
{
    if (line_is_select(line)) {
        return access_changed(t, ns);
    }
    if (line_is_motor(line)) {
        return motor_edge(t, ns, seen);
    }
    if (line == LINE_WGATE) {
        return gate_edge(t, ns, level);
    }
    if (line == LINE_STEP) {
        return step_edge(t, ns, level);
    }
    if (line == LINE_TRK00) {
        return trk00_edge(t, ns, level);
    }
    if (line == LINE_SIDE) {
        if (seen) {
            timing_erase(t, ns);
        }
        return place_update(t, ns);
    }
    if (line == LINE_DIR && seen) {
        t->dir_change_ns = ns;
        if (t->step_any) {
            timing_seen(t, TIME_DIR_HOLD, ns - t->step_ns);
        }
    } else if (line == LINE_INDEX && seen) {
        index_edge(t, ns, level);
    } else if (line == LINE_WDATA && seen) {
        write_data_edge(t, ns, level);
    }
    return ERR_OK;
}

static enum err tracker_begin(struct bus_tracker *t, int64_t ns)
{
    t->started = true;
    t->s.start_ns = ns;
    t->select_since_ns = ns;
    for (int i = 0; i < LINE_COUNT; i++) {
        t->line[i].booked_ns = ns;
    }
    TRY(place_update(t, ns));
    struct moment now = moment_now(t, ns);
    return segment_update(t, &now);
}

/* A true change of level, or one to or from "not recorded". */
static enum err level_change(struct bus_tracker *t, int64_t ns, enum line line,
                             enum level level)
{
    enum level before = t->line[line].level;
    bool seen = before != LEVEL_UNKNOWN && level != LEVEL_UNKNOWN;
    if (line_is_select(line)) {
        TRY(select_change(t, ns, line, level));
    }
    TRY(line_change(t, line, ns, level));
    if (seen) {
        pair_edge(t, line, ns, level);
        t->s.last_activity_ns = line_from_machine(line) ? ns : t->s.last_activity_ns;
    }
    if (line == LINE_RDATA) {
        return ERR_OK;
    }
    TRY(dispatch(t, ns, line, level, seen));
    t->due_ns = due_next(t);
    return ERR_OK;
}

enum err bus_tracker_edge(struct bus_tracker *t, int64_t ns, enum line line, enum level level)
{
    if ((unsigned)line >= LINE_COUNT || (unsigned)level > LEVEL_UNKNOWN || ns < t->now_ns) {
        return ERR_INTERNAL;
    }
    if (ns > BUS_NS_MAX) {
        return ERR_FORMAT;
    }
    t->now_ns = ns;
    TRY(run_due(t, ns));
    if (t->line[line].level == level) {
        return ERR_OK;
    }
    t->recorded |= LINE_BIT(line);
    if (!t->started) {
        TRY(tracker_begin(t, ns));
    }
    return level_change(t, ns, line, level);
}

const struct bus_place *bus_tracker_place(const struct bus_tracker *t, uint64_t *serial)
{
    *serial = t->serial;
    return &t->place;
}

static void sums_finish(struct bus_tracker *t, int64_t ns)
{
    struct bus_story *s = &t->s;
    s->end_ns = ns;
    s->motor_ns += t->motor_low_ns >= 0 ? ns - t->motor_low_ns : 0;
    s->selected_ns += t->select_mask != 0 ? ns - t->select_since_ns : 0;
    if (t->gate_fall_ns >= 0) {
        gate_end(t, ns);
    }
    if (!t->motor_seen_on || s->line[LINE_INDEX].state == LINE_NOT_RECORDED) {
        s->index_before_first_step = -1;
    } else {
        s->index_before_first_step++; /* it began at -1 */
    }
}

/* What is under way ends with the recording. */
static enum err close_all(struct bus_tracker *t, int64_t ns)
{
    TRY(run_due(t, ns));
    TRY(steps_deselect(t, ns));
    if (t->seek.open) {
        TRY(seek_close(t, ns, true));
    }
    return segment_finish(t, ns);
}

enum err bus_tracker_finish(struct bus_tracker *t, int64_t end_ns, struct bus_story *out)
{
    int64_t ns = end_ns > t->now_ns ? end_ns : t->now_ns;
    if (ns > BUS_NS_MAX) {
        return ERR_FORMAT;
    }
    t->s.start_ns = t->started ? t->s.start_ns : ns;
    TRY(close_all(t, ns));
    lines_finish(t, ns);
    sums_finish(t, ns);
    TRY(accesses_finish(t));
    TRY(pairs_finish(t));
    TRY(timing_finish(t));
    *out = t->s;
    t->s = (struct bus_story){0};
    return ERR_OK;
}

void bus_tracker_free(struct bus_tracker *t)
{
    if (t == NULL) {
        return;
    }
    for (int i = 0; i < LINE_COUNT; i++) {
        free(t->line[i].width_ns);
    }
    bus_story_release(&t->s);
    free(t);
}

void bus_story_release(struct bus_story *s)
{
    free(s->seek);
    free(s->access);
    free(s->pair);
    free(s->timing);
    free(s->epoch);
    *s = (struct bus_story){0};
}
