/* What could be had from a track's transitions by one who knows the true clock: each transition
 * into the nearest cell; the likeliest sequence of steps of two to four cells; and the same
 * under MFM's rule that a gap of four cells starts on a data cell, marks aside. They see the
 * same transitions as the decoder and share nothing with it. */
#ifndef WHICHEND_TESTS_FLUX_REFERENCE_H
#define WHICHEND_TESTS_FLUX_REFERENCE_H

#include "unit/flux_make.h"

enum reference { REFERENCE_NEAREST, REFERENCE_RUN_LENGTH, REFERENCE_PHASE, REFERENCES };

#define REFERENCE_SHIFTS 5 /* a transition may go up to two cells from the nearest */
#define REFERENCE_NONE   1e30

/* Cells of the made track as a reader with the true clock has them. */
struct reference_read {
    uint8_t *cell;
    size_t count;
};

/* Position in cells of a time, by the clock that make_time() ran. */
static inline double reference_position(const struct play *p, double t_ns)
{
    double cells = t_ns * p->speed / p->cell_ns;
    for (int round = 0; round < 3; round++) {
        double slope = make_time(p, cells + 0.5) - make_time(p, cells - 0.5);
        cells += (t_ns - make_time(p, cells)) / slope;
    }
    return cells;
}

/* A gap of four cells that starts on a clock cell stands in a mark of the made track. */
static inline bool reference_in_mark(const struct made *m, int64_t cell)
{
    for (int64_t from = cell - 8; from <= cell; from++) {
        unsigned word = 0;
        for (int64_t i = from; i < from + 16; i++) {
            word = word << 1 | (i >= 0 && i < (int64_t)m->count ? m->cell[i] : 0u);
        }
        if ((word & 0x7FFFu) == 0x4489u || (word & 0x7FFFu) == 0x5224u) {
            return true;
        }
    }
    return false;
}

static inline bool reference_allows(const struct made *m, enum reference kind, int64_t from,
                                    int64_t to)
{
    int64_t step = to - from;
    if (kind == REFERENCE_NEAREST) {
        return true;
    }
    if (step < 2 || step > 4) {
        return false;
    }
    return kind == REFERENCE_RUN_LENGTH || step < 4 || (from & 1) != 0 ||
           reference_in_mark(m, from);
}

/* Least sum of squares over all sequences that the kind allows. */
static inline void reference_decide(const struct made *m, enum reference kind, const double *at,
                                    size_t n, struct reference_read *out)
{
    uint8_t(*back)[REFERENCE_SHIFTS] = calloc(n + 1, sizeof *back);
    double cost[REFERENCE_SHIFTS];
    const int mid = REFERENCE_SHIFTS / 2;
    if (back == NULL) {
        abort();
    }
    for (size_t i = 0; i < n; i++) {
        int64_t near = (int64_t)floor(at[i] + 0.5);
        double next[REFERENCE_SHIFTS];
        for (int to = 0; to < REFERENCE_SHIFTS; to++) {
            double off = at[i] - (double)(near + to - mid);
            double best = i == 0 ? 0 : REFERENCE_NONE;
            bool tried = kind != REFERENCE_NEAREST || to == mid;
            for (int from = 0; tried && i > 0 && from < REFERENCE_SHIFTS; from++) {
                int64_t before = (int64_t)floor(at[i - 1] + 0.5) + from - mid;
                if (cost[from] < best && reference_allows(m, kind, before, near + to - mid)) {
                    best = cost[from];
                    back[i][to] = (uint8_t)from;
                }
            }
            next[to] = tried ? best + off * off : REFERENCE_NONE;
        }
        memcpy(cost, next, sizeof cost);
    }
    int state = mid;
    for (int s = 0; s < REFERENCE_SHIFTS; s++) {
        state = cost[s] < cost[state] ? s : state;
    }
    for (size_t i = n; i-- > 0;) {
        int64_t cell = (int64_t)floor(at[i] + 0.5) + state - mid;
        if (cell >= 0 && (size_t)cell < out->count) {
            out->cell[cell] = 1;
        }
        state = back[i][state];
    }
    free(back);
}

static inline struct reference_read reference_decode(const struct made *m, const struct play *p,
                                                     const struct flux_made *f,
                                                     enum reference kind)
{
    struct reference_read r = {calloc(m->count, 1), m->count};
    double *at = malloc((f->count + 1) * sizeof *at);
    double ps = f->start_ps;
    if (r.cell == NULL || at == NULL) {
        abort();
    }
    for (size_t i = 0; i <= f->count; i++) {
        at[i] = reference_position(p, ps / 1000);
        ps += i < f->count ? f->interval_ps[i] : 0;
    }
    reference_decide(m, kind, at, f->count + 1, &r);
    free(at);
    return r;
}

/* Two sync bytes and n bytes behind them are as made: the marks in every cell, the bytes in
 * their data cells. `at`: first cell behind the marks. */
static inline bool reference_field_right(const struct made *m, const struct reference_read *r,
                                         size_t at, size_t n)
{
    bool right = memcmp(m->cell + at - 32, r->cell + at - 32, 32) == 0;
    for (size_t i = at + 1; right && i < at + 16 * n; i += 2) {
        right = m->cell[i] == r->cell[i];
    }
    return right;
}

/* Sectors of which identifier and data field, check bytes with them, are as made. */
static inline int reference_sectors(const struct made *m, const struct reference_read *r,
                                    size_t data_bytes)
{
    static const uint8_t three[48] = {0, 1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1,
                                      0, 1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1,
                                      0, 1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1};
    int right = 0;
    int fields = 0;
    bool id_right = false;
    for (size_t i = 48; i + 16 * (data_bytes + 3) <= m->count; i++) {
        if (memcmp(m->cell + i - 48, three, 48) != 0) {
            continue;
        }
        if (fields++ % 2 == 0) {
            id_right = reference_field_right(m, r, i, 7);
        } else {
            right += id_right && reference_field_right(m, r, i, data_bytes + 3);
        }
    }
    return right;
}

#endif
