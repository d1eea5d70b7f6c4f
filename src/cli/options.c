/* The option table, and words of a call read by it. */
#include "base/asked.h"
#include "cli/cli.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

// clang-format off
static const struct option_row rows[OPT_COUNT] = {
    [OPT_HELP]          = {"help", 'h', NULL, false, "say what the verb does and takes"},
    [OPT_JSON]          = {"json", 0, NULL, false, "one JSON document on standard output"},
    [OPT_VERBOSE]       = {"verbose", 0, NULL, false, "everything, with weights in decibans"},
    [OPT_QUIET]         = {"quiet", 0, NULL, false, "no progress"},
    [OPT_PROFILES]      = {"profiles", 0, "DIR", false, "look for profiles here first"},
    [OPT_LINE]          = {"line", 0, "LINE=NAME[:high]", true, "take variable NAME for a line; :high where 1 is active"},
    [OPT_DRIVE_PROFILE] = {"drive-profile", 0, "PROFILE", false, "the drive's rated speed and limits"},
    [OPT_OUTPUT]        = {"output", 'o', "PATH", false, "what to write"},
    [OPT_REPLACE]       = {"replace", 0, NULL, false, "overwrite what is there"},
    [OPT_TITLE]         = {"title", 0, "TEXT", false, "the trouble in one line"},
    [OPT_MACHINE]       = {"machine", 0, "PROFILE", false, "profile of the machine"},
    [OPT_DRIVE]         = {"drive", 0, "PROFILE", false, "profile of the drive"},
    [OPT_CABLE]         = {"cable", 0, "PROFILE", false, "profile of the cable"},
    [OPT_DISK]          = {"disk", 0, "WORD", false, "known-good, unknown, blank or none"},
    [OPT_NAME]          = {"name", 0, "NAME", false, "the capture's name in the case"},
    [OPT_ROLE]          = {"role", 0, "WORD", false, "inline, as-machine, as-drive, both-plugs or loop"},
    [OPT_TAP]           = {"tap", 0, "WORD", false, "machine-end or drive-end"},
    [OPT_PULL_UP]       = {"pull-up", 0, "OHMS", false, "the tap's own pull-up; none"},
    [OPT_RUN]           = {"run", 0, "NAME", false, "captures of one name were recorded together"},
    [OPT_AFTER]         = {"after", 0, "NAMES", false, "works of the case that were done before it"},
    [OPT_ASKED]         = {"asked", 0, "LIST", false, "what the machine was asked: read, seek, restore, write, ..."},
    [OPT_OUTCOME]       = {"outcome", 0, "WORD", false, "worked, failed, hangs, wrong-data, sometimes or unknown"},
    [OPT_FAULT]         = {"fault", 0, "NAME", true, "the fault to play; twice for a pair; none"},
    [OPT_SEED]          = {"seed", 0, "N", false, "another of the same kind"},
    [OPT_TAPS]          = {"taps", 0, "WORD", false, "both, machine-end or drive-end"},
    [OPT_TWO_CLOCKS]    = {"two-clocks", 0, NULL, false, "the second tap has a clock of its own"},
    [OPT_FLUX_MS]       = {"flux-ms", 0, "N", false, "read data recorded for so long a read, 0 for all"},
    [OPT_FORMAT]        = {"format", 0, "WORD", false, "wec or vcd"},
    [OPT_LIST]          = {"list", 0, NULL, false, "list the faults that can be played"},
    [OPT_ADAPTER]       = {"adapter", 0, "WHICH", false, "usb, usb:SERIAL, or sim:FAULT for a simulated one"},
    [OPT_DISK_OUT]      = {"disk-out", 0, NULL, false, "no disk was in any drive while plugs were moved and supplies switched"},
    [OPT_SECONDS]       = {"seconds", 0, "N", false, "for so long"},
    [OPT_TURNS]         = {"turns", 0, "N", false, "whole turns of each track"},
    [OPT_CYLINDERS]     = {"cylinders", 0, "A-B", false, "as-machine: read these, or one"},
    [OPT_SIDES]         = {"sides", 0, "LIST", false, "as-machine: 0, 1 or 0,1"},
    [OPT_TRIGGER]       = {"trigger", 0, "WORD", false, "select: begin when a drive is selected"},
    [OPT_UNIT]          = {"unit", 0, "N", false, "unit 0 to 3 that is selected, or answered for"},
    [OPT_PLAY]          = {"play", 0, "CAPTURE", false, "as-drive: a capture of a good disk to answer with"},
    [OPT_DISK_NAME]     = {"disk-name", 0, "NAME", true, "a protected disk, once for each"},
    [OPT_IMAGE]         = {"image", 0, "FILE", false, "a simulated adapter's disk holds these sectors"},
    [OPT_WORN]          = {"worn", 0, "PERCENT", false, "of a simulated adapter's disk: so many tracks are damaged"},
    [OPT_RESUME]        = {"resume", 0, NULL, false, "go on with what is there"},
    [OPT_AFFIRM]        = {"affirm", 0, "WORD", true, "one of the statements that reading a valued disk waits for"},
    [OPT_ACCEPT_RISK]   = {"accept-risk", 0, "REASON", false, "go on without them; the reason is kept in disk.json"},
    [OPT_OBJECT]        = {"object", 0, "FILE", false, "an [object] section: accession, title, label, photograph, operator, ..."},
    [OPT_WIGGLE]        = {"wiggle", 0, NULL, false, "go on while the cable or the leads are moved"},
    [OPT_CASE]          = {"case", 0, "CASE", false, "note the result in this case"},
    [OPT_MARK_SCRIBED]  = {"mark-scribed", 0, NULL, false, "the position is marked, so that it can be found again"},
    [OPT_COMPARE]       = {"compare", 0, NULL, false, "compare two saved sheets: OLD.json NEW.json"},
    [OPT_SHEET]         = {"sheet", 0, "SHEET.json", true, "show a saved acceptance sheet too; twice: two compared"},
    [OPT_ARCHIVE]       = {"archive", 0, "FOLDER", false, "show an archive's map too, from its disk.json"},
    [OPT_SERIAL]        = {"serial", 0, "TEXT", false, "the drive's serial number, for the sheet"},
    [OPT_WRITTEN_BY]    = {"written-by", 0, "WORD", false, "another or this-drive: what wrote the disk in the drive"},
    [OPT_QUICK]         = {"quick", 0, NULL, false, "fewer places and seeks"},
    [OPT_KEEP]          = {"keep", 0, "FOLDER", false, "keep the captures of the run there"},
    [OPT_HANDS]         = {"hands", 0, NULL, false, "ask for the disk to be changed: yes or skip, a line each on standard input"},
    [OPT_SCRATCH]       = {"scratch", 0, "NAME", false, "this disk may be overwritten: write on it and read back"},
    [OPT_WARM]          = {"warm", 0, "MINUTES", false, "run the drive warm for so long, and time it again"},
    [OPT_ELSEWHERE]     = {"elsewhere", 0, "CAPTURE", false, "a disk that this drive wrote, read in another one"},
};
// clang-format on

