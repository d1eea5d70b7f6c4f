/* Start, speed, variation, hub and index. */
#include "accept/accept_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define QUARTER      4
#define TURNS_MIN    4
#define TURNS_WANTED 8 /* for a drift, and a mean with no start in it */
#define AT_SPEED     0.02
#define ISV_USUAL    3.0  /* percent; where the profile has none, common practice */
#define GATE_TURNS   3    /* READY waits for two index pulses, and the index for READY */
#define TURN_LIKE    0.3  /* of the usual turn */
#define RISE_US      0.25 /* that a line which is let go rises late, common practice */
#define NO_DISK_RPM  1.0
#define K95          2.0 /* standard deviations that hold 95 % */

static bool turned(const struct evidence *v)
{
    for (size_t i = 0; i < v->captures; i++)
        if (v->survey[i]->rotation.rpm > NO_DISK_RPM)
            return true;
    return false;
}

static bool index_recorded(const struct evidence *v)
{
    for (size_t i = 0; i < v->captures; i++)
        if (v->survey[i]->index_recorded)
            return true;
    return false;
}

/* Change from one turn to the next, peak, in percent; negative: not seen. */
static double turn_to_turn(const struct evidence *v)
{
    double worst = -1;
    for (size_t i = 0; i < v->captures; i++)
        worst = fmax(worst, v->listen[i].turn_to_turn_percent);
    return worst;
}

/* By index alone the speed swings by more than a maker allows inside a turn. */
static bool turns_uneven(const struct evidence *v)
{
    return turn_to_turn(v) > profile_max(v->drive, "isv_percent", ISV_USUAL);
}

/* ---- start ---- */

static bool motor_switched(const struct survey *s)
{
    const struct line_stats *m[] = {&s->story.line[LINE_MOTOR], &s->story.line[LINE_MOTOR0],
                                    &s->story.line[LINE_MOTOR1]};
    for (size_t i = 0; i < sizeof m / sizeof m[0]; i++)
        if (m[i]->state != LINE_NOT_RECORDED && m[i]->falls > 0)
            return true;
    return false;
}

/* Between which times behind MOTOR the speed came within 2 % of its final one. Speed shows once
 * a turn; before the first pulse that is let through nothing shows. */
struct bracket {
    double low_ms, high_ms;
    size_t starts;
    double worst_high_ms, ready_ms; /* ready: worst; negative: not seen */
};

static bool start_bracket(const struct start_seen *x, double turn_ms, bool gated,
                          struct bracket *b)
{
    for (int k = 0; k + 1 < x->falls; k++) {
        double turn = (double)(x->fall_ns[k + 1] - x->fall_ns[k]) / 1e6;
        if (fabs(turn / turn_ms - 1) > AT_SPEED)
            continue;
        /* the speed at the turn's start may still be lower, at its middle it is not */
        double first = (double)(x->fall_ns[k] - x->on_ns) / 1e6;
        double high = first + turn / 2;
        double low = k > 0   ? (double)(x->fall_ns[k - 1] - x->on_ns) / 1e6
                     : gated ? fmax(0, first - GATE_TURNS * turn)
                             : 0;
        b->low_ms = fmax(b->low_ms, low);
        b->high_ms = b->starts > 0 ? fmin(b->high_ms, high) : high;
        b->worst_high_ms = fmax(b->worst_high_ms, high);
        b->starts++;
        return true;
    }
    return false;
}

static struct bracket start_brackets(const struct evidence *v)
{
    struct bracket b = {.ready_ms = -1};
    bool gated = profile_has_word(v->drive, "index_gate", "ready");
    for (size_t i = 0; i < v->captures; i++) {
        const struct survey *s = v->survey[i];
        const struct listen *l = &v->listen[i];
        for (size_t k = 0; s->rotation.rpm > NO_DISK_RPM && k < l->starts; k++) {
            const struct start_seen *x = &l->start[k];
            (void)start_bracket(x, 60e3 / s->rotation.rpm, gated, &b);
            if (x->ready_ns >= 0)
                b.ready_ms = fmax(b.ready_ms, (double)(x->ready_ns - x->on_ns) / 1e6);
        }
    }
    if (b.low_ms > b.high_ms) /* the starts differ: the slowest counts */
        b.high_ms = fmax(b.worst_high_ms, b.low_ms);
    return b;
}

static void start_text(struct evidence *v, const struct bracket *b)
{
    char ready[60] = "";
    if (b->ready_ms >= 0)
        (void)snprintf(ready, sizeof ready, "; READY after %.0f ms at most", b->ready_ms);
    line_text(v, ACCEPT_START, "to within 2 %% of the final speed, from %zu start%s%s",
              b->starts, b->starts == 1 ? "" : "s", ready);
}

