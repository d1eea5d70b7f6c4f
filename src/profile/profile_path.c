/* Where profiles are looked for. */
#include "base/file.h"
#include "profile/profile.h"

#include <dirent.h>
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define PLACES_MAX   5
#define NAMES_MAX    10000
#define NAME_LEN_MAX 100

struct profile_path {
    char *place[PLACES_MAX];
    size_t places;
};

static enum err add_place(struct profile_path *p, const char *folder, const char *below)
{
    struct buf path;
    TRY(path_join(&path, folder, below));
    p->place[p->places++] = path.data;
    return ERR_OK;
}

/* The user's config directory: the desktop's base directory rule, which wants an absolute path.
 */
static enum err add_user_place(struct profile_path *p)
{
    const char *config = getenv("XDG_CONFIG_HOME");
    if (config != NULL && config[0] == '/')
        return add_place(p, config, "whichend/profiles");
    const char *home = getenv("HOME");
    if (home != NULL && home[0] != '\0')
        return add_place(p, home, ".config/whichend/profiles");
    return ERR_OK;
}

static enum err add_places(struct profile_path *p, const char *dir)
{
    if (dir != NULL)
        TRY(add_place(p, dir, ""));
    const char *env = getenv("WHICHEND_PROFILES");
    if (env != NULL && env[0] != '\0')
        TRY(add_place(p, env, ""));
    TRY(add_user_place(p));
    TRY(add_place(p, WHICHEND_DATADIR, ""));
    return add_place(p, WHICHEND_SOURCE_PROFILES, "");
}

enum err profile_path_make(const char *dir, struct profile_path **out, struct err_msg *e)
{
    struct stat st;
    if (dir != NULL && (stat(dir, &st) != 0 || !S_ISDIR(st.st_mode)))
        return err_set(e, ERR_NO_INPUT, "%s: no such folder of profiles", dir);
    struct profile_path *p = calloc(1, sizeof *p);
    if (p == NULL || add_places(p, dir) != ERR_OK) {
        profile_path_free(p);
        return err_set(e, ERR_MEMORY, "out of memory, or a path too long, at the profiles");
    }
    *out = p;
    return ERR_OK;
}

void profile_path_free(struct profile_path *p)
{
    if (p == NULL)
        return;
    for (size_t i = 0; i < p->places; i++)
        free(p->place[i]);
    free(p);
}

/* A name that can only be a file of that folder. */
static bool name_is_plain(const char *name, size_t len)
{
    if (len == 0 || len > NAME_LEN_MAX || name[0] == '.')
        return false;
    for (size_t i = 0; i < len; i++) {
        char c = name[i];
        bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
                     (c >= '0' && c <= '9') || c == '-' || c == '_' ||
                     (c == '.' && name[i - 1] != '.');
        if (!plain)
            return false;
    }
    return true;
}

/* One place's folder of a kind into *out (yours: free). */
static enum err folder_path(const struct profile_path *p, size_t place, const char *folder,
                            char **out, struct err_msg *e)
{
    struct buf path;
    if (path_join(&path, p->place[place], folder) != ERR_OK) {
        buf_release(&path);
        return err_set(e, ERR_MEMORY, "out of memory, or a path too long, at the profiles");
    }
    *out = path.data;
    return ERR_OK;
}

enum err profile_file_find(const struct profile_path *p, const char *folder, const char *name,
                           char **path, struct err_msg *e)
{
    if (!name_is_plain(name, strlen(name)))
        return err_set(e, ERR_USAGE, "\"%.100s\" cannot be a profile's name", name);
    char file[NAME_LEN_MAX + 8];
    snprintf(file, sizeof file, "%s.ini", name);
    for (size_t i = 0; i < p->places; i++) {
        char *dir = NULL;
        TRY(folder_path(p, i, folder, &dir, e));
        struct buf full;
        enum err r = path_join(&full, dir, file);
        free(dir);
        struct stat st;
        if (r == ERR_OK && stat(full.data, &st) == 0) {
            *path = full.data;
            return ERR_OK;
        }
        buf_release(&full);
        if (r != ERR_OK)
            return err_set(e, r, "out of memory, or a path too long, at the profiles");
    }
    return err_set(e, ERR_USAGE, "no profile named \"%s\" in %s", name, folder);
}

struct names {
    char **name;
    size_t count, cap;
};

static enum err add_name(struct names *n, const char *file)
{
    size_t len = strlen(file);
    if (len < 5 || strcmp(file + len - 4, ".ini") != 0 || !name_is_plain(file, len - 4))
        return ERR_OK;
    void *items = n->name;
    TRY(array_grow(&items, &n->cap, n->count + 1, sizeof *n->name, NAMES_MAX));
    n->name = items;
    n->name[n->count] = strndup(file, len - 4);
    if (n->name[n->count] == NULL)
        return ERR_MEMORY;
    n->count++;
    return ERR_OK;
}

static int compare_names(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Sort and leave each name once. */
static void sort_names(struct names *n)
{
    if (n->count == 0)
        return;
    qsort(n->name, n->count, sizeof *n->name, compare_names);
    size_t kept = 1;
    for (size_t i = 1; i < n->count; i++) {
        if (strcmp(n->name[i], n->name[kept - 1]) == 0)
            free(n->name[i]);
        else
            n->name[kept++] = n->name[i];
    }
    n->count = kept;
}

static enum err list_folder(const char *folder, struct names *n, struct err_msg *e)
{
    DIR *d = opendir(folder);
    if (d == NULL)
        return errno == ENOENT || errno == ENOTDIR
                   ? ERR_OK
                   : err_set(e, ERR_NO_INPUT, "%s: %s", folder, strerror(errno));
    enum err r = ERR_OK;
    const struct dirent *x;
    while (r == ERR_OK && (x = readdir(d)) != NULL)
        r = add_name(n, x->d_name);
    closedir(d);
    if (r != ERR_OK)
        err_set(e, r, "%s: too many profiles", folder);
    return r;
}

enum err profile_file_list(const struct profile_path *p, const char *folder, char ***out,
                           size_t *count, struct err_msg *e)
{
    struct names n = {0};
    enum err r = ERR_OK;
    for (size_t i = 0; i < p->places && r == ERR_OK; i++) {
        char *path = NULL;
        r = folder_path(p, i, folder, &path, e);
        if (path != NULL)
            r = list_folder(path, &n, e);
        free(path);
    }
    if (r != ERR_OK) {
        profile_names_free(n.name, n.count);
        return r;
    }
    sort_names(&n);
    *out = n.name;
    *count = n.count;
    return ERR_OK;
}

void profile_names_free(char **names, size_t count)
{
    for (size_t i = 0; i < count; i++)
        free(names[i]);
    free(names);
}
