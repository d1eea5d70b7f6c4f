/* disk.json. */
#include "archive/archive.h"
#include "report/archive.h"
#include "report/archive_volume.h"
#include "report/json.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

bool archive_complete(const struct archive_view *v)
{
    struct archive_totals t = archive_count(v->layout);
    return t.sectors > 0 && t.state[FIELD_GOOD] == t.sectors;
}

static json_t *crc_json(const uint8_t *bytes, size_t len)
{
    char text[16];
    (void)snprintf(text, sizeof text, "%08" PRIx32, archive_crc32(bytes, len));
    return json_text(text);
}

static json_t *object_json(const struct archive_object *o, bool *failed)
{
    json_t *j = json_object();
    for (size_t i = 0; i < ARCHIVE_OBJECT_KEYS; i++)
        json_put(j, ARCHIVE_OBJECT_KEY[i].key, json_text(o->value[i]), failed);
    return j;
}

static json_t *image_json(const struct archive_view *v, bool *failed)
{
    json_t *j = json_object();
    if (v->layout->count == 0) {
        json_decref(j);
        return json_null();
    }
    json_put(j, "file", json_text("disk.img"), failed);
    json_put(j, "bytes", json_integer((json_int_t)v->layout->bytes), failed);
    json_put(j, "crc32", crc_json(v->image, v->layout->bytes), failed);
    json_put(j, "order", json_text("cylinder, side, sector number"), failed);
    return j;
}

static json_t *geometry_json(const struct archive_layout *l, bool *failed)
{
    bool u = l->uniform;
    json_t *j = json_object();
    json_put(j, "cylinders", json_integer(l->cylinders), failed);
    json_put(j, "sides", json_integer(l->sides), failed);
    json_put(j, "uniform", json_boolean(u), failed);
    json_put(j, "sectors", u ? json_integer(l->sectors) : json_null(), failed);
    json_put(j, "first_sector", u ? json_integer(l->first_number) : json_null(), failed);
    json_put(j, "sector_bytes", u ? json_integer(128 << l->size_code) : json_null(), failed);
    json_put(j, "encoding", u ? json_text(encoding_name(l->encoding)) : json_null(), failed);
    return j;
}

static json_t *totals_json(const struct archive_layout *l, bool *failed)
{
    struct archive_totals t = archive_count(l);
    json_t *j = json_object();
    json_put(j, "sectors", json_integer(t.sectors), failed);
    json_put(j, "good", json_integer(t.state[FIELD_GOOD]), failed);
    json_put(j, "sure", json_integer(t.sure), failed);
    json_put(j, "repaired", json_integer(t.state[FIELD_REPAIRED]), failed);
    json_put(j, "damaged", json_integer(t.state[FIELD_DAMAGED]), failed);
    json_put(j, "absent", json_integer(t.state[FIELD_ABSENT]), failed);
    json_put(j, "outside", json_integer((json_int_t)l->outside_count), failed);
    return j;
}

static json_t *fills_json(bool *failed)
{
    char text[80];
    json_t *j = json_object();
    (void)snprintf(text, sizeof text, "the text \"%s\", over and over", ARCHIVE_PATTERN);
    json_put(j, "absent", json_text(text), failed);
    json_put(j, "damaged",
             json_text("bytes of one turn, whose check bytes did not agree; where even those "
                       "lack, as absent"),
             failed);
    json_put(
        j, "repaired",
        json_text("bytes whose check bytes agree once cells were chosen by other turns, by "
                  "the code's rules or by the check bytes themselves"),
        failed);
    return j;
}

static json_t *planned_json(const struct archive_pass *p, bool *failed)
{
    json_t *j = json_object();
    if (p->planned_sides == 0) {
        json_decref(j);
        return json_null();
    }
    json_put(j, "first_cylinder", json_integer(p->planned_first), failed);
    json_put(j, "last_cylinder", json_integer(p->planned_last), failed);
    json_put(j, "side_0", json_boolean((p->planned_sides & 1) != 0), failed);
    json_put(j, "side_1", json_boolean((p->planned_sides & 2) != 0), failed);
    return j;
}

