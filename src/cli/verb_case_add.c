/* case add: a capture's file is copied into the case's folder and named in case.ini. */
#include "base/file.h"
#include "cli/case_edit.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define COPY_BYTES     4096
#define NAME_BYTES_MAX 40

/* "run-2.vcd.gz" gives "run-2". */
static enum err capture_name(const struct args *a, const char *base, char out[NAME_BYTES_MAX],
                             struct err_msg *e)
{
    const char *given = args_value(a, OPT_NAME);
    size_t len = given != NULL ? strlen(given) : strcspn(base, ".");
    if (len == 0 || len >= NAME_BYTES_MAX) {
        return err_set(e, ERR_USAGE,
                       "a capture's name has 1 to %d letters; give one with --name",
                       NAME_BYTES_MAX - 1);
    }
    memcpy(out, given != NULL ? given : base, len);
    out[len] = '\0';
    return ERR_OK;
}

/* --line options to [lines NAME]. */
static enum err set_lines(struct case_edit *x, const struct args *a, const char *name,
                          struct err_msg *e)
{
    char section[NAME_BYTES_MAX + 16];
    (void)snprintf(section, sizeof section, "lines %s", name);
    for (size_t i = 0; i < a->given_count; i++) {
        const char *v = a->given[i].value;
        const char *equals = v != NULL ? strchr(v, '=') : NULL;
        char line[32];
        if (a->given[i].opt != OPT_LINE) {
            continue;
        }
        if (equals == NULL || (size_t)(equals - v) >= sizeof line) {
            return err_set(e, ERR_USAGE, "--line takes LINE=NAME[:high], not '%s'", v);
        }
        (void)snprintf(line, sizeof line, "%.*s", (int)(equals - v), v);
        TRY(edit_set(x, section, line, equals + 1, e));
    }
    return ERR_OK;
}

static enum err set_keys(struct case_edit *x, const struct args *a, const char *name,
                         const char *base, struct err_msg *e)
{
    static const struct {
        enum opt opt;
        const char *key;
    } keys[] = {{OPT_ROLE, "role"},       {OPT_TAP, "tap"},     {OPT_PULL_UP, "pull-up"},
                {OPT_RUN, "run"},         {OPT_AFTER, "after"}, {OPT_ASKED, "asked"},
                {OPT_OUTCOME, "outcome"}, {OPT_DISK, "disk"}};
    char section[NAME_BYTES_MAX + 16];
    (void)snprintf(section, sizeof section, "capture %s", name);
    TRY(edit_set(x, section, "file", base, e));
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        if (args_has(a, keys[i].opt)) {
            TRY(edit_set(x, section, keys[i].key, args_value(a, keys[i].opt), e));
        }
    }
    return set_lines(x, a, name, e);
}

/* The file must be a capture, read with the lines that the case will map for it. *own: the role
 * and tap that it was recorded with, where it says so. */
static enum err open_once(const struct case_edit *x, const char *name, const char *source,
                          struct capture_info *own, struct err_msg *e)
{
    struct case_file c;
    struct capture *in = NULL;
    enum err code = edit_check(x, &c, e);
    if (code != ERR_OK) {
        return code;
    }
    for (size_t i = 0; i < c.capture_count && code == ERR_OK; i++) {
        if (strcmp(c.capture[i].name, name) == 0) {
            code = capture_open(source, &c.capture[i].map, &in, e);
        }
    }
    *own = (struct capture_info){.role = ""};
    if (in != NULL) {
        *own = *capture_info(in);
    }
    capture_close(in);
    case_file_release(&c);
    return code;
}

