/* Little endian, field by field. */
#include "archive/archive_private.h"
#include "archive/journal_private.h"
#include "base/ini_file.h"

#include <string.h>

#define TURNS_SCALE 1000.0

static enum err put(struct buf *out, uint64_t value, int bytes)
{
    uint8_t b[8];
    for (int i = 0; i < bytes; i++)
        b[i] = (uint8_t)(value >> (8 * i));
    return buf_add(out, b, (size_t)bytes);
}

static enum err put_text(struct buf *out, const char *text)
{
    size_t len = strlen(text);
    TRY(put(out, len, 2));
    return buf_add(out, text, len);
}

static enum err put_turn(struct buf *out, const struct archive_turn *t)
{
    TRY(put(out, (uint32_t)t->pass, 4));
    TRY(put(out, (uint32_t)t->turn, 4));
    return put(out, (uint64_t)t->ns, 8);
}

enum err journal_put_pass(struct buf *out, const struct archive_pass *p)
{
    TRY(put_text(out, p->file));
    TRY(put_text(out, p->from));
    TRY(put_text(out, p->utc));
    TRY(put_text(out, p->detail));
    TRY(put_text(out, p->affirmed));
    TRY(put_text(out, p->checked));
    TRY(put_text(out, p->risk));
    TRY(put(out, (uint32_t)p->planned_first, 4));
    TRY(put(out, (uint32_t)p->planned_last, 4));
    TRY(put(out, p->planned_sides, 1));
    TRY(put(out, (uint64_t)(int64_t)(p->seconds * 1e6), 8));
    return put(out, p->print, 8);
}

enum err journal_put_object(struct buf *out, const struct archive_object *o)
{
    for (size_t i = 0; i < ARCHIVE_OBJECT_KEYS; i++) {
        TRY(put(out, o->value[i] != NULL, 1));
        if (o->value[i] != NULL)
            TRY(put_text(out, o->value[i]));
    }
    return ERR_OK;
}

static enum err put_bytes(struct buf *out, const uint8_t *bytes, size_t len)
{
    TRY(put(out, bytes != NULL, 1));
    return bytes != NULL ? buf_add(out, bytes, len) : ERR_OK;
}

static enum err put_sector(struct buf *out, const struct archive_sector *s)
{
    const uint8_t small[] = {s->number, s->id_cylinder,       s->id_side,         s->size_code,
                             s->mark,   (uint8_t)s->encoding, (uint8_t)s->content};
    TRY(buf_add(out, small, sizeof small));
    TRY(put(out, (uint32_t)s->seen, 4));
    TRY(put(out, (uint32_t)s->agreed, 4));
    TRY(put(out, (uint32_t)s->failed, 4));
    TRY(put(out, (uint32_t)s->contradicted, 4));
    TRY(put(out, s->forced, 4));
    TRY(put(out, (uint32_t)s->changed, 4));
    TRY(put(out, (uint32_t)(s->odds_false * 1e9), 4));
    TRY(put_turn(out, &s->first));
    TRY(put_turn(out, &s->second));
    TRY(put_turn(out, &s->last));
    TRY(put_turn(out, &s->rival_first));
    TRY(put_bytes(out, s->bytes, archive_sector_bytes(s)));
    return put_bytes(out, s->rival, archive_sector_bytes(s));
}

enum err journal_put_track(struct buf *out, const struct archive_track *t)
{
    TRY(put(out, (uint32_t)t->key.at[0], 4));
    TRY(put(out, (uint32_t)t->key.at[1], 4));
    TRY(put(out, (uint32_t)(t->turns * TURNS_SCALE), 4));
    TRY(put(out, (uint32_t)t->code, 1));
    TRY(put(out, t->count, 2));
    for (size_t i = 0; i < t->count; i++)
        TRY(put_sector(out, &t->sector[i]));
    return ERR_OK;
}

/* ---- and back ---- */

struct reader {
    const uint8_t *at;
    size_t left;
    bool bad;
};

static const uint8_t *take(struct reader *r, size_t n)
{
    const uint8_t *p = r->at;
    if (r->bad || n > r->left) {
        r->bad = true;
        return NULL;
    }
    r->at += n;
    r->left -= n;
    return p;
}

static uint64_t get(struct reader *r, int bytes)
{
    const uint8_t *p = take(r, (size_t)bytes);
    uint64_t value = 0;
    for (int i = 0; p != NULL && i < bytes; i++)
        value |= (uint64_t)p[i] << (8 * i);
    return value;
}

/* A count: never negative. */
static int32_t count(struct reader *r)
{
    uint32_t v = (uint32_t)get(r, 4);
    r->bad = r->bad || v > INT32_MAX / 2;
    return r->bad ? 0 : (int32_t)v;
}

static void get_text(struct reader *r, char *out, size_t room)
{
    size_t len = (size_t)get(r, 2);
    const uint8_t *p = take(r, len);
    out[0] = '\0';
    if (p == NULL || len >= room || memchr(p, '\0', len) != NULL) {
        r->bad = true;
        return;
    }
    memcpy(out, p, len);
    out[len] = '\0';
}

