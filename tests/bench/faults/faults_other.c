/* Copies of one file of the catalogue, changed: a fault left out, an end made commoner. */
#include "base/file.h"
#include "faults.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define FILE_MAX (1u << 20)

static enum err folder_make(const char *path, struct err_msg *e)
{
    return mkdir(path, 0777) == 0 || errno == EEXIST
               ? ERR_OK
               : err_set(e, ERR_CREATE, "%s: %s", path, strerror(errno));
}

static enum err read_original(const struct stock *s, const char *name, struct buf *text,
                              struct err_msg *e)
{
    char *path = NULL;
    buf_init(text, FILE_MAX);
    TRY(profile_file_find(s->path, "faults", name, &path, e));
    enum err err = file_read(path, text, e);
    free(path);
    return err;
}

static enum err write_changed(const char *folder, const char *name, const struct buf *text,
                              struct profile_path **out, struct err_msg *e)
{
    char path[600];
    struct out_file f = {0};
    TRY(folder_make(folder, e));
    snprintf(path, sizeof path, "%s/faults", folder);
    TRY(folder_make(path, e));
    snprintf(path, sizeof path, "%s/faults/%s.ini", folder, name);
    TRY(out_file_open(&f, path, true, e));
    bool whole = fwrite(text->data, 1, text->len, f.stream) == text->len;
    enum err err = whole ? out_file_commit(&f, e) : err_set(e, ERR_IO, "%s: not written", path);
    out_file_abort(&f);
    return err == ERR_OK ? profile_path_make(folder, out, e) : err;
}

/* Does the section that begins at `row` have this effect? */
static bool section_breaks(const struct stock *s, const char *row, const char *effect)
{
    size_t len = strcspn(row + 1, "]\n");
    for (size_t i = 0; i < s->sections; i++)
        if (strlen(s->listed[i].name) == len && strncmp(row + 1, s->listed[i].name, len) == 0)
            return strcmp(s->listed[i].effect, effect) == 0;
    return false;
}

enum err other_without(const struct stock *s, const char *fault, const char *folder,
                       struct profile_path **out, struct err_msg *e)
{
    const struct listed *l = stock_section(s, fault);
    struct buf from, to;
    bool dropped = false;
    if (l == NULL)
        return err_set(e, ERR_INTERNAL, "%s is in no section", fault);
    enum err err = read_original(s, end_name(l->end), &from, e);
    buf_init(&to, FILE_MAX);
    for (const char *row = from.data; err == ERR_OK && *row != '\0';) {
        size_t len = strcspn(row, "\n");
        len += row[len] == '\n';
        if (row[0] == '[')
            dropped = section_breaks(s, row, l->effect);
        if (!dropped)
            err = buf_add(&to, row, len);
        row += len;
    }
    if (err == ERR_OK)
        err = write_changed(folder, end_name(l->end), &to, out, e);
    buf_release(&from);
    buf_release(&to);
    return err;
}

enum err other_share(const struct stock *s, enum end end, double factor, const char *folder,
                     struct profile_path **out, struct err_msg *e)
{
    struct buf from, to;
    bool inside = false;
    enum err err = read_original(s, "ends", &from, e);
    buf_init(&to, FILE_MAX);
    for (const char *row = from.data; err == ERR_OK && *row != '\0';) {
        size_t len = strcspn(row, "\n");
        len += row[len] == '\n';
        if (row[0] == '[')
            inside = strncmp(row + 1, end_name(end), strlen(end_name(end))) == 0;
        if (inside && strncmp(row, "share = ", 8) == 0)
            err = buf_printf(&to, "share = %.4f\n", factor * strtod(row + 8, NULL));
        else
            err = buf_add(&to, row, len);
        row += len;
    }
    if (err == ERR_OK)
        err = write_changed(folder, "ends", &to, out, e);
    buf_release(&from);
    buf_release(&to);
    return err;
}
