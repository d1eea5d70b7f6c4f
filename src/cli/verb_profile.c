/* profile list, show, check. */
#include "cli/cli.h"
#include "judge/catalogue_check.h"
#include "report/lists.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define PROFILES_MAX      2000
#define PROBLEM_BYTES_MAX ((size_t)1 << 20)

/* Every profile that can be read, with its row. */
struct loaded {
    struct profile *profile[PROFILES_MAX];
    struct profile_row row[PROFILES_MAX];
    size_t count;
};

static enum err load_kind(const struct profile_path *path, enum profile_kind kind,
                          struct loaded *l, struct err_msg *e)
{
    char **name = NULL;
    size_t count = 0;
    enum err code = profile_list(path, kind, &name, &count, e);
    if (code != ERR_OK) {
        return code;
    }
    for (size_t i = 0; i < count && l->count < PROFILES_MAX && code == ERR_OK; i++) {
        struct profile *p = NULL;
        code = profile_load(path, kind, name[i], &p, e);
        if (code == ERR_OK) {
            l->profile[l->count] = p;
            l->row[l->count++] = (struct profile_row){kind, profile_name(p), profile_title(p)};
        }
    }
    profile_names_free(name, count);
    return code;
}

enum err verb_profile_list(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct text_style style = style_of(a);
    struct profile_path *path = NULL;
    struct loaded *l = calloc(1, sizeof *l);
    enum err code = l != NULL ? args_profiles(a, &path, e) : ERR_MEMORY;
    for (int kind = 0; code == ERR_OK && kind < PROFILE_KINDS; kind++) {
        code = load_kind(path, (enum profile_kind)kind, l, e);
    }
    if (code == ERR_OK) {
        code = args_has(a, OPT_JSON) ? report_profiles_json(l->row, l->count, &r->out)
                                     : report_profiles_text(l->row, l->count, &style, &r->out);
    }
    for (size_t i = 0; l != NULL && i < l->count; i++) {
        profile_free(l->profile[i]);
    }
    free(l);
    profile_path_free(path);
    return code;
}

/* A name is one of any kind. */
static enum err load_any(const struct profile_path *path, const char *name,
                         struct profile **out, struct err_msg *e)
{
    for (int kind = 0; kind < PROFILE_KINDS; kind++) {
        struct err_msg why = {0};
        enum err code = profile_load(path, (enum profile_kind)kind, name, out, &why);
        if (code != ERR_USAGE) {
            return code == ERR_OK ? ERR_OK : err_set(e, code, "%s", why.text);
        }
    }
    return err_set(e, ERR_USAGE, "there is no profile '%s'; whichend profile list names them",
                   name);
}

enum err verb_profile_show(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct text_style style = style_of(a);
    struct profile_path *path = NULL;
    struct profile *p = NULL;
    enum err code = args_profiles(a, &path, e);
    code = code == ERR_OK ? load_any(path, a->word[0], &p, e) : code;
    if (code == ERR_OK) {
        code = args_has(a, OPT_JSON) ? report_profile_json(p, &r->out)
                                     : report_profile_text(p, &style, &r->out);
    }
    profile_free(p);
    profile_path_free(path);
    return code;
}

struct checking {
    struct buf problems;
    size_t problem_count, checked;
};

static enum err check_file(struct checking *c, const char *file, enum profile_kind kind,
                           struct err_msg *e)
{
    size_t found = 0;
    TRY(profile_check_file(file, kind, &c->problems, &found, e));
    c->problem_count += found;
    c->checked++;
    return ERR_OK;
}

static const char *folder_of(enum profile_kind kind)
{
    static const char *const folder[PROFILE_KINDS] = {"drives", "controllers", "cables"};
    return folder[kind];
}

static enum err check_named(struct checking *c, const struct profile_path *path,
                            enum profile_kind kind, const char *name, struct err_msg *e)
{
    char *file = NULL;
    enum err code = profile_file_find(path, folder_of(kind), name, &file, e);
    code = code == ERR_OK ? check_file(c, file, kind, e) : code;
    free(file);
    return code;
}

static enum err check_all(struct checking *c, const struct profile_path *path,
                          struct err_msg *e)
{
    for (int kind = 0; kind < PROFILE_KINDS; kind++) {
        char **name = NULL;
        size_t count = 0;
        TRY(profile_list(path, (enum profile_kind)kind, &name, &count, e));
        enum err code = ERR_OK;
        for (size_t i = 0; i < count && code == ERR_OK; i++) {
            code = check_named(c, path, (enum profile_kind)kind, name[i], e);
        }
        profile_names_free(name, count);
        TRY(code);
    }
    return catalogue_check(path, &c->problems, &c->problem_count, &c->checked, e);
}

/* A word with a slash or a dot is a file, whose folder says its kind; else it is a name. */
static enum err check_word(struct checking *c, const struct profile_path *path,
                           const char *word, struct err_msg *e)
{
    bool file = strchr(word, '/') != NULL || strchr(word, '.') != NULL;
    for (int kind = 0; kind < PROFILE_KINDS; kind++) {
        struct err_msg why = {0};
        if (file && strstr(word, folder_of((enum profile_kind)kind)) != NULL) {
            return check_file(c, word, (enum profile_kind)kind, e);
        }
        if (file) {
            continue;
        }
        enum err code = check_named(c, path, (enum profile_kind)kind, word, &why);
        if (code != ERR_USAGE) {
            return code == ERR_OK ? ERR_OK : err_set(e, code, "%s", why.text);
        }
    }
    return err_set(e, ERR_USAGE,
                   file ? "'%s' is in none of the folders drives, controllers, cables"
                        : "there is no profile '%s'; whichend profile list names them",
                   word);
}

enum err verb_profile_check(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct profile_path *path = NULL;
    struct checking c = {0};
    enum err code = args_profiles(a, &path, e);
    buf_init(&c.problems, PROBLEM_BYTES_MAX);
    if (code == ERR_OK && a->words == 0) {
        code = check_all(&c, path, e);
    }
    for (size_t i = 0; i < a->words && code == ERR_OK; i++) {
        code = check_word(&c, path, a->word[i], e);
    }
    if (code == ERR_OK && c.problem_count > 0) {
        (void)fputs(c.problems.data, stderr);
        code = err_set(e, ERR_FORMAT, "%zu problem%s in %zu profile%s", c.problem_count,
                       c.problem_count == 1 ? "" : "s", c.checked, c.checked == 1 ? "" : "s");
    }
    if (code == ERR_OK) {
        code = buf_printf(&r->out, "%zu profile%s checked, no problem\n", c.checked,
                          c.checked == 1 ? "" : "s");
    }
    buf_release(&c.problems);
    profile_path_free(path);
    return code;
}
