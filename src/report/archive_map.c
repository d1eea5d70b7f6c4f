#include "report/archive_map.h"

#include "base/file.h"
#include "report/archive.h"
#include "report/json.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DOCUMENT_BYTES_MAX ((size_t)256 << 20)
#define NUMBER_MAX         1000000

static void text_from(const json_t *o, const char *key, char *out, size_t room)
{
    const char *s = json_string_value(json_object_get(o, key));
    (void)snprintf(out, room, "%s", s != NULL ? s : "");
}

/* A number of 0 to NUMBER_MAX; false where it is none. */
static bool count_from(const json_t *o, const char *key, int32_t *out)
{
    const json_t *n = json_object_get(o, key);
    json_int_t v = json_integer_value(n);
    *out = v < 0 || v > NUMBER_MAX ? 0 : (int32_t)v;
    return json_is_integer(n) && v >= 0 && v <= NUMBER_MAX;
}

static bool known_state(const char *state)
{
    static const char *const words[] = {"good", "repaired", "damaged", "absent"};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        if (strcmp(words[i], state) == 0) {
            return true;
        }
    }
    return false;
}

static bool sector_from(const json_t *o, struct archived_sector *s)
{
    text_from(o, "state", s->state, sizeof s->state);
    s->sure = json_is_true(json_object_get(o, "sure"));
    return count_from(o, "cylinder", &s->cylinder) && count_from(o, "side", &s->side) &&
           count_from(o, "sector", &s->number) && known_state(s->state);
}

/* The list goes by cylinder, side and number. */
static bool behind(const struct archived_sector *a, const struct archived_sector *b)
{
    if (a->cylinder != b->cylinder) {
        return a->cylinder > b->cylinder;
    }
    return a->side != b->side ? a->side > b->side : a->number > b->number;
}

static void object_from(const json_t *object, struct archive_map *m)
{
    for (size_t i = 0; i < ARCHIVE_OBJECT_KEYS && m->told_count < ARCHIVED_TOLD_MAX; i++) {
        struct archived_told *t = &m->told[m->told_count];
        text_from(object, ARCHIVE_OBJECT_KEY[i].key, t->value, sizeof t->value);
        (void)snprintf(t->key, sizeof t->key, "%s", ARCHIVE_OBJECT_KEY[i].key);
        m->told_count += t->value[0] != '\0';
    }
}

static void passes_from(const json_t *passes, struct archive_map *m)
{
    char risk[200];
    m->passes = json_array_size(passes);
    while (m->pass_count < m->passes && m->pass_count < ARCHIVED_PASSES_MAX) {
        const json_t *o = json_array_get(passes, m->pass_count);
        struct archived_told *t = &m->pass[m->pass_count++];
        text_from(o, "utc", t->key, sizeof t->key);
        text_from(o, "file", t->value, sizeof t->value);
        text_from(o, "risk", risk, sizeof risk);
        if (risk[0] != '\0') {
            size_t at = strlen(t->value);
            (void)snprintf(t->value + at, sizeof t->value - at, "; risk accepted: %s", risk);
        }
    }
}

/* true where it touches what is not good, or is not sure. */
static bool file_from(const json_t *o, struct archived_file *f)
{
    *f = (struct archived_file){.folder = json_is_true(json_object_get(o, "folder"))};
    text_from(o, "path", f->path, sizeof f->path);
    text_from(o, "problem", f->problem, sizeof f->problem);
    f->entry_good = json_is_true(json_object_get(o, "entry_good"));
    f->bytes = json_integer_value(json_object_get(o, "bytes"));
    (void)count_from(o, "repaired", &f->repaired);
    (void)count_from(o, "damaged", &f->damaged);
    (void)count_from(o, "absent", &f->absent);
    return f->repaired + f->damaged + f->absent > 0 || f->problem[0] != '\0' || !f->entry_good;
}

static void volume_from(const json_t *volume, struct archive_map *m)
{
    const json_t *files = json_object_get(volume, "files");
    text_from(volume, "format", m->volume, sizeof m->volume);
    text_from(volume, "label", m->label, sizeof m->label);
    m->tables_agree = json_is_true(json_object_get(volume, "tables_agree"));
    m->files = json_array_size(files);
    for (size_t i = 0; i < m->files; i++) {
        struct archived_file f;
        if (file_from(json_array_get(files, i), &f)) {
            m->files_touched++;
            if (m->file_count < ARCHIVED_FILES_MAX) {
                m->file[m->file_count++] = f;
            }
        }
    }
}

static enum err sectors_from(const json_t *sectors, const char *path, struct archive_map *m,
                             struct err_msg *e)
{
    size_t count = json_array_size(sectors);
    if (count > ARCHIVED_SECTORS_MAX) {
        return err_set(e, ERR_FORMAT, "%s: more than %d sectors", path, ARCHIVED_SECTORS_MAX);
    }
    m->sector = calloc(count + 1, sizeof m->sector[0]);
    if (m->sector == NULL) {
        return err_set(e, ERR_MEMORY, "%s: out of memory", path);
    }
    for (; m->sector_count < count; m->sector_count++) {
        struct archived_sector *at = &m->sector[m->sector_count];
        if (!sector_from(json_array_get(sectors, m->sector_count), at) ||
            (m->sector_count > 0 && !behind(at, at - 1))) {
            return err_set(e, ERR_FORMAT, "%s: sector %zu of the list is damaged", path,
                           m->sector_count + 1);
        }
    }
    return ERR_OK;
}

static enum err map_from(const json_t *root, const char *path, struct archive_map *m,
                         struct err_msg *e)
{
    const char *schema = json_string_value(json_object_get(root, "schema"));
    const json_t *geometry = json_object_get(root, "geometry");
    const json_t *image = json_object_get(root, "image");
    if (schema == NULL || strcmp(schema, ARCHIVE_SCHEMA) != 0) {
        return err_set(e, ERR_FORMAT, "%s: no disk.json of whichend archive", path);
    }
    m->complete = json_is_true(json_object_get(root, "complete"));
    text_from(root, "utc", m->utc, sizeof m->utc);
    text_from(image, "crc32", m->crc32, sizeof m->crc32);
    m->bytes = json_integer_value(json_object_get(image, "bytes"));
    (void)count_from(geometry, "cylinders", &m->cylinders);
    (void)count_from(geometry, "sides", &m->sides);
    m->outside = json_array_size(json_object_get(root, "outside"));
    object_from(json_object_get(root, "object"), m);
    passes_from(json_object_get(root, "passes"), m);
    volume_from(json_object_get(root, "volume"), m);
    return sectors_from(json_object_get(root, "sectors"), path, m, e);
}

enum err archive_map_read(const char *path, struct archive_map *out, struct err_msg *e)
{
    struct buf text;
    json_error_t why;
    *out = (struct archive_map){.complete = false};
    buf_init(&text, DOCUMENT_BYTES_MAX);
    enum err err = file_read(path, &text, e);
    json_t *root = NULL;
    if (err == ERR_OK) {
        root = json_loadb(text.data != NULL ? text.data : "", text.len, JSON_REJECT_DUPLICATES,
                          &why);
        err = root != NULL ? map_from(root, path, out, e)
                           : err_set(e, ERR_FORMAT, "%s:%d: %s", path, why.line, why.text);
    }
    if (err != ERR_OK) {
        archive_map_release(out);
    }
    json_decref(root);
    buf_release(&text);
    return err;
}

void archive_map_release(struct archive_map *m)
{
    free(m->sector);
    *m = (struct archive_map){.complete = false};
}
