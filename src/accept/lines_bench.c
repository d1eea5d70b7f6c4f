/* Lines of the bus that a person works, writing, supply, and what no line here can tell. */
#include "accept/accept_private.h"

#include <math.h>

#define STEADY_NS (5 * NS_PER_MS) /* less may be a glitch */

static void quiet(struct evidence *v)
{
    int64_t gates = 0;
    bool recorded = false;
    for (size_t i = 0; i < v->captures; i++) {
        const struct bus_story *s = &v->survey[i]->story;
        if (v->own_writing[i])
            continue;
        recorded = recorded || s->line[LINE_WGATE].state != LINE_NOT_RECORDED;
        gates += s->write_gates;
    }
    if (!recorded) {
        line_not_measured(v, ACCEPT_WRITE_QUIET, "WGATE was not recorded");
    } else if (gates > 0 && !v->o->facts.adapter) {
        line_not_measured(v, ACCEPT_WRITE_QUIET, "the machine wrote in this capture");
    } else {
        line_value(v, ACCEPT_WRITE_QUIET, (double)gates, 0);
        line_at_most(v, ACCEPT_WRITE_QUIET, 0, "nothing was to be written");
        line_text(v, ACCEPT_WRITE_QUIET, "at the plug, over the whole reading");
    }
}

struct ways {
    bool recorded, low, high, stuck; /* stuck: active while no drive is selected */
};

static struct ways ways_of(const struct evidence *v, enum line line)
{
    struct ways w = {false, false, false, false};
    int64_t low_ns = 0;
    int64_t high_ns = 0;
    for (size_t i = 0; i < v->captures; i++) {
        const struct line_stats *l = &v->survey[i]->story.line[line];
        w.recorded = w.recorded || l->state != LINE_NOT_RECORDED;
        low_ns += l->low_selected_ns;
        high_ns += l->selected_ns - l->low_selected_ns;
        w.stuck = w.stuck || (v->listen[i].unselected & LINE_BIT(line));
    }
    w.low = low_ns >= STEADY_NS;
    w.high = high_ns >= STEADY_NS;
    return w;
}

/* due: what makes it change was done, so that both levels had to come. */
static void both_ways(struct evidence *v, enum accept_item item, enum line line, bool due,
                      const char *what)
{
    struct ways w = ways_of(v, line);
    const char *level = w.low ? "active" : "inactive";
    if (!(profile_lines(v->drive) & LINE_BIT(line)) || !w.recorded) {
        line_absent(v, item);
    } else if (w.stuck) {
        line_not_measured(v, item, "active even while no drive is selected");
    } else if (!answers(v)) {
        line_not_measured(v, item, "the drive does not answer");
    } else if (w.low && w.high) {
        line_of(v, item)->state = ACCEPT_PASS;
        line_text(v, item, "seen active and inactive while the drive was selected");
    } else if (due) {
        line_fail(v, item, "%s stays %s: %s", line_name(line), level, what);
    } else {
        line_not_measured(v, item, "%s was seen %s only; nobody changed that", line_name(line),
                          level);
    }
}

static bool spins(const struct evidence *v)
{
    for (size_t i = 0; i < v->captures; i++)
        if (v->survey[i]->rotation.from == ROTATION_INDEX &&
            v->survey[i]->rotation.revolutions > 3)
            return true;
    return false;
}

static void person_lines(struct evidence *v)
{
    const bool *shown = v->o->facts.shown;
    bool stood = v->o->facts.adapter && profile_flag(v->drive, "has_motor_line", true);
    bool changed = shown[HAND_OUT] && shown[HAND_IN];
    both_ways(v, ACCEPT_WPROT, LINE_WPROT, shown[HAND_OPEN] && shown[HAND_PROTECT],
              "a protected and an open disk were put in");
    both_ways(v, ACCEPT_DSKCHG, LINE_DSKCHG, changed,
              "the disk was taken out and put in again");
    both_ways(v, ACCEPT_READY, LINE_READY, (stood || changed) && spins(v),
              stood ? "the spindle stood and turned at speed"
                    : "the disk was taken out and put in again");
}

static void volt(struct evidence *v, enum accept_item item, double value, const char *key,
                 const char *how)
{
    line_value(v, item, value, 0);
    line_limit(v, item, key);
    line_text(v, item, "%s", how);
}

