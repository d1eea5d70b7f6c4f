/* disk.json back into an archive, with the bytes of disk.img. Every number may have been
 * changed by anybody. */
#include "report/archive.h"
#include "report/json.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

struct reading {
    struct archive *a;
    const uint8_t *image;
    size_t image_len;
    size_t lost;
    const char *why; /* what is wrong */
};

static int64_t number(const json_t *o, const char *key, int64_t low, int64_t high,
                      struct reading *r)
{
    const json_t *v = json_object_get(o, key);
    int64_t n = json_is_integer(v) ? (int64_t)json_integer_value(v) : low;
    if (!json_is_integer(v) || n < low || n > high) {
        r->why = key;
        return low;
    }
    return n;
}

static void text(const json_t *o, const char *key, char *out, size_t room)
{
    const char *s = json_string_value(json_object_get(o, key));
    (void)snprintf(out, room, "%s", s != NULL ? s : "");
}

static uint64_t hex_value(const json_t *o, const char *key, struct reading *r)
{
    const char *s = json_string_value(json_object_get(o, key));
    char *end = NULL;
    errno = 0;
    uint64_t v = s != NULL ? strtoull(s, &end, 16) : 0;
    if (s == NULL || end == s || *end != '\0' || errno != 0)
        r->why = key;
    return v;
}

