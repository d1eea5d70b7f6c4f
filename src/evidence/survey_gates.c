/* When no index pulse can be expected: motor off, not recorded, or behind one of the drive's
 * gates (bench practice 10: select, ready, seek-complete). Silence behind a gate is no missing
 * pulse, but a turn that shows all its pulses counts whatever happened in it. */
#include "evidence/survey_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define GAP_NUMBERS_MAX ((size_t)1 << 19)
#define CLOCK_SLACK     1.01             /* of the profile's gate time */
#define EDGE_NS         (20 * NS_PER_US) /* an output follows its gate */
#define TURN_REACH      0.5 /* off the rated turn: a distance of pulses that can be one */
#define BRIDGED_TURNS   20  /* across more of them no pulse counts as missing */
#define TURN_FIT        0.12
#define DUE_WITHIN      0.01 /* of a turn */
#define WIDTHS_MIN      3
#define NARROW          0.99 /* of the usual width: cut */
#define TURN_NS         200e6

void index_begin(struct index_gather *g, const struct profile *drive)
{
    g->level = LEVEL_UNKNOWN;
    g->any_gate = drive == NULL;
    if (profile_has_word(drive, "index_gate", "seek-complete")) {
        double ms = profile_max(drive, "index_gate_ms", profile_max(drive, "settle_ms", 0));
        g->seek_gate_ns = (int64_t)(CLOCK_SLACK * ms * (double)NS_PER_MS);
    }
}

static enum err gap_add(struct index_gather *g, enum gap_kind kind, int64_t from_ns,
                        int64_t to_ns)
{
    struct gap_list *l = &g->gap[kind];
    if (l->count + 2 > GAP_NUMBERS_MAX) {
        g->full = true;
        return ERR_OK;
    }
    TRY(array_grow((void **)&l->ns, &l->cap, l->count + 2, sizeof l->ns[0], GAP_NUMBERS_MAX));
    l->ns[l->count++] = from_ns;
    l->ns[l->count++] = to_ns;
    return ERR_OK;
}

enum err index_gap(struct index_gather *g, enum gap_kind kind, bool is_gap, int64_t ns)
{
    struct gap_list *l = &g->gap[kind];
    size_t before = l->count;
    if (is_gap == l->open) {
        return ERR_OK;
    }
    if (!is_gap) {
        l->ns[l->count - 1] = ns;
        l->open = false;
        return ERR_OK;
    }
    TRY(gap_add(g, kind, ns, ns));
    l->open = l->count > before;
    return ERR_OK;
}

/* The end of a seek's gap, in which the gate may open. */
static int64_t seek_tail_ns(const struct index_gather *g)
{
    return g->seek_gate_ns / 4;
}

enum err index_step(struct index_gather *g, int64_t ns)
{
    struct gap_list *l = &g->gap[GAP_STEPPING];
    if (g->any_gate) { /* steps without a pulse between them are one stretch */
        bool more = l->count > 0 &&
                    (g->count == 0 || g->pulse[g->count - 1].fall_ns <= l->ns[l->count - 1]);
        if (more) {
            l->ns[l->count - 1] = ns;
        }
        return more ? ERR_OK : gap_add(g, GAP_STEPPING, ns, ns);
    }
    if (g->seek_gate_ns == 0) {
        return ERR_OK;
    }
    if (l->count > 0 && ns <= l->ns[l->count - 1]) {
        int64_t *end_ns = &l->ns[l->count - 1];
        int64_t fall_ns = g->count > 0 ? g->pulse[g->count - 1].fall_ns : 0;
        if (fall_ns <= *end_ns - seek_tail_ns(g)) {
            *end_ns = ns + g->seek_gate_ns;
            return ERR_OK;
        }
        *end_ns = fall_ns; /* a pulse shows that the gate had opened */
    }
    return gap_add(g, GAP_STEPPING, ns, ns + g->seek_gate_ns);
}