static void start(struct evidence *v)
{
    bool switched = false;
    bool turns_on = false;
    struct bracket b = start_brackets(v);
    for (size_t i = 0; i < v->captures; i++) {
        switched = switched || motor_switched(v->survey[i]);
        turns_on = turns_on || v->listen[i].falls_motor_off > 0;
    }
    if (!profile_flag(v->drive, "has_motor_line", true)) {
        line_absent(v, ACCEPT_START);
    } else if (turns_on) {
        line_fail(v, ACCEPT_START, "the spindle turns although the motor was switched off");
    } else if (b.starts > 0) {
        line_value(v, ACCEPT_START, (b.low_ms + b.high_ms) / 2, (b.high_ms - b.low_ms) / 2);
        line_upto(v, ACCEPT_START, "start_ms");
        start_text(v, &b);
        if (line_failed(v, ACCEPT_START) && turns_uneven(v))
            line_not_measured(v, ACCEPT_START, "the speed never comes to rest");
        else if (line_failed(v, ACCEPT_START) && line_failed(v, ACCEPT_INDEX))
            line_not_measured(v, ACCEPT_START, "index pulses are missing");
    } else if (!answers(v)) {
        line_not_measured(v, ACCEPT_START, "the drive does not answer");
    } else if (switched && !turned(v)) {
        line_fail(v, ACCEPT_START,
                  "after the motor was switched on neither index nor read data came: the "
                  "spindle stands still, or its index sensor is dead and keeps the drive from "
                  "READY");
    } else {
        line_not_measured(v, ACCEPT_START,
                          switched ? "no index pulses tell when speed was reached"
                                   : "no start from a standstill was recorded");
    }
}

/* ---- speed ---- */

/* Turns of all captures in order, as speeds. */
struct turns {
    double *rpm;
    size_t count;
    double mean, sd, reading; /* reading: error of the time between first and last edge */
    bool by_index;
};

static void add_turn(struct turns *t, int64_t ns, double *total_ns)
{
    t->rpm[t->count++] = 60e9 / (double)ns;
    *total_ns += (double)ns;
}

/* Turns by index that are at speed and follow one another; a pulse that is missing twice in a
 * row makes one of twice the length. */
static double turns_by_index(const struct evidence *v, struct turns *t)
{
    double total_ns = 0;
    for (size_t i = 0; i < v->captures; i++) {
        const struct listen *l = &v->listen[i];
        double rpm = v->survey[i]->rotation.rpm;
        for (size_t k = 0; rpm > NO_DISK_RPM && k < l->turns; k++)
            if (fabs((double)l->turn_ns[k] * rpm / 60e9 - 1) < TURN_LIKE)
                add_turn(t, l->turn_ns[k], &total_ns);
    }
    t->by_index = true;
    return total_ns;
}

/* As the surveys found them. */
static double turns_of_surveys(const struct evidence *v, enum rotation_from from,
                               struct turns *t)
{
    double total_ns = 0;
    t->count = 0;
    for (size_t i = 0; i < v->captures; i++) {
        const struct rotation *r = &v->survey[i]->rotation;
        for (int32_t k = 0; r->from == from && k < r->revolutions; k++)
            add_turn(t, r->period_ns[k], &total_ns);
    }
    t->by_index = from == ROTATION_INDEX;
    return total_ns;
}

static bool gather_turns(const struct evidence *v, struct turns *t)
{
    double sample_ns = 0;
    double square = 0;
    size_t most = 1;
    for (size_t i = 0; i < v->captures; i++)
        most += v->listen[i].turns + TURNS_KEPT_MAX;
    *t = (struct turns){.rpm = calloc(most, sizeof *t->rpm)};
    if (t->rpm == NULL)
        return false;
    double total_ns = turns_by_index(v, t);
    if (t->count < TURNS_WANTED)
        total_ns = turns_of_surveys(v, ROTATION_INDEX, t);
    if (t->count < TURNS_MIN)
        total_ns = turns_of_surveys(v, ROTATION_SECTORS, t);
    if (t->count < TURNS_MIN)
        return false;
    for (size_t i = 0; i < v->captures; i++)
        sample_ns = fmax(sample_ns, v->survey[i]->sample_ns);
    t->mean = 60e9 * (double)t->count / total_ns;
    for (size_t i = 0; i < t->count; i++)
        square += (t->rpm[i] - t->mean) * (t->rpm[i] - t->mean);
    t->sd = sqrt(square / (double)(t->count - 1));
    t->reading = t->mean * sample_ns / total_ns;
    return true;
}

