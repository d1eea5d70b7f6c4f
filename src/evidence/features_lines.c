/* Line states, pairs and crosstalk as features; supply rails and the tap's own sampling. */
#include "evidence/feature_make.h"

#include <stdio.h>

/* Silence of a drive's output counts only over this much selected time, at speed (bench
 * practice 10). */
#define SILENCE_NS       (700 * INT64_C(1000000))
#define RDATA_SILENCE_NS (50 * INT64_C(1000000))
/* Drive outputs that stay low for this share of the selected time never change. */
#define ALWAYS_SHARE 0.97
/* Falls of a line outside select that make it live (gating tails are skipped by the tracker).
 */
#define LIVE_FALLS 3
/* Time with select off that shows whether an output lets go. */
#define UNSELECTED_NS INT64_C(100000)
/* Lines that touch change within the rise of one line. */
#define SAME_TIME_NS INT64_C(20000)

static const char *const state_words[STATE_COUNT] = {
    "never becomes active", "moves as a live line does", "is active all the time", "is erratic",
    "is active as long as the drive is selected"};
static const char *const state_ids[STATE_COUNT] = {"never", "live", "always", "erratic",
                                                   "held"};

/* A select or motor line seen active at this tap, or not recorded here. */
static bool seen_active(const struct feature_from *f, enum sig s)
{
    const struct line_stats *st;

    if (!feature_recorded(f, s))
        return true;
    st = feature_stats(f, s);
    return st->state != LINE_NEVER_ACTIVE;
}

static int state_from_machine(const struct line_stats *st)
{
    switch (st->state) {
    case LINE_NEVER_ACTIVE:
        return STATE_NEVER;
    case LINE_ALWAYS_ACTIVE:
        return STATE_ALWAYS;
    case LINE_ERRATIC:
        return STATE_ERRATIC;
    case LINE_TOGGLES:
    case LINE_NOT_RECORDED:
        break;
    }
    return STATE_TOGGLES;
}

/* Time in which this unit was selected: a machine that polls selects others too. */
static int64_t own_selected_ns(const struct feature_from *f, const struct line_stats *st)
{
    return feature_recorded(f, SIG_SEL) ? feature_stats(f, SIG_SEL)->low_ns : st->selected_ns;
}

/* While others are selected this drive says nothing. Where another drive spoke then, all
 * selects count. */
static int64_t selected_time(const struct feature_from *f, const struct line_stats *st)
{
    int64_t own = own_selected_ns(f, st);

    return own < st->selected_ns && st->low_selected_ns <= own + SAME_TIME_NS * (st->falls + 1)
               ? own
               : st->selected_ns;
}

/* State of a drive's output over the time in which it was selected; -1 where silence proves
 * nothing. */
static int state_from_drive(const struct feature_from *f, enum sig s,
                            const struct line_stats *st)
{
    bool asked_for = seen_active(f, SIG_SEL) && seen_active(f, SIG_MOT);
    int64_t time = st->selected_ns, low = st->low_selected_ns;
    int64_t falls = st->falls_selected;

    if (!seen_active(f, SIG_SEL) || !feature_recorded(f, SIG_SEL)) {
        time = st->low_ns + st->high_ns;
        low = st->low_ns;
        falls = st->falls;
    } else {
        time = selected_time(f, st);
    }
    if (time > 0 && (double)low > ALWAYS_SHARE * (double)time) {
        /* an index or read line must pulse; a level may well stay while the drive is selected
         */
        bool level = s != SIG_INDEX && s != SIG_RDATA;
        bool also_off =
            st->unselected_ns < UNSELECTED_NS ||
            (double)st->low_unselected_ns > ALWAYS_SHARE * (double)st->unselected_ns;

        return level && !also_off ? STATE_HELD : STATE_ALWAYS;
    }
    if (st->state == LINE_ERRATIC && s != SIG_RDATA)
        return STATE_ERRATIC;
    if (low == 0 && falls == 0) {
        int64_t need = s == SIG_RDATA ? RDATA_SILENCE_NS : SILENCE_NS;

        return asked_for && time < need ? -1 : STATE_NEVER;
    }
    return STATE_TOGGLES;
}

static enum err add_line(const struct feature_from *f, enum sig s, struct feature_list *l)
{
    const struct line_stats *st = feature_stats(f, s);
    bool from_drive = s >= SIG_FROM_DRIVE;
    bool driver_side = from_drive == f->at_drive;
    int state = from_drive ? state_from_drive(f, s, st) : state_from_machine(st);
    char id[48];

