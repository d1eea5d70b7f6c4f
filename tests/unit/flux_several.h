/* Turns of one made track, decoded one by one, and the fields that no turn gives whole put
 * together from them. */
#ifndef WHICHEND_TESTS_FLUX_SEVERAL_H
#define WHICHEND_TESTS_FLUX_SEVERAL_H

#include "signal/repair.h"
#include "unit/flux_make.h"

#define SEVERAL_SECTORS 9
#define SEVERAL_BYTES   512
#define SEVERAL_CELLS   100000 /* a turn of MFM */

/* Of a field so far. */
enum { NEITHER, REPAIRED, GOOD };

struct several {
    struct track_made t;
    struct field_sum sum[SEVERAL_SECTORS];
    int state[SEVERAL_SECTORS];
    struct field_repair repair[SEVERAL_SECTORS];
    int wrong;
};

static inline struct layout several_layout(bool fm)
{
    return (struct layout){.fm = fm,
                           .sectors = SEVERAL_SECTORS,
                           .size_code = fm ? 1 : 2,
                           .gap3 = 80,
                           .cylinder = 5,
                           .side = 0,
                           .index_mark = true,
                           .rewritten = false};
}

static inline void several_begin(struct several *s, bool fm, struct dice *d)
{
    struct layout l = several_layout(fm);
    memset(s, 0, sizeof *s);
    make_truth(&s->t, &l, d);
    make_turn(&s->t, &l, d, fm ? SEVERAL_CELLS / 2 : SEVERAL_CELLS);
}

static inline void several_end(struct several *s)
{
    for (int i = 0; i < SEVERAL_SECTORS; i++) {
        field_sum_release(&s->sum[i]);
    }
    make_release(&s->t);
}

static inline void field_add(struct several *s, const struct sector_read *r)
{
    int i = r->sector - 1;
    uint8_t bytes[SEVERAL_BYTES];
    if (!r->id_good || i < 0 || i >= SEVERAL_SECTORS || s->state[i] != NEITHER) {
        return;
    }
    if (r->data == FIELD_GOOD) {
        s->state[i] = GOOD;
        return;
    }
    if (field_sum_add(&s->sum[i], r) != ERR_OK ||
        field_sum_repair(&s->sum[i], bytes, &s->repair[i]) != ERR_OK) {
        abort();
    }
    if (s->repair[i].agreed) {
        s->state[i] = REPAIRED;
        s->wrong += memcmp(bytes, s->t.sector[i].bytes, (size_t)128 << r->size_code) != 0;
    }
}

static inline void turn_add(struct several *s, const struct play *p, struct dice *d)
{
    struct flux_made f;
    struct flux_read r;
    make_flux(&s->t.m, p, d, &f);
    const struct flux flux = {0, f.interval_ps, f.count};
    const struct flux_options o = {.keep_quality = true};
    if (flux_decode(&flux, &o, &r) != ERR_OK) {
        abort();
    }
    for (size_t i = 0; i < r.sector_count; i++) {
        field_add(s, &r.sector[i]);
    }
    flux_read_release(&r);
    free(f.interval_ps);
}

static inline int count_state(const struct several *s, int state)
{
    int n = 0;
    for (int i = 0; i < SEVERAL_SECTORS; i++) {
        n += s->state[i] == state;
    }
    return n;
}

#endif
