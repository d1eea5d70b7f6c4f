#include "cli/archive_folder.h"

#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

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

enum err archive_folder_file(const struct archive_folder *f, const char *name, char **out,
                             struct err_msg *e)
{
    struct buf b;
    enum err code = path_join(&b, f->path, name);
    if (code != ERR_OK) {
        buf_release(&b);
        return err_set(e, ERR_CREATE, "%s: the path is too long", f->path);
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

/* Held until the program ends, however it does. */
static enum err folder_lock(struct archive_folder *f, struct err_msg *e)
{
    f->lock = open(f->path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (f->lock < 0)
        return err_set(e, ERR_CREATE, "%s: %s", f->path, strerror(errno));
    if (flock(f->lock, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK)
        return err_set(e, ERR_CREATE, "%s: another archive is being written there", f->path);
    return ERR_OK; /* a file system without locks */
}

static bool is_there(const char *path)
{
    struct stat st;
    return lstat(path, &st) == 0;
}

static enum err nothing_there(const struct archive_folder *f, struct err_msg *e)
{
    static const char *const own[] = {"disk.img", "disk.json", "disk.part", "disk.wec"};
    for (size_t i = 0; i < sizeof own / sizeof own[0]; i++) {
        char *path = NULL;
        TRY(archive_folder_file(f, own[i], &path, e));
        bool there = is_there(path);
        if (there)
            (void)err_set(e, ERR_CREATE,
                          "%s: exists already; --resume goes on with what is there, --replace "
                          "overwrites it",
                          path);
        free(path);
        if (there)
            return ERR_CREATE;
    }
    return ERR_OK;
}

#define FILE_BYTES_MAX ((size_t)256 << 20)

static enum err load_written(struct archive_folder *f, struct err_msg *e)
{
    struct buf json;
    struct buf image;
    size_t lost = 0;
    buf_init(&json, FILE_BYTES_MAX);
    buf_init(&image, FILE_BYTES_MAX);
    enum err code = file_read(f->json_path, &json, e);
    if (code == ERR_OK && is_there(f->image_path))
        code = file_read(f->image_path, &image, e);
    if (code == ERR_OK)
        code = archive_json_read(f->json_path, json.data, json.len, (const uint8_t *)image.data,
                                 image.len, &f->archive, &lost, e);
    buf_release(&json);
    buf_release(&image);
    if (code == ERR_OK && lost > 0)
        code = archive_warn(&f->archive,
                            "%zu sectors of disk.img are not what disk.json says: taken for "
                            "never read",
                            lost);
    return code;
}

/* A journal holds more than image and map: it is there only while they are behind. */
static enum err load(struct archive_folder *f, struct err_msg *e)
{
    bool cut = false;
    if (is_there(f->part_path))
        return journal_read(f->part_path, &f->archive, &cut, e);
    return is_there(f->json_path) ? load_written(f, e) : ERR_OK;
}

static enum err prepare(struct archive_folder *f, const struct args *a, struct err_msg *e)
{
    bool resume = args_has(a, OPT_RESUME);
    if (resume && f->replace)
        return err_set(e, ERR_USAGE, "--resume goes on with what --replace would overwrite");
    TRY(archive_folder_file(f, "disk.img", &f->image_path, e));
    TRY(archive_folder_file(f, "disk.json", &f->json_path, e));
    TRY(archive_folder_file(f, "disk.part", &f->part_path, e));
    if (!f->replace && !resume)
        TRY(nothing_there(f, e));
    TRY(folder_make(f->path, e));
    TRY(folder_lock(f, e));
    f->replace = f->replace || resume;
    return resume ? load(f, e) : ERR_OK;
}

enum err archive_folder_open(struct archive_folder *f, const struct args *a, struct err_msg *e)
{
    *f = (struct archive_folder){
        .path = args_value(a, OPT_OUTPUT), .lock = -1, .replace = args_has(a, OPT_REPLACE)};
    struct archive_object told = {{NULL}};
    utc_now(f->utc);
    if (args_has(a, OPT_OBJECT))
        TRY(archive_object_read(args_value(a, OPT_OBJECT), &told, e));
    enum err code = prepare(f, a, e);
    if (code != ERR_OK) {
        archive_object_release(&told);
        archive_folder_close(f);
        return code;
    }
    if (args_has(a, OPT_OBJECT)) { /* in place of what was told before */
        archive_object_release(&f->archive.object);
        f->archive.object = told;
    }
    return ERR_OK;
}

enum err archive_folder_keep(struct archive_folder *f, struct err_msg *e)
{
    journal_close(&f->journal);
    return journal_begin(&f->journal, f->part_path, &f->archive, e);
}

bool archive_folder_own(const struct archive_folder *f, const char *capture)
{
    char *real = realpath(capture, NULL);
    bool own = false;
    for (size_t i = 0; real != NULL && !own && i < f->archive.pass_count; i++) {
        const struct archive_pass *p = &f->archive.pass[i];
        char *path = NULL;
        if (strcmp(p->from, "adapter") != 0 ||
            archive_folder_file(f, p->file, &path, NULL) != ERR_OK)
            continue;
        char *kept = realpath(path, NULL);
        own = kept != NULL && strcmp(real, kept) == 0;
        free(kept);
        free(path);
    }
    free(real);
    return own;
}

static struct archive_view view_of(const struct archive_folder *f)
{
    return (struct archive_view){.archive = &f->archive,
                                 .layout = &f->layout,
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
    TRY(archive_folder_keep(f, e));
    buf_init(&json, FILE_BYTES_MAX);
    enum err code = out_of_memory(report_archive_json(&v, &json), e);
    if (code == ERR_OK)
        code = write_both(f, &json, e);
    buf_release(&json);
    journal_close(&f->journal);
    if (code == ERR_OK && unlink(f->part_path) != 0)
        code = err_set(e, ERR_IO, "%s: %s", f->part_path, strerror(errno));
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
    free(f->part_path);
    free(f->image);
    journal_close(&f->journal);
    if (f->lock >= 0)
        (void)close(f->lock);
    archive_layout_release(&f->layout);
    fat_release(&f->volume);
    archive_release(&f->archive);
    *f = (struct archive_folder){.path = NULL, .lock = -1};
}