static json_t *passes_json(const struct archive *a, bool *failed)
{
    json_t *list = json_array();
    for (size_t i = 0; i < a->pass_count; i++) {
        const struct archive_pass *p = &a->pass[i];
        char print[20];
        json_t *j = json_object();
        (void)snprintf(print, sizeof print, "%016" PRIx64, p->print);
        json_put(j, "pass", json_integer((json_int_t)i + 1), failed);
        json_put(j, "from", json_text(p->from), failed);
        json_put(j, "file", json_text(p->file), failed);
        json_put(j, "utc", json_text(p->utc), failed);
        json_put(j, "detail", json_text(p->detail), failed);
        json_put(j, "planned", planned_json(p, failed), failed);
        json_put(j, "affirmed", json_text(p->affirmed), failed);
        json_put(j, "checked", json_text(p->checked), failed);
        json_put(j, "risk", p->risk[0] != '\0' ? json_text(p->risk) : json_null(), failed);
        json_put(j, "seconds", json_number(p->seconds, 6), failed);
        json_put(j, "print", json_text(print), failed);
        json_push(list, j, failed);
    }
    return list;
}

static json_t *turn_json(const struct archive_turn *t, bool *failed)
{
    json_t *j = json_object();
    if (t->pass < 0) {
        json_decref(j);
        return json_null();
    }
    json_put(j, "pass", json_integer(t->pass + 1), failed);
    json_put(j, "turn", json_integer(t->turn), failed);
    json_put(j, "at_s", json_number((double)t->ns * 1e-9, 9), failed);
    return j;
}

static json_t *hex_json(const uint8_t *bytes, size_t len)
{
    static const char digit[] = "0123456789abcdef";
    char *text = malloc(2 * len + 1);
    if (text == NULL)
        return NULL;
    for (size_t i = 0; i < len; i++) {
        text[2 * i] = digit[bytes[i] >> 4];
        text[2 * i + 1] = digit[bytes[i] & 15];
    }
    text[2 * len] = '\0';
    json_t *j = json_string(text);
    free(text);
    return j;
}

static void history_json(const struct archive_sector *s, json_t *j, bool *failed)
{
    json_t *read = json_array();
    if (s->first.pass >= 0)
        json_push(read, turn_json(&s->first, failed), failed);
    if (s->second.pass >= 0)
        json_push(read, turn_json(&s->second, failed), failed);
    json_put(j, "id_cylinder", json_integer(s->id_cylinder), failed);
    json_put(j, "id_side", json_integer(s->id_side), failed);
    json_put(j, "encoding", json_text(encoding_name(s->encoding)), failed);
    json_put(j, "mark", json_integer(s->mark), failed);
    json_put(j, "deleted", json_boolean(s->mark == 0xF8), failed);
    json_put(j, "seen", json_integer(s->seen), failed);
    json_put(j, "good", json_integer(s->agreed), failed);
    json_put(j, "failed", json_integer(s->failed), failed);
    json_put(j, "contradicted", json_integer(s->contradicted), failed);
    json_put(j, "forced", json_integer(s->forced), failed);
    json_put(j, "doubt",
             archive_sector_doubt(s)[0] != '\0' ? json_text(archive_sector_doubt(s))
                                                : json_null(),
             failed);
    if (s->content == CONTENT_REPAIRED) {
        json_put(j, "cells_changed", json_integer(s->changed), failed);
        json_put(j, "odds_false", json_number(s->odds_false, 6), failed);
    }
    json_put(j, "read", read, failed);
    if (s->rival != NULL) {
        json_put(j, "rival", hex_json(s->rival, archive_sector_bytes(s)), failed);
        json_put(j, "rival_read", turn_json(&s->rival_first, failed), failed);
    }
    json_put(j, "last", turn_json(&s->last, failed), failed);
}

