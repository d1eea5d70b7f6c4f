/* Lines that move together: edges of the same sense within a moment. */
#include "base/buf.h"
#include "bus/tracker.h"

#include <stdlib.h>

#define SAME_PERCENT 98
/* A busy line meets a slow one's edges by chance: above this share of chance, more edges are
 * wanted. */
#define CHANCE_SHARE 0.02
#define CHANCE_MAX   0.25
#define CHANCE_EDGES 8

/* Lines that a machine keeps in one latch or port and may switch in one go. */
#define LATCHED                                                                                \
    (LINE_BIT(LINE_SELECT0) | LINE_BIT(LINE_SELECT1) | LINE_BIT(LINE_SELECT2) |                \
     LINE_BIT(LINE_SELECT3) | LINE_BIT(LINE_MOTOR) | LINE_BIT(LINE_MOTOR0) |                   \
     LINE_BIT(LINE_MOTOR1) | LINE_BIT(LINE_SIDE) | LINE_BIT(LINE_DENSITY) |                    \
     LINE_BIT(LINE_HLOAD) | LINE_BIT(LINE_INUSE) | LINE_BIT(LINE_LOWCUR))
/* Drive outputs that rest at a level, and so follow select while it gates them. */
#define RESTING                                                                                \
    (LINE_BIT(LINE_TRK00) | LINE_BIT(LINE_WPROT) | LINE_BIT(LINE_READY) |                      \
     LINE_BIT(LINE_DSKCHG) | LINE_BIT(LINE_HDOUT) | LINE_BIT(LINE_TWOSIDED) |                  \
     LINE_BIT(LINE_FAULT))

static struct recent_edge *recent_at(struct pair_track *p, int i)
{
    return &p->recent[(p->first + i) % RECENT_MAX];
}

void pair_edge(struct bus_tracker *t, enum line line, int64_t ns, enum level level)
{
    struct pair_track *p = &t->pairs;
    while (p->count > 0 && ns - recent_at(p, 0)->ns > PAIR_WINDOW_NS) {
        p->first = (p->first + 1) % RECENT_MAX;
        p->count--;
    }
    bool output = !line_from_machine(line);
    struct recent_edge e = {.ns = ns,
                            .line = line,
                            .level = level,
                            .gated = output && ns - t->select_since_ns <= GATED_NS &&
                                     t->s.select_on_ns >= 0};
    p->gated[line] += e.gated;
    for (int i = 0; i < p->count; i++) {
        struct recent_edge *r = recent_at(p, i);
        if (r->line == line || r->level != level || (r->matched & LINE_BIT(line)) != 0 ||
            (e.matched & LINE_BIT(r->line)) != 0 ||
            (output && !line_from_machine(r->line) && (e.gated || r->gated))) {
            continue;
        }
        r->matched |= LINE_BIT(line);
        e.matched |= LINE_BIT(r->line);
        p->both[line < r->line ? line : r->line][line < r->line ? r->line : line]++;
    }
    if (p->count == RECENT_MAX) {
        p->first = (p->first + 1) % RECENT_MAX;
        p->count--;
    }
    *recent_at(p, p->count++) = e;
}

/* What a healthy bus does: see struct line_pair. */
static bool explained(enum line a, enum line b)
{
    line_set pair = LINE_BIT(a) | LINE_BIT(b);
    if (line_is_select(a) && line_is_select(b)) {
        return false; /* a machine selects one unit at a time */
    }
    if ((pair & LATCHED) == pair) {
        return true;
    }
    return (line_is_select(a) || line_is_select(b)) && (pair & RESTING) != 0;
}

static int64_t edges_of(const struct bus_tracker *t, enum line l, bool outputs)
{
    return t->s.line[l].edges - (outputs ? t->pairs.gated[l] : 0);
}

/* Share of a line's edges that the other's would meet by chance. */
static double chance(const struct bus_tracker *t, enum line l)
{
    const struct line_stats *s = &t->s.line[l];
    double recorded_ns = (double)(s->low_ns + s->high_ns);
    return recorded_ns > 0 ? (double)s->edges / 2 * (2.0 * PAIR_WINDOW_NS) / recorded_ns : 1;
}

static bool pair_make(const struct bus_tracker *t, enum line a, enum line b,
                      struct line_pair *out)
{
    bool outputs = !line_from_machine(a) && !line_from_machine(b);
    int64_t both = t->pairs.both[a][b];
    int64_t edges_a = edges_of(t, a, outputs);
    int64_t edges_b = edges_of(t, b, outputs);
    int64_t fewer = edges_a < edges_b ? edges_a : edges_b;
    int64_t more = edges_a < edges_b ? edges_b : edges_a;
    if (fewer < PAIR_EDGES_MIN || explained(a, b)) {
        return false;
    }
    double by_chance = chance(t, edges_a < edges_b ? b : a);
    bool copied = 100 * both >= SAME_PERCENT * fewer && by_chance < CHANCE_MAX &&
                  (by_chance < CHANCE_SHARE || fewer >= CHANCE_EDGES);
    *out = (struct line_pair){
        .a = a, .b = b, .both = both, .edges_a = edges_a, .edges_b = edges_b};
    out->same = 100 * both >= SAME_PERCENT * more;
    out->wired_and = copied && !out->same;
    return out->same || out->wired_and;
}

enum err pairs_finish(struct bus_tracker *t)
{
    struct bus_story *s = &t->s;
    size_t cap = 0;
    for (int a = 0; a < LINE_COUNT; a++) {
        for (int b = a + 1; b < LINE_COUNT; b++) {
            struct line_pair p = {0};
            if (!pair_make(t, (enum line)a, (enum line)b, &p)) {
                continue;
            }
            TRY(array_grow((void **)&s->pair, &cap, s->pair_count + 1, sizeof s->pair[0],
                           (size_t)LINE_COUNT * LINE_COUNT));
            s->pair[s->pair_count++] = p;
        }
    }
    return ERR_OK;
}
