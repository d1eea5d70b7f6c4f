/* What of a tap is kept to compare it with another. */
#include "base/buf.h"
#include "bus/tap.h"

#include <stdlib.h>

#define NEAREST_EDGES 3

enum err tap_edges_new(struct tap_edges **out)
{
    struct tap_edges *t = calloc(1, sizeof *t);
    if (t == NULL) {
        return ERR_MEMORY;
    }
    for (int i = 0; i < LINE_COUNT; i++) {
        t->line[i].level = LEVEL_UNKNOWN;
    }
    *out = t;
    return ERR_OK;
}

void tap_edges_free(struct tap_edges *t)
{
    if (t == NULL) {
        return;
    }
    for (int i = 0; i < LINE_COUNT; i++) {
        free(t->line[i].edge);
        free(t->line[i].window);
        free(t->line[i].state);
    }
    free(t);
}

static enum err edge_add(struct tap_edge **list, size_t *count, size_t *cap, int64_t ns,
                         enum level level)
{
    if (*count == TAP_EDGES_MAX) {
        return ERR_OK;
    }
    if (*count == *cap) {
        TRY(array_grow((void **)list, cap, *count + 1, sizeof **list, TAP_EDGES_MAX));
    }
    (*list)[(*count)++] = (struct tap_edge){.ns = ns, .level = level};
    return ERR_OK;
}

static enum err window_add(struct tap_track *t, int64_t ns)
{
    int64_t index = ns / TAP_WINDOW_NS;
    if (t->window_count > 0 && t->window[t->window_count - 1].index == index) {
        t->window[t->window_count - 1].edges++;
        return ERR_OK;
    }
    if (t->window_count == TAP_WINDOWS_MAX) {
        return ERR_OK;
    }
    if (t->window_count == t->window_cap) {
        TRY(array_grow((void **)&t->window, &t->window_cap, t->window_count + 1,
                       sizeof t->window[0], TAP_WINDOWS_MAX));
    }
    t->window[t->window_count++] = (struct tap_window){.index = index, .edges = 1};
    return ERR_OK;
}

enum err tap_edges_add(struct tap_edges *t, int64_t ns, enum line line, enum level level)
{
    if ((unsigned)line >= LINE_COUNT || (unsigned)level > LEVEL_UNKNOWN || ns < t->end_ns) {
        return ERR_INTERNAL;
    }
    if (ns > BUS_NS_MAX) {
        return ERR_FORMAT;
    }
    struct tap_track *k = &t->line[line];
    t->start_ns = t->any ? t->start_ns : ns;
    t->any = true;
    t->end_ns = ns;
    enum level before = k->level;
    if (before == level) {
        return ERR_OK;
    }
    k->level = level;
    k->lows += before == LEVEL_LOW && level == LEVEL_HIGH;
    k->lows_ns += before == LEVEL_LOW && level == LEVEL_HIGH ? ns - k->change_ns : 0;
    k->change_ns = ns;
    if (before == LEVEL_UNKNOWN || level == LEVEL_UNKNOWN) {
        return edge_add(&k->state, &k->state_count, &k->state_cap, ns, level);
    }
    k->moves++;
    if (tap_is_busy(line)) {
        bool full = k->window_count == TAP_WINDOWS_MAX;
        TRY(window_add(k, ns));
        return !full && k->window_count == TAP_WINDOWS_MAX
                   ? edge_add(&k->state, &k->state_count, &k->state_cap, ns, LEVEL_UNKNOWN)
                   : ERR_OK;
    }
    TRY(edge_add(&k->edge, &k->count, &k->cap, ns, level));
    /* What comes after the ceiling is as good as not recorded. */
    return k->count == TAP_EDGES_MAX && k->edge[k->count - 1].ns == ns
               ? edge_add(&k->state, &k->state_count, &k->state_cap, ns, LEVEL_UNKNOWN)
               : ERR_OK;
}

enum err tap_edges_end(struct tap_edges *t, int64_t ns)
{
    if (ns < t->end_ns) {
        return ERR_INTERNAL;
    }
    if (ns > BUS_NS_MAX) {
        return ERR_FORMAT;
    }
    t->end_ns = t->any ? ns : 0;
    return ERR_OK;
}

void tap_edges_sampled(struct tap_edges *t, int64_t sample_ns)
{
    t->sample_ns = sample_ns;
}

size_t tap_lower(const struct tap_edge *edge, size_t count, int64_t ns)
{
    size_t low = 0;
    size_t high = count;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (edge[mid].ns < ns) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    return low;
}

size_t tap_nearest(const struct tap_track *t, int64_t ns, enum level level, int64_t window_ns)
{
    /* Levels alternate but where recording broke off: the nearest of a sense is one of few. */
    size_t at = tap_lower(t->edge, t->count, ns);
    size_t from = at > NEAREST_EDGES ? at - NEAREST_EDGES : 0;
    size_t best = t->count;
    int64_t best_ns = window_ns + 1;
    for (size_t i = from; i < t->count && i < at + NEAREST_EDGES; i++) {
        int64_t off = t->edge[i].ns > ns ? t->edge[i].ns - ns : ns - t->edge[i].ns;
        if (t->edge[i].level == level && off < best_ns) {
            best = i;
            best_ns = off;
        }
    }
    return best;
}

bool tap_recorded(const struct tap_track *t, int64_t from, int64_t to)
{
    size_t i = tap_lower(t->state, t->state_count, from + 1);
    if (i == 0 || t->state[i - 1].level == LEVEL_UNKNOWN) {
        return false;
    }
    return i == t->state_count || t->state[i].ns >= to;
}

enum level tap_level(const struct tap_track *t, int64_t ns)
{
    size_t i = tap_lower(t->state, t->state_count, ns + 1);
    if (i == 0 || t->state[i - 1].level == LEVEL_UNKNOWN) {
        return LEVEL_UNKNOWN;
    }
    size_t j = tap_lower(t->edge, t->count, ns + 1);
    return j > 0 && t->edge[j - 1].ns >= t->state[i - 1].ns ? t->edge[j - 1].level
                                                            : t->state[i - 1].level;
}

int64_t tap_to_drive(const struct tap_clock *c, int64_t machine_ns)
{
    return machine_ns + c->offset_ns +
           (int64_t)(c->drift * (double)(machine_ns - c->anchor_ns));
}

int64_t tap_to_machine(const struct tap_clock *c, int64_t drive_ns)
{
    int64_t machine = drive_ns - c->offset_ns;
    return machine - (int64_t)(c->drift * (double)(machine - c->anchor_ns));
}
