/* import and export: a capture from one form to another. */
#include "cli/cli.h"

#include <stdio.h>
#include <string.h>

static bool ends_with(const char *s, const char *tail)
{
    size_t len = strlen(s);
    size_t t = strlen(tail);
    return len > t && strcmp(s + len - t, tail) == 0;
}

static enum err export_format(const char *path, enum capture_format *out, struct err_msg *e)
{
    if (ends_with(path, ".vcd") || ends_with(path, ".vcd.gz")) {
        *out = CAPTURE_VCD;
    } else if (ends_with(path, ".csv") || ends_with(path, ".csv.gz")) {
        *out = CAPTURE_CSV;
    } else {
        return err_set(e, ERR_USAGE, "'%s': export writes .vcd, .csv, .vcd.gz or .csv.gz",
                       path);
    }
    return ERR_OK;
}

/* Words of a capture's head that the call gives. */
static enum err head(const struct args *a, struct capture_info *info, struct err_msg *e)
{
    static const char *const roles[] = {"inline", "as-machine", "as-drive", "both-plugs",
                                        "loop"};
    const char *role = args_value(a, OPT_ROLE);
    const char *tap = args_value(a, OPT_TAP);
    bool known = role == NULL;
    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++) {
        known = known || strcmp(role, roles[i]) == 0;
    }
    if (!known) {
        return err_set(e, ERR_USAGE, "--role cannot be '%s'", role);
    }
    if (tap != NULL && strcmp(tap, "machine-end") != 0 && strcmp(tap, "drive-end") != 0) {
        return err_set(e, ERR_USAGE, "--tap is machine-end or drive-end, not '%s'", tap);
    }
    if (role != NULL) {
        (void)snprintf(info->role, sizeof info->role, "%s", role);
    }
    if (tap != NULL) {
        (void)snprintf(info->tap, sizeof info->tap, "%s", tap);
    }
    return ERR_OK;
}

static enum err copy(const struct args *a, struct capture *in, enum capture_format format,
                     struct err_msg *e)
{
    struct capture_info info = *capture_info(in);
    struct capture_writer *w = NULL;
    TRY(head(a, &info, e));
    TRY(capture_writer_open(args_value(a, OPT_OUTPUT), format, &info, args_has(a, OPT_REPLACE),
                            &w, e));
    return capture_copy(in, w, e);
}

static enum err convert(const struct args *a, enum capture_format format, struct err_msg *e)
{
    struct line_map map = {0};
    struct capture *in = NULL;
    enum err code = args_line_map(a, &map, e);
    code = code == ERR_OK ? capture_open(a->word[0], &map, &in, e) : code;
    code = code == ERR_OK ? copy(a, in, format, e) : code;
    capture_close(in);
    line_map_release(&map);
    return code;
}

enum err verb_import(const struct args *a, struct answer *r, struct err_msg *e)
{
    (void)r;
    if (!args_has(a, OPT_OUTPUT)) {
        return err_set(e, ERR_USAGE, "import needs -o FILE");
    }
    return convert(a, CAPTURE_WEC, e);
}

enum err verb_export(const struct args *a, struct answer *r, struct err_msg *e)
{
    (void)r;
    enum capture_format format = CAPTURE_VCD;
    if (!args_has(a, OPT_OUTPUT)) {
        return err_set(e, ERR_USAGE, "export needs -o FILE");
    }
    TRY(export_format(args_value(a, OPT_OUTPUT), &format, e));
    return convert(a, format, e);
}
