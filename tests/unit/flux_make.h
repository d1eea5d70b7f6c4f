/* Makes FM and MFM tracks and plays them as flux with known faults, for the tests of the
 * decoder. All of it is invented data; only the layout follows the ISO/ECMA formats (FD179X
 * sheet, formatting tables). Written apart from the decoder and from the simulator. */
#ifndef WHICHEND_TESTS_FLUX_MAKE_H
#define WHICHEND_TESTS_FLUX_MAKE_H

#include <math.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* ---- numbers at random, the same for the same seed
 * -------------------------------------------- */

struct dice {
    uint64_t state;
};

static inline uint64_t dice_bits(struct dice *d)
{
    d->state += 0x9E3779B97F4A7C15u;
    uint64_t z = d->state;
    z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9u;
    z = (z ^ z >> 27) * 0x94D049BB133111EBu;
    return z ^ z >> 31;
}
static inline double dice_unit(struct dice *d) /* 0 < x < 1 */
{
    return ((double)(dice_bits(d) >> 11) + 0.5) / 9007199254740992.0;
}
static inline int dice_below(struct dice *d, int n)
{
    return (int)(dice_unit(d) * n);
}
static inline double dice_normal(struct dice *d)
{
    return sqrt(-2 * log(dice_unit(d))) * cos(2 * M_PI * dice_unit(d));
}

/* ---- cells ---------------------------------------------------------------------------------
 */

#define MAKE_SPLICES 512
struct made {
    uint8_t *cell; /* 1: a transition */
    size_t count, cap;
    bool last_one;                  /* the last data bit */
    size_t splice[MAKE_SPLICES];    /* cells from which a later write begins */
    double splice_by[MAKE_SPLICES]; /* how far its grid is shifted, in cells */
    size_t splices;
};

static inline void make_cell(struct made *m, unsigned cell)
{
    if (m->count == m->cap) {
        m->cap = m->cap == 0 ? 65536 : 2 * m->cap;
        m->cell = realloc(m->cell, m->cap);
        if (m->cell == NULL) {
            abort();
        }
    }
    m->cell[m->count++] = (uint8_t)cell;
}
/* Sixteen cells as a word, first cell uppermost. */
static inline void make_word(struct made *m, unsigned word)
{
    for (int i = 15; i >= 0; i--) {
        make_cell(m, word >> i & 1u);
    }
    m->last_one = (word & 1u) != 0;
}
static inline void make_mfm(struct made *m, unsigned byte)
{
    for (int i = 7; i >= 0; i--) {
        bool one = (byte >> i & 1u) != 0;
        make_cell(m, !one && !m->last_one);
        make_cell(m, one);
        m->last_one = one;
    }
}
static inline void make_fm(struct made *m, unsigned byte, unsigned clock)
{
    for (int i = 7; i >= 0; i--) {
        make_cell(m, clock >> i & 1u);
        make_cell(m, byte >> i & 1u);
    }
}
static inline void make_plain(struct made *m, bool fm, unsigned byte, int times)
{
    for (int i = 0; i < times; i++) {
        if (fm) {
            make_fm(m, byte, 0xFF);
        } else {
            make_mfm(m, byte);
        }
    }
}
/* A later write begins here; up to 0.4 cells off the grid before it. */
static inline void make_splice(struct made *m, double by_cells)
{
    if (m->splices < MAKE_SPLICES) {
        m->splice[m->splices] = m->count;
        m->splice_by[m->splices++] = by_cells;
    }
}

static inline uint16_t make_crc(uint16_t crc,
                                unsigned byte) /* bit by bit, as the shift register does */
{
    crc = (uint16_t)(crc ^ byte << 8);
    for (int i = 0; i < 8; i++) {
        crc = (uint16_t)((crc & 0x8000u) != 0 ? (unsigned)crc << 1 ^ 0x1021u
                                              : (unsigned)crc << 1);
    }
    return crc;
}

