/* Identifiers and data fields behind marks. */
#include "base/buf.h"
#include "base/units.h"
#include "signal/flux_private.h"

#include <stdlib.h>
#include <string.h>

#define FIELDS_MAX     ((size_t)1 << 20)
#define SIZE_CODE_MAX  6
#define DATA_BYTES_MAX ((size_t)128 << SIZE_CODE_MAX)
#define ID_BYTES       7 /* mark, cylinder, head, sector, length code, two check bytes */
#define BYTE_CELLS     16

#define MARK_ID         0xFE
#define MARK_INDEX      0xFC
#define MARK_DATA       0xFB
#define MARK_DATA_FIRST 0xF8 /* F8 deleted, F9 and FA its relatives, FB data */

/* Bytes from an identifier's end to the end of the data mark's sync. A controller of the FD179X
 * family waits for 43 (MFM) or 30 (FM) bytes; at 1 Mbit/s gap 2 is 41 bytes long and needs
 * more. */
#define WINDOW_MFM_BYTES 64
#define WINDOW_FM_BYTES  40

struct run {
    struct cells *cells;
    struct field_list *fields;
    struct span_list *spans;
    const struct flux_options *options;
    bool fm;
    size_t pending; /* sector whose data field may come */
    bool has_pending;
    int64_t pending_cells; /* cells from the start to its end */
    uint8_t size_code;     /* of the last good identifier */
    uint8_t data[DATA_BYTES_MAX + 3];
    struct shift_log shifts; /* of the field at hand */
};

static int64_t window_cells(const struct run *r)
{
    return (r->fm ? WINDOW_FM_BYTES : WINDOW_MFM_BYTES) * (int64_t)BYTE_CELLS;
}

static int64_t to_ns(const struct run *r, int64_t time_ps)
{
    return r->cells->flux->start_ns + (time_ps + PS_PER_NS / 2) / PS_PER_NS;
}

static int64_t time_at(const struct run *r, const struct mark *m, size_t at)
{
    int64_t ps = m->time_ps;
    for (size_t i = m->at; i < at; i++) {
        ps += r->cells->flux->interval_ps[i];
    }
    return to_ns(r, ps);
}

/* Mark byte and what follows it, n bytes in all; FM's mark byte is known from the mark. */
static size_t field_bytes(struct run *r, const struct mark *m, size_t n, struct place *out_end)
{
    size_t lead = r->fm ? 1 : 0;
    cells_constrain_phase(r->cells, m->at, m->cell, (int64_t)(n - lead) * BYTE_CELLS,
                          &r->shifts);
    r->data[0] = m->fm_byte;
    return lead + bytes_behind(r->cells, m, n - lead, r->data + lead, out_end);
}

static bool checks(const struct run *r, size_t n)
{
    return crc16_update(r->fm ? CRC_START : CRC_AFTER_A1, r->data, n) == 0;
}

static enum err span_add(struct run *r, const struct mark *m, const struct place *end)
{
    TRY(array_grow((void **)&r->spans->span, &r->spans->cap, r->spans->count + 1,
                   sizeof *r->spans->span, 2 * FIELDS_MAX));
    r->spans->span[r->spans->count++] = (struct span){m->at, end->at};
    return ERR_OK;
}

/* Two bits of the length code count where a controller knows no more than 1024 bytes. */
static uint8_t size_code_of(const struct run *r, uint8_t recorded, bool id_good)
{
    if (!id_good && r->size_code <= SIZE_CODE_MAX) {
        return r->size_code;
    }
    return recorded <= SIZE_CODE_MAX ? recorded : recorded & 3;
}

static enum err id_add(struct run *r, const struct mark *m)
{
    struct place end;
    struct sector_read s = {.data_ns = -1, .encoding = r->fm ? ENC_FM : ENC_MFM};
    if (r->fields->count == FIELDS_MAX || field_bytes(r, m, ID_BYTES, &end) < ID_BYTES) {
        return ERR_OK;
    }
    s.id_ns = to_ns(r, m->time_ps);
    s.end_ns = time_at(r, m, end.at);
    s.id_good = checks(r, ID_BYTES);
    s.cylinder = r->data[1];
    s.side = r->data[2];
    s.sector = r->data[3];
    s.size_code = size_code_of(r, r->data[4], s.id_good);
    if (s.id_good) {
        r->size_code = s.size_code;
    } else {
        cells_shift_back(r->cells, &r->shifts);
    }
    TRY(array_grow((void **)&r->fields->sector, &r->fields->cap, r->fields->count + 1,
                   sizeof *r->fields->sector, FIELDS_MAX));
    r->pending = r->fields->count;
    r->has_pending = true;
    r->pending_cells =
        m->cells - m->cell + (int64_t)(r->fm ? ID_BYTES - 1 : ID_BYTES) * BYTE_CELLS;
    r->fields->sector[r->fields->count++] = s;
    return span_add(r, m, &end);
}

