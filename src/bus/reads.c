/* Read pulses in a row: nearly all edges of a capture, and nothing but the statistics of RDATA
 * changes with them. */
#include "base/lanes.h"
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

static int64_t last_ns(const struct read_row *row)
{
    return row->ns + row->after_ns[row->count - 1];
}

/* Nothing falls due in the meantime. */
static bool usable(const struct bus_tracker *t, const struct read_row *row)
{
    int64_t limit = t->due_ns <= BUS_NS_MAX ? t->due_ns - 1 : BUS_NS_MAX;
    return row->count >= RECENT_MAX && row->ns >= t->now_ns && last_ns(row) <= limit &&
           row->ns - t->line[LINE_RDATA].since_ns <= INT32_MAX;
}

/* Every second width: [0] those from the edge before the row to the first one on. */
struct widths {
    int64_t sum[2];
    int32_t shortest[2], glitches[2];
};

static void width_add(struct widths *w, size_t i, int32_t width, int32_t glitch_ns)
{
    w->sum[i & 1] += width;
    w->shortest[i & 1] = width < w->shortest[i & 1] ? width : w->shortest[i & 1];
    w->glitches[i & 1] += width < glitch_ns;
}

static struct widths widths_of(const int32_t *ns, size_t n, int32_t before, int32_t glitch_ns)
{
    const lane_ints glitch = {glitch_ns, glitch_ns, glitch_ns, glitch_ns};
    struct widths w = {{0, 0}, {INT32_MAX, INT32_MAX}, {0, 0}};
    lane_ints sum = {0};
    lane_ints shortest = {INT32_MAX, INT32_MAX, INT32_MAX, INT32_MAX};
    lane_ints glitches = {0};
    size_t i = 2;
    width_add(&w, 0, before, glitch_ns);
    width_add(&w, 1, ns[1] - ns[0], glitch_ns);
    for (; i + LANES <= n; i += LANES) {
        lane_ints width = lane_ints_load(ns + i) - lane_ints_load(ns + i - 1);
        lane_ints shorter = width < shortest;
        shortest = (width & shorter) | (shortest & ~shorter);
        sum += width;
        glitches -= width < glitch;
    }
    for (size_t k = 0; k < LANES; k++) {
        w.sum[k & 1] += sum[k];
        w.shortest[k & 1] = shortest[k] < w.shortest[k & 1] ? shortest[k] : w.shortest[k & 1];
        w.glitches[k & 1] += glitches[k];
    }
    for (; i < n; i++) {
        width_add(&w, i, ns[i] - ns[i - 1], glitch_ns);
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
static void recent_set(struct bus_tracker *t, const struct read_row *row, enum level other)
{
    struct pair_track *p = &t->pairs;
    p->first = 0;
    p->count = 0;
    for (size_t i = row->count - RECENT_MAX; i < row->count; i++) {
        p->recent[p->count++] = (struct recent_edge){.ns = row->ns + row->after_ns[i],
                                                     .line = LINE_RDATA,
                                                     .level = i % 2 == 0 ? row->first : other};
    }
}

bool bus_tracker_reads(struct bus_tracker *t, const struct read_row *row)
{
    struct line_track *l = &t->line[LINE_RDATA];
    struct line_stats *s = &t->s.line[LINE_RDATA];
    const size_t n = row->count;
    bool settled = t->started && l->whole && l->level != LEVEL_UNKNOWN &&
                   l->width_count == WIDTHS_MAX && row->first != l->level &&
                   row->first <= LEVEL_HIGH;
    if (!usable(t, row) || !settled || others_near(t, row->ns)) {
        return false;
    }
    size_t low_from = l->level == LEVEL_LOW ? 0 : 1;
    size_t high_from = 1 - low_from;
    int32_t glitch_ns = l->glitch_ns < INT32_MAX ? (int32_t)l->glitch_ns : INT32_MAX;
    struct widths w = widths_of(row->after_ns, n, (int32_t)(row->ns - l->since_ns), glitch_ns);
    if (w.shortest[0] < 0 || w.shortest[1] < 0) {
        return false; /* times out of order: told one by one */
    }
    int64_t low_pulses = (int64_t)((n + 1 - low_from) / 2);
    int64_t falls = (int64_t)n - low_pulses;
    int64_t span = last_ns(row) - l->booked_ns;
    s->low_ns += w.sum[low_from];
    s->high_ns += w.sum[high_from];
    if (t->selected) {
        s->selected_ns += span;
        s->low_selected_ns += w.sum[low_from];
        s->falls_selected += falls;
    } else {
        s->unselected_ns += selects_recorded(t) ? span : 0;
        s->low_unselected_ns += selects_recorded(t) ? w.sum[low_from] : 0;
        s->falls_unselected += falls;
    }
    shortest_keep(&s->shortest_low_ns, w.shortest[low_from]);
    shortest_keep(&s->shortest_high_ns, w.shortest[high_from]);
    s->glitches += w.glitches[0] + w.glitches[1];
    s->edges += (int64_t)n;
    s->falls += falls;
    l->low_pulses += low_pulses;
    recent_set(t, row, l->level);
    l->before = (n & 1) == 0 ? row->first : l->level;
    l->level = (n & 1) != 0 ? row->first : l->level;
    s->last = l->level;
    l->since_ns = l->booked_ns = t->now_ns = last_ns(row);
    return true;
}
