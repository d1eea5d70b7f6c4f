/* What the machine does, stretch by stretch. */
#include "base/buf.h"
#include "bus/tracker.h"

#include <stdlib.h>

struct moment moment_now(const struct bus_tracker *t, int64_t ns)
{
    return (struct moment){.ns = ns,
                           .index_pulses = t->index_pulses,
                           .place = t->place.epoch_cylinder,
                           .side = t->place.side,
                           .unit = t->place.unit};
}

enum err access_add(struct bus_tracker *t, enum access_kind kind, enum access_end end,
                    const struct moment *start, int64_t end_ns, int32_t index_pulses,
                    int32_t steps)
{
    struct bus_story *s = &t->s;
    if (s->access_count == ACCESSES_MAX) {
        s->truncated = true;
        return ERR_OK;
    }
    if (s->access_count == t->access_cap) {
        TRY(array_grow((void **)&s->access, &t->access_cap, s->access_count + 1,
                       sizeof s->access[0], ACCESSES_MAX));
    }
    s->access[s->access_count++] = (struct access){.kind = kind,
                                                   .end = end,
                                                   .start_ns = start->ns,
                                                   .end_ns = end_ns,
                                                   .steps = steps,
                                                   .index_pulses = index_pulses,
                                                   .unit = start->unit,
                                                   .place = start->place,
                                                   .side = start->side};
    return ERR_OK;
}

/* The write before goes on when its gate opens again at once: sectors in a row, a format. */
static bool write_goes_on(struct bus_tracker *t, const struct segment *g,
                          const struct moment *end)
{
    struct access *a = t->s.access_count > 0 ? &t->s.access[t->s.access_count - 1] : NULL;
    if (a == NULL || a->kind != ACCESS_WRITE || g->start.ns - a->end_ns >= STILL_NS ||
        a->place != g->start.place || a->side != g->start.side || a->unit != g->start.unit) {
        return false;
    }
    a->end_ns = end->ns;
    a->index_pulses += end->index_pulses - g->start.index_pulses;
    return true;
}

static enum err segment_end(struct bus_tracker *t, const struct moment *end,
                            enum access_end how)
{
    static const enum access_kind KIND[] = {[SEGMENT_IDLE] = ACCESS_IDLE,
                                            [SEGMENT_SPIN_UP] = ACCESS_SPIN_UP,
                                            [SEGMENT_STILL] = ACCESS_READ,
                                            [SEGMENT_WRITE] = ACCESS_WRITE};
    struct segment g = t->segment;
    bool short_one = end->ns - g.start.ns < STILL_NS;
    t->segment = (struct segment){.kind = SEGMENT_NONE, .spin_due_ns = NEVER};
    if (g.kind == SEGMENT_NONE ||
        (short_one && (g.kind == SEGMENT_IDLE || g.kind == SEGMENT_STILL)) ||
        (g.kind == SEGMENT_WRITE && write_goes_on(t, &g, end))) {
        return ERR_OK;
    }
    return access_add(t, KIND[g.kind], how, &g.start, end->ns,
                      end->index_pulses - g.start.index_pulses, 0);
}

static enum segment_kind still_or_idle(const struct bus_tracker *t)
{
    return t->selected && t->motor ? SEGMENT_STILL : SEGMENT_IDLE;
}

static enum segment_kind segment_fits(const struct bus_tracker *t)
{
    return t->line[LINE_WGATE].level == LEVEL_LOW ? SEGMENT_WRITE : still_or_idle(t);
}

static enum err segment_switch(struct bus_tracker *t, enum segment_kind kind,
                               const struct moment *start)
{
    bool stopped = kind == SEGMENT_IDLE && t->segment.kind != SEGMENT_WRITE;
    if (kind == t->segment.kind && kind == SEGMENT_IDLE) {
        return ERR_OK;
    }
    TRY(segment_end(t, start, stopped ? ACCESS_STOPPED : ACCESS_DONE));
    t->segment = (struct segment){.kind = kind, .start = *start, .spin_due_ns = NEVER};
    return ERR_OK;
}

enum err segment_update(struct bus_tracker *t, const struct moment *start)
{
    enum segment_kind fits = segment_fits(t);
    const struct segment *g = &t->segment;
    if (t->seek.open && fits != SEGMENT_WRITE) {
        return ERR_OK;
    }
    if (g->kind == SEGMENT_SPIN_UP && t->motor && fits != SEGMENT_WRITE &&
        start->ns < g->spin_due_ns) {
        return ERR_OK;
    }
    if (g->kind == fits && (fits != SEGMENT_STILL || g->start.unit == start->unit)) {
        return ERR_OK;
    }
    return segment_switch(t, fits, start);
}

enum err segment_after_seek(struct bus_tracker *t)
{
    const struct open_seek *k = &t->seek;
    if (t->segment.kind != SEGMENT_NONE) {
        return ERR_OK; /* WGATE was active all along */
    }
    TRY(segment_switch(t, k->ready ? SEGMENT_STILL : SEGMENT_IDLE, &k->last));
    if (!k->changed) {
        return ERR_OK;
    }
    TRY(segment_switch(t, SEGMENT_IDLE, &k->off));
    return segment_switch(t, still_or_idle(t), &k->change);
}

enum err segment_step(struct bus_tracker *t, int64_t ns)
{
    if (t->segment.kind == SEGMENT_WRITE) {
        return ERR_OK;
    }
    struct moment now = moment_now(t, ns);
    return segment_end(t, &now, ACCESS_DONE);
}

enum err segment_motor(struct bus_tracker *t, int64_t ns)
{
    struct moment now = moment_now(t, ns);
    if (t->seek.open || segment_fits(t) == SEGMENT_WRITE) {
        return segment_update(t, &now);
    }
    TRY(segment_switch(t, SEGMENT_SPIN_UP, &now));
    t->segment.spin_due_ns = ns + t->spin_up_ns;
    return ERR_OK;
}

enum err segment_finish(struct bus_tracker *t, int64_t ns)
{
    struct moment now = moment_now(t, ns);
    return segment_end(t, &now, ACCESS_OPEN);
}

static int compare_start(const void *a, const void *b)
{
    const struct access *x = a;
    const struct access *y = b;
    if (x->start_ns != y->start_ns) {
        return x->start_ns > y->start_ns ? 1 : -1;
    }
    return (x->end_ns > y->end_ns) - (x->end_ns < y->end_ns);
}

static bool same_place(const struct bus_story *s, const struct access *a,
                       const struct access *b)
{
    int32_t x = 0;
    int32_t y = 0;
    if (a->unit != b->unit) {
        return false;
    }
    if (bus_cylinder(s, a->place, &x) && bus_cylinder(s, b->place, &y)) {
        return x == y;
    }
    return a->place == b->place;
}

enum err accesses_finish(struct bus_tracker *t)
{
    struct bus_story *s = &t->s;
    const struct access *read = NULL;
    bool moved = false;
    if (s->access_count > 1) {
        qsort(s->access, s->access_count, sizeof s->access[0], compare_start);
    }
    for (size_t i = 0; i < s->access_count; i++) {
        const struct access *a = &s->access[i];
        moved = moved || (read != NULL && !same_place(s, read, a));
        if (a->kind != ACCESS_READ || a->end_ns - a->start_ns < RETRY_NS) {
            continue;
        }
        s->retries += read != NULL && moved && same_place(s, read, a);
        read = a;
        moved = false;
    }
    return ERR_OK;
}