/* What the recording says of itself and the person did not. */
static enum err set_own(struct case_edit *x, const struct args *a, const char *name,
                        const struct capture_info *own, struct err_msg *e)
{
    const struct {
        enum opt opt;
        const char *key, *value;
    } own_keys[] = {{OPT_ROLE, "role", own->role}, {OPT_TAP, "tap", own->tap}};
    char section[NAME_BYTES_MAX + 16];
    (void)snprintf(section, sizeof section, "capture %s", name);
    for (size_t i = 0; i < sizeof own_keys / sizeof own_keys[0]; i++) {
        const struct case_key *key = case_key_find("capture", own_keys[i].key);
        if (!args_has(a, own_keys[i].opt) && case_value_fits(key, own_keys[i].value)) {
            TRY(edit_set(x, section, own_keys[i].key, own_keys[i].value, e));
        }
    }
    return ERR_OK;
}

static enum err already_named(const struct case_edit *x, const char *name, struct err_msg *e)
{
    struct case_file c;
    enum err code = edit_check(x, &c, e);
    if (code != ERR_OK) {
        return code;
    }
    for (size_t i = 0; i < c.capture_count; i++) {
        if (strcmp(c.capture[i].name, name) == 0) {
            code = err_set(e, ERR_USAGE,
                           "the case has a capture '%s' already; give another --name", name);
        }
    }
    case_file_release(&c);
    return code;
}

static enum err copy_stream(FILE *from, FILE *to, const char *source, const char *target,
                            struct err_msg *e)
{
    char block[COPY_BYTES];
    size_t n = 0;
    while ((n = fread(block, 1, sizeof block, from)) > 0) {
        if (stop_asked) {
            return err_set(e, ERR_INTERRUPTED, "interrupted");
        }
        if (fwrite(block, 1, n, to) != n) {
            return err_set(e, ERR_IO, "%s: %s", target, strerror(errno));
        }
    }
    return ferror(from) ? err_set(e, ERR_IO, "%s: %s", source, strerror(errno)) : ERR_OK;
}

static enum err copy_file(const char *source, const char *target, struct err_msg *e)
{
    struct out_file f = {0};
    FILE *from = fopen(source, "rb");
    enum err code = from != NULL ? out_file_open(&f, target, false, e)
                                 : err_set(e, ERR_NO_INPUT, "%s: %s", source, strerror(errno));
    if (code == ERR_OK) {
        code = copy_stream(from, f.stream, source, target, e);
        if (code == ERR_OK) {
            code = out_file_commit(&f, e);
        } else {
            out_file_abort(&f);
        }
    }
    if (from != NULL) {
        (void)fclose(from);
    }
    return code;
}

/* A capture that lies in the case's folder already is not copied. */
static bool same_file(const char *a, const char *b)
{
    struct stat x;
    struct stat y;
    return stat(a, &x) == 0 && stat(b, &y) == 0 && x.st_dev == y.st_dev && x.st_ino == y.st_ino;
}

static enum err add(struct case_edit *x, const struct args *a, const char *base,
                    const char *target, struct err_msg *e)
{
    char name[NAME_BYTES_MAX];
    struct capture_info own;
    enum err code = ERR_OK;
    TRY(capture_name(a, base, name, e));
    TRY(already_named(x, name, e));
    TRY(set_keys(x, a, name, base, e));
    TRY(open_once(x, name, a->word[1], &own, e));
    TRY(set_own(x, a, name, &own, e));
    bool there = same_file(a->word[1], target);
    TRY(there ? ERR_OK : copy_file(a->word[1], target, e));
    code = edit_write(x, true, e);
    if (code != ERR_OK && !there) {
        (void)unlink(target);
    }
    return code;
}

enum err verb_case_add(const struct args *a, struct answer *r, struct err_msg *e)
{
    (void)r;
    struct case_edit x = {0};
    struct buf target = {0};
    const char *slash = strrchr(a->word[1], '/');
    const char *base = slash != NULL ? slash + 1 : a->word[1];
    enum err code = edit_begin(&x, a, a->word[0], e);
    code = code == ERR_OK ? path_join(&target, x.folder.data, base) : code;
    code = code == ERR_OK ? add(&x, a, base, target.data, e) : code;
    buf_release(&target);
    edit_release(&x);
    return code;
}
