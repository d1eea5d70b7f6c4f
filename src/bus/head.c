/* Where each unit's head stands: steps counted, TRK00 as the anchor. */
#include "base/buf.h"
#include "bus/tracker.h"

/* A raw place: steps since the epoch's start, each epoch in a band of its own. Epoch 0 is plain
 * steps. */
#define BAND      65536
#define STEPS_MAX 32000
/* TRK00 this far in contradicts it: sensors change over up to two cylinders from 0. */
#define OTHER_PLACE 3

static int32_t raw_place(const struct head *h)
{
    return h->epoch * BAND + h->steps;
}

static int32_t epoch_of(int32_t raw)
{
    return (raw + BAND / 2) >> 16;
}

bool bus_same_epoch(int32_t epoch_cylinder_a, int32_t epoch_cylinder_b)
{
    return epoch_of(epoch_cylinder_a) == epoch_of(epoch_cylinder_b);
}

bool bus_cylinder(const struct bus_story *s, int32_t epoch_cylinder, int32_t *out)
{
    int32_t epoch = epoch_of(epoch_cylinder);
    if (epoch < 0 || (size_t)epoch >= s->epoch_count || !s->epoch[epoch].known) {
        return false;
    }
    int32_t cylinder = epoch_cylinder - epoch * BAND + s->epoch[epoch].offset;
    if (cylinder < 0) {
        return false;
    }
    *out = cylinder;
    return true;
}

static enum err epoch_begin(struct bus_tracker *t, struct head *h)
{
    struct bus_story *s = &t->s;
    h->used = true;
    h->steps = 0;
    h->last_direction = 0;
    if (s->epoch_count == EPOCHS_MAX) {
        s->truncated = true; /* the last epoch is shared from here, and never believed */
        s->epoch[EPOCHS_MAX - 1].known = false;
        h->epoch = EPOCHS_MAX - 1;
        return ERR_OK;
    }
    if (s->epoch_count == t->epoch_cap) {
        TRY(array_grow((void **)&s->epoch, &t->epoch_cap, s->epoch_count + 1,
                       sizeof s->epoch[0], EPOCHS_MAX));
    }
    h->epoch = (int32_t)s->epoch_count;
    s->epoch[s->epoch_count++] = (struct bus_epoch){0};
    return ERR_OK;
}

static bool is_selected(const struct bus_tracker *t, int unit)
{
    return t->select_mask != 0 ? (t->select_mask >> unit & 1u) != 0
                               : t->selected && unit == HEAD_ANONYMOUS;
}

static struct bus_epoch *epoch_at(struct bus_tracker *t, const struct head *h)
{
    return &t->s.epoch[h->epoch];
}

/* The first selected head, or NULL. */
static const struct head *head_now(const struct bus_tracker *t)
{
    for (int i = 0; i < HEADS; i++) {
        if (is_selected(t, i) && t->head[i].used) {
            return &t->head[i];
        }
    }
    return NULL;
}

bool head_cylinder(const struct bus_tracker *t, int32_t *out)
{
    const struct head *h = head_now(t);
    if (h == NULL || !t->s.epoch[h->epoch].known) {
        return false;
    }
    *out = h->steps + t->s.epoch[h->epoch].offset;
    return true;
}

static enum err lose_one(struct bus_tracker *t, struct head *h)
{
    if (!h->used || h->lost) {
        return ERR_OK;
    }
    TRY(epoch_begin(t, h));
    h->lost = true;
    return ERR_OK;
}

enum err head_lose(struct bus_tracker *t, int heads)
{
    for (int i = 0; i < heads; i++) {
        TRY(lose_one(t, &t->head[i]));
    }
    return ERR_OK;
}

static enum err step_one(struct bus_tracker *t, struct head *h, int8_t direction)
{
    if (direction == 0 && !t->seek.open) {
        h->lost = false; /* where it stood before this train of steps is a place of its own */
    }
    if (direction == 0 || h->steps >= STEPS_MAX || h->steps <= -STEPS_MAX) {
        return lose_one(t, h);
    }
    h->lost = false;
    const struct bus_epoch *e = epoch_at(t, h);
    bool against_stop =
        direction < 0 && t->trk00 == LEVEL_LOW && e->known && h->steps + e->offset <= 0;
    if (!against_stop) {
        h->steps += direction;
    }
    h->last_direction = direction;
    return ERR_OK;
}

enum err head_ready(struct bus_tracker *t)
{
    for (int i = 0; i < HEADS; i++) {
        if (is_selected(t, i) && !t->head[i].used) {
            TRY(epoch_begin(t, &t->head[i]));
        }
    }
    return ERR_OK;
}

enum err head_step(struct bus_tracker *t, int8_t direction)
{
    for (int i = 0; i < HEADS; i++) {
        if (is_selected(t, i)) {
            TRY(step_one(t, &t->head[i], direction));
        }
    }
    /* Whose head it was is not recorded: it may have been any. */
    return t->selected && t->select_mask == 0 ? head_lose(t, UNITS) : ERR_OK;
}

void head_trk00_active(struct bus_tracker *t, bool came)
{
    for (int i = 0; i < HEADS; i++) {
        struct head *h = &t->head[i];
        if (!is_selected(t, i) || !h->used || h->last_direction > 0 ||
            h->epoch == EPOCHS_MAX - 1) {
            continue;
        }
        struct bus_epoch *e = epoch_at(t, h);
        h->lost = false;
        if (!e->known) {
            *e = (struct bus_epoch){.known = true, .offset = -h->steps};
            t->s.place_known = true;
        } else if (came && h->last_direction < 0) {
            t->s.trk00_at_other_place += h->steps + e->offset >= OTHER_PLACE;
            h->steps = -e->offset; /* the sensor is nearer the truth than the count */
        }
    }
}

static int8_t unit_now(const struct bus_tracker *t)
{
    for (int i = 0; i < UNITS; i++) {
        if (t->select_mask >> i & 1u) {
            return (int8_t)i;
        }
    }
    return (int8_t)(t->selected ? -1 : -2);
}

static int8_t side_now(const struct bus_tracker *t)
{
    enum level side = t->line[LINE_SIDE].level;
    return (int8_t)(side == LEVEL_UNKNOWN ? -1 : side == LEVEL_LOW ? 1 : 0);
}

enum err place_update(struct bus_tracker *t, int64_t ns)
{
    struct bus_place *p = &t->place;
    struct bus_place now = {
        .since_ns = ns,
        .epoch_cylinder = p->epoch_cylinder,
        .side = side_now(t),
        .unit = unit_now(t),
        .motor = t->motor,
        .writing = t->line[LINE_WGATE].level == LEVEL_LOW,
        .settled = t->settle_due_ns == NEVER,
    };
    if (t->started && (t->select_mask != 0 || !selects_recorded(t))) {
        TRY(head_ready(t));
    }
    const struct head *h = head_now(t);
    if (h != NULL) {
        now.epoch_cylinder = raw_place(h);
    }
    if (now.epoch_cylinder != p->epoch_cylinder || now.side != p->side || now.unit != p->unit ||
        now.motor != p->motor || now.writing != p->writing || now.settled != p->settled) {
        *p = now;
        t->serial++;
    }
    return ERR_OK;
}