static json_t *slot_json(const struct archive_view *v, const struct archive_slot *s,
                         bool *failed)
{
    static const char *const fill[] = {NULL, "as-read", "pattern"};
    size_t len = (size_t)128 << s->size_code;
    json_t *j = json_object();
    json_put(j, "cylinder", json_integer(s->cylinder), failed);
    json_put(j, "side", json_integer(s->side), failed);
    json_put(j, "sector", json_integer(s->number), failed);
    json_put(j, "size", json_integer((json_int_t)len), failed);
    json_put(j, "offset", json_integer((json_int_t)s->offset), failed);
    json_put(j, "state", json_text(field_state_name(archive_slot_state(s))), failed);
    json_put(j, "sure", json_boolean(s->sector != NULL && archive_sector_sure(s->sector)),
             failed);
    json_put(j, "fill", json_text(fill[archive_slot_fill(s)]), failed);
    json_put(j, "crc32", crc_json(v->image + s->offset, len), failed);
    if (s->sector != NULL)
        history_json(s->sector, j, failed);
    return j;
}

static json_t *outside_json(const struct archive_layout *l, bool *failed)
{
    json_t *list = json_array();
    for (size_t i = 0; i < l->outside_count; i++) {
        const struct archive_outside *o = &l->outside[i];
        json_t *j = json_object();
        json_put(j, "cylinder", json_integer(o->cylinder), failed);
        json_put(j, "side", json_integer(o->side), failed);
        json_put(j, "sector", json_integer(o->sector->number), failed);
        json_put(j, "size", json_integer(128 << o->sector->size_code), failed);
        json_put(j, "state", json_text(field_state_name(archive_sector_state(o->sector))),
                 failed);
        json_put(j, "why", json_text(o->why), failed);
        history_json(o->sector, j, failed);
        json_put(j, "data",
                 o->sector->bytes != NULL
                     ? hex_json(o->sector->bytes, archive_sector_bytes(o->sector))
                     : json_null(),
                 failed);
        json_push(list, j, failed);
    }
    return list;
}

static json_t *tracks_json(const struct archive *a, bool *failed)
{
    json_t *list = json_array();
    for (size_t i = 0; i < a->tracks.count; i++) {
        const struct archive_track *t = &a->tracks.track[i];
        json_t *j = json_object();
        json_put(j, "cylinder", json_integer(t->key.at[0]), failed);
        json_put(j, "side", json_integer(t->key.at[1]), failed);
        json_put(j, "turns", json_number(t->turns, 2), failed);
        json_put(j, "encoding", json_text(encoding_name(t->code)), failed);
        json_push(list, j, failed);
    }
    return list;
}

enum err report_archive_json(const struct archive_view *v, struct buf *out)
{
    bool failed = false;
    json_t *root = json_object();
    json_t *sectors = json_array();
    json_t *warnings = json_array();
    for (size_t i = 0; i < v->layout->count; i++)
        json_push(sectors, slot_json(v, &v->layout->slot[i], &failed), &failed);
    for (size_t i = 0; i < v->archive->warning_count; i++)
        json_push(warnings, json_text(v->archive->warning[i]), &failed);
    json_put(root, "schema", json_text(ARCHIVE_SCHEMA), &failed);
    json_put(root, "complete", json_boolean(archive_complete(v)), &failed);
    json_put(root, "utc", json_text(v->utc), &failed);
    json_put(root, "object", object_json(&v->archive->object, &failed), &failed);
    json_put(root, "image", image_json(v, &failed), &failed);
    json_put(root, "geometry", geometry_json(v->layout, &failed), &failed);
    json_put(root, "totals", totals_json(v->layout, &failed), &failed);
    json_put(root, "fills", fills_json(&failed), &failed);
    json_put(root, "passes", passes_json(v->archive, &failed), &failed);
    json_put(root, "tracks", tracks_json(v->archive, &failed), &failed);
    json_put(root, "sectors", sectors, &failed);
    json_put(root, "outside", outside_json(v->layout, &failed), &failed);
    json_put(root, "volume", archive_volume_json(v->volume, &failed), &failed);
    json_put(root, "warnings", warnings, &failed);
    return json_finish(root, failed, out);
}