/* Sync, mark, bytes, check bytes. */
static inline void make_field(struct made *m, bool fm, unsigned mark, const uint8_t *bytes,
                              size_t n, unsigned crc_wrong)
{
    uint16_t crc = 0xFFFF;
    make_plain(m, fm, 0x00, fm ? 6 : 12);
    if (fm) {
        make_fm(m, mark, 0xC7);
    } else {
        for (int i = 0; i < 3; i++) {
            make_word(m, 0x4489);
            crc = make_crc(crc, 0xA1);
        }
        make_mfm(m, mark);
    }
    crc = make_crc(crc, mark);
    for (size_t i = 0; i < n; i++) {
        make_plain(m, fm, bytes[i], 1);
        crc = make_crc(crc, bytes[i]);
    }
    crc = (uint16_t)(crc ^ crc_wrong);
    make_plain(m, fm, crc >> 8, 1);
    make_plain(m, fm, crc & 0xFFu, 1);
}

/* One sector as it was made. */
struct truth {
    uint8_t cylinder, side, sector, size_code, mark;
    bool id_wrong, data_wrong, no_data, no_id;
    uint8_t *bytes;
};
struct layout {
    bool fm;
    int sectors, size_code, gap3;
    uint8_t cylinder, side;
    bool index_mark;
    bool rewritten; /* every data field later than its identifier, off the grid */
    int gap2;       /* 0: 11 bytes in FM, 22 in MFM */
    uint8_t fill;   /* of the gaps; 0: FF in FM, 4E in MFM */
    bool fill_zero; /* fill is 0 and means it */
};
static inline unsigned make_gap_byte(const struct layout *l)
{
    return l->fill != 0 || l->fill_zero ? l->fill : l->fm ? 0xFF : 0x4E;
}

#define MAKE_SECTORS 64
struct track_made {
    struct made m;
    struct truth sector[MAKE_SECTORS];
    int sectors;
};

static inline void make_index(struct made *m, bool fm, bool mark)
{
    unsigned gap = fm ? 0xFF : 0x4E;
    make_plain(m, fm, gap, fm ? 40 : 80);
    if (mark) {
        make_plain(m, fm, 0x00, fm ? 6 : 12);
        for (int i = 0; i < 3 && !fm; i++) {
            make_word(m, 0x5224);
        }
        if (fm) {
            make_fm(m, 0xFC, 0xD7);
        } else {
            make_mfm(m, 0xFC);
        }
        make_plain(m, fm, gap, fm ? 26 : 50);
    }
}
static inline void make_sector(struct made *m, const struct layout *l, const struct truth *t,
                               struct dice *d)
{
    unsigned gap = make_gap_byte(l);
    uint8_t id[4] = {t->cylinder, t->side, t->sector, t->size_code};
    if (!t->no_id) {
        make_field(m, l->fm, 0xFE, id, sizeof id, t->id_wrong ? 0x0100 : 0);
    } else { /* as long, and says nothing */
        make_plain(m, l->fm, gap, l->fm ? 13 : 22);
    }
    make_plain(m, l->fm, gap, l->gap2 > 0 ? l->gap2 : l->fm ? 11 : 22);
    if (!t->no_data) {
        if (l->rewritten) {
            make_splice(m, (dice_unit(d) - 0.5) * 0.8);
        }
        make_field(m, l->fm, t->mark, t->bytes, (size_t)128 << t->size_code,
                   t->data_wrong ? 0x0001 : 0);
        make_plain(m, l->fm, gap, 1);
        if (l->rewritten) {
            make_splice(m, (dice_unit(d) - 0.5) * 0.8);
        }
    }
    make_plain(m, l->fm, gap, l->gap3);
}
static inline void make_truth(struct track_made *t, const struct layout *l, struct dice *d)
{
    t->sectors = l->sectors;
    for (int i = 0; i < l->sectors; i++) {
        size_t n = (size_t)128 << l->size_code;
        t->sector[i] = (struct truth){.cylinder = l->cylinder,
                                      .side = l->side,
                                      .sector = (uint8_t)(i + 1),
                                      .size_code = (uint8_t)l->size_code,
                                      .mark = 0xFB,
                                      .bytes = malloc(n)};
        if (t->sector[i].bytes == NULL) {
            abort();
        }
        for (size_t b = 0; b < n; b++) {
            t->sector[i].bytes[b] = (uint8_t)dice_bits(d);
        }
    }
}
/* Cells of the sectors in t->sector, to at least `cells` in all: gap to the index. */
static inline void make_turn(struct track_made *t, const struct layout *l, struct dice *d,
                             size_t cells)
{
    size_t start = t->m.count;
    make_index(&t->m, l->fm, l->index_mark);
    for (int i = 0; i < t->sectors; i++) {
        make_sector(&t->m, l, &t->sector[i], d);
    }
    while (t->m.count - start < cells) {
        make_plain(&t->m, l->fm, l->fm ? 0xFF : 0x4E, 1);
    }
}
static inline void make_release(struct track_made *t)
{
    for (int i = 0; i < t->sectors; i++) {
        free(t->sector[i].bytes);
    }
    free(t->m.cell);
    memset(t, 0, sizeof *t);
}