static void rail(struct evidence *v, enum rail r, enum accept_item run, enum accept_item start,
                 const char *key)
{
    double low = HUGE_VAL;
    double high = -HUGE_VAL;
    double dip = HUGE_VAL;
    for (size_t i = 0; i < v->captures; i++) {
        const struct supply_stats *s = &v->survey[i]->supply[r];
        if (!s->recorded)
            continue;
        low = fmin(low, s->min_v);
        high = fmax(high, s->max_v);
        if (s->min_motor_v > 0)
            dip = fmin(dip, s->min_motor_v);
    }
    const struct limit *l = profile_limit(v->drive, key);
    if (l == NULL) {
        line_absent(v, run);
        if (start != run)
            line_absent(v, start);
        return;
    }
    if (high < low) {
        line_not_asked(v, run, "no meter on this rail");
        if (start != run)
            line_not_asked(v, start, "no meter on this rail");
        return;
    }
    bool over = l->has_max && high > l->max;
    volt(v, run, over ? high : low, key, over ? "highest seen" : "lowest seen");
    if (start == run)
        return;
    if (!profile_flag(v->drive, "has_motor_line", true))
        line_absent(v, start);
    else if (dip < HUGE_VAL)
        volt(v, start, dip, key, "lowest within 500 ms of MOTOR");
    else
        line_not_measured(v, start, "the motor was not started");
}

/* Lowest voltage while a head solenoid pulls in. */
static void head_rail(struct evidence *v, enum rail r, enum accept_item item, const char *key)
{
    double low = HUGE_VAL;
    for (size_t i = 0; i < v->captures; i++)
        if (v->listen[i].head_load_v[r] > 0)
            low = fmin(low, v->listen[i].head_load_v[r]);
    bool has_line = profile_lines(v->drive) & LINE_BIT(LINE_HLOAD);
    if (!has_line || profile_limit(v->drive, key) == NULL || low >= HUGE_VAL)
        line_absent(v, item); /* no head to load apart, or nothing that meters it */
    else
        volt(v, item, low, key, "lowest within 300 ms of HLOAD");
}

static void rails(struct evidence *v)
{
    rail(v, RAIL_V5, ACCEPT_V5, ACCEPT_V5_MOTOR, "v5_v");
    rail(v, RAIL_V12, ACCEPT_V12, ACCEPT_V12_MOTOR, "v12_v");
    rail(v, RAIL_V24, ACCEPT_V24, ACCEPT_V24, "v24_v");
    head_rail(v, RAIL_V5, ACCEPT_V5_HEAD, "v5_v");
    head_rail(v, RAIL_V12, ACCEPT_V12_HEAD, "v12_v");
}

/* Turns of the captures of one block. */
static double speed_in(const struct evidence *v, const char *block, double *u)
{
    double n = 0;
    double sum = 0;
    double square = 0;
    for (size_t i = 0; i < v->captures; i++) {
        const struct listen *l = &v->listen[i];
        for (size_t k = 0; capture_is_block(v->survey[i], block) && k < l->turns; k++) {
            double rpm = 60e9 / (double)l->turn_ns[k];
            n += 1;
            sum += rpm;
            square += rpm * rpm;
        }
    }
    if (n < 2)
        return 0;
    *u = 2 * sqrt(fmax(0, (square - sum * sum / n) / (n - 1)) / n);
    return sum / n;
}

static void warm(struct evidence *v)
{
    double cold_u = 0;
    double warm_u = 0;
    double cold = speed_in(v, "speed", &cold_u);
    double hot = speed_in(v, "warm", &warm_u);
    if (v->o->facts.warm_minutes <= 0) {
        line_not_asked(v, ACCEPT_WARM, "not asked for (--warm MINUTES)");
    } else if (cold <= 0 || hot <= 0) {
        line_not_measured(v, ACCEPT_WARM, "no speed before it, or after it");
    } else {
        line_value(v, ACCEPT_WARM, 100 * (hot - cold) / cold,
                   100 * hypot(cold_u, warm_u) / cold);
        line_text(v, ACCEPT_WARM, "after %d min, motor off between the blocks; %.2f rpm then",
                  v->o->facts.warm_minutes, hot);
    }
}

void accept_lines_bench(struct evidence *v)
{
    static const enum accept_item alignment[] = {ACCEPT_RADIAL, ACCEPT_AZIMUTH, ACCEPT_BURST};
    quiet(v);
    person_lines(v);
    rails(v);
    warm(v);
    for (size_t i = 0; i < sizeof alignment / sizeof alignment[0]; i++)
        line_not_asked(v, alignment[i], "needs an alignment disk");
}
