#include "sim/cells.h"

#include "base/buf.h"

#include <stdlib.h>
#include <string.h>

#define CELLS_MAX (1u << 20)

void sim_cells_release(struct cells *c)
{
    free(c->cell);
    *c = (struct cells){0};
}

static void put(struct cells *c, bool one)
{
    if (c->failed ||
        array_grow((void **)&c->cell, &c->cap, c->count + 1, 1, CELLS_MAX) != ERR_OK) {
        c->failed = true;
        return;
    }
    c->cell[c->count++] = one;
}

void sim_cells_mfm_byte(struct cells *c, uint8_t byte)
{
    for (int i = 7; i >= 0; i--) {
        bool one = (byte >> i) & 1;
        put(c, !c->last_one && !one);
        put(c, one);
        c->last_one = one;
    }
}

void sim_cells_mfm_mark(struct cells *c, uint16_t pattern)
{
    for (int i = 15; i >= 0; i--) {
        put(c, (pattern >> i) & 1);
    }
    c->last_one = pattern & 1;
}

void sim_cells_fm_byte(struct cells *c, uint8_t byte, uint8_t clock)
{
    for (int i = 7; i >= 0; i--) {
        put(c, (clock >> i) & 1);
        put(c, (byte >> i) & 1);
    }
}

uint16_t sim_crc16(uint16_t crc, uint8_t byte)
{
    crc ^= (uint16_t)(byte << 8);
    for (int i = 0; i < 8; i++) {
        crc = (crc & 0x8000) ? (uint16_t)((crc << 1) ^ 0x1021) : (uint16_t)(crc << 1);
    }
    return crc;
}

void sim_sector_fill(const struct disk_content *d, const struct disk_format *f, int cylinder,
                     int side, int sector, uint8_t *out)
{
    size_t len = (size_t)128 << f->size_code;
    size_t place = (size_t)((cylinder * f->sides + side) * f->sectors + sector - 1);
    if (d->image != NULL && sector <= f->sectors && (place + 1) * len <= d->image_bytes) {
        memcpy(out, d->image + place * len, len);
        return;
    }
    uint64_t x = d->seed ^ ((uint64_t)cylinder << 24 | (uint64_t)side << 16 | (uint64_t)sector);
    for (size_t i = 0; i < len; i++) {
        x = x * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        out[i] = (uint8_t)(x >> 40);
    }
}

static void repeat(struct cells *c, const struct disk_format *f, uint8_t byte, int times)
{
    for (int i = 0; i < times; i++) {
        if (f->fm)
            sim_cells_fm_byte(c, byte, 0xFF);
        else
            sim_cells_mfm_byte(c, byte);
    }
}

/* Sync, marks and one field with its check bytes. */
static void field(struct cells *c, const struct disk_format *f, uint8_t mark,
                  const uint8_t *body, size_t len)
{
    uint16_t crc = 0xFFFF;
    repeat(c, f, 0, f->fm ? 6 : 12);
    if (f->fm) {
        sim_cells_fm_byte(c, mark, 0xC7);
    } else {
        for (int i = 0; i < 3; i++) {
            sim_cells_mfm_mark(c, 0x4489);
            crc = sim_crc16(crc, 0xA1);
        }
        sim_cells_mfm_byte(c, mark);
    }
    crc = sim_crc16(crc, mark);
    for (size_t i = 0; i < len; i++) {
        repeat(c, f, body[i], 1);
        crc = sim_crc16(crc, body[i]);
    }
    repeat(c, f, (uint8_t)(crc >> 8), 1);
    repeat(c, f, (uint8_t)(crc & 0xFF), 1);
}

void sim_cells_data_field(struct cells *c, const struct disk_format *f, const uint8_t *data)
{
    field(c, f, 0xFB, data, (size_t)128 << f->size_code);
    repeat(c, f, f->fm ? 0xFF : 0x4E, 1);
}

void sim_cells_track(struct cells *c, const struct disk_format *f,
                     const struct disk_content *content, int cylinder, int side, size_t total)
{
    uint8_t gap = f->fm ? 0xFF : 0x4E;
    uint8_t data[SECTOR_BYTES_MAX];
    repeat(c, f, gap, f->fm ? 40 : 80);
    repeat(c, f, 0, f->fm ? 6 : 12);
    if (f->fm) {
        sim_cells_fm_byte(c, 0xFC, 0xD7);
    } else {
        for (int i = 0; i < 3; i++) {
            sim_cells_mfm_mark(c, 0x5224);
        }
        sim_cells_mfm_byte(c, 0xFC);
    }
    repeat(c, f, gap, f->fm ? 26 : 50);
    for (int s = 1; s <= f->sectors; s++) {
        uint8_t id[4] = {(uint8_t)cylinder, (uint8_t)side, (uint8_t)s, (uint8_t)f->size_code};
        field(c, f, 0xFE, id, sizeof id);
        repeat(c, f, gap, f->fm ? 11 : 22);
        sim_sector_fill(content, f, cylinder, side, s, data);
        sim_cells_data_field(c, f, data);
        repeat(c, f, gap, f->gap3 - 1);
    }
    while (!c->failed && c->count < total) {
        repeat(c, f, gap, 1);
    }
}
