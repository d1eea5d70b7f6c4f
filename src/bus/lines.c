/* Statistics of single lines. */
#include "base/buf.h"
#include "bus/tracker.h"

#include <stdlib.h>
#include <string.h>

/* Erratic: this many glitches, and one in this many edges. Common practice. */
#define ERRATIC_MIN   4
#define ERRATIC_SHARE 20

/* Shares of a line's shortest true pulse below which a pulse is a glitch. */
#define STEP_SHARE  0.4
#define INDEX_SHARE 0.02
#define DATA_SHARE  0.5

double limit_min(const struct profile *p, const char *key, double fallback)
{
    return p != NULL ? profile_min(p, key, fallback) : fallback;
}

double limit_max(const struct profile *p, const char *key, double fallback)
{
    return p != NULL ? profile_max(p, key, fallback) : fallback;
}

int64_t bounded_ns(double ns)
{
    const double most = 1e12;
    return ns > most ? (int64_t)most : ns > 0 ? (int64_t)ns : 0;
}

/* Shortest pulse that is the line's own. Where the profile is silent: common practice. */
static int64_t glitch_width(const struct profile *drive, enum line line)
{
    double level_ns = 1.1 * limit_max(drive, "read_pulse_ns", 800);
    if (line == LINE_STEP) {
        return bounded_ns(1e3 * STEP_SHARE * limit_min(drive, "step_width_us", 0.8));
    }
    if (line == LINE_INDEX || line == LINE_SECTOR) {
        return bounded_ns(1e3 * INDEX_SHARE * limit_min(drive, "index_width_us", 1000));
    }
    if (line == LINE_RDATA) {
        return bounded_ns(DATA_SHARE * limit_min(drive, "read_pulse_ns", 150));
    }
    if (line == LINE_WDATA) {
        return bounded_ns(DATA_SHARE * limit_min(drive, "write_pulse_ns", 100));
    }
    return bounded_ns(level_ns > 1000 ? level_ns
                                      : 1000); /* longer than a read pulse leaking in */
}

void lines_start(struct bus_tracker *t)
{
    for (int i = 0; i < LINE_COUNT; i++) {
        t->line[i].level = LEVEL_UNKNOWN;
        t->line[i].before = LEVEL_UNKNOWN;
        t->line[i].glitch_ns = glitch_width(t->drive, (enum line)i);
        t->s.line[i].first = LEVEL_UNKNOWN;
        t->s.line[i].last = LEVEL_UNKNOWN;
    }
}

bool selects_recorded(const struct bus_tracker *t)
{
    const line_set selects = LINE_BIT(LINE_SELECT0) | LINE_BIT(LINE_SELECT1) |
                             LINE_BIT(LINE_SELECT2) | LINE_BIT(LINE_SELECT3);
    return (t->recorded & selects) != 0;
}

void line_book(struct bus_tracker *t, enum line line, int64_t ns)
{
    struct line_track *l = &t->line[line];
    struct line_stats *s = &t->s.line[line];
    int64_t from = l->booked_ns;
    int64_t span = ns - from;
    l->booked_ns = ns;
    if (l->level == LEVEL_UNKNOWN) {
        s->unknown_ns += span;
        return;
    }
    if (l->level == LEVEL_LOW) {
        s->low_ns += span;
    } else {
        s->high_ns += span;
    }
    if (t->selected) {
        s->selected_ns += span;
        s->low_selected_ns += l->level == LEVEL_LOW ? span : 0;
        return;
    }
    if (from < t->select_since_ns + GATED_NS) {
        from = t->select_since_ns + GATED_NS;
    }
    if (ns > from && selects_recorded(t)) {
        s->unselected_ns += ns - from;
        s->low_unselected_ns += l->level == LEVEL_LOW ? ns - from : 0;
    }
}

