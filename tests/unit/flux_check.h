/* Decodes what flux_make.h made, and counts what came out against what went in. */
#ifndef WHICHEND_TESTS_FLUX_CHECK_H
#define WHICHEND_TESTS_FLUX_CHECK_H

#include "signal/signal.h"
#include "unit/flux_make.h"

#include <setjmp.h>
#include <stdarg.h>

#include <cmocka.h>

/* Cells of a turn at 300 rpm for cells of 2 us; FM at the same flux density has half as many.
 */
#define TURN_CELLS 100000

static inline void decode_flux(const struct flux_made *f, double sample_ns,
                               struct flux_read *out)
{
    const struct flux flux = {0, f->interval_ps, f->count};
    const struct flux_options options = {.sample_ns = sample_ns, .keep_bytes = true};
    assert_int_equal(flux_decode(&flux, &options, out), ERR_OK);
}

static inline void play_and_decode(const struct made *m, const struct play *p, struct dice *d,
                                   struct flux_read *out)
{
    struct flux_made f;
    make_flux(m, p, d, &f);
    decode_flux(&f, p->sample_ns, out);
    free(f.interval_ps);
}

/* Cells alone, as perfect flux with 2 us cells. */
static inline void decode_cells(const struct made *m, struct flux_read *out)
{
    struct dice d = {1};
    const struct play p = {.cell_ns = 2000, .speed = 1};
    play_and_decode(m, &p, &d, out);
}

struct counted {
    int ids_good, ids_bad, good, damaged, absent, cut;
    int wrong_bytes; /* good fields that do not hold what was written */
};

static inline bool same_bytes(const struct sector_read *s, const struct track_made *t)
{
    for (int i = 0; i < t->sectors; i++) {
        const struct truth *x = &t->sector[i];
        if (x->cylinder == s->cylinder && x->side == s->side && x->sector == s->sector &&
            x->size_code == s->size_code) {
            return s->bytes != NULL && s->mark == x->mark &&
                   memcmp(s->bytes, x->bytes, (size_t)128 << x->size_code) == 0;
        }
    }
    return false;
}

static inline struct counted count_read(const struct flux_read *r, const struct track_made *t)
{
    struct counted c = {0};
    for (size_t i = 0; i < r->sector_count; i++) {
        const struct sector_read *s = &r->sector[i];
        c.ids_good += s->id_good;
        c.ids_bad += !s->id_good;
        c.cut += s->cut;
        c.good += s->data == FIELD_GOOD;
        c.damaged += s->data == FIELD_DAMAGED;
        c.absent += s->data == FIELD_ABSENT && !s->cut;
        c.wrong_bytes += t != NULL && s->data == FIELD_GOOD && !same_bytes(s, t);
    }
    return c;
}

#endif