static int compare_i64(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a;
    int64_t y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

/* Gaps of the kinds in `use` as one list. */
static enum err gaps_merge(const struct index_gather *g, const bool use[GAP_KINDS],
                           struct spans *out)
{
    size_t numbers = 0;
    size_t at = 0;
    for (int kind = 0; kind < GAP_KINDS; kind++) {
        numbers += use[kind] ? g->gap[kind].count : 0;
    }
    int64_t *ns = calloc(numbers + 2, sizeof *ns);
    if (ns == NULL) {
        return ERR_MEMORY;
    }
    for (int kind = 0; kind < GAP_KINDS; kind++) {
        if (use[kind] && g->gap[kind].count > 0) {
            memcpy(ns + at, g->gap[kind].ns, g->gap[kind].count * sizeof *ns);
            at += g->gap[kind].count;
        }
    }
    qsort(ns, numbers / 2, 2 * sizeof *ns, compare_i64);
    *out = (struct spans){.ns = ns};
    for (size_t i = 0; i + 1 < numbers; i += 2) {
        int64_t *last = out->count > 0 ? &ns[2 * out->count - 1] : NULL;
        if (last != NULL && ns[i] <= *last) {
            *last = ns[i + 1] > *last ? ns[i + 1] : *last;
            continue;
        }
        ns[2 * out->count] = ns[i];
        ns[2 * out->count + 1] = ns[i + 1];
        out->count++;
    }
    return ERR_OK;
}

/* The span that holds ns, or the first behind it. */
static size_t span_at(const struct spans *s, int64_t ns)
{
    size_t low = 0;
    size_t high = s->count;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (s->ns[2 * mid + 1] < ns) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    return low;
}

static bool spans_touch(const struct spans *s, int64_t from_ns, int64_t to_ns)
{
    size_t i = span_at(s, from_ns);
    return i < s->count && s->ns[2 * i] <= to_ns;
}

/* Middle of a list of numbers; 0 where there are fewer than `least`. */
static double median(int64_t *number, size_t count, size_t least)
{
    qsort(number, count, sizeof *number, compare_i64);
    size_t middle = count / 2;
    return count >= least && count > 0 ? (double)number[middle] : 0;
}

struct usual {
    double turn_ns, width_ns; /* width 0: too few to tell */
};

static enum err usual_make(const struct index_gather *g, double rated_rpm, struct usual *out)
{
    double rated_ns = rated_rpm > 0 ? (double)NS_PER_S * 60 / rated_rpm : TURN_NS;
    int64_t *number = calloc(g->count + 1, sizeof *number);
    size_t n = 0;
    if (number == NULL) {
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < g->count; i++) {
        if (g->pulse[i].rise_ns > g->pulse[i].fall_ns) {
            number[n++] = g->pulse[i].rise_ns - g->pulse[i].fall_ns;
        }
    }
    out->width_ns = median(number, n, WIDTHS_MIN);
    n = 0;
    for (size_t i = 0; i + 1 < g->count; i++) {
        int64_t apart = g->pulse[i + 1].fall_ns - g->pulse[i].fall_ns;
        if (fabs((double)apart / rated_ns - 1) < TURN_REACH) {
            number[n++] = apart;
        }
    }
    out->turn_ns = median(number, n, 1);
    out->turn_ns = out->turn_ns > 0 ? out->turn_ns : rated_ns;
    free(number);
    return ERR_OK;
}

/* Does the drive hold its INDEX back here? Not if pulses fall as if there were no gate.
 * tail_ns: of each gap, in which the gate may open. */
static bool gate_holds(const struct index_gather *g, enum gap_kind kind, int64_t tail_ns,
                       double turn_ns)
{
    const struct gap_list *l = &g->gap[kind];
    double closed_ns = 0;
    double falls = 0;
    size_t p = 0;
    for (size_t i = 0; i + 1 < l->count; i += 2) {
        int64_t from = l->ns[i] + EDGE_NS;
        int64_t to = l->ns[i + 1] - tail_ns;
        closed_ns += (double)(l->ns[i + 1] - l->ns[i]);
        while (p < g->count && g->pulse[p].fall_ns <= from) {
            p++;
        }
        for (; p < g->count && g->pulse[p].fall_ns < to; p++) {
            falls++;
        }
    }
    return l->count > 0 && 2 * falls * turn_ns <= closed_ns;
}

static bool is_narrow(const struct index_pulse *p, double width_ns)
{
    return p->rise_ns >= 0 && (double)(p->rise_ns - p->fall_ns) < NARROW * width_ns;
}

/* A gate that opens late in a pulse shows only its end, one that closes only its beginning: the
 * first is put back to where it fell by the usual width, the second has no width. */
static void mend_cut(struct index_gather *g, const struct spans *gates,
                     const struct spans *hard, double width_ns)
{
    for (size_t i = 0; i < g->count; i++) {
        struct index_pulse *p = &g->pulse[i];
        bool fall_gated = spans_touch(gates, p->fall_ns - EDGE_NS, p->fall_ns) ||
                          spans_touch(hard, p->fall_ns - EDGE_NS, p->fall_ns);
        if (!is_narrow(p, width_ns)) {
            continue;
        }
        size_t at = span_at(gates, p->fall_ns + 1);
        bool rise_gated = at < gates->count && gates->ns[2 * at] > p->fall_ns &&
                          gates->ns[2 * at] <= p->rise_ns;
        int64_t fall_ns = p->rise_ns - (int64_t)width_ns;
        bool alone = i == 0 || (fall_ns > p[-1].fall_ns && fall_ns > p[-1].rise_ns);
        if (rise_gated) {
            p->rise_ns = -1;
        } else if (fall_gated && alone) {
            p->fall_ns = fall_ns;
        }
    }
}

/* Of a drive that is not known: a narrow pulse may be cut where READY or STEP moved since the
 * pulse before. It has no width then, and its fall stays, for no gate is proven. */
static void doubt_cut(struct index_gather *g, const struct spans *gates, double width_ns)
{
    for (size_t i = 0; i < g->count; i++) {
        struct index_pulse *p = &g->pulse[i];
        int64_t since_ns = i > 0 ? p[-1].fall_ns : INT64_MIN;
        if (is_narrow(p, width_ns) && spans_touch(gates, since_ns, p->rise_ns)) {
            p->rise_ns = -1;
        }
    }
}

/* Pulses due between two others while a gate was closed. */
static int32_t hidden_between(const struct spans *gates, int64_t from_ns, int64_t to_ns,
                              int64_t turns, double turn_ns)
{
    int64_t within = (int64_t)(DUE_WITHIN * turn_ns);
    int32_t hidden = 0;
    for (int64_t k = 1; k < turns; k++) {
        int64_t due = from_ns + (to_ns - from_ns) / turns * k;
        hidden += spans_touch(gates, due - within, due + within);
    }
    return hidden;
}

/* Of the pulses that count as missing: only where a turn was seen before, and nothing else lies
 * between, see rotation_from_index(). */
static int32_t count_hidden(const struct index_gather *g, const struct spans *gates,
                            const struct spans *hard, double turn_ns)
{
    int32_t hidden = 0;
    bool steady = false;
    for (size_t i = 0; i + 1 < g->count; i++) {
        int64_t from = g->pulse[i].fall_ns;
        int64_t to = g->pulse[i + 1].fall_ns;
        double apart = (double)(to - from) / turn_ns;
        int64_t turns = llround(apart);
        bool whole = turns >= 1 && turns <= BRIDGED_TURNS &&
                     fabs(apart - (double)turns) < TURN_FIT && !spans_touch(hard, from, to);
        if (whole && steady) {
            hidden += hidden_between(gates, from, to, turns, turn_ns);
        }
        steady = whole && (steady || turns == 1);
    }
    return hidden;
}

enum err index_mend(struct survey_run *r, double rated_rpm, const struct spans *hard,
                    int32_t *out_hidden)
{
    struct index_gather *g = &r->index;
    struct spans gates = {0};
    struct usual usual;
    *out_hidden = 0;
    TRY(usual_make(g, rated_rpm, &usual));
    bool use[GAP_KINDS] = {
        [GAP_NOT_READY] =
            g->any_gate || (profile_has_word(r->o->drive, "index_gate", "ready") &&
                            gate_holds(g, GAP_NOT_READY, EDGE_NS, usual.turn_ns)),
        [GAP_STEPPING] =
            g->any_gate || gate_holds(g, GAP_STEPPING, seek_tail_ns(g), usual.turn_ns),
    };
    TRY(gaps_merge(g, use, &gates));
    if (g->any_gate) {
        static const struct spans NONE = {0};
        mend_cut(g, &NONE, hard, usual.width_ns);
        doubt_cut(g, &gates, usual.width_ns);
    } else {
        mend_cut(g, &gates, hard, usual.width_ns);
        *out_hidden = count_hidden(g, &gates, hard, usual.turn_ns);
    }
    free(gates.ns);
    return ERR_OK;
}

enum err index_gaps(struct survey_run *r, struct spans *out)
{
    const struct bus_story *story = &r->out->story;
    const struct profile *drive = r->o->drive;
    bool use[GAP_KINDS] = {
        [GAP_MOTOR_OFF] = story->motor_on_ns >= 0,
        [GAP_DESELECTED] = story->select_on_ns >= 0 &&
                           story->line[LINE_INDEX].falls_unselected == 0 &&
                           (drive == NULL || profile_has_word(drive, "index_gate", "select") ||
                            profile_has_word(drive, "outputs_gated", "select")),
        [GAP_NOT_RECORDED] = true,
    };
    for (int kind = 0; kind < GAP_KINDS; kind++) {
        struct gap_list *l = &r->index.gap[kind];
        if (l->open && l->count > 0) {
            l->ns[l->count - 1] = r->now_ns;
        }
    }
    return gaps_merge(&r->index, use, out);
}
