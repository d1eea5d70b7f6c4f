/* Track 0, steps that follow, steps that get lost, tracks reached. */
#include "accept/accept_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define INWARD_STEPS 4   /* from so many on TRK00 must have let go */
#define SELECTED_S   1.0 /* long enough to call a drive silent */
#define EDGE_NS      (100 * NS_PER_US)
#define RATE_SLACK   1.01 /* of a limit in time: clocks */
#define CYLINDERS    256

/* What the moves say all together. */
struct moved {
    size_t looks, wrong, still; /* still: the head stayed where it was */
    size_t inward;              /* it had come further in by steps inward */
    int32_t seeks;
    int32_t worst; /* steps off, with their sign */
    double clean_ms,
        wrong_ms; /* shortest interval without an error; longest with one; 0: none */
};

static int32_t off_by(const struct move *m)
{
    return m->got - m->expected;
}

static struct moved sum_up(const struct moves *m)
{
    struct moved s = {0};
    for (size_t i = 0; i < m->count; i++) {
        const struct move *x = &m->move[i];
        s.looks++;
        s.seeks += x->seeks;
        s.inward += x->direction > 0 && x->from >= 0 && x->got > x->from;
        if (off_by(x) == 0)
            continue;
        s.wrong++;
        s.still += x->got == x->from;
        s.wrong_ms = fmax(s.wrong_ms, x->interval_ms);
        if (abs(off_by(x)) > abs(s.worst))
            s.worst = off_by(x);
    }
    for (size_t i = 0; i < m->count; i++) {
        double ms = m->move[i].interval_ms;
        bool clean = ms > 0 && ms > s.wrong_ms * RATE_SLACK;
        if (clean && off_by(&m->move[i]) == 0 && (s.clean_ms <= 0 || ms < s.clean_ms))
            s.clean_ms = ms;
    }
    return s;
}

/* Some output of the drive was active while it was selected; or it was not for long. */
bool answers(const struct evidence *v)
{
    double selected_s = 0;
    for (size_t i = 0; i < v->captures; i++) {
        const struct bus_story *s = &v->survey[i]->story;
        selected_s += (double)s->selected_ns / 1e9;
        for (int l = 0; l < LINE_COUNT; l++)
            if (!line_from_machine((enum line)l) && s->line[l].low_selected_ns > 0)
                return true;
    }
    return selected_s < SELECTED_S;
}

/* It went faster than the drive can follow, which slower steps show: the rate's line says so,
 * and nothing else is concluded from it. */
static bool too_fast(const struct moved *m, const struct move *x)
{
    return m->clean_ms > 0 && m->wrong_ms > 0 && x->interval_ms > 0 &&
           x->interval_ms <= m->wrong_ms * RATE_SLACK;
}

/* ---- track 0 ---- */

struct track0 {
    bool recorded, found, stays; /* stays: active after steps inward */
    int32_t restores, failed, arrivals, tried;
    int32_t sound, lies; /* visits with TRK00 active whose identifiers say cylinder 0, or not */
    int32_t dark;        /* not active, and they say cylinder 0 */
};

/* Identifiers against what TRK00 says where they were read. */
static void track0_ids(const struct survey *s, const struct listen *l, struct track0 *t)
{
    size_t next = 0;
    for (size_t i = 0; i < s->visit_count; i++) {
        const struct visit *v = &s->visit[i];
        while (next < l->steps && l->step[next].ns < v->end_ns - EDGE_NS)
            next++;
        enum level after = next < l->steps ? l->step[next].track0 : l->track0_last;
        if (v->id_cylinder < 0 || v->ids_good < 2)
            continue;
        t->sound += after == LEVEL_LOW && v->id_cylinder == 0;
        t->lies += after == LEVEL_LOW && v->id_cylinder > 0;
        t->dark += after == LEVEL_HIGH && v->id_cylinder == 0;
    }
}

