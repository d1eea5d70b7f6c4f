#include "judge/priors.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Cases that the shares of the catalogue count as (handbook, diagnosis, 1.3). */
#define SHARES_COUNT_AS 20.0
#define CLOSED_MAX      100000.0

static enum err count_of(const struct ini_file *f, const char *section, double *out,
                         struct err_msg *e)
{
    const char *text = ini_file_get(f, section, "closed");
    const char *source = ini_file_get(f, section, "source");
    char *end = NULL;

    *out = 0;
    if (!text)
        return ERR_OK;
    *out = strtod(text, &end);
    if (end == text || *end || !(*out >= 0) || *out > CLOSED_MAX || *out > floor(*out))
        return err_set(e, ERR_FORMAT, "%s: [%s] closed is no whole number of cases", f->path,
                       section);
    if (!source || !*source)
        return err_set(e, ERR_FORMAT, "%s: [%s] has no source", f->path, section);
    return ERR_OK;
}

static enum err known_sections(const struct ini_file *f, struct err_msg *e)
{
    for (size_t i = 0; i < f->count; i++) {
        const struct ini_entry *x = &f->entry[i];
        enum end end = end_by_name(x->section);

        if (end >= END_COUNT || end == END_TWO || end == END_UNEXPLAINED)
            return err_set(e, ERR_FORMAT, "%s:%d: [%s] is no end", f->path, x->line,
                           x->section);
        if (x->key && strcmp(x->key, "closed") && strcmp(x->key, "source"))
            return err_set(e, ERR_FORMAT, "%s:%d: unknown key '%s'", f->path, x->line, x->key);
    }
    return ERR_OK;
}

static enum err tilt(const struct ini_file *f, double share[END_COUNT], struct err_msg *e)
{
    double closed[END_COUNT] = {0}, all = 0, sum = 0;

    TRY(known_sections(f, e));
    for (enum end i = END_DRIVE; i < END_COUNT; i++) {
        if (i != END_TWO && i != END_UNEXPLAINED)
            TRY(count_of(f, end_name(i), &closed[i], e));
        all += closed[i];
        sum += share[i];
    }
    for (int i = 0; i < END_COUNT; i++)
        share[i] = (SHARES_COUNT_AS * share[i] / sum + closed[i]) / (SHARES_COUNT_AS + all);
    return ERR_OK;
}

enum err priors_tilt(const struct profile_path *path, double share[END_COUNT],
                     struct err_msg *e)
{
    struct ini_file f;
    struct err_msg missing = {0};
    char *where = NULL;
    enum err err = profile_file_find(path, ".", "priors", &where, &missing);

    if (err != ERR_OK)
        return err == ERR_MEMORY ? err : ERR_OK;
    err = ini_file_read(where, &f, e);
    free(where);
    if (err != ERR_OK)
        return err;
    err = tilt(&f, share, e);
    ini_file_release(&f);
    return err;
}