    if (state < 0)
        return ERR_OK;
    /* A flat high line at its open-collector driver's side proves nothing without a pull-up
     * (contract). */
    if (state == STATE_NEVER && driver_side && !case_pulled_up(f->cap))
        return ERR_OK;
    /* The level of DIR means something at a step only; WGATE and its data have features of
     * their own. */
    if (s == SIG_DIR || s == SIG_WGATE || s == SIG_WDATA)
        return ERR_OK;
    if (s == SIG_RDATA && !f->s->flux_usable)
        return ERR_OK;
    snprintf(id, sizeof id, "line.%s.%s", line_name(f->name[s]), state_ids[state]);
    return feature_add(l, f, FEATURE_LINE, group_of_sig(s), s, state, NULL, id,
                       "%s %s at the %s%s", line_name(f->name[s]), state_words[state],
                       f->at_drive ? "drive end" : "machine end",
                       from_drive && state != STATE_ALWAYS && state != STATE_HELD &&
                               feature_recorded(f, SIG_SEL) && seen_active(f, SIG_SEL)
                           ? " while the drive is selected"
                           : "");
}

/* Outputs that move while the select seen here is off: another drive's, or this lead is off. */
static enum err add_unselected(const struct feature_from *f, struct feature_list *l)
{
    int live = 0, silent = 0;
    int64_t time = 0;
    static const enum sig outputs[] = {SIG_INDEX, SIG_RDATA};

    if (!feature_recorded(f, SIG_SEL))
        return ERR_OK;
    for (size_t i = 0; i < sizeof outputs / sizeof *outputs; i++) {
        const struct line_stats *st;

        if (!feature_recorded(f, outputs[i]))
            continue;
        st = feature_stats(f, outputs[i]);
        time += st->unselected_ns;
        if (st->falls_unselected >= LIVE_FALLS)
            live++;
        else
            silent++;
    }
    if (live + silent == 0 || (!live && time < SILENCE_NS))
        return ERR_OK;
    return feature_add(l, f, FEATURE_UNSELECTED, GROUP_SELECT, SIG_SEL, live > 0, NULL,
                       live ? "select.outputs-unselected" : "select.outputs-gated",
                       live ? "the drive's outputs are live while %s is off"
                            : "the drive's outputs are quiet while %s is off",
                       line_name(f->name[SIG_SEL]));
}

/* An output of the drive that is on all the time that it is selected goes with select, and so
 * with every other one of its kind. */
static bool goes_with_select(const struct feature_from *f, enum sig s)
{
    const struct line_stats *x = feature_stats(f, s);

    return s >= SIG_FROM_DRIVE && own_selected_ns(f, x) - x->low_ns <= SAME_TIME_NS * x->falls;
}

/* Two level lines that spend the same time low, and some of it high, with as many falls: they
 * touch. */
static bool same_times(const struct feature_from *f, enum sig a, enum sig z)
{
    const struct line_stats *x, *y;
    int64_t apart;

    if (!feature_recorded(f, a) || !feature_recorded(f, z))
        return false;
    x = feature_stats(f, a);
    y = feature_stats(f, z);
    apart = x->low_ns > y->low_ns ? x->low_ns - y->low_ns : y->low_ns - x->low_ns;
    return x->falls > 0 && x->falls == y->falls && x->low_ns > x->high_ns / 50 &&
           x->high_ns > x->low_ns / 50 && apart <= SAME_TIME_NS &&
           !(goes_with_select(f, a) && goes_with_select(f, z));
}

static enum err add_level_pairs(const struct feature_from *f, struct feature_list *l,
                                bool *found)
{
    /* neighbours on the bus that a machine or drive has no reason to move together */
    static const enum sig pairs[][2] = {{SIG_MOT, SIG_DIR},
                                        {SIG_TRK00, SIG_WPROT},
                                        {SIG_SIDE, SIG_READY},
                                        {SIG_SIDE, SIG_DSKCHG}};

    for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
        enum sig a = pairs[i][0], z = pairs[i][1];
        struct feature *n;
        char id[48];

        if (!same_times(f, a, z))
            continue;
        snprintf(id, sizeof id, "pair.%s+%s", line_name(f->name[a]), line_name(f->name[z]));
        TRY(feature_add(l, f, FEATURE_PAIR, group_of_sig(a), a, 1, &n, id,
                        "%s and %s are active at the same times", line_name(f->name[a]),
                        line_name(f->name[z])));
        n->sig2 = (int)z;
        *found = true;
    }
    return ERR_OK;
}

static enum err add_pairs(const struct feature_from *f, struct feature_list *l)
{
    const struct bus_story *b = &f->s->story;
    bool found = false;