static struct track0 track0_of(const struct evidence *v)
{
    struct track0 t = {.stays = v->o->facts.track0_stays};
    for (size_t i = 0; i < v->captures; i++) {
        const struct bus_story *s = &v->survey[i]->story;
        t.recorded = t.recorded || s->line[LINE_TRK00].state != LINE_NOT_RECORDED;
        t.restores += s->restores;
        t.failed += s->restores_failed;
        t.found = t.found || s->place_known;
        t.stays = t.stays || s->longest_in_with_trk00 >= INWARD_STEPS;
        t.tried =
            s->longest_out_without_trk00 > t.tried ? s->longest_out_without_trk00 : t.tried;
        for (size_t k = 0; k < s->seek_count; k++)
            t.arrivals += s->seek[k].trk00_step > 0;
        track0_ids(v->survey[i], &v->listen[i], &t);
    }
    return t;
}

bool track0_tells(const struct evidence *v)
{
    bool low = false;
    struct track0 t = track0_of(v);
    for (size_t i = 0; i < v->captures; i++) {
        const struct listen *l = &v->listen[i];
        for (size_t k = 0; k < l->steps; k++)
            low = low || l->step[k].track0 == LEVEL_LOW;
        low = low || l->track0_last == LEVEL_LOW;
    }
    return t.recorded && low && !t.stays && t.lies == 0;
}

/* TRK00 stays, and it is right: the steps inward led nowhere. */
static bool never_inward(const struct track0 *t, const struct moved *m)
{
    return t->stays && t->sound > 0 && t->lies == 0 && m->inward == 0;
}

static bool head_is_still(const struct evidence *v, const struct moved *m)
{
    struct track0 t = track0_of(v);
    return (m->wrong > 0 && m->still == m->wrong && m->wrong == m->looks) ||
           never_inward(&t, m);
}

static bool output_stuck(const struct evidence *v, enum line line)
{
    for (size_t i = 0; i < v->captures; i++)
        if (v->listen[i].unselected & LINE_BIT(line))
            return true;
    return false;
}

static void track0_found(struct evidence *v, const struct track0 *t, const struct moved *m)
{
    int32_t off = 0;
    for (size_t i = 0; i < v->moves.count; i++) {
        const struct move *x = &v->moves.move[i];
        if (x->by_track0 && !too_fast(m, x) && abs(off_by(x)) > abs(off))
            off = off_by(x);
    }
    if (off != 0) { /* the steps are at fault, see there */
        line_not_measured(v, ACCEPT_TRACK0, "found %d times, %d steps off: steps get lost",
                          t->arrivals, off);
        return;
    }
    line_value(v, ACCEPT_TRACK0, 0, 0);
    line_at_most(v, ACCEPT_TRACK0, 0, "a step is one cylinder");
    line_text(v, ACCEPT_TRACK0, "found %d times", t->arrivals);
}

static void track0(struct evidence *v, const struct moved *m)
{
    struct track0 t = track0_of(v);
    if (!t.recorded || (t.arrivals == 0 && t.failed == 0 && !t.stays && t.lies == 0))
        line_not_measured(v, ACCEPT_TRACK0,
                          t.recorded ? "the head was not brought to it"
                                     : "TRK00 was not recorded");
    else if (output_stuck(v, LINE_TRK00))
        line_not_measured(v, ACCEPT_TRACK0, "TRK00 is active even while no drive is selected");
    else if (!answers(v))
        line_not_measured(v, ACCEPT_TRACK0, "the drive does not answer");
    else if (head_is_still(v, m))
        line_not_measured(v, ACCEPT_TRACK0, "the head does not move");
    else if (t.lies > 0)
        line_fail(v, ACCEPT_TRACK0,
                  "TRK00 is active where the identifiers name another cylinder than 0");
    else if (t.stays && t.sound > 0)
        line_not_measured(v, ACCEPT_TRACK0, "steps get lost, so that TRK00 stayed active");
    else if (!t.found && m->wrong > 0 && m->wrong == m->looks)
        line_not_measured(v, ACCEPT_TRACK0, "the steps lead elsewhere");
    else if (t.stays)
        line_fail(v, ACCEPT_TRACK0, "TRK00 stays active when the head is sent inward");
    else if (!t.found) /* a search that failed at one rate alone is that rate's */
        line_fail(v, ACCEPT_TRACK0, "TRK00 did not come within %d steps outward%s", t.tried,
                  t.dark > 0 ? ", where the identifiers name cylinder 0"
                             : "; no identifier says that the head came to cylinder 0");
    else
        track0_found(v, &t, m);
}

