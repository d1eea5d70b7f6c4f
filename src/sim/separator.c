#include "sim/separator.h"

#define PHASE_GAIN      0.15
#define RATE_GAIN       0.015
#define EMPTY_CELLS_MAX 40

void sim_separator_start(struct separator *s, bool fm, double cell_ns, double range,
                         double free_run, int64_t now)
{
    *s =
        (struct separator){.fm = fm, .nominal_ns = cell_ns, .cell_ns = cell_ns, .range = range};
    s->free_run = free_run;
    if (free_run > 0)
        s->cell_ns = cell_ns * free_run;
    s->clock = (double)now;
}

static void field_ends(struct separator *s, int64_t t)
{
    bool good = s->crc == 0;
    if (s->state == FIELD_ID) {
        s->id = (struct sector_id){s->body[0], s->body[1], s->body[2], s->body[3] & 7, good};
        s->id_new = true;
    } else {
        s->data_new = true;
        s->data_good = good;
        s->data_len = s->want - 2;
    }
    s->field_end = t;
    s->state = FIELD_HUNT;
}

static void begin_field(struct separator *s, uint8_t mark, int64_t t)
{
    s->got = 0;
    s->crc = sim_crc16(s->crc, mark);
    s->state = FIELD_HUNT;
    if (mark == 0xFE) {
        s->state = FIELD_ID;
        s->want = 6;
    } else if ((mark & 0xFC) == 0xF8) {
        s->data_mark_at = t;
        int code = s->id.size_code > 3 ? 3 : s->id.size_code;
        s->state = FIELD_DATA;
        s->want = (128 << code) + 2;
    }
}

static void byte_in(struct separator *s, uint8_t byte, int64_t t)
{
    if (s->state == FIELD_MARKS) {
        begin_field(s, byte, t);
        return;
    }
    s->body[s->got++] = byte;
    s->crc = sim_crc16(s->crc, byte);
    if (s->got >= s->want)
        field_ends(s, t);
}

static uint8_t data_bits(uint32_t shift)
{
    unsigned byte = 0;
    for (int i = 7; i >= 0; i--)
        byte = byte << 1 | ((shift >> (2 * i)) & 1u);
    return (uint8_t)byte;
}

static bool mark_seen(struct separator *s, int64_t t)
{
    uint16_t cells = (uint16_t)(s->shift & 0xFFFF);
    if (s->fm) {
        if (s->state != FIELD_HUNT || (cells != 0xF57E && (cells & 0xFFF0) != 0xF560))
            return false;
        s->crc = 0xFFFF;
        s->bits = 0;
        begin_field(s, data_bits(cells), t);
        return true;
    }
    if (cells != 0x4489 || s->state == FIELD_ID || s->state == FIELD_DATA)
        return false;
    s->crc = s->state == FIELD_MARKS ? s->crc : 0xFFFF;
    s->crc = sim_crc16(s->crc, 0xA1);
    s->state = FIELD_MARKS;
    s->bits = 0;
    return true;
}

static void cell_in(struct separator *s, bool one, int64_t t)
{
    s->shift = s->shift << 1 | (one ? 1u : 0u);
    if (mark_seen(s, t) || s->state == FIELD_HUNT)
        return;
    if (++s->bits == 16) {
        s->bits = 0;
        byte_in(s, data_bits(s->shift), t);
    }
}

static void follow(struct separator *s, double error, int cells)
{
    if (s->free_run > 0)
        return;
    double low = s->nominal_ns * (1 - s->range);
    double high = s->nominal_ns * (1 + s->range);
    s->clock += PHASE_GAIN * error;
    s->cell_ns += RATE_GAIN * error / cells;
    s->cell_ns = s->cell_ns < low ? low : s->cell_ns > high ? high : s->cell_ns;
}

void sim_separator_pulse(struct separator *s, int64_t t)
{
    double gap = (double)t - s->clock;
    int cells = (int)(gap / s->cell_ns + 0.5);
    if (cells < 1)
        return; /* inside the window of the pulse before */
    if (cells > EMPTY_CELLS_MAX) {
        s->clock = (double)t;
        s->state = FIELD_HUNT;
        return;
    }
    s->clock += s->cell_ns * cells;
    for (int i = 1; i < cells; i++)
        cell_in(s, false, t);
    cell_in(s, true, t);
    follow(s, (double)t - s->clock, cells);
}
