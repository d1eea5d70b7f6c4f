/* Read pulses in a row: nearly all edges of a capture, and nothing but the statistics of RDATA
 * changes with them. */
#include "bus/tracker.h"

/* Edges of other lines, or a select, so near in front that a pulse may belong to them. */
static bool others_near(const struct bus_tracker *t, int64_t ns)
{
    const struct pair_track *p = &t->pairs;
    for (int i = 0; i < p->count; i++) {
        const struct recent_edge *r = &p->recent[(p->first + i) % RECENT_MAX];
        if (r->line != LINE_RDATA && ns - r->ns <= PAIR_WINDOW_NS) {
            return true;
        }
    }
    return t->line[LINE_RDATA].booked_ns - t->select_since_ns <= GATED_NS;
}

/* How many are in order and before anything falls due. */
static size_t usable(const struct bus_tracker *t, const int64_t *ns, size_t n)
{
    int64_t before = t->now_ns;
    int64_t limit = t->due_ns <= BUS_NS_MAX ? t->due_ns - 1 : BUS_NS_MAX;
    if (n > 0 && ns[0] >= before && ns[n - 1] <= limit) {
        size_t i = 1;
        while (i < n && ns[i] >= ns[i - 1]) {
            i++;
        }
        return i;
    }
    return 0;
}

struct widths {
    int64_t sum, shortest, glitches;
};

/* Every second width: from edge i - 1 to edge i, edge -1 being the one before the run. */
static struct widths widths_of(const int64_t *ns, size_t n, size_t from, int64_t before,
                               int64_t glitch_ns)
{
    struct widths w = {0, NEVER, 0};
    for (size_t i = from; i < n; i += 2) {
        int64_t width = ns[i] - (i > 0 ? ns[i - 1] : before);
        w.sum += width;
        w.shortest = width < w.shortest ? width : w.shortest;
        w.glitches += width < glitch_ns;
    }
    return w;
}

static void shortest_keep(int64_t *shortest, int64_t ns)
{
    if (*shortest == 0 || ns < *shortest) {
        *shortest = ns;
    }
}

/* The last edges, for lines that move together with them. */
static void recent_set(struct bus_tracker *t, const int64_t *ns, size_t n, enum level first)
{
    struct pair_track *p = &t->pairs;
    size_t from = n > RECENT_MAX ? n - RECENT_MAX : 0;
    p->first = 0;
    p->count = 0;
    for (size_t i = from; i < n; i++) {
        p->recent[p->count++] = (struct recent_edge){.ns = ns[i],
                                                     .line = LINE_RDATA,
                                                     .level = (i & 1) == 0         ? first
                                                              : first == LEVEL_LOW ? LEVEL_HIGH
                                                                                   : LEVEL_LOW};
    }
}

size_t bus_tracker_reads(struct bus_tracker *t, const int64_t *ns, size_t n, enum level first)
{
    struct line_track *l = &t->line[LINE_RDATA];
    struct line_stats *s = &t->s.line[LINE_RDATA];
    size_t used = usable(t, ns, n);
    bool settled = t->started && l->whole && l->level != LEVEL_UNKNOWN &&
                   l->width_count == WIDTHS_MAX && first != l->level && first <= LEVEL_HIGH;
    if (used < RECENT_MAX || !settled || others_near(t, ns[0])) {
        return 0;
    }
    size_t low_from = l->level == LEVEL_LOW ? 0 : 1;
    struct widths low = widths_of(ns, used, low_from, l->since_ns, l->glitch_ns);
    struct widths high = widths_of(ns, used, 1 - low_from, l->since_ns, l->glitch_ns);
    int64_t low_pulses = (int64_t)((used + 1 - low_from) / 2);
    int64_t falls = (int64_t)used - low_pulses;
    int64_t span = ns[used - 1] - l->booked_ns;
    s->low_ns += low.sum;
    s->high_ns += high.sum;
    if (t->selected) {
        s->selected_ns += span;
        s->low_selected_ns += low.sum;
        s->falls_selected += falls;
    } else {
        s->unselected_ns += selects_recorded(t) ? span : 0;
        s->low_unselected_ns += selects_recorded(t) ? low.sum : 0;
        s->falls_unselected += falls;
    }
    shortest_keep(&s->shortest_low_ns, low.shortest);
    shortest_keep(&s->shortest_high_ns, high.shortest);
    s->glitches += low.glitches + high.glitches;
    s->edges += (int64_t)used;
    s->falls += falls;
    l->low_pulses += low_pulses;
    recent_set(t, ns, used, first);
    l->before = (used & 1) == 0 ? first : l->level;
    l->level = (used & 1) != 0 ? first : l->level;
    s->last = l->level;
    l->since_ns = l->booked_ns = t->now_ns = ns[used - 1];
    return used;
}
