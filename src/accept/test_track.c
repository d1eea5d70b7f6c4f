#include "accept/test_track.h"

#include "base/buf.h"
#include "signal/signal.h"

#include <stdlib.h>

#define PULSES_MAX   ((size_t)1 << 19)
#define SECTOR_BYTES 512
#define SECTOR_CODE  2
/* Sync, marks, identifier, check bytes and gaps of a sector, and what stands before the first;
 * source: ISO/ECMA 3.5in and 5.25in MFM formats, gap 3 shortened to 54. */
#define AROUND       (12 + 4 + 4 + 2 + 22 + 12 + 4 + 2 + 54)
#define BEFORE       (80 + 12 + 4 + 50)
#define WRITTEN_PART 0.98 /* of a turn: the speed may be high by 1.5 % */
#define A1_CLOCKED   0x4489
#define C2_CLOCKED   0x5224
#define ERASED_CELLS 200 /* from pulse to pulse where nothing is to be left */
#define CRC_START    0xFFFF

struct pen {
    double cell_ticks, at; /* at: cells since the index */
    double pulse_at;       /* cells, of the last pulse */
    int64_t pulse_tick;
    bool last_one;
    uint32_t *delta;
    size_t count, cap;
    enum err err;
};

static void pulse(struct pen *p)
{
    int64_t tick = (int64_t)(p->at * p->cell_ticks + 0.5);
    if (p->err == ERR_OK)
        p->err = array_grow((void **)&p->delta, &p->cap, p->count + 1, sizeof p->delta[0],
                            PULSES_MAX);
    if (p->err != ERR_OK)
        return;
    p->delta[p->count++] = (uint32_t)(tick - p->pulse_tick);
    p->pulse_tick = tick;
}

static void cell(struct pen *p, bool one)
{
    p->at += 1;
    if (one)
        pulse(p);
}

static void byte(struct pen *p, uint8_t b)
{
    for (int i = 7; i >= 0; i--) {
        bool one = (b >> i) & 1;
        cell(p, !p->last_one && !one);
        cell(p, one);
        p->last_one = one;
    }
}

static void bytes(struct pen *p, uint8_t b, int n)
{
    for (int i = 0; i < n; i++)
        byte(p, b);
}

static void mark(struct pen *p, uint16_t cells, uint8_t b)
{
    for (int n = 0; n < 3; n++)
        for (int i = 15; i >= 0; i--)
            cell(p, (cells >> i) & 1);
    p->last_one = cells & 1;
    byte(p, b);
}

/* What stands behind a mark, and its check bytes. */
static void field(struct pen *p, uint8_t kind, const uint8_t *data, size_t len)
{
    const uint8_t head[] = {0xA1, 0xA1, 0xA1, kind};
    uint16_t crc = crc16_update(CRC_START, head, sizeof head);
    crc = crc16_update(crc, data, len);
    bytes(p, 0, 12);
    mark(p, A1_CLOCKED, kind);
    for (size_t i = 0; i < len; i++)
        byte(p, data[i]);
    byte(p, (uint8_t)(crc >> 8));
    byte(p, (uint8_t)crc);
}

static void sector(struct pen *p, enum test_pattern pattern, int cylinder, int side, int number)
{
    static const uint8_t crowded[] = {0x6D, 0xB6, 0xDB};
    const uint8_t id[] = {(uint8_t)cylinder, (uint8_t)side, (uint8_t)number, SECTOR_CODE};
    uint8_t data[SECTOR_BYTES];
    for (int i = 0; i < SECTOR_BYTES; i++)
        data[i] = pattern == TEST_SPARSE ? 0x55 : crowded[i % 3];
    field(p, 0xFE, id, sizeof id);
    bytes(p, 0x4E, 22);
    field(p, 0xFB, data, sizeof data);
    bytes(p, 0x4E, 54);
}

bool test_layout_of(const struct profile *drive, struct test_layout *out)
{
    double rpm = profile_number(drive, "speed_rpm", 0);
    double rate = profile_number(drive, "data_rate_kbps", 0);
    double room = profile_number(drive, "track_bytes", 0);
    if (rpm <= 0 || rate <= 0 || !profile_has_word(drive, "encodings", "MFM"))
        return false;
    *out = (struct test_layout){.cell_ns = 0.5e6 / rate, .turn_ns = 60e9 / rpm};
    double whole = out->turn_ns / (16 * out->cell_ns);
    room = room > 0 && room < whole ? room : whole;
    out->sectors = (int)((room * WRITTEN_PART - BEFORE) / (SECTOR_BYTES + AROUND));
    return out->sectors > 0 && out->sectors < 32;
}

enum err test_track_make(const struct test_layout *l, enum test_pattern pattern, int cylinder,
                         int side, uint32_t tick_hz, uint32_t **delta, size_t *count)
{
    double cells = WRITTEN_PART * l->turn_ns / l->cell_ns;
    struct pen p = {.cell_ticks = l->cell_ns * 1e-9 * (double)tick_hz};
    if (pattern == TEST_ERASED) {
        for (int64_t i = 0; p.at < cells; i++)
            cell(&p, i % ERASED_CELLS == 0);
    } else {
        bytes(&p, 0x4E, 80);
        bytes(&p, 0, 12);
        mark(&p, C2_CLOCKED, 0xFC);
        bytes(&p, 0x4E, 50);
        for (int i = 0; i < l->sectors; i++)
            sector(&p, pattern, cylinder, side, TEST_SECTOR_FIRST + i);
        while (p.at < cells && p.err == ERR_OK)
            byte(&p, 0x4E);
    }
    if (p.err != ERR_OK) {
        free(p.delta);
        return p.err;
    }
    *delta = p.delta;
    *count = p.count;
    return ERR_OK;
}