    for (size_t i = 0; i < b->pair_count; i++) {
        enum sig a = wiring_sig(f->w, b->pair[i].a, f->at_drive);
        enum sig z = wiring_sig(f->w, b->pair[i].b, f->at_drive);
        struct feature *n;
        char id[48];

        if (a == SIG_COUNT || z == SIG_COUNT)
            continue;
        snprintf(id, sizeof id, "pair.%s+%s", line_name(b->pair[i].a), line_name(b->pair[i].b));
        TRY(feature_add(l, f, FEATURE_PAIR, group_of_sig(a), a, 1, &n, id,
                        "%s and %s move together at the %s (%lld edges at the same moment)",
                        line_name(b->pair[i].a), line_name(b->pair[i].b),
                        f->at_drive ? "drive end" : "machine end", (long long)b->pair[i].both));
        n->sig2 = (int)z;
        found = true;
    }
    TRY(add_level_pairs(f, l, &found));
    if (found || (feature_recorded(f, SIG_STEP) && b->seek_count == 0))
        return ERR_OK;
    return feature_add(l, f, FEATURE_PAIR, GROUP_SELECT, SIG_COUNT, 0, NULL, "pair.none",
                       "no two lines move together (%zu pairs)", b->pair_count);
}

/* Short pulses on three lines or more, none of which is a read or write line: a ground is
 * missing, or the supply collapses. */
static enum err add_crosstalk(const struct feature_from *f, struct feature_list *l)
{
    int lines = 0, recorded = 0;
    int64_t pulses = 0;
    static const enum sig slow[] = {SIG_SEL,   SIG_MOT,   SIG_DIR,   SIG_SIDE, SIG_INDEX,
                                    SIG_TRK00, SIG_WPROT, SIG_READY, SIG_STEP, SIG_WGATE};

    for (size_t i = 0; i < sizeof slow / sizeof *slow; i++) {
        if (!feature_recorded(f, slow[i]))
            continue;
        recorded++;
        if (feature_stats(f, slow[i])->glitches >= 3) {
            lines++;
            pulses += feature_stats(f, slow[i])->glitches;
        }
    }
    if (recorded < 4)
        return ERR_OK;
    return feature_add(l, f, FEATURE_CROSSTALK, GROUP_SELECT, SIG_COUNT, lines >= 2, NULL,
                       lines >= 2 ? "lines.short-pulses" : "lines.clean",
                       lines >= 2
                           ? "short pulses on %d lines at once (%lld in all)"
                           : "no short pulses across lines (%d lines with some, %lld in all)",
                       lines, (long long)pulses);
}

static enum err add_rails(const struct feature_from *f, struct feature_list *l)
{
    static const char *const key[RAIL_COUNT] = {"v5_v", "v12_v", "v24_v"};

    for (int r = 0; r < RAIL_COUNT; r++) {
        const struct supply_stats *v = &f->s->supply[r];
        const struct limit *lim = profile_limit(f->c->drive, key[r]);
        struct feature *n;
        double low;

        if (!v->recorded || !lim || !lim->has_min)
            continue;
        low = v->min_v;
        TRY(feature_add(l, f, FEATURE_RAIL, GROUP_POWER, SIG_COUNT,
                        v->max_v < lim->min / 2 ? 2 : low < lim->min, &n, "supply.rail",
                        "the %s rail goes down to %.2f V", rail_name((enum rail)r), low));
        n->sig2 = r;
        feature_value(n, low, 0.05, "V");
        feature_limit(n, lim);
    }
    return ERR_OK;
}

static enum err add_sampling(const struct feature_from *f, struct feature_list *l)
{
    struct feature *n;

    if (!f->s->flux_recorded || !f->s->sample_known)
        return ERR_OK;
    TRY(feature_add(l, f, FEATURE_SAMPLING, GROUP_READ, SIG_COUNT, !f->s->flux_usable, &n,
                    f->s->flux_usable ? "tap.sampling" : "tap.sampled-too-slowly",
                    f->s->flux_usable
                        ? "the tap samples every %.0f ns, fast enough for read pulses"
                        : "the tap samples every %.0f ns: read pulses can fall between samples",
                    f->s->sample_ns));
    feature_value(n, f->s->sample_ns, 0, "ns");
    feature_limit(n, profile_limit(f->c->drive, "read_pulse_ns"));
    return ERR_OK;
}

enum err features_lines(const struct feature_from *f, struct feature_list *l)
{
    for (enum sig s = 0; s < SIG_COUNT; s++)
        if (feature_recorded(f, s))
            TRY(add_line(f, s, l));
    TRY(add_unselected(f, l));
    TRY(add_pairs(f, l));
    TRY(add_crosstalk(f, l));
    TRY(add_rails(f, l));
    return add_sampling(f, l);
}
