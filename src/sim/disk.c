#include "sim/disk.h"

#include "base/buf.h"

#include <stdlib.h>

#define TRACK_TRANSITIONS_MAX (1u << 19)
#define WRITE_JITTER_NS       12.0

/* Arcs of damage, the same every turn. */
static void wear(struct disk *d, struct track *t, struct rng *r)
{
    for (int k = 0; k < 3; k++) {
        double from = sim_rng_range(r, 0.05 + 0.3 * k, 0.30 + 0.3 * k) * d->format.turn_ns;
        t->worn_from[k] = (int32_t)from;
        t->worn_to[k] = (int32_t)(from + sim_rng_range(r, 1.0e6, 4.0e6));
    }
}

static void wear_by_lot(struct disk *d, struct track *t, int cylinder, int side)
{
    struct rng r;
    sim_rng_seed(&r, d->content.seed, 5000 + (uint64_t)cylinder * 2 + (uint64_t)side);
    if (sim_rng_chance(&r, d->worn_percent / 100.0))
        wear(d, t, &r);
}

static int by_value(const void *a, const void *b)
{
    int32_t x = *(const int32_t *)a;
    int32_t y = *(const int32_t *)b;
    return (x > y) - (x < y);
}

/* Writing began a little behind the index and ran once round: the splice is where it began. */
static enum err record(struct disk *d, struct track *t, const struct cells *c, struct rng *r)
{
    double cell = d->format.cell_ns * d->writer_speed;
    double turn = d->format.turn_ns;
    size_t cap = 0;
    for (size_t i = 0; i < c->count; i++) {
        double run = cell * (double)i + WRITE_JITTER_NS * sim_rng_gauss(r);
        if (!c->cell[i])
            continue;
        if (run >= turn - 600)
            break;
        double pos = d->first_ns + (run > 0 ? run : 0);
        TRY(array_grow((void **)&t->pos, &cap, t->count + 1, sizeof *t->pos,
                       TRACK_TRANSITIONS_MAX));
        t->pos[t->count++] = (int32_t)(pos >= turn ? pos - turn : pos);
    }
    if (t->count > 0)
        qsort(t->pos, t->count, sizeof *t->pos, by_value);
    return ERR_OK;
}

static enum err make(struct disk *d, struct track *t, int cylinder, int side)
{
    struct rng r;
    sim_rng_seed(&r, d->content.seed, 1000 + (uint64_t)cylinder * 2 + (uint64_t)side);
    t->made = true;
    for (int i = 0; d->worn && i < 3; i++)
        if (d->worn_cylinders[i] == cylinder)
            wear(d, t, &r);
    wear_by_lot(d, t, cylinder, side);
    if (!d->formatted || d->upside_down)
        return ERR_OK;
    struct cells c = {0};
    size_t total = (size_t)(d->format.turn_ns / (d->format.cell_ns * d->writer_speed)) + 64;
    sim_cells_track(&c, &d->format, &d->content, cylinder, side, total);
    enum err err = c.failed ? ERR_MEMORY : record(d, t, &c, &r);
    sim_cells_release(&c);
    return err;
}

enum err sim_disk_track(struct disk *d, int head_cylinder, int side, struct track **out,
                        bool *off_track)
{
    *out = NULL;
    *off_track = false;
    int cylinder = head_cylinder / d->head_steps_per_track;
    if (!d->present || cylinder < 0 || cylinder >= d->format.cylinders ||
        cylinder >= DISK_CYLINDERS || side >= d->format.sides)
        return ERR_OK;
    struct track *t = &d->track[cylinder][side];
    if (!t->made)
        TRY(make(d, t, cylinder, side));
    *off_track = head_cylinder % d->head_steps_per_track != 0;
    *out = t;
    return ERR_OK;
}

size_t sim_track_find(const struct track *t, double pos)
{
    size_t low = 0;
    size_t high = t->count;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if (t->pos[mid] < pos)
            low = mid + 1;
        else
            high = mid;
    }
    return low;
}

enum err sim_track_write(struct track *t, double turn_ns, double from, double to,
                         const double *pos, size_t count)
{
    if (to - from > turn_ns)
        from = to - turn_ns; /* only the last turn stays */
    int32_t *fresh = calloc(t->count + count + 1, sizeof *fresh);
    if (fresh == NULL)
        return ERR_MEMORY;
    double base = turn_ns * (double)(int64_t)(from / turn_ns);
    double start = from - base;
    double end = to - base;
    size_t n = 0;
    for (size_t i = 0; i < t->count; i++) {
        double p = t->pos[i];
        bool erased = (p >= start && p < end) || (p + turn_ns >= start && p + turn_ns < end);
        if (!erased)
            fresh[n++] = t->pos[i];
    }
    for (size_t i = 0; i < count; i++) {
        double p = pos[i] - base;
        if (pos[i] < from || pos[i] >= to)
            continue;
        fresh[n++] = (int32_t)(p >= turn_ns ? p - turn_ns : p);
    }
    qsort(fresh, n, sizeof *fresh, by_value);
    free(t->pos);
    t->pos = fresh;
    t->count = n;
    return ERR_OK;
}

void sim_disk_release(struct disk *d)
{
    for (int c = 0; c < DISK_CYLINDERS; c++) {
        free(d->track[c][0].pos);
        free(d->track[c][1].pos);
        d->track[c][0] = d->track[c][1] = (struct track){0};
    }
}