/* ---- select ---- */

static void select_outputs(struct evidence *v)
{
    int32_t selects = 0;
    int32_t silent = 0;
    line_set unselected = 0;
    int64_t worst_ns = 0;
    enum line worst = LINE_NONE;
    double sample_us = 0;
    for (size_t i = 0; i < v->captures; i++) {
        const struct listen *l = &v->listen[i];
        selects += l->selects;
        silent += l->selects_silent;
        unselected |= l->unselected;
        sample_us = fmax(sample_us, v->survey[i]->sample_ns / 1e3);
        if (l->follow_line != LINE_NONE && (worst == LINE_NONE || l->follow_ns > worst_ns)) {
            worst_ns = l->follow_ns;
            worst = l->follow_line;
        }
    }
    int first = 0;
    while (first < LINE_COUNT && !(unselected & LINE_BIT(first)))
        first++;
    if (first < LINE_COUNT) {
        line_fail(v, ACCEPT_SELECT, "%s is active while no drive is selected",
                  line_name((enum line)first));
    } else if (!answers(v)) {
        line_fail(v, ACCEPT_SELECT,
                  "no output of the drive is ever active while it is selected");
    } else if (selects == 0) {
        line_not_measured(v, ACCEPT_SELECT,
                          silent == 0 ? "select was not switched"
                                      : "no output was active that select could let through");
    } else {
        line_value(v, ACCEPT_SELECT, (double)worst_ns / 1e3, sample_us);
        line_upto(v, ACCEPT_SELECT, "select_valid_us");
        line_text(v, ACCEPT_SELECT, "worst of %d selects, %s", selects, line_name(worst));
    }
}

/* ---- steps ---- */

static void rate(struct evidence *v, const struct moved *m)
{
    const struct limit *l = profile_limit(v->drive, "step_interval_ms");
    if (m->looks == 0) {
        line_not_measured(v, ACCEPT_STEP_RATE, "nothing showed where the head came to");
    } else if (head_is_still(v, m)) {
        struct track0 t = track0_of(v);
        line_fail(v, ACCEPT_STEP_RATE, "the head does not move%s",
                  never_inward(&t, m) ? " inward" : "");
    } else if (m->wrong > 0 && m->clean_ms <= 0) {
        line_not_measured(v, ACCEPT_STEP_RATE, "steps get lost at every rate that was tried");
    } else if (m->clean_ms <= 0) {
        line_not_measured(v, ACCEPT_STEP_RATE, "single steps only");
    } else {
        line_value(v, ACCEPT_STEP_RATE, m->clean_ms, 0.01 * m->clean_ms);
        line_text(v, ACCEPT_STEP_RATE,
                  m->wrong_ms > 0 ? "steps get lost at %.2f ms" : "the fastest that was tried",
                  m->wrong_ms);
        if (l == NULL)
            return;
        if (m->wrong_ms <= 0 && m->clean_ms > l->min * RATE_SLACK) {
            line_not_measured(v, ACCEPT_STEP_RATE,
                              "no seek at the limit of %g ms; the fastest was %.2f ms, and led "
                              "where it should",
                              l->min, m->clean_ms);
            return;
        }
        line_at_most(v, ACCEPT_STEP_RATE, l->min * RATE_SLACK, l->source);
        line_of(v, ACCEPT_STEP_RATE)->limit.max = l->min;
        line_of(v, ACCEPT_STEP_RATE)->close = false; /* a rate is tried, not measured */
    }
}

