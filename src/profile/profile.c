#include "profile/profile.h"

#include "profile_private.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PROBLEM_BYTES_MAX 4096

/* "drives", "controllers", "cables" */
static void kind_folder(enum profile_kind kind, char *out, size_t size)
{
    snprintf(out, size, "%ss", profile_kind_word(kind));
}

enum err profile_list(const struct profile_path *p, enum profile_kind kind, char ***out,
                      size_t *count, struct err_msg *e)
{
    char folder[20];
    kind_folder(kind, folder, sizeof folder);
    return profile_file_list(p, folder, out, count, e);
}

static enum err load_file(const char *path, enum profile_kind kind, const char *name,
                          struct profile **out, struct err_msg *e)
{
    struct ini_file ini = {0};
    TRY(ini_file_read(path, &ini, e));
    struct buf text;
    buf_init(&text, PROBLEM_BYTES_MAX);
    struct problems to = {path, &text, 0};
    struct profile *p = NULL;
    enum err r = profile_build(kind, name, &ini, &p, &to);
    if (r != ERR_OK) {
        err_set(e, r, "%s: out of memory", path);
    } else if (to.count > 0) {
        size_t first = text.data == NULL ? 0 : strcspn(text.data, "\n");
        r = err_set(e, ERR_FORMAT, "%.*s", first > 400 ? 400 : (int)first,
                    text.data == NULL ? "" : text.data);
        profile_free(p);
    } else {
        *out = p;
    }
    buf_release(&text);
    return r;
}

enum err profile_load(const struct profile_path *p, enum profile_kind kind, const char *name,
                      struct profile **out, struct err_msg *e)
{
    char folder[20];
    kind_folder(kind, folder, sizeof folder);
    char *path;
    TRY(profile_file_find(p, folder, name, &path, e));
    enum err r = load_file(path, kind, name, out, e);
    free(path);
    return r;
}

void profile_free(struct profile *p)
{
    if (p == NULL)
        return;
    ini_file_release(&p->ini);
    free(p->limit);
    free(p->name);
    free(p);
}

enum err profile_check_file(const char *path, enum profile_kind kind, struct buf *problems,
                            size_t *count, struct err_msg *e)
{
    struct problems to = {path, problems, 0};
    struct ini_file ini = {0};
    struct err_msg read_error = {0};
    enum err r = ini_file_read(path, &ini, &read_error);
    if (r == ERR_FORMAT) {
        /* The text bears path and line already. */
        (void)buf_printf(problems, "%s\n", read_error.text);
        *count = 1;
        return ERR_OK;
    }
    if (r != ERR_OK)
        return err_set(e, r, "%s", read_error.text);
    struct profile *p = NULL;
    r = profile_build(kind, "", &ini, &p, &to);
    if (r != ERR_OK)
        return err_set(e, r, "%s: out of memory", path);
    profile_free(p);
    *count = to.count;
    return ERR_OK;
}

const char *profile_name(const struct profile *p)
{
    return p->name;
}

const char *profile_title(const struct profile *p)
{
    return p->title;
}

const char *profile_file(const struct profile *p)
{
    return p->ini.path;
}

const char *profile_note(const struct profile *p)
{
    return p->note == NULL ? "" : p->note;
}

enum profile_kind profile_kind_of(const struct profile *p)
{
    return p->kind;
}

size_t profile_limits(const struct profile *p, const struct limit **out)
{
    *out = p->limit;
    return p->limits;
}

const struct limit *profile_limit(const struct profile *p, const char *key)
{
    for (size_t i = 0; p != NULL && i < p->limits; i++)
        if (strcmp(p->limit[i].key, key) == 0)
            return &p->limit[i];
    return NULL;
}

double profile_number(const struct profile *p, const char *key, double fallback)
{
    const struct limit *l = profile_limit(p, key);
    if (l == NULL)
        return fallback;
    if (l->has_typ)
        return l->typ;
    if (l->has_min && l->has_max)
        return l->min + (l->max - l->min) / 2;
    return l->has_min ? l->min : l->has_max ? l->max : fallback;
}

double profile_min(const struct profile *p, const char *key, double fallback)
{
    const struct limit *l = profile_limit(p, key);
    return l != NULL && l->has_min ? l->min : fallback;
}

double profile_max(const struct profile *p, const char *key, double fallback)
{
    const struct limit *l = profile_limit(p, key);
    return l != NULL && l->has_max ? l->max : fallback;
}

const char *profile_word(const struct profile *p, const char *key, const char *fallback)
{
    const struct limit *l = profile_limit(p, key);
    return l != NULL && l->word != NULL ? l->word : fallback;
}

bool profile_has_word(const struct profile *p, const char *key, const char *word)
{
    return list_has(profile_word(p, key, ""), word, strlen(word));
}

bool profile_flag(const struct profile *p, const char *key, bool fallback)
{
    const char *word = profile_word(p, key, "");
    if (strcmp(word, "yes") == 0)
        return true;
    return strcmp(word, "no") == 0 ? false : fallback;
}

line_set profile_lines(const struct profile *p)
{
    return p == NULL ? 0 : p->lines;
}