static double mean_of(const double *x, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += x[i];
    return sum / (double)n;
}

static void drift(struct evidence *v, const struct turns *t)
{
    size_t n = t->count / QUARTER;
    double first = mean_of(t->rpm, n);
    double last = mean_of(t->rpm + t->count - n, n);
    double u = K95 * t->sd * sqrt(2.0 / (double)n);
    line_value(v, ACCEPT_DRIFT, 100 * (last - first) / t->mean, 100 * u / t->mean);
    line_text(v, ACCEPT_DRIFT, "last quarter of %zu turns against the first", t->count);
}

static void speed(struct evidence *v)
{
    struct turns t;
    if (!gather_turns(v, &t)) {
        line_not_measured(v, ACCEPT_SPEED,
                          turned(v) ? "fewer than %d whole turns at speed"
                                    : "the spindle did not turn",
                          TURNS_MIN);
        line_not_measured(v, ACCEPT_DRIFT, "no speed");
    } else {
        line_value(v, ACCEPT_SPEED, t.mean,
                   hypot(K95 * t.sd / sqrt((double)t.count), t.reading));
        line_limit(v, ACCEPT_SPEED, "speed_rpm");
        line_text(v, ACCEPT_SPEED, "%zu turns by %s", t.count,
                  t.by_index ? "index" : "sectors that came round again");
        if (line_failed(v, ACCEPT_SPEED) && line_of(v, ACCEPT_SPEED)->close && turns_uneven(v))
            line_not_measured(v, ACCEPT_SPEED, "the speed varies too much to tell its mean");
        if (t.count >= TURNS_WANTED)
            drift(v, &t);
        else
            line_not_measured(v, ACCEPT_DRIFT, "fewer than %d turns", TURNS_WANTED);
    }
    free(t.rpm);
}

/* ---- variation ---- */

/* Of the captures in which the spindle did not start, if there are any: a drive that reads
 * while it gains speed shows that as a swing. */
static const struct speed_figures *in_turn(const struct evidence *v, bool starts)
{
    const struct speed_figures *best = NULL;
    for (size_t i = 0; i < v->captures; i++) {
        const struct speed_figures *f = &v->survey[i]->speed;
        bool here = v->survey[i]->story.line[LINE_MOTOR].falls > 0;
        if (here == starts && f->visits > 0 && (best == NULL || f->visits > best->visits))
            best = f;
    }
    return best;
}

static void variation(struct evidence *v)
{
    const struct speed_figures *f = in_turn(v, false);
    if (f == NULL)
        f = in_turn(v, true);
    const struct limit *turn = profile_limit(v->drive, "turn_jitter_percent");
    double turns = turn_to_turn(v);
    bool jumps = turn != NULL && turn->has_max && turns > turn->max;
    if (f != NULL && !line_failed(v, ACCEPT_HUB)) {
        /* one spindle turns all places: a place that stands out has another reason */
        line_value(v, ACCEPT_VARIATION, f->middle.isv, f->middle.isv_u);
        line_upto(v, ACCEPT_VARIATION, "isv_percent");
        line_text(v, ACCEPT_VARIATION,
                  "plus or minus, middle of %d places, worst %.3f %%; turn to turn %.3f %%",
                  f->visits, f->worst_isv, turns < 0 ? 0.0 : turns);
    } else if (turns >= 0 && turn != NULL) {
        line_value(v, ACCEPT_VARIATION, turns, 0);
        line_upto(v, ACCEPT_VARIATION, "turn_jitter_percent");
        line_text(v, ACCEPT_VARIATION, "from turn to turn by index, peak");
    } else {
        line_not_measured(v, ACCEPT_VARIATION, "%s",
                          turned(v) ? "no steady read data to see inside the turn"
                                    : "the spindle did not turn");
    }
    if (jumps)
        line_fail(v, ACCEPT_VARIATION, "from turn to turn %.3f %%, at most %g %% (%s)", turns,
                  turn->max, turn->source);
}

/* ---- hub ---- */