/* ---- flux ----------------------------------------------------------------------------------
 */

struct play {
    double cell_ns;      /* at nominal speed */
    double speed;        /* 1.03: 3 % fast */
    double wow, wow_hz;  /* 0.02: the speed swings by 2 % either way */
    double jitter_ns;    /* standard deviation, normal */
    double shift_ns;     /* away from the nearer neighbour */
    double asymmetry_ns; /* intervals of an even pattern differ by this */
    double sample_ns;    /* 0: exact */
    double lost, added;  /* chance that a pulse is lost; that one comes between two */
    double from_ns;      /* where in the wow it begins */
};
struct flux_made {
    uint32_t *interval_ps;
    size_t count;
    double seconds;
    double start_ps; /* of the first transition, by the clock that ran */
};

/* Time of a position on the made grid: the integral of a cell's length over a speed that
 * swings. */
static inline double make_time(const struct play *p, double cells)
{
    double even = cells * p->cell_ns / p->speed;
    if (p->wow_hz <= 0) {
        return even;
    }
    double turn_ns = 1e9 / p->wow_hz / (2 * M_PI);
    return even +
           p->wow * turn_ns * (cos(p->from_ns / turn_ns) - cos((even + p->from_ns) / turn_ns));
}
static inline int compare_times(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}
static inline void make_flux(const struct made *m, const struct play *p, struct dice *d,
                             struct flux_made *out)
{
    double *at = malloc((2 * m->count + 2) * sizeof *at);
    size_t n = 0;
    size_t number = 0;
    size_t splice = 0;
    size_t before = 0;
    double off = 0;
    if (at == NULL) {
        abort();
    }
    for (size_t c = 0; c < m->count; c++) {
        size_t behind = c + 1;
        double t;
        if (splice < m->splices && m->splice[splice] == c) {
            off += m->splice_by[splice++];
        }
        if (m->cell[c] == 0) {
            continue;
        }
        while (behind < m->count && m->cell[behind] == 0) {
            behind++;
        }
        t = make_time(p, (double)c + off);
        if (number > 0 && c - before != behind - c) {
            t += c - before < behind - c ? p->shift_ns : -p->shift_ns;
        }
        t += (number++ & 1) != 0 ? p->asymmetry_ns / 4 : -p->asymmetry_ns / 4;
        before = c;
        if (dice_unit(d) >= p->lost) {
            at[n++] = t + p->jitter_ns * dice_normal(d);
        }
        if (dice_unit(d) < p->added) {
            at[n++] = t + 3 * p->cell_ns * dice_unit(d);
        }
    }
    qsort(at, n, sizeof *at, compare_times);
    out->count = n > 0 ? n - 1 : 0;
    out->interval_ps = malloc((n + 1) * sizeof *out->interval_ps);
    if (out->interval_ps == NULL) {
        abort();
    }
    if (p->sample_ns > 0) {
        for (size_t i = 0; i < n; i++) {
            at[i] = ceil(at[i] / p->sample_ns) * p->sample_ns;
        }
    }
    double base = n > 0 ? floor(at[0] * 1000) : 0;
    double last = base;
    out->start_ps = base;
    for (size_t i = 1; i < n; i++) { /* rounded by position, so that nothing adds up */
        double ps = floor(at[i] * 1000);
        out->interval_ps[i - 1] = (uint32_t)(ps - last);
        last = ps;
    }
    out->seconds = (last - base) / 1e12;
    free(at);
}

#endif
