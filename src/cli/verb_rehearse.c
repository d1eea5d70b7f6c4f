#include "base/asked.h"
#include "cli/cli.h"
#include "report/lists.h"
#include "sim/sim.h"

#include <stdlib.h>
#include <string.h>

#define PULL_UP_USUAL 2200

static enum err list_faults(const struct args *a, struct buf *out)
{
    const char *const *name = NULL;
    size_t count = sim_faults(&name);
    if (args_has(a, OPT_JSON)) {
        return report_names_json("whichend.faults/1", "faults", name, count, out);
    }
    for (size_t i = 0; i < count; i++) {
        TRY(buf_printf(out, "%s\n", name[i]));
    }
    return ERR_OK;
}

static enum err faults(const struct args *a, struct sim_options *o, struct err_msg *e)
{
    size_t n = 0;
    for (size_t i = 0; i < a->given_count; i++) {
        if (a->given[i].opt != OPT_FAULT || strcmp(a->given[i].value, "none") == 0) {
            continue;
        }
        if (n == 2) {
            return err_set(e, ERR_USAGE, "at most two faults can be played at once");
        }
        o->fault[n++] = a->given[i].value;
    }
    return ERR_OK;
}

static enum err word_of(const struct args *a, enum opt opt, const char *const *words,
                        size_t count, size_t *out, struct err_msg *e)
{
    const char *v = args_value(a, opt);
    for (size_t i = 0; v != NULL && i < count; i++) {
        if (strcmp(words[i], v) == 0) {
            *out = i;
            return ERR_OK;
        }
    }
    return v == NULL ? ERR_OK
                     : err_set(e, ERR_USAGE, "--%s cannot be '%s'", option_row(opt)->name, v);
}

static enum err pull_up(const struct args *a, int *out, struct err_msg *e)
{
    const char *ohms = args_value(a, OPT_PULL_UP);
    int64_t v = PULL_UP_USUAL;
    if (ohms != NULL && strcmp(ohms, "none") == 0) {
        *out = 0;
        return ERR_OK;
    }
    TRY(args_number(a, OPT_PULL_UP, 1, 1000000, &v, e));
    *out = (int)v;
    return ERR_OK;
}

static enum err words(const struct args *a, struct sim_options *o, struct err_msg *e)
{
    static const char *const taps[] = {"both", "machine-end", "drive-end"};
    static const char *const formats[] = {"vcd", "wec"};
    static const char *const disks[] = {"known-good", "unknown"};
    size_t tap = 0;
    size_t format = 0;
    size_t disk = 0;
    TRY(word_of(a, OPT_TAPS, taps, 3, &tap, e));
    TRY(word_of(a, OPT_FORMAT, formats, 2, &format, e));
    TRY(word_of(a, OPT_DISK, disks, 2, &disk, e));
    o->machine_end = tap != 2;
    o->drive_end = tap != 1;
    o->wec = format == 1;
    o->known_good_disk = disk == 0;
    o->both_one_clock = !args_has(a, OPT_TWO_CLOCKS);
    return ERR_OK;
}

static enum err settings(const struct args *a, struct sim_options *o, struct err_msg *e)
{
    int64_t seed = 1;
    int64_t flux_ms = 0;
    TRY(faults(a, o, e));
    TRY(words(a, o, e));
    TRY(pull_up(a, &o->pull_up_ohm, e));
    TRY(args_number(a, OPT_SEED, 0, INT64_MAX, &seed, e));
    TRY(args_number(a, OPT_FLUX_MS, 0, 3600000, &flux_ms, e));
    o->seed = (uint64_t)seed;
    o->flux_seconds = (double)flux_ms / 1000;
    o->asked = ASKED_READ;
    return args_asked(a, &o->asked, e);
}

static const char *or_usual(const char *given, const char *usual)
{
    return given != NULL ? given : usual;
}

enum err verb_rehearse(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct sim_options o = {0};
    struct profile_path *path = NULL;
    struct profile *machine = NULL;
    struct profile *drive = NULL;
    struct profile *cable = NULL;
    enum err code = ERR_OK;
    if (args_has(a, OPT_LIST)) {
        return list_faults(a, &r->out);
    }
    if (!args_has(a, OPT_OUTPUT)) {
        return err_set(e, ERR_USAGE, "rehearse needs -o FOLDER");
    }
    TRY(settings(a, &o, e));
    TRY(args_profiles(a, &path, e));
    code = profile_load(path, PROFILE_CONTROLLER,
                        or_usual(args_value(a, OPT_MACHINE), "controller-wd177x"), &machine, e);
    code = code != ERR_OK
               ? code
               : profile_load(path, PROFILE_DRIVE,
                              or_usual(args_value(a, OPT_DRIVE), "drive-35-dd"), &drive, e);
    code =
        code != ERR_OK
            ? code
            : profile_load(path, PROFILE_CABLE,
                           or_usual(args_value(a, OPT_CABLE), "ribbon-34-straight"), &cable, e);
    o.machine = machine;
    o.drive = drive;
    o.cable = cable;
    code = code == ERR_OK ? sim_rehearse(&o, args_value(a, OPT_OUTPUT), e) : code;
    profile_free(machine);
    profile_free(drive);
    profile_free(cable);
    profile_path_free(path);
    return code;
}
