/* One turn of a jittery DD MFM track through the decoder and through the references: sectors
 * that come out of each. */
#ifndef WHICHEND_TESTS_FLUX_YIELD_H
#define WHICHEND_TESTS_FLUX_YIELD_H

#include "signal/signal.h"
#include "unit/flux_reference.h"

#define YIELD_CELLS   100000
#define YIELD_SECTORS 9

struct condition {
    const char *name;
    double speed, wow, wow_hz;
};
static const struct condition yield_condition[] = {
    {"true speed", 1, 0, 0},
    {"3 % fast", 1.03, 0, 0},
    {"6 % slow", 0.94, 0, 0},
    {"wow 2 % at 5 Hz", 1, 0.02, 5},
};
static const double yield_jitter_ns[] = {200, 220, 240, 260, 280, 300, 320};
#define YIELD_CONDITIONS (sizeof yield_condition / sizeof yield_condition[0])
#define YIELD_JITTERS    (sizeof yield_jitter_ns / sizeof yield_jitter_ns[0])

struct yield_row {
    int ours, wrong, reference[REFERENCES];
};

static inline void yield_ours(const struct flux_made *f, const struct track_made *t,
                              struct yield_row *row)
{
    const struct flux flux = {0, f->interval_ps, f->count};
    const struct flux_options o = {.keep_bytes = true};
    struct flux_read r;
    if (flux_decode(&flux, &o, &r) != ERR_OK) {
        abort();
    }
    for (size_t i = 0; i < r.sector_count; i++) {
        const struct sector_read *s = &r.sector[i];
        if (s->data != FIELD_GOOD || !s->id_good) {
            continue;
        }
        bool right = s->sector >= 1 && s->sector <= YIELD_SECTORS && s->size_code == 2 &&
                     memcmp(s->bytes, t->sector[s->sector - 1].bytes, 512) == 0;
        row->ours += right;
        row->wrong += !right;
    }
    flux_read_release(&r);
}

static inline void yield_turn(const struct condition *c, double jitter, struct dice *d,
                              struct yield_row *row)
{
    const struct layout l = {.sectors = YIELD_SECTORS,
                             .size_code = 2,
                             .gap3 = 80,
                             .cylinder = 5,
                             .index_mark = true};
    const struct play p = {.cell_ns = 2000,
                           .speed = c->speed,
                           .wow = c->wow,
                           .wow_hz = c->wow_hz,
                           .from_ns = 1e9 * dice_unit(d),
                           .jitter_ns = jitter};
    struct track_made t = {0};
    struct flux_made f;
    make_truth(&t, &l, d);
    make_turn(&t, &l, d, YIELD_CELLS);
    make_flux(&t.m, &p, d, &f);
    yield_ours(&f, &t, row);
    for (int k = 0; k < REFERENCES; k++) {
        struct reference_read r = reference_decode(&t.m, &p, &f, (enum reference)k);
        row->reference[k] += reference_sectors(&t.m, &r, 512);
        free(r.cell);
    }
    free(f.interval_ps);
    make_release(&t);
}

#endif