static void hub(struct evidence *v)
{
    const struct slip_figures *best = NULL;
    if (strcmp(profile_word(v->drive, "index_origin", "rotor"), "rotor") != 0) {
        line_absent(v, ACCEPT_HUB); /* the disk itself makes the index */
        return;
    }
    for (size_t i = 0; i < v->captures; i++) {
        const struct slip_figures *s = &v->survey[i]->slip;
        if (s->visits > 0 && (best == NULL || s->visits > best->visits))
            best = s;
    }
    if (best == NULL) {
        line_not_measured(v, ACCEPT_HUB,
                          "no visit showed the disk come round beside the index");
        return;
    }
    line_value(v, ACCEPT_HUB, best->percent, best->u_percent);
    line_upto(v, ACCEPT_HUB, "hub_slip_percent");
    line_text(v, ACCEPT_HUB, "turns of the index against turns of the disk, %d places",
              best->visits);
    if (line_failed(v, ACCEPT_HUB) && turns_uneven(v))
        line_not_measured(v, ACCEPT_HUB, "the spindle itself turns unevenly");
}

/* ---- index ---- */

static void pulses(struct evidence *v)
{
    int64_t seen = 0;
    int64_t wrong = 0;
    bool stuck = false;
    for (size_t i = 0; i < v->captures; i++) {
        const struct survey *s = v->survey[i];
        seen += s->index.pulses;
        wrong += s->index.missing + s->index.extra;
        stuck = stuck || s->story.line[LINE_INDEX].state == LINE_ALWAYS_ACTIVE;
    }
    if (!index_recorded(v) || (seen == 0 && !stuck && !turned(v))) {
        line_not_measured(v, ACCEPT_INDEX,
                          index_recorded(v) ? "the spindle did not turn"
                                            : "INDEX was not recorded");
    } else if (seen == 0) {
        line_fail(v, ACCEPT_INDEX,
                  stuck ? "INDEX is active all the time" : "no pulses, and the disk turns");
    } else if (wrong > 0 && turns_uneven(v)) {
        line_not_measured(v, ACCEPT_INDEX, "the speed varies too much to tell");
    } else {
        line_value(v, ACCEPT_INDEX, (double)wrong, 0);
        line_at_most(v, ACCEPT_INDEX, 0, "one pulse a turn");
        line_text(v, ACCEPT_INDEX, "of %lld pulses", (long long)seen);
    }
}

/* Of pulses that nothing cut, at speed; else as the surveys have them. */
static double widths(const struct evidence *v, double *mean, double *sd)
{
    double n = 0;
    double sum = 0;
    double square = 0;
    for (size_t i = 0; i < v->captures; i++) {
        n += v->listen[i].widths;
        sum += v->listen[i].width_us;
        square += v->listen[i].width_square;
    }
    if (n >= TURNS_WANTED) {
        *mean = sum / n;
        *sd = sqrt(fmax(0, (square - sum * sum / n) / (n - 1)));
        return n;
    }
    n = sum = square = 0;
    for (size_t i = 0; i < v->captures; i++) {
        const struct index_stats *x = &v->survey[i]->index;
        double k = x->width_us > 0 ? x->pulses : 0;
        n += k;
        sum += k * x->width_us;
        square += k * x->width_sd_us * x->width_sd_us;
    }
    *mean = n > 0 ? sum / n : 0;
    *sd = n > 0 ? sqrt(square / n) : 0;
    return n;
}

static void width(struct evidence *v)
{
    double mean = 0;
    double sd = 0;
    double sample_us = 0;
    double n = widths(v, &mean, &sd);
    for (size_t i = 0; i < v->captures; i++)
        sample_us = fmax(sample_us, v->survey[i]->sample_ns / 1e3);
    if (n <= 0) {
        line_not_measured(v, ACCEPT_INDEX_WIDTH, "no index pulses at speed");
        line_not_measured(v, ACCEPT_INDEX_REPEAT, "no index pulses at speed");
        return;
    }
    line_value(v, ACCEPT_INDEX_WIDTH, mean, hypot(K95 * sd / sqrt(n), sample_us) + RISE_US);
    line_limit(v, ACCEPT_INDEX_WIDTH, "index_width_us");
    line_text(v, ACCEPT_INDEX_WIDTH, "mean of %.0f pulses", n);
    line_value(v, ACCEPT_INDEX_REPEAT, sd, sd * K95 / sqrt(2 * n) + sample_us / sqrt(6.0));
    line_text(v, ACCEPT_INDEX_REPEAT, "standard deviation of %.0f pulses", n);
}

void accept_index_behind_seeks(struct evidence *v)
{
    const struct accept_line *l = line_of(v, ACCEPT_INDEX);
    if (line_failed(v, ACCEPT_INDEX) && l->has_value &&
        profile_has_word(v->drive, "index_gate", "seek-complete"))
        line_not_measured(
            v, ACCEPT_INDEX,
            "the drive holds the index back behind steps, and those are at fault");
}

void accept_lines_rotation(struct evidence *v)
{
    hub(v);
    variation(v);
    pulses(v);
    width(v);
    start(v);
    speed(v);
}