/* Go on behind a field that was read whole: no mark can be inside. */
static void scan_skip(const struct cells *c, struct mark_scan *s, size_t to)
{
    for (; s->at < to; s->at++) {
        s->time_ps += c->flux->interval_ps[s->at];
        s->cells += c->step[s->at];
    }
    s->recent = 0;
}

/* Transitions that were put into another than the nearest cell, or break the code's rules. */
static uint32_t forced_in(const struct cells *c, size_t from, size_t to)
{
    uint32_t forced = 0;
    for (size_t i = from; i < to; i++) {
        bool moved = c->dev[i] > DEV_ONE / 2 || c->dev[i] < -DEV_ONE / 2;
        forced += moved || c->step[i] < c->code.step_min || c->step[i] > c->code.step_max;
    }
    return forced;
}

/* n: bytes of the field from its mark byte on. */
static enum err data_keep(const struct run *r, const struct mark *m, struct sector_read *s,
                          size_t n)
{
    if (r->options->keep_bytes && !s->cut) {
        s->bytes = malloc(n - 3);
        if (s->bytes == NULL) {
            return ERR_MEMORY;
        }
        memcpy(s->bytes, r->data + 1, n - 3);
    }
    if (r->options->keep_quality && s->data == FIELD_DAMAGED) {
        s->cells = (r->fm ? n - 1 : n) * BYTE_CELLS;
        s->quality = malloc(s->cells);
        if (s->quality == NULL) {
            return ERR_MEMORY;
        }
        quality_behind(r->cells, m, s->cells, s->quality);
    }
    return ERR_OK;
}

static enum err data_add(struct run *r, const struct mark *m, uint8_t byte,
                         struct mark_scan *scan)
{
    struct place end;
    if (!r->has_pending || m->cells - r->pending_cells > window_cells(r)) {
        r->fields->lone_data_marks++;
        return ERR_OK;
    }
    struct sector_read *s = &r->fields->sector[r->pending];
    size_t n = ((size_t)128 << s->size_code) + 3;
    size_t got = field_bytes(r, m, n, &end);
    r->has_pending = false;
    s->data_ns = to_ns(r, m->time_ps);
    s->end_ns = time_at(r, m, end.at);
    s->mark = byte;
    s->deleted = byte == MARK_DATA_FIRST;
    s->cut = got < n;
    s->data = s->cut ? FIELD_ABSENT : checks(r, n) ? FIELD_GOOD : FIELD_DAMAGED;
    if (r->options->keep_bytes && s->data == FIELD_GOOD) {
        s->forced = forced_in(r->cells, m->at, end.at);
    }
    TRY(data_keep(r, m, s, n));
    if (s->data == FIELD_GOOD) {
        scan_skip(r->cells, scan, end.at);
    } else { /* it may run on into the next, which has a phase of its own */
        cells_shift_back(r->cells, &r->shifts);
    }
    return span_add(r, m, &end);
}

static enum err mark_take(struct run *r, const struct mark *m, struct mark_scan *scan)
{
    struct place end;
    uint8_t byte = m->fm_byte;
    if (!r->fm && bytes_behind(r->cells, m, 1, &byte, &end) < 1) {
        return ERR_OK;
    }
    if (byte == MARK_ID) {
        return id_add(r, m);
    }
    if (byte >= MARK_DATA_FIRST && byte <= MARK_DATA) {
        return data_add(r, m, byte, scan);
    }
    r->fields->index_marks += byte == MARK_INDEX;
    return ERR_OK;
}

enum err fields_find(struct cells *c, const struct flux_options *o, struct field_list *fields,
                     struct span_list *spans)
{
    struct mark_scan scan = {0};
    struct mark m;
    enum err e = ERR_OK;
    struct run *r = calloc(1, sizeof *r);
    if (r == NULL) {
        return ERR_MEMORY;
    }
    r->cells = c;
    r->fields = fields;
    r->spans = spans;
    r->fm = c->code.encoding == ENC_FM;
    r->options = o;
    r->size_code = UINT8_MAX;
    while (e == ERR_OK && mark_next(c, &scan, &m)) {
        e = mark_take(r, &m, &scan);
    }
    if (r->has_pending && scan.cells - r->pending_cells <= window_cells(r)) {
        fields->sector[r->pending].cut = true; /* it ended before the data mark could come */
    }
    free(r);
    return e;
}
