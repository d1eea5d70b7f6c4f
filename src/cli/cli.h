/* The command line: verbs and options as two tables, and the only place that prints or exits.
 */
#ifndef WHICHEND_CLI_CLI_H
#define WHICHEND_CLI_CLI_H

#include "base/buf.h"
#include "base/err.h"
#include "capture/capture.h"
#include "profile/profile.h"
#include "report/report.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define EXIT_FAULT     3 /* decided for an end */
#define EXIT_UNDECIDED 4 /* leaning or undecided; an archive that is not whole */

/* One option a bit. */
enum opt {
    OPT_HELP,
    OPT_JSON,
    OPT_VERBOSE,
    OPT_QUIET,
    OPT_PROFILES,
    OPT_LINE,
    OPT_DRIVE_PROFILE,
    OPT_OUTPUT,
    OPT_REPLACE,
    OPT_TITLE,
    OPT_MACHINE,
    OPT_DRIVE,
    OPT_CABLE,
    OPT_DISK,
    OPT_NAME,
    OPT_ROLE,
    OPT_TAP,
    OPT_PULL_UP,
    OPT_RUN,
    OPT_AFTER,
    OPT_ASKED,
    OPT_OUTCOME,
    OPT_FAULT,
    OPT_SEED,
    OPT_TAPS,
    OPT_TWO_CLOCKS,
    OPT_FLUX_MS,
    OPT_FORMAT,
    OPT_LIST,
    OPT_IMAGE,
    OPT_WORN,
    OPT_RESUME,
    OPT_AFFIRM,
    OPT_ACCEPT_RISK,
    OPT_ADAPTER,
    OPT_DISK_OUT,
    OPT_SECONDS,
    OPT_TURNS,
    OPT_CYLINDERS,
    OPT_SIDES,
    OPT_TRIGGER,
    OPT_UNIT,
    OPT_PLAY,
    OPT_DISK_NAME,
    OPT_MARK_SCRIBED,
    OPT_OBJECT,
    OPT_WIGGLE,
    OPT_CASE,
    OPT_COMPARE,
    OPT_SHEET,
    OPT_ARCHIVE,
    OPT_SERIAL,
    OPT_WRITTEN_BY,
    OPT_QUICK,
    OPT_KEEP,
    OPT_HANDS,
    OPT_SCRATCH,
    OPT_WARM,
    OPT_ELSEWHERE,
    OPT_COUNT
};
#define OPT_BIT(o) (UINT64_C(1) << (o))

struct option_row {
    const char *name;  /* "json" for --json */
    char letter;       /* 'o' for -o; 0 none */
    const char *value; /* what follows, for help; NULL for a switch */
    bool repeats;
    const char *help;
};
const struct option_row *option_row(enum opt o);

#define ARGS_MAX  200
#define WORDS_MAX 16

/* The words of a call, borrowed from argv. */
struct args {
    struct {
        enum opt opt;
        const char *value; /* NULL for a switch */
    } given[ARGS_MAX];
    size_t given_count;
    const char *word[WORDS_MAX];
    size_t words;
};

/* What a verb hands back: all that goes to standard output, and an exit status below 64. */
struct answer {
    struct buf out;
    int status;
};

struct verb {
    const char *name;    /* "judge", "case add" */
    const char *words;   /* what follows, for help */
    const char *summary; /* one line */
    const char *detail;  /* paragraphs for --help */
    uint64_t options;    /* bits of enum opt; help is always allowed */
    size_t words_min, words_max;
    enum err (*run)(const struct args *a, struct answer *r, struct err_msg *e);
};

/* All verbs that work; *count rows. */
const struct verb *verbs(size_t *count);
/* The verb that the first words name; *used how many of them. NULL where there is none. */
const struct verb *verb_find(int argc, char *const *argv, int *used);

/* argv behind the verb's own words. ERR_USAGE. */
enum err args_parse(const struct verb *v, int argc, char *const *argv, struct args *out,
                    struct err_msg *e);
bool args_has(const struct args *a, enum opt o);
/* NULL where it was not given. */
const char *args_value(const struct args *a, enum opt o);
/* A whole number from low to high; *out is left alone where the option was not given. */
enum err args_number(const struct args *a, enum opt o, int64_t low, int64_t high, int64_t *out,
                     struct err_msg *e);
/* --line A=B[:high], all of them. */
enum err args_line_map(const struct args *a, struct line_map *out, struct err_msg *e);
/* --asked list, as bits of base/asked.h. */
enum err args_asked(const struct args *a, unsigned *out, struct err_msg *e);
enum err args_profiles(const struct args *a, struct profile_path **out, struct err_msg *e);
/* The drive's profile that an option names; NULL where it was not given. Yours (profile_free).
 */
enum err args_drive(const struct args *a, enum opt o, struct profile **out, struct err_msg *e);

enum err help_all(struct buf *out);
enum err help_verb(const struct verb *v, struct buf *out);
/* "case": every verb that begins so. */
enum err help_group(const char *group, struct buf *out);

/* Colour where standard output is a terminal and NO_COLOR is not set. */
struct text_style style_of(const struct args *a);

/* Progress on standard error, where that is a terminal. */
struct progress {
    bool shown;
    const char *what;
    int last_percent;
};
void progress_begin(struct progress *p, const struct args *a, const char *what);
void progress_share(void *progress, double share);
void progress_step(void *progress, const char *what, double share);
void progress_end(struct progress *p);

/* Set by SIGINT and SIGTERM. */
extern volatile int stop_asked;

enum err verb_judge(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_report(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_measure(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_import(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_export(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_case_new(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_case_note(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_case_add(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_case_show(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_case_questions(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_case_ask(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_profile_list(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_profile_show(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_profile_check(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_rehearse(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_record(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_selfcheck(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_adjust(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_archive(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_accept(const struct args *a, struct answer *r, struct err_msg *e);
enum err verb_version(const struct args *a, struct answer *r, struct err_msg *e);

#endif
