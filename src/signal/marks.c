/* Marks: bytes with missing clocks, which no data can hold.
 *
 * MFM: two A1 (4489) or two C2 (5224) in a row, known by their runs of cells; a lone one may
 * come out of a splice, and C2's run comes up in data half a bit out. FM: a mark byte behind a
 * byte of zeros.
 */
#include "signal/flux_private.h"

#include <stdlib.h>
#include <string.h>

/* Runs of 2, 3 and 4 cells as two bits each (0, 1, 2; 3: none of them): A1 A1 is 4343 2 4343,
 * C2 C2 is 2343 4 2343. Source: the cells 4489 and 5224 of the ISO/ECMA MFM track format. */
#define RUN_MASK  0x3FFFFu
#define RUN_A1_A1 0x26499u
#define RUN_C2_C2 0x06619u

#define LAST_CELL  15 /* A1 ends with a transition in its last cell, C2 two cells before it */
#define C2_LAST    13
#define BYTE_CELLS 16

/* FM marks behind a byte of zeros, clock first. Source: FM cells of the ISO/ECMA format (clock
 * C7, index mark clock D7). */
struct fm_mark {
    uint32_t cells;
    uint8_t byte;
};
#define ZEROS 0xAAAAu
static const struct fm_mark fm_mark[] = {
    {0xF57E, 0xFE}, {0xF56F, 0xFB}, {0xF56A, 0xF8},
    {0xF56B, 0xF9}, {0xF56E, 0xFA}, {0xF77A, 0xFC},
};
#define FM_MARKS (sizeof fm_mark / sizeof fm_mark[0])

static void advance(const struct cells *c, struct mark_scan *s)
{
    s->time_ps += c->flux->interval_ps[s->at];
    s->cells += c->step[s->at];
    s->at++;
}

static void mark_set(const struct cells *c, const struct mark_scan *s, int cell,
                     struct mark *out)
{
    double off_ps =
        (double)c->dev[s->at] / DEV_ONE / (double)c->local_rate[(s->at - 1) / LOCAL_SPAN];
    *out = (struct mark){s->at, cell, s->cells, s->time_ps - (int64_t)off_ps, 0};
}

static bool mfm_next(const struct cells *c, struct mark_scan *s, struct mark *out)
{
    uint64_t recent = s->recent;
    while (s->at < c->count) {
        uint8_t step = c->step[s->at];
        advance(c, s);
        recent = recent << 2 | (step - 2u < 3 ? step - 2u : 3u);
        uint32_t run = (uint32_t)recent & RUN_MASK;
        if (run == RUN_A1_A1 || run == RUN_C2_C2) {
            s->recent = recent;
            mark_set(c, s, (run == RUN_A1_A1 ? LAST_CELL : C2_LAST) - BYTE_CELLS, out);
            return true;
        }
    }
    return false;
}

static bool next_cell_full(const struct cells *c, size_t at)
{
    return at < c->count && c->step[at] == 1;
}

static bool fm_next(const struct cells *c, struct mark_scan *s, struct mark *out)
{
    uint64_t recent = s->recent;
    while (s->at < c->count) {
        uint8_t step = c->step[s->at];
        advance(c, s);
        recent = step < 32 ? recent << step | 1 : 1;
        if ((recent >> 16 & 0xFFFF) != ZEROS && (recent >> 15 & 0xFFFF) != ZEROS) {
            continue;
        }
        for (size_t i = 0; i < FM_MARKS; i++) {
            unsigned early = (fm_mark[i].cells & 1u) == 0; /* its last cell is empty */
            if ((uint32_t)(recent << early) == (ZEROS << 16 | fm_mark[i].cells) &&
                !(early && next_cell_full(c, s->at))) {
                s->recent = recent;
                mark_set(c, s, early ? -2 : -1, out);
                out->fm_byte = fm_mark[i].byte;
                return true;
            }
        }
    }
    return false;
}

bool mark_next(const struct cells *c, struct mark_scan *s, struct mark *out)
{
    return c->code.encoding == ENC_FM ? fm_next(c, s, out) : mfm_next(c, s, out);
}

size_t bytes_behind(const struct cells *c, const struct mark *m, size_t n, uint8_t *out,
                    struct place *out_end)
{
    const uint8_t *step = c->step;
    const size_t count = c->count;
    const int64_t last = (int64_t)n * BYTE_CELLS;
    size_t at = m->at;
    int64_t cell = m->cell;
    size_t place = 0;
    unsigned byte = 0; /* at that place, as far as it is known */
    memset(out, 0, n);
    while (at < count && cell + step[at] < 0) {
        cell += step[at++];
    }
    while (at < count && cell + step[at] < last) {
        cell += step[at++];
        /* clock or data comes at random: no branch */
        unsigned bit = (unsigned)(cell & 1) << 7 >> ((size_t)cell % BYTE_CELLS / 2);
        byte = (size_t)cell / BYTE_CELLS == place ? byte | bit : bit;
        place = (size_t)cell / BYTE_CELLS;
        out[place] = (uint8_t)byte;
    }
    *out_end = (struct place){at, cell};
    return at < count ? n : (size_t)((cell + 1) / BYTE_CELLS);
}

/* The further a transition lies from its cell's centre, the likelier it belongs to the cell
 * beyond the nearer edge. QUALITY_MAX is reached at a third of the way: what is nearer is as
 * sure as a tap that may lose or add pulses allows. */
#define QUALITY_SLOPE 48

static void quality_raise(int8_t *q, int value)
{
    *q = (int8_t)(value > *q ? value : *q);
}

static void quality_of(const struct cells *c, size_t at, int64_t cell, size_t n, int8_t *out)
{
    int64_t pos = cell * DEV_ONE + c->dev[at] + DEV_ONE / 2;
    int64_t near = pos >= 0 ? pos / DEV_ONE : -1;
    int off = (int)(pos - near * DEV_ONE) - DEV_ONE / 2;
    int64_t beyond = off < 0 ? near - 1 : near + 1;
    int sure = QUALITY_SLOPE * (DEV_ONE / 2 - abs(off)) / (DEV_ONE / 2);
    sure = sure < QUALITY_MAX ? sure : QUALITY_MAX;
    if (near >= 0 && near < (int64_t)n) {
        quality_raise(&out[near], sure);
    }
    if (beyond >= 0 && beyond < (int64_t)n) {
        quality_raise(&out[beyond], -sure);
    }
}

void quality_behind(const struct cells *c, const struct mark *m, size_t n, int8_t *out)
{
    size_t at = m->at;
    int64_t cell = m->cell;
    memset(out, -QUALITY_MAX, n);
    while (at < c->count && cell < (int64_t)n) {
        quality_of(c, at, cell, n, out);
        if (c->step[at] >= STEP_MAX) { /* nothing tells how many cells passed */
            break;
        }
        cell += c->step[at++];
    }
    if (cell + 1 < (int64_t)n) {
        size_t from = cell + 1 > 0 ? (size_t)(cell + 1) : 0;
        memset(out + from, 0, n - from);
    }
}