const struct option_row *option_row(enum opt o)
{
    return &rows[o];
}

/* Is `name` the first len bytes of word, whole? */
static bool same_name(const char *name, const char *word, size_t len)
{
    size_t i = 0;
    while (i < len && name[i] != '\0' && name[i] == word[i]) {
        i++;
    }
    return i == len && name[i] == '\0';
}

/* The option that a word "--name", "--name=value" or "-o" names. */
static enum opt find_option(const char *word, const char **attached)
{
    const char *equals = strchr(word, '=');
    *attached = NULL;
    for (int o = 0; o < OPT_COUNT; o++) {
        const struct option_row *r = &rows[o];
        if (word[1] == '-') {
            size_t len = equals != NULL ? (size_t)(equals - word) - 2 : strlen(word + 2);
            if (same_name(r->name, word + 2, len)) {
                *attached = equals != NULL ? equals + 1 : NULL;
                return (enum opt)o;
            }
        } else if (r->letter != 0 && word[1] == r->letter && word[2] == '\0') {
            return (enum opt)o;
        }
    }
    return OPT_COUNT;
}

static enum err take_option(const struct verb *v, int argc, char *const *argv, int *i,
                            struct args *out, struct err_msg *e)
{
    const char *word = argv[*i];
    const char *value = NULL;
    enum opt o = find_option(word, &value);
    if (o == OPT_COUNT || (o != OPT_HELP && (v->options & OPT_BIT(o)) == 0)) {
        return err_set(e, ERR_USAGE, "'%s' takes no option '%s'; see whichend %s --help",
                       v->name, word, v->name);
    }
    if (rows[o].value == NULL && value != NULL) {
        return err_set(e, ERR_USAGE, "--%s takes no value", rows[o].name);
    }
    if (rows[o].value != NULL && value == NULL) {
        if (*i + 1 >= argc) {
            return err_set(e, ERR_USAGE, "--%s needs %s", rows[o].name, rows[o].value);
        }
        value = argv[++*i];
    }
    if (!rows[o].repeats && args_has(out, o) && rows[o].value != NULL) {
        return err_set(e, ERR_USAGE, "--%s is given twice", rows[o].name);
    }
    if (out->given_count == ARGS_MAX) {
        return err_set(e, ERR_USAGE, "more than %d options", ARGS_MAX);
    }
    out->given[out->given_count].opt = o;
    out->given[out->given_count++].value = value;
    return ERR_OK;
}