static void slip(struct evidence *v, const struct moved *m)
{
    if (m->looks == 0) {
        line_not_measured(v, ACCEPT_SLIP, "nothing showed where the head came to");
    } else if (head_is_still(v, m)) {
        line_not_measured(v, ACCEPT_SLIP, "the head does not move");
    } else if (m->wrong > 0 && m->clean_ms <= 0) {
        line_fail(v, ACCEPT_SLIP,
                  "%zu of %zu looks found the head elsewhere, %d steps off at worst", m->wrong,
                  m->looks, m->worst);
    } else {
        line_value(v, ACCEPT_SLIP, 0, 0);
        line_at_most(v, ACCEPT_SLIP, 0, "a step is one cylinder");
        line_text(v, ACCEPT_SLIP, "%d seeks, looked at %zu times", m->seeks, m->looks);
    }
}

/* ---- tracks ---- */

static void reached(struct evidence *v, const struct moved *m)
{
    bool from[2][CYLINDERS] = {{false}}; /* from outside, from inside */
    int cylinders = (int)profile_number(v->drive, "cylinders", 80);
    int both = 0;
    int missed = 0;
    for (size_t i = 0; i < v->moves.count; i++) {
        const struct move *x = &v->moves.move[i];
        if (off_by(x) == 0 && x->got >= 0 && x->got < CYLINDERS)
            from[x->direction < 0][x->got] = true;
    }
    if ((m->wrong > 0 && m->clean_ms <= 0) || line_failed(v, ACCEPT_TRACK0)) {
        line_not_measured(v, ACCEPT_REACH, "the head's place is not to be trusted");
        return;
    }
    for (int c = 0; c < cylinders && c < CYLINDERS; c++) {
        bool outward_end = c == 0; /* the ends are reached from one side */
        bool inward_end = c == cylinders - 1;
        bool whole = (from[0][c] || outward_end) && (from[1][c] || inward_end);
        both += whole;
        missed += !whole;
    }
    if (both == 0 || (missed > 0 && v->moves.count == 0)) {
        line_not_measured(v, ACCEPT_REACH, "no identifiers told where the head came to");
    } else if (missed > 0) {
        line_not_measured(v, ACCEPT_REACH,
                          "%d of %d cylinders were reached from both sides, each as it should",
                          both, cylinders);
    } else {
        line_value(v, ACCEPT_REACH, 0, 0);
        line_at_most(v, ACCEPT_REACH, 0, "every track from both sides");
        line_text(v, ACCEPT_REACH, "of %d", cylinders);
    }
}

/* ---- settling ---- */

#define SETTLE_SEEKS_MIN 50 /* bench practice: 50 or more, at spread angles, both ways */

static void settling(struct evidence *v)
{
    struct settle_result r;
    bool steady = settle_find(&v->settle, &r);
    if (v->settle.seeks == 0 || !steady) {
        line_not_measured(v, ACCEPT_SETTLE, "%s",
                          v->settle.seeks == 0 ? "no seek was read behind for 80 ms"
                                               : "no steady read signal behind any seek");
    } else if (r.seeks < SETTLE_SEEKS_MIN || r.inward == 0 || r.outward == 0) {
        line_not_measured(v, ACCEPT_SETTLE, "%zu seeks inward and %zu outward are too few",
                          r.inward, r.outward);
    } else {
        line_value(v, ACCEPT_SETTLE, fmax(r.worst_ms, r.mean_ms), SETTLE_WINDOW_MS);
        line_upto(v, ACCEPT_SETTLE, "settle_ms");
        bool uneven = line_failed(v, ACCEPT_VARIATION) || line_failed(v, ACCEPT_HUB);
        if (uneven && line_failed(v, ACCEPT_SETTLE)) {
            line_not_measured(v, ACCEPT_SETTLE, "the disk does not turn evenly");
            return;
        }
        line_text(v, ACCEPT_SETTLE,
                  "last STEP to a read signal as later, worst of %zu seeks inward and %zu "
                  "outward",
                  r.inward, r.outward);
    }
}

void accept_lines_motion(struct evidence *v)
{
    struct moved m = sum_up(&v->moves);
    select_outputs(v);
    rate(v, &m);
    track0(v, &m);
    slip(v, &m);
    reached(v, &m);
    settling(v);
    if (line_failed(v, ACCEPT_SETTLE) || line_failed(v, ACCEPT_SLIP))
        accept_index_behind_seeks(v);
}