static struct archive_turn get_turn(struct reader *r, int32_t passes)
{
    struct archive_turn t = {.pass = (int32_t)(uint32_t)get(r, 4)};
    t.turn = (int32_t)(uint32_t)get(r, 4);
    t.ns = (int64_t)get(r, 8);
    r->bad = r->bad || t.pass < -1 || t.pass >= passes || t.turn < 0 || t.ns < 0;
    return t;
}

bool journal_get_pass(const uint8_t *p, size_t len, struct archive_pass *out)
{
    struct reader r = {p, len, false};
    *out = (struct archive_pass){.seconds = 0};
    get_text(&r, out->file, sizeof out->file);
    get_text(&r, out->from, sizeof out->from);
    get_text(&r, out->utc, sizeof out->utc);
    get_text(&r, out->detail, sizeof out->detail);
    get_text(&r, out->affirmed, sizeof out->affirmed);
    get_text(&r, out->checked, sizeof out->checked);
    get_text(&r, out->risk, sizeof out->risk);
    out->planned_first = count(&r);
    out->planned_last = count(&r);
    out->planned_sides = (uint8_t)get(&r, 1);
    r.bad = r.bad || out->planned_last >= ARCHIVE_CYLINDERS_MAX || out->planned_sides > 3;
    out->seconds = (double)(int64_t)get(&r, 8) / 1e6;
    out->print = get(&r, 8);
    return !r.bad && r.left == 0;
}

enum err journal_get_object(const uint8_t *p, size_t len, struct archive_object *out,
                            bool *good)
{
    struct reader r = {p, len, false};
    char text[INI_LINE_BYTES_MAX];
    for (size_t i = 0; i < ARCHIVE_OBJECT_KEYS; i++) {
        if (get(&r, 1) == 0)
            continue;
        get_text(&r, text, sizeof text);
        if (!r.bad)
            TRY(archive_object_set(out, i, text));
    }
    *good = !r.bad && r.left == 0;
    return ERR_OK;
}

/* The contents into room for them; NULL where there are none. */
static uint8_t *get_bytes(struct reader *r, size_t len, uint8_t room[FIELD_BYTES_MAX])
{
    uint64_t there = get(r, 1);
    const uint8_t *p = there == 1 ? take(r, len) : NULL;
    r->bad = r->bad || there > 1;
    if (p == NULL)
        return NULL;
    memcpy(room, p, len);
    return room;
}

/* Room for what a sector holds while it is read. */
struct contents {
    uint8_t bytes[FIELD_BYTES_MAX], rival[FIELD_BYTES_MAX];
};

static struct archive_sector get_sector(struct reader *r, int32_t passes, struct contents *c)
{
    struct archive_sector s = {.number = 0};
    const uint8_t *small = take(r, 7);
    if (small == NULL)
        return s;
    s = (struct archive_sector){.number = small[0],
                                .id_cylinder = small[1],
                                .id_side = small[2],
                                .size_code = small[3],
                                .mark = small[4],
                                .encoding = (enum encoding)small[5],
                                .content = (enum archive_content)small[6]};
    r->bad = r->bad || s.size_code > 6 || small[5] > ENC_UNSTEADY || small[6] > CONTENT_AGREED;
    s.seen = count(r);
    s.agreed = count(r);
    s.failed = count(r);
    s.contradicted = count(r);
    s.forced = (uint32_t)get(r, 4);
    s.changed = count(r);
    s.odds_false = (double)get(r, 4) / 1e9;
    s.first = get_turn(r, passes);
    s.second = get_turn(r, passes);
    s.last = get_turn(r, passes);
    s.rival_first = get_turn(r, passes);
    if (r->bad)
        return s;
    s.bytes = get_bytes(r, archive_sector_bytes(&s), c->bytes);
    s.rival = get_bytes(r, archive_sector_bytes(&s), c->rival);
    r->bad = r->bad || (s.bytes == NULL) != (s.content == CONTENT_NONE) ||
             (s.content == CONTENT_AGREED && s.agreed < 1);
    return s;
}

enum err journal_get_track(const uint8_t *p, size_t len, int32_t passes,
                           struct archive_tracks *tracks, bool *good)
{
    struct reader r = {p, len, false};
    struct contents contents;
    int32_t cylinder = (int32_t)(uint32_t)get(&r, 4);
    int32_t side = (int32_t)(uint32_t)get(&r, 4);
    struct archive_key key = archive_place(cylinder, side);
    struct archive_track *t = NULL;
    *good = false;
    if (cylinder < 0 || cylinder >= ARCHIVE_CYLINDERS_MAX || side < 0 || side > 1)
        return ERR_OK;
    TRY(archive_track_at(tracks, &key, &t));
    if (t == NULL)
        return ERR_OK;
    t->turns = (double)get(&r, 4) / TURNS_SCALE;
    uint64_t code = get(&r, 1);
    uint64_t sectors = get(&r, 2);
    if (r.bad || code > ENC_UNSTEADY || sectors > ARCHIVE_TRACK_SECTORS_MAX)
        return ERR_OK;
    t->code = (enum encoding)code;
    for (uint64_t i = 0; i < sectors; i++) {
        struct archive_sector s = get_sector(&r, passes, &contents);
        if (r.bad)
            return ERR_OK;
        TRY(archive_sector_merge(tracks, t, &s));
    }
    *good = r.left == 0 && t->count == sectors;
    return ERR_OK;
}
