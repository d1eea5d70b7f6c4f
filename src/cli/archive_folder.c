#include "cli/archive_folder.h"

#include "base/file.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

static void utc_now(char out[24])
{
    time_t now = time(NULL);
    struct tm tm = {0};
    if (gmtime_r(&now, &tm) == NULL || strftime(out, 24, "%Y-%m-%dT%H:%M:%SZ", &tm) == 0)
        out[0] = '\0';
}

struct archive_pass archive_pass_named(const char *file, const char *from)
{
    struct archive_pass p = {.seconds = 0};
    (void)snprintf(p.file, sizeof p.file, "%s", file);
    (void)snprintf(p.from, sizeof p.from, "%s", from);
    utc_now(p.utc);
    return p;
}

static enum err file_at(const char *folder, const char *name, char **out, struct err_msg *e)
{
    struct buf b;
    enum err code = path_join(&b, folder, name);
    if (code != ERR_OK) {
        buf_release(&b);
        return err_set(e, ERR_CREATE, "%s: the path is too long", folder);
    }
    *out = b.data; /* taken over */
    return ERR_OK;
}

static enum err folder_make(const char *path, struct err_msg *e)
{
    struct stat st;
    if (mkdir(path, 0777) == 0)
        return ERR_OK;
    if (errno == EEXIST && stat(path, &st) == 0 && S_ISDIR(st.st_mode))
        return ERR_OK;
    return err_set(e, ERR_CREATE, "%s: %s", path,
                   errno == EEXIST ? "not a folder" : strerror(errno));
}

static enum err nothing_there(const char *path, struct err_msg *e)
{
    struct stat st;
    if (lstat(path, &st) != 0)
        return ERR_OK;
    return err_set(e, ERR_CREATE, "%s: exists already; --replace overwrites it", path);
}

static enum err prepare(struct archive_folder *f, const struct args *a, struct err_msg *e)
{
    TRY(file_at(f->path, "disk.img", &f->image_path, e));
    TRY(file_at(f->path, "disk.json", &f->json_path, e));
    if (args_has(a, OPT_OBJECT))
        TRY(archive_object_read(args_value(a, OPT_OBJECT), &f->object, e));
    if (!f->replace) {
        TRY(nothing_there(f->image_path, e));
        TRY(nothing_there(f->json_path, e));
    }
    return folder_make(f->path, e);
}

enum err archive_folder_open(struct archive_folder *f, const struct args *a, struct err_msg *e)
{
    *f = (struct archive_folder){.path = args_value(a, OPT_OUTPUT),
                                 .replace = args_has(a, OPT_REPLACE)};
    utc_now(f->utc);
    enum err code = prepare(f, a, e);
    if (code != ERR_OK)
        archive_folder_close(f);
    return code;
}

static struct archive_view view_of(const struct archive_folder *f)
{
    return (struct archive_view){.archive = &f->archive,
                                 .layout = &f->layout,
                                 .object = &f->object,
                                 .folder = f->path,
                                 .utc = f->utc,
                                 .image = f->image,
                                 .volume = &f->volume};
}

static enum err out_of_memory(enum err code, struct err_msg *e)
{
    return code == ERR_OK ? ERR_OK : err_set(e, code, "%s", err_text(code));
}

static enum err put(struct out_file *o, const void *bytes, size_t len, struct err_msg *e)
{
    if (len > 0 && fwrite(bytes, 1, len, o->stream) != len)
        return err_set(e, ERR_IO, "%s: %s", o->path, strerror(errno));
    return ERR_OK;
}

/* Both are written aside first, so that what fails for lack of room leaves no half. */
static enum err write_both(struct archive_folder *f, const struct buf *json, struct err_msg *e)
{
    struct out_file image = {0};
    struct out_file map = {0};
    bool any = f->layout.count > 0;
    enum err code = out_file_open(&map, f->json_path, f->replace, e);
    if (code == ERR_OK && any)
        code = out_file_open(&image, f->image_path, f->replace, e);
    if (code == ERR_OK)
        code = put(&map, json->data, json->len, e);
    if (code == ERR_OK && any)
        code = put(&image, f->image, f->layout.bytes, e);
    if (code == ERR_OK && any)
        code = out_file_commit(&image, e);
    if (code == ERR_OK)
        code = out_file_commit(&map, e);
    out_file_abort(&image);
    out_file_abort(&map);
    return code;
}

#define JSON_BYTES_MAX ((size_t)256 << 20)

static enum err lay_out(struct archive_folder *f, const struct archive_extent *least)
{
    struct fat_image image = {.bytes = NULL};
    uint8_t *state = NULL;
    archive_layout_release(&f->layout);
    fat_release(&f->volume);
    free(f->image);
    f->image = NULL;
    TRY(archive_layout_make(&f->archive, least, &f->layout));
    TRY(archive_image(&f->layout, &f->image));
    TRY(fat_states(&f->layout, &state));
    image = (struct fat_image){f->image, f->layout.bytes, state};
    enum err code = fat_read(&image, &f->volume);
    free(state);
    return code;
}

/* A volume on the disk may say that there is more of it than was read. */
static enum err lay_out_all(struct archive_folder *f)
{
    struct archive_extent least = {0, 0};
    TRY(lay_out(f, &least));
    least = fat_extent(&f->volume, &f->layout);
    if (least.cylinders > f->layout.cylinders || least.sides > f->layout.sides)
        return lay_out(f, &least);
    return ERR_OK;
}

enum err archive_folder_write(struct archive_folder *f, struct err_msg *e)
{
    struct archive_view v;
    struct buf json;
    TRY(out_of_memory(lay_out_all(f), e));
    v = view_of(f);
    buf_init(&json, JSON_BYTES_MAX);
    enum err code = out_of_memory(report_archive_json(&v, &json), e);
    if (code == ERR_OK)
        code = write_both(f, &json, e);
    buf_release(&json);
    return code;
}

enum err archive_folder_say(struct archive_folder *f, const struct args *a, struct answer *r)
{
    struct archive_view v = view_of(f);
    struct text_style style = style_of(a);
    r->status = archive_complete(&v) ? EXIT_SUCCESS : EXIT_UNDECIDED;
    return args_has(a, OPT_JSON) ? report_archive_json(&v, &r->out)
                                 : report_archive_text(&v, &style, &r->out);
}

void archive_folder_close(struct archive_folder *f)
{
    free(f->image_path);
    free(f->json_path);
    free(f->image);
    archive_layout_release(&f->layout);
    fat_release(&f->volume);
    archive_object_release(&f->object);
    archive_release(&f->archive);
    *f = (struct archive_folder){.path = NULL};
}