static enum err pulse_ended(struct line_track *l, struct line_stats *s, int64_t width)
{
    int64_t *shortest = l->level == LEVEL_LOW ? &s->shortest_low_ns : &s->shortest_high_ns;
    if (*shortest == 0 || width < *shortest) {
        *shortest = width;
    }
    if (width < l->glitch_ns) {
        s->glitches++;
    }
    if (l->level != LEVEL_LOW) {
        return ERR_OK;
    }
    l->low_pulses++;
    if (l->width_count == WIDTHS_MAX) {
        return ERR_OK;
    }
    if (l->width_count == l->width_cap) {
        TRY(array_grow((void **)&l->width_ns, &l->width_cap, l->width_count + 1,
                       sizeof l->width_ns[0], WIDTHS_MAX));
    }
    l->width_ns[l->width_count++] = width < UINT32_MAX ? (uint32_t)width : UINT32_MAX;
    return ERR_OK;
}

enum err line_change(struct bus_tracker *t, enum line line, int64_t ns, enum level level)
{
    struct line_track *l = &t->line[line];
    struct line_stats *s = &t->s.line[line];
    bool seen = l->level != LEVEL_UNKNOWN && level != LEVEL_UNKNOWN;
    line_book(t, line, ns);
    if (seen) {
        s->edges++;
        if (l->whole) {
            TRY(pulse_ended(l, s, ns - l->since_ns));
        }
        if (level == LEVEL_LOW) {
            s->falls++;
            if (t->selected) {
                s->falls_selected++;
            } else if (ns >= t->select_since_ns + GATED_NS) {
                s->falls_unselected++;
            }
        }
    }
    if (s->first == LEVEL_UNKNOWN) {
        s->first = level;
    }
    if (level != LEVEL_UNKNOWN) {
        s->last = level;
    }
    l->whole = seen;
    l->before = l->level;
    l->level = level;
    l->since_ns = ns;
    return ERR_OK;
}

static enum line_state classify(const struct line_track *l, const struct line_stats *s)
{
    if (s->first == LEVEL_UNKNOWN) {
        return LINE_NOT_RECORDED;
    }
    if (s->edges == 0) {
        /* Recorded in pieces, each flat: one level throughout, or it moved unseen. */
        if (s->low_ns > 0 && s->high_ns > 0) {
            return LINE_TOGGLES;
        }
        return s->last == LEVEL_LOW ? LINE_ALWAYS_ACTIVE : LINE_NEVER_ACTIVE;
    }
    if (s->glitches >= ERRATIC_MIN && s->glitches >= s->edges / ERRATIC_SHARE) {
        return LINE_ERRATIC;
    }
    if (s->glitches > 0 && s->low_ns <= s->glitches * l->glitch_ns) {
        return LINE_NEVER_ACTIVE;
    }
    if (s->glitches > 0 && s->high_ns <= s->glitches * l->glitch_ns) {
        return LINE_ALWAYS_ACTIVE;
    }
    return LINE_TOGGLES;
}

static int compare_width(const void *a, const void *b)
{
    uint32_t x = *(const uint32_t *)a;
    uint32_t y = *(const uint32_t *)b;
    return (x > y) - (x < y);
}

void lines_finish(struct bus_tracker *t, int64_t ns)
{
    for (int i = 0; i < LINE_COUNT; i++) {
        struct line_track *l = &t->line[i];
        line_book(t, (enum line)i, ns);
        if (l->width_count > 0) {
            qsort(l->width_ns, l->width_count, sizeof l->width_ns[0], compare_width);
            t->s.line[i].median_low_ns = l->width_ns[l->width_count / 2];
        }
        t->s.line[i].state = classify(l, &t->s.line[i]);
    }
}

const char *line_state_name(enum line_state s)
{
    switch (s) {
    case LINE_NEVER_ACTIVE:
        return "never-active";
    case LINE_ALWAYS_ACTIVE:
        return "always-active";
    case LINE_TOGGLES:
        return "toggles";
    case LINE_ERRATIC:
        return "erratic";
    case LINE_NOT_RECORDED:
        break;
    }
    return "not-recorded";
}
