#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum err read_all(int fd, const char *path, struct buf *out, struct err_msg *e)
{
    char chunk[65536];
    for (;;) {
        ssize_t n = read(fd, chunk, sizeof chunk);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return err_set(e, ERR_IO, "%s: %s", path, strerror(errno));
        if (n == 0)
            return buf_add(out, "", 0);
        /* A file may grow while it is read. */
        if ((size_t)n > out->max - out->len)
            return err_set(e, ERR_FORMAT, "%s: larger than %zu bytes", path, out->max);
        TRY(buf_add(out, chunk, (size_t)n));
    }
}

enum err file_read(const char *path, struct buf *out, struct err_msg *e)
{
    /* O_NONBLOCK: opening a pipe by mistake must not wait for its other end. */
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0)
        return err_set(e, ERR_NO_INPUT, "%s: %s", path, strerror(errno));
    struct stat st;
    enum err r;
    if (fstat(fd, &st) != 0)
        r = err_set(e, ERR_IO, "%s: %s", path, strerror(errno));
    else if (!S_ISREG(st.st_mode))
        r = err_set(e, ERR_FORMAT, "%s: not a regular file", path);
    else if (st.st_size < 0 || (unsigned long long)st.st_size > out->max)
        r = err_set(e, ERR_FORMAT, "%s: larger than %zu bytes", path, out->max);
    else
        r = read_all(fd, path, out, e);
    close(fd);
    if (r == ERR_MEMORY)
        err_set(e, r, "%s: out of memory", path);
    return r;
}

/* The file to put in place: through links, so that a link stays a link. */
static enum err resolve_target(const char *path, bool replace, char **out, struct err_msg *e)
{
    struct stat st;
    bool exists = lstat(path, &st) == 0;
    if (exists && !replace)
        return err_set(e, ERR_CREATE, "%s: exists already", path);
    if (!exists && (path[0] == '\0' || path[strlen(path) - 1] == '/'))
        return err_set(e, ERR_CREATE, "\"%s\": not a file's name", path);
    char *target = exists ? realpath(path, NULL) : strdup(path);
    if (target == NULL)
        return err_set(e, ERR_CREATE, "%s: %s", path, strerror(errno));
    if (exists && (stat(target, &st) != 0 || !S_ISREG(st.st_mode))) {
        free(target);
        return err_set(e, ERR_CREATE, "%s: not a regular file", path);
    }
    *out = target;
    return ERR_OK;
}

/* Length of the folder part of a path, its slash included; 0 where there is none. */
static size_t folder_len(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash == NULL ? 0 : (size_t)(slash - path) + 1;
}

/* A new file of our own in the target's folder: renaming is whole only inside one file system.
 */
static enum err open_temp(struct out_file *f, struct err_msg *e)
{
    size_t folder = folder_len(f->path);
    size_t size = folder + 64;
    f->temp_path = malloc(size);
    if (f->temp_path == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", f->path);
    int fd = -1;
    for (int i = 0; i < 1000 && fd < 0; i++) {
        snprintf(f->temp_path, size, "%.*s.whichend-%ld-%d.part", (int)folder, f->path,
                 (long)getpid(), i);
        fd = open(f->temp_path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd < 0 && errno != EEXIST)
            break;
    }
    if (fd >= 0 && (f->stream = fdopen(fd, "wb")) != NULL)
        return ERR_OK;
    err_set(e, ERR_CREATE, "%s: %s", f->path, strerror(errno));
    if (fd >= 0) {
        close(fd);
        unlink(f->temp_path);
    }
    free(f->temp_path);
    f->temp_path = NULL;
    return ERR_CREATE;
}

enum err out_file_open(struct out_file *f, const char *path, bool replace, struct err_msg *e)
{
    *f = (struct out_file){.replace = replace};
    if (strlen(path) >= PATH_MAX)
        return err_set(e, ERR_CREATE, "the output's path is too long");
    TRY(resolve_target(path, replace, &f->path, e));
    enum err r = open_temp(f, e);
    if (r != ERR_OK)
        out_file_abort(f);
    return r;
}

/* Put the finished file in its place. Without leave to replace, a file that appeared meanwhile
 * stands. */
static int put_in_place(const struct out_file *f)
{
    if (f->replace)
        return rename(f->temp_path, f->path);
    if (renameat2(AT_FDCWD, f->temp_path, AT_FDCWD, f->path, RENAME_NOREPLACE) == 0)
        return 0;
    if (errno != EINVAL && errno != ENOSYS)
        return -1;
    /* A file system without that call: a link never replaces either. */
    if (link(f->temp_path, f->path) != 0)
        return -1;
    unlink(f->temp_path);
    return 0;
}

/* Make the new name itself last. The file is whole and in place already, so failing here is no
 * failure. */
static void sync_folder(const char *path)
{
    size_t len = folder_len(path);
    char *folder = len > 0 ? strndup(path, len) : strdup(".");
    int fd = folder == NULL ? -1 : open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0) {
        fsync(fd);
        close(fd);
    }
    free(folder);
}