static int digit(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* Bytes of a text in hex; NULL where it has not just that length. Yours. */
static uint8_t *hex_bytes(const json_t *o, const char *key, size_t len)
{
    const char *s = json_string_value(json_object_get(o, key));
    uint8_t *out = s != NULL && strlen(s) == 2 * len ? malloc(len) : NULL;
    for (size_t i = 0; out != NULL && i < len; i++) {
        int high = digit(s[2 * i]);
        int low = digit(s[2 * i + 1]);
        if (high < 0 || low < 0) {
            free(out);
            return NULL;
        }
        out[i] = (uint8_t)(high << 4 | low);
    }
    return out;
}

static struct archive_turn turn(const json_t *o, struct reading *r)
{
    struct archive_turn t = {-1, 0, 0};
    if (!json_is_object(o))
        return t;
    t.pass = (int32_t)number(o, "pass", 1, (int64_t)r->a->pass_count, r) - 1;
    t.turn = (int32_t)number(o, "turn", 0, INT32_MAX, r);
    double s = json_number_value(json_object_get(o, "at_s"));
    t.ns = s >= 0 && s < 1e9 ? (int64_t)(s * 1e9 + 0.5) : 0;
    return t;
}

static enum encoding encoding(const json_t *o)
{
    const char *s = json_string_value(json_object_get(o, "encoding"));
    for (int i = ENC_NONE; s != NULL && i <= ENC_UNSTEADY; i++)
        if (strcmp(encoding_name((enum encoding)i), s) == 0)
            return (enum encoding)i;
    return ENC_NONE;
}

static uint8_t size_code(const json_t *o, struct reading *r)
{
    int64_t size = number(o, "size", 128, 8192, r);
    for (uint8_t code = 0; code <= 6; code++)
        if (size == (int64_t)128 << code)
            return code;
    r->why = "size";
    return 0;
}

static enum archive_content content_of(const json_t *o, const struct archive_sector *s)
{
    const char *state = json_string_value(json_object_get(o, "state"));
    if (s->agreed > 0)
        return CONTENT_AGREED;
    if (state != NULL && strcmp(state, "repaired") == 0)
        return CONTENT_REPAIRED;
    return state != NULL && strcmp(state, "damaged") == 0 ? CONTENT_AS_READ : CONTENT_NONE;
}

static struct archive_sector sector_of(const json_t *o, struct reading *r)
{
    const json_t *read = json_object_get(o, "read");
    struct archive_sector s = {.size_code = size_code(o, r), .encoding = encoding(o)};
    s.number = (uint8_t)number(o, "sector", 0, 255, r);
    s.id_cylinder = (uint8_t)number(o, "id_cylinder", 0, 255, r);
    s.id_side = (uint8_t)number(o, "id_side", 0, 255, r);
    s.mark = (uint8_t)number(o, "mark", 0, 255, r);
    s.seen = (int32_t)number(o, "seen", 0, INT32_MAX / 2, r);
    s.agreed = (int32_t)number(o, "good", 0, INT32_MAX / 2, r);
    s.failed = (int32_t)number(o, "failed", 0, INT32_MAX / 2, r);
    s.contradicted = (int32_t)number(o, "contradicted", 0, INT32_MAX / 2, r);
    s.forced = (uint32_t)number(o, "forced", 0, INT32_MAX, r);
    s.first = turn(json_array_get(read, 0), r);
    s.second = turn(json_array_get(read, 1), r);
    s.last = turn(json_object_get(o, "last"), r);
    s.rival_first = turn(json_object_get(o, "rival_read"), r);
    s.content = content_of(o, &s);
    if (s.content == CONTENT_REPAIRED) {
        s.changed = (int32_t)number(o, "cells_changed", 0, INT32_MAX, r);
        s.odds_false = json_number_value(json_object_get(o, "odds_false"));
    }
    return s;
}

static enum err keep(struct reading *r, const json_t *o, struct archive_sector *s)
{
    int32_t cylinder = (int32_t)number(o, "cylinder", 0, ARCHIVE_CYLINDERS_MAX - 1, r);
    int32_t side = (int32_t)number(o, "side", 0, 1, r);
    struct archive_key key = archive_place(cylinder, side);
    struct archive_track *track = NULL;
    uint8_t *rival = hex_bytes(o, "rival", archive_sector_bytes(s));
    enum err e = r->why == NULL ? archive_track_at(&r->a->tracks, &key, &track) : ERR_OK;
    s->rival = rival;
    if (e == ERR_OK && track != NULL)
        e = archive_sector_merge(&r->a->tracks, track, s);
    free(rival);
    return e;
}

/* One of "sectors": its bytes are in the image. */
static enum err in_image(struct reading *r, const json_t *o)
{
    if (json_object_get(o, "seen") == NULL)
        return ERR_OK; /* never read */
    struct archive_sector s = sector_of(o, r);
    size_t len = archive_sector_bytes(&s);
    size_t at = (size_t)number(o, "offset", 0, INT32_MAX, r);
    uint32_t crc = (uint32_t)hex_value(o, "crc32", r);
    if (r->why != NULL)
        return ERR_OK;
    bool held = at <= r->image_len && len <= r->image_len - at &&
                archive_crc32(r->image + at, len) == crc;
    if (!held) {
        r->lost++;
        return ERR_OK;
    }
    uint8_t *bytes = malloc(len);
    if (bytes == NULL)
        return ERR_MEMORY;
    memcpy(bytes, r->image + at, len);
    s.bytes = s.content != CONTENT_NONE ? bytes : NULL;
    enum err e = keep(r, o, &s);
    free(bytes);
    return e;
}

/* One of "outside": its bytes stand there. */
static enum err beside_image(struct reading *r, const json_t *o)
{
    struct archive_sector s = sector_of(o, r);
    if (r->why != NULL)
        return ERR_OK;
    uint8_t *bytes = hex_bytes(o, "data", archive_sector_bytes(&s));
    s.bytes = bytes;
    s.content = bytes != NULL ? s.content : CONTENT_NONE;
    enum err e = keep(r, o, &s);
    free(bytes);
    return e;
}

static void planned(struct reading *r, const json_t *o, struct archive_pass *p)
{
    if (!json_is_object(o))
        return;
    p->planned_first = (int32_t)number(o, "first_cylinder", 0, ARCHIVE_CYLINDERS_MAX - 1, r);
    p->planned_last = (int32_t)number(o, "last_cylinder", 0, ARCHIVE_CYLINDERS_MAX - 1, r);
    p->planned_sides = (uint8_t)((json_is_true(json_object_get(o, "side_0")) ? 1 : 0) |
                                 (json_is_true(json_object_get(o, "side_1")) ? 2 : 0));
}

static enum err pass(struct reading *r, const json_t *o)
{
    struct archive_pass p = {.print = hex_value(o, "print", r)};
    int32_t index = 0;
    text(o, "file", p.file, sizeof p.file);
    text(o, "from", p.from, sizeof p.from);
    text(o, "utc", p.utc, sizeof p.utc);
    text(o, "detail", p.detail, sizeof p.detail);
    text(o, "affirmed", p.affirmed, sizeof p.affirmed);
    text(o, "checked", p.checked, sizeof p.checked);
    text(o, "risk", p.risk, sizeof p.risk);
    planned(r, json_object_get(o, "planned"), &p);
    p.seconds = json_number_value(json_object_get(o, "seconds"));
    return r->why == NULL ? archive_pass_add(r->a, &p, &index) : ERR_OK;
}

static enum err track(struct reading *r, const json_t *o)
{
    struct archive_track t = {.code = encoding(o)};
    struct archive_track *into = NULL;
    double turns = json_number_value(json_object_get(o, "turns"));
    t.key = archive_place((int32_t)number(o, "cylinder", 0, ARCHIVE_CYLINDERS_MAX - 1, r),
                          (int32_t)number(o, "side", 0, 1, r));
    t.turns = turns >= 0 && turns < 1e6 ? turns : 0;
    if (r->why != NULL)
        return ERR_OK;
    TRY(archive_track_at(&r->a->tracks, &t.key, &into));
    return into != NULL ? archive_track_merge(&r->a->tracks, into, &t) : ERR_OK;
}

static enum err each(struct reading *r, const json_t *root, const char *key,
                     enum err (*take)(struct reading *r, const json_t *o))
{
    const json_t *list = json_object_get(root, key);
    if (!json_is_array(list)) {
        r->why = key;
        return ERR_OK;
    }
    for (size_t i = 0; r->why == NULL && i < json_array_size(list); i++)
        TRY(take(r, json_array_get(list, i)));
    return ERR_OK;
}

static enum err warning(struct reading *r, const json_t *o)
{
    const char *s = json_string_value(o);
    return s != NULL ? archive_warn(r->a, "%s", s) : ERR_OK;
}

static enum err object(const json_t *root, struct archive_object *out)
{
    const json_t *o = json_object_get(root, "object");
    for (size_t i = 0; i < ARCHIVE_OBJECT_KEYS; i++) {
        const char *s = json_string_value(json_object_get(o, ARCHIVE_OBJECT_KEY[i].key));
        if (s != NULL)
            TRY(archive_object_set(out, i, s));
    }
    return ERR_OK;
}

static enum err all(struct reading *r, const json_t *root)
{
    const char *schema = json_string_value(json_object_get(root, "schema"));
    if (schema == NULL || strcmp(schema, ARCHIVE_SCHEMA) != 0) {
        r->why = "schema";
        return ERR_OK;
    }
    TRY(each(r, root, "passes", pass));
    TRY(each(r, root, "tracks", track));
    TRY(each(r, root, "sectors", in_image));
    TRY(each(r, root, "outside", beside_image));
    TRY(each(r, root, "warnings", warning));
    return object(root, &r->a->object);
}

enum err archive_json_read(const char *name, const char *json, size_t json_len,
                           const uint8_t *image, size_t image_len, struct archive *a,
                           size_t *out_lost, struct err_msg *e)
{
    struct reading r = {.a = a, .image = image, .image_len = image_len};
    json_error_t bad;
    json_t *root = json_loadb(json, json_len, 0, &bad);
    if (root == NULL)
        return err_set(e, ERR_FORMAT, "%s:%d: %s", name, bad.line, bad.text);
    enum err err = all(&r, root);
    json_decref(root);
    if (err != ERR_OK)
        return err_set(e, err, "%s: %s", name, err_text(err));
    if (r.why != NULL)
        return err_set(e, ERR_FORMAT, "%s: its %s is not what an archive has", name, r.why);
    *out_lost = r.lost;
    return ERR_OK;
}
