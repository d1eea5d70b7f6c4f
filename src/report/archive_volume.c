#include "report/archive_volume.h"

#include "report/text.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define HANG       12
#define STAMP_MAX  24
#define LISTED_MAX 24 /* without --verbose, beside those that are touched */

/* "2031-03-01 12:30" of an entry's date and time; "" where it has none. Source: ECMA-107,
 * directory entries. */
static const char *stamp(const struct fat_file *f, char out[STAMP_MAX])
{
    out[0] = '\0';
    if (f->date != 0)
        (void)snprintf(out, STAMP_MAX, "%04d-%02d-%02d %02d:%02d", 1980 + (f->date >> 9),
                       f->date >> 5 & 15, f->date & 31, f->time >> 11, f->time >> 5 & 63);
    return out;
}

static json_t *file_json(const struct fat_file *f, bool *failed)
{
    char text[STAMP_MAX];
    json_t *j = json_object();
    json_put(j, "path", json_text(f->path), failed);
    json_put(j, "folder", json_boolean(f->folder), failed);
    json_put(j, "bytes", f->folder ? json_null() : json_integer(f->bytes), failed);
    json_put(j, "stamp", stamp(f, text)[0] != '\0' ? json_text(text) : json_null(), failed);
    json_put(j, "clusters", json_integer(f->clusters), failed);
    json_put(j, "entry_good", json_boolean(f->entry_good), failed);
    json_put(j, "good", json_integer(f->touched[FIELD_GOOD]), failed);
    json_put(j, "repaired", json_integer(f->touched[FIELD_REPAIRED]), failed);
    json_put(j, "damaged", json_integer(f->touched[FIELD_DAMAGED]), failed);
    json_put(j, "absent", json_integer(f->touched[FIELD_ABSENT]), failed);
    json_put(j, "problem", json_text(f->problem), failed);
    return j;
}

json_t *archive_volume_json(const struct fat_volume *v, bool *failed)
{
    json_t *j = NULL;
    json_t *files = NULL;
    if (v->bits == 0)
        return json_null();
    j = json_object();
    files = json_array();
    for (size_t i = 0; i < v->count; i++)
        json_push(files, file_json(&v->file[i], failed), failed);
    json_put(j, "format", json_text(v->bits == 12 ? "FAT12" : "FAT16"), failed);
    json_put(j, "label", json_text(v->label), failed);
    json_put(j, "sectors", json_integer(v->sectors), failed);
    json_put(j, "sector_bytes", json_integer(v->sector_bytes), failed);
    json_put(j, "cluster_bytes", json_integer((json_int_t)v->cluster_sectors * v->sector_bytes),
             failed);
    json_put(j, "image_holds_all", json_boolean(!v->short_image), failed);
    json_put(j, "tables", json_integer(v->tables), failed);
    json_put(j, "tables_agree", json_boolean(v->differ == 0), failed);
    json_put(j, "entries_differ", json_integer(v->differ), failed);
    json_put(j, "entries_differ_in_good_sectors", json_integer(v->differ_good), failed);
    json_put(j, "clusters", json_integer(v->clusters), failed);
    json_put(j, "used", json_integer(v->used), failed);
    json_put(j, "free", json_integer(v->free), failed);
    json_put(j, "bad", json_integer(v->bad), failed);
    json_put(j, "lost", json_integer(v->lost), failed);
    json_put(j, "truncated", json_boolean(v->truncated), failed);
    json_put(j, "files", files, failed);
    return j;
}

static enum err tables(const struct fat_volume *v, struct buf *out)
{
    if (v->tables < 2)
        return text_wrap(out, 0, "tables", HANG, "one alone: nothing to hold it against");
    if (v->differ == 0)
        return text_wrap(out, 0, "tables", HANG, "both agree");
    return text_wrapf(out, 0, "tables", HANG,
                      "%" PRId64 " entries differ, %" PRId64
                      " of them in good sectors of both; each entry is taken from the better "
                      "sector",
                      v->differ, v->differ_good);
}

static enum err file_line(const struct fat_file *f, struct buf *out)
{
    char when[STAMP_MAX];
    char bytes[TEXT_COUNT_MAX];
    char note[160];
    size_t at = 0;
    static const char *const word[] = {"absent", "damaged", "repaired"};
    note[0] = '\0';
    for (int s = FIELD_ABSENT; s < FIELD_GOOD; s++)
        if (f->touched[s] > 0)
            at += (size_t)snprintf(note + at, sizeof note - at, "%s%" PRId32 " %s",
                                   at > 0 ? ", " : "  touches ", f->touched[s], word[s]);
    if (f->problem != NULL)
        at += (size_t)snprintf(note + at, sizeof note - at, "%s%s", at > 0 ? "; " : "  ",
                               f->problem);
    if (!f->entry_good)
        (void)snprintf(note + at, sizeof note - at, "%sits entry is not sure",
                       at > 0 ? "; " : "  ");
    return buf_printf(out, "  %12s  %-16s  %s%s%s\n",
                      f->folder ? "folder" : text_count((int64_t)f->bytes, bytes),
                      stamp(f, when), f->path, f->folder ? "/" : "", note);
}

static enum err files(const struct fat_volume *v, const struct text_style *st, struct buf *out)
{
    size_t sound = 0;
    size_t left_out = 0;
    for (size_t i = 0; i < v->count; i++) {
        bool touched = fat_file_touched(&v->file[i]);
        if (!touched && !st->verbose && sound++ >= LISTED_MAX) {
            left_out++;
            continue;
        }
        TRY(file_line(&v->file[i], out));
    }
    if (left_out > 0)
        TRY(text_wrapf(out, 2, "", 2,
                       "and %zu that touch good sectors only: --verbose, or disk.json",
                       left_out));
    return ERR_OK;
}

enum err archive_volume_text(const struct fat_volume *v, const struct text_style *st,
                             struct buf *out)
{
    size_t touched = 0;
    size_t folders = 0;
    char count[TEXT_COUNT_MAX];
    if (v->bits == 0)
        return ERR_OK;
    for (size_t i = 0; i < v->count; i++) {
        touched += fat_file_touched(&v->file[i]);
        folders += v->file[i].folder;
    }
    TRY(text_heading(out, st, "the volume on it"));
    TRY(text_wrapf(out, 0, "volume", HANG, "FAT%d%s%s, %s sectors%s", v->bits,
                   v->label[0] != '\0' ? ", " : "", v->label, text_count(v->sectors, count),
                   v->short_image ? ", more than the disk's tracks that were read" : ""));
    TRY(tables(v, out));
    TRY(text_wrapf(out, 0, "files", HANG, "%zu, in %zu folder%s; %zu touch what is not good%s",
                   v->count - folders, folders + 1, folders == 0 ? "" : "s", touched,
                   v->truncated ? "; more than can be listed" : ""));
    if (v->lost > 0)
        TRY(text_wrapf(out, 0, "lost", HANG, "%u clusters in use belong to no file", v->lost));
    return files(v, st, out);
}