static void temp_gone(struct out_file *f)
{
    free(f->temp_path);
    f->temp_path = NULL;
}

enum err out_file_appear(struct out_file *f, struct err_msg *e)
{
    if (fflush(f->stream) != 0 || ferror(f->stream))
        return err_set(e, ERR_IO, "%s: %s", f->path, strerror(errno));
    if (put_in_place(f) != 0)
        return err_set(e, ERR_CREATE, "%s: %s", f->path, strerror(errno));
    temp_gone(f);
    return ERR_OK;
}

enum err out_file_commit(struct out_file *f, struct err_msg *e)
{
    enum err r = ERR_OK;
    if (fflush(f->stream) != 0 || ferror(f->stream) || fsync(fileno(f->stream)) != 0)
        r = err_set(e, ERR_IO, "%s: %s", f->path, strerror(errno));
    if (fclose(f->stream) != 0 && r == ERR_OK)
        r = err_set(e, ERR_IO, "%s: %s", f->path, strerror(errno));
    f->stream = NULL;
    if (r == ERR_OK && f->temp_path != NULL && put_in_place(f) != 0)
        r = err_set(e, ERR_CREATE, "%s: %s", f->path, strerror(errno));
    if (r == ERR_OK) {
        sync_folder(f->path);
        temp_gone(f);
    }
    out_file_abort(f);
    return r;
}

void out_file_abort(struct out_file *f)
{
    if (f->stream != NULL)
        fclose(f->stream);
    if (f->temp_path != NULL)
        unlink(f->temp_path);
    free(f->temp_path);
    free(f->path);
    *f = (struct out_file){0};
}

enum err path_join(struct buf *out, const char *folder, const char *name)
{
    buf_init(out, PATH_MAX);
    size_t len = strlen(folder);
    bool slash = len > 0 && folder[len - 1] != '/';
    return buf_printf(out, "%s%s%s", folder, slash ? "/" : "", name);
}

static bool has_parent_part(const char *name)
{
    for (const char *p = name; *p != '\0';) {
        size_t len = strcspn(p, "/");
        if (len == 2 && p[0] == '.' && p[1] == '.')
            return true;
        p += len;
        p += strspn(p, "/");
    }
    return false;
}

/* true when the real place of `path` is `root` or below it; what does not exist leads nowhere.
 */
static bool resolves_inside(const char *root, const char *path, bool *exists)
{
    struct stat st;
    *exists = lstat(path, &st) == 0;
    if (!*exists)
        return errno == ENOENT || errno == ENOTDIR;
    char *real = realpath(path, NULL);
    if (real == NULL)
        return false;
    size_t len = strlen(root);
    bool inside = strncmp(real, root, len) == 0 &&
                  (real[len] == '\0' || real[len] == '/' || root[len - 1] == '/');
    free(real);
    return inside;
}

/* Every part in turn, so that a link in the middle is seen even where the last part does not
 * exist. */
static bool parts_stay_inside(const char *root, char *path, size_t start)
{
    bool exists = true;
    for (char *p = path + start; exists && *p != '\0';) {
        p += strcspn(p, "/");
        char end = *p;
        *p = '\0';
        if (!resolves_inside(root, path, &exists))
            return false;
        *p = end;
        p += strspn(p, "/");
    }
    return true;
}

bool path_stays_inside(const char *folder, const char *name)
{
    if (name[0] == '\0' || name[0] == '/' || has_parent_part(name))
        return false;
    char *root = realpath(folder[0] == '\0' ? "." : folder, NULL);
    struct buf path;
    bool inside = false;
    if (root != NULL && path_join(&path, root, name) == ERR_OK) {
        inside = parts_stay_inside(root, path.data, path.len - strlen(name));
        buf_release(&path);
    }
    free(root);
    return inside;
}