enum err args_parse(const struct verb *v, int argc, char *const *argv, struct args *out,
                    struct err_msg *e)
{
    bool options = true;
    memset(out, 0, sizeof *out);
    for (int i = 0; i < argc; i++) {
        if (options && strcmp(argv[i], "--") == 0) {
            options = false;
        } else if (options && argv[i][0] == '-' && argv[i][1] != '\0') {
            TRY(take_option(v, argc, argv, &i, out, e));
        } else if (out->words == WORDS_MAX || out->words == v->words_max) {
            return err_set(e, ERR_USAGE, "'%s' is one word too many for %s", argv[i], v->name);
        } else {
            out->word[out->words++] = argv[i];
        }
    }
    if (out->words < v->words_min && !args_has(out, OPT_HELP)) {
        return err_set(e, ERR_USAGE, "%s needs %s; see whichend %s --help", v->name, v->words,
                       v->name);
    }
    return ERR_OK;
}

bool args_has(const struct args *a, enum opt o)
{
    for (size_t i = 0; i < a->given_count; i++) {
        if (a->given[i].opt == o) {
            return true;
        }
    }
    return false;
}

const char *args_value(const struct args *a, enum opt o)
{
    for (size_t i = 0; i < a->given_count; i++) {
        if (a->given[i].opt == o) {
            return a->given[i].value;
        }
    }
    return NULL;
}

enum err args_number(const struct args *a, enum opt o, int64_t low, int64_t high, int64_t *out,
                     struct err_msg *e)
{
    const char *text = args_value(a, o);
    char *end = NULL;
    long long v = 0;
    if (text == NULL) {
        return ERR_OK;
    }
    errno = 0;
    v = strtoll(text, &end, 10);
    if (end == text || *end != '\0' || errno != 0 || v < low || v > high) {
        return err_set(e, ERR_USAGE, "--%s must be a whole number from %lld to %lld, not '%s'",
                       rows[o].name, (long long)low, (long long)high, text);
    }
    *out = v;
    return ERR_OK;
}

enum err args_line_map(const struct args *a, struct line_map *out, struct err_msg *e)
{
    for (size_t i = 0; i < a->given_count; i++) {
        char line[32];
        const char *v = a->given[i].value;
        const char *equals = v != NULL ? strchr(v, '=') : NULL;
        if (a->given[i].opt != OPT_LINE) {
            continue;
        }
        if (equals == NULL || equals == v || (size_t)(equals - v) >= sizeof line ||
            equals[1] == '\0') {
            return err_set(e, ERR_USAGE, "--line takes LINE=NAME[:high], not '%s'", v);
        }
        memcpy(line, v, (size_t)(equals - v));
        line[equals - v] = '\0';
        TRY(line_map_add(out, line, equals + 1, 0, e));
    }
    return ERR_OK;
}

enum err args_asked(const struct args *a, unsigned *out, struct err_msg *e)
{
    const char *list = args_value(a, OPT_ASKED);
    unsigned asked = 0;
    while (list != NULL && *list != '\0') {
        char word[32];
        size_t len = 0;
        unsigned bit = 0;
        list += strspn(list, ", ");
        len = strcspn(list, ", ");
        if (len > 0 && len < sizeof word) {
            memcpy(word, list, len);
            word[len] = '\0';
            bit = asked_bit(word);
        }
        if (len > 0 && bit == 0) {
            return err_set(e, ERR_USAGE, "--asked knows no '%.*s'", (int)(len < 60 ? len : 60),
                           list);
        }
        asked |= bit;
        list += len;
    }
    if (asked != 0) {
        *out = asked;
    }
    return ERR_OK;
}

enum err args_profiles(const struct args *a, struct profile_path **out, struct err_msg *e)
{
    return profile_path_make(args_value(a, OPT_PROFILES), out, e);
}

enum err args_drive(const struct args *a, enum opt o, struct profile **out, struct err_msg *e)
{
    struct profile_path *path = NULL;
    *out = NULL;
    if (args_value(a, o) == NULL)
        return ERR_OK;
    TRY(args_profiles(a, &path, e));
    enum err err = profile_load(path, PROFILE_DRIVE, args_value(a, o), out, e);
    profile_path_free(path);
    return err;
}
