#include "judge/catalogue_check.h"

#include "judge/priors.h"
#include "judge/traits.h"

#include <stdlib.h>
#include <string.h>

struct checker {
    struct buf *problems;
    size_t count;
};

/* What every section of a kind of file must hold; the first is a number above 0. */
static const char *const fault_keys[] = {"weight", "effect", "text", "source", NULL};
static const char *const end_keys[] = {"share", "source", NULL};
static const char *const work_keys[] = {"minutes", "text", "source", NULL};
static const char *const test_keys[] = {"minutes", "asks", "text", "risk", "source", NULL};

static enum err problem(struct checker *c, const struct ini_file *f, int line,
                        const char *section, const char *what, const char *key)
{
    c->count++;
    return buf_printf(c->problems, "%s:%d: [%s] %s %s\n", f->path, line, section, what, key);
}

static bool positive(const char *text)
{
    char *end;
    double v = strtod(text, &end);

    return end != text && *end == '\0' && v > 0 && v < 1e6;
}

/* An effect is tried on a whole subsystem; a '*' stands for any line. */
static bool effect_known(const char *effect)
{
    struct state s;

    state_init(&s);
    return state_apply(&s, effect, SIG_INDEX, SIG_RDATA, TAP_DRIVE_END) == ERR_OK;
}

static enum err check_traits(struct checker *c, const struct ini_file *f,
                             const struct ini_entry *section)
{
    static const struct {
        const char *key;
        bool (*read)(const char *text, struct traits *t);
    } readers[] = {{"varies", traits_varies},
                   {"signs", traits_signs},
                   {"cured", traits_cured},
                   {"reach", traits_reach}};
    struct traits t;

    traits_begin(END_DRIVE, SIG_COUNT, &t);
    for (size_t i = 0; i < sizeof readers / sizeof *readers; i++) {
        const char *value = ini_file_get(f, section->section, readers[i].key);

        if (value != NULL && !readers[i].read(value, &t))
            TRY(problem(c, f, section->line, section->section,
                        "has words that are not known in", readers[i].key));
    }
    return ERR_OK;
}

static enum err check_section(struct checker *c, const struct ini_file *f,
                              const struct ini_entry *section, const char *const *keys)
{
    const char *name = section->section;
    const char *effect = ini_file_get(f, name, "effect");

    for (size_t i = 0; keys[i] != NULL; i++) {
        const char *value = ini_file_get(f, name, keys[i]);

        if (value == NULL || *value == '\0')
            TRY(problem(c, f, section->line, name, "lacks", keys[i]));
        else if (i == 0 && !positive(value))
            TRY(problem(c, f, section->line, name, "is no number above 0:", keys[i]));
    }
    if (keys == work_keys && !repair_kind_bit(name))
        TRY(problem(c, f, section->line, name, "is no kind of work of", "[repair] did"));
    if (keys == fault_keys && effect != NULL && !effect_known(effect))
        TRY(problem(c, f, section->line, name,
                    "has an effect that the model does not know:", effect));
    return keys == fault_keys ? check_traits(c, f, section) : ERR_OK;
}

static enum err check_file(struct checker *c, const char *where, const char *const *keys,
                           struct err_msg *e)
{
    struct ini_file f;
    enum err err = ini_file_read(where, &f, e);

    if (err != ERR_OK)
        return err;
    for (size_t i = 0; i < f.count && err == ERR_OK; i++)
        if (f.entry[i].key == NULL && strcmp(f.entry[i].section, "mix") != 0)
            err = check_section(c, &f, &f.entry[i], keys);
    ini_file_release(&f);
    return err;
}

static enum err check_folder(struct checker *c, const struct profile_path *path,
                             const char *folder, size_t *files, struct err_msg *e)
{
    char **names = NULL;
    size_t count = 0;
    enum err err = profile_file_list(path, folder, &names, &count, e);

    for (size_t i = 0; i < count && err == ERR_OK; i++) {
        const char *const *keys = strcmp(names[i], "work") == 0   ? work_keys
                                  : strcmp(folder, "tests") == 0  ? test_keys
                                  : strcmp(names[i], "ends") == 0 ? end_keys
                                                                  : fault_keys;
        char *where = NULL;

        err = profile_file_find(path, folder, names[i], &where, e);
        if (err == ERR_OK)
            err = check_file(c, where, keys, e);
        free(where);
        (*files)++;
    }
    profile_names_free(names, count);
    return err;
}

/* A shop's own counts: read as the judge reads them. */
static enum err check_priors(struct checker *c, const struct profile_path *path, size_t *files)
{
    double share[END_COUNT];
    struct err_msg why = {0};
    enum err err;

    for (int e = 0; e < END_COUNT; e++)
        share[e] = 1;
    err = priors_tilt(path, share, &why);
    (*files)++;
    if (err == ERR_OK || err == ERR_MEMORY)
        return err;
    c->count++;
    return buf_printf(c->problems, "%s\n", why.text);
}

enum err catalogue_check(const struct profile_path *path, struct buf *problems, size_t *count,
                         size_t *files, struct err_msg *e)
{
    struct checker c = {problems, 0};
    enum err err = check_folder(&c, path, "faults", files, e);

    if (err == ERR_OK)
        err = check_folder(&c, path, "tests", files, e);
    if (err == ERR_OK)
        err = check_priors(&c, path, files);
    *count += c.count;
    return err;
}
