/* A case: what was recorded, what was asked, what a person saw and tried. Contract, "A case".
 */
#ifndef WHICHEND_EVIDENCE_CASE_FILE_H
#define WHICHEND_EVIDENCE_CASE_FILE_H

#include "base/asked.h"
#include "base/buf.h"
#include "base/err.h"
#include "base/ini_file.h"
#include "capture/capture.h"
#include "profile/profile.h"

enum disk_state { DISK_UNKNOWN, DISK_KNOWN_GOOD, DISK_BLANK, DISK_NONE };
enum outcome {
    OUTCOME_UNKNOWN,
    OUTCOME_WORKED,
    OUTCOME_FAILED,
    OUTCOME_HANGS,
    OUTCOME_WRONG_DATA,
    OUTCOME_SOMETIMES
};
enum role { ROLE_INLINE, ROLE_AS_MACHINE, ROLE_AS_DRIVE, ROLE_BOTH_PLUGS, ROLE_LOOP };
enum tap { TAP_UNKNOWN, TAP_MACHINE_END, TAP_DRIVE_END };

struct case_capture {
    const char *name;
    const char *file; /* as written, relative to the folder */
    char *path;       /* joined */
    enum role role;
    enum tap tap;
    int pull_up_ohm;   /* 0: none */
    const char *run;   /* NULL: absent */
    const char *after; /* list of the works that were done before, by the names of [repair
                          NAME]; NULL: none. case_list_next() */
    int after_place;
    unsigned asked;
    enum outcome outcome;
    enum disk_state disk; /* the capture's own, or the case's */
    bool disk_said;       /* the capture's own */
    int unit;             /* -1: absent */
    int worked, tried;    /* worked-times; 0, 0 absent */
    const char *error;    /* text as shown; NULL */
    struct line_map map;  /* [lines] and [lines NAME] merged */
    int place;
};

/* A fact told by a person: section, name in brackets ("" if none), key, value; all known keys
 * are one table (case_keys.c) with allowed values and the question that asks for them. */
struct told {
    const char *section, *name, *key, *value;
    int place;
};

struct swap_tried {
    const char *name;
    const char *part; /* drive cable controller disk power */
    bool known_good;
    enum outcome outcome;
    const char *into, *back, *elsewhere; /* NULL absent */
    int reseated;                        /* -1 absent, 0 no, 1 yes */
    int count;                           /* spares tried with this outcome, at least 1 */
    int place;
};

struct case_file {
    char *folder;
    char *path; /* of case.ini */
    const char *title;
    const char *machine_name, *drive_name, *cable_name;
    struct profile *machine, *drive, *cable; /* loaded; defaults where the case names none */
    bool machine_assumed, drive_assumed, cable_assumed; /* the case named none */
    enum disk_state disk;
    bool scratch;
    int drives_attached; /* 0: not said */
    struct case_capture *capture;
    size_t capture_count;
    struct swap_tried *swap;
    size_t swap_count;
    struct told *told; /* everything else, in file order */
    size_t told_count;
    struct ini_file ini; /* owns the strings */
};

/* Read and check CASE (a folder, or its case.ini). Does not open the captures. ERR_NO_INPUT,
 * ERR_FORMAT with file and line: unknown section or key, a value that is none of the allowed,
 * an unknown profile, a path that leaves the folder, a capture without file. */
enum err case_file_read(const char *path, const struct profile_path *profiles,
                        struct case_file *out, struct err_msg *e);
/* The same from the text of a case.ini; `path` names it, `folder` is where its files lie. */
enum err case_file_parse(const char *path, const char *folder, const char *text, size_t len,
                         const struct profile_path *profiles, struct case_file *out,
                         struct err_msg *e);
/* Folder and case.ini of CASE; both yours (buf_release), also on failure. */
#define CASE_PATH_MAX 4096
enum err case_file_locate(const char *path, struct buf *out_folder, struct buf *out_file);
void case_file_release(struct case_file *c);

/* First value told for section and key (any name), or NULL. */
const char *case_told(const struct case_file *c, const char *section, const char *key);

/* Is there a pull-up at the tap? One of its own, or an adapter that stands in for the machine
 * or the drive and brings the resistors of that end. */
bool case_pulled_up(const struct case_capture *c);
/* The value told for section, name and key, or NULL. */
const char *case_told_named(const struct case_file *c, const char *section, const char *name,
                            const char *key);
/* Walks a list "one, two": *at is moved behind the next item, which is *item, len bytes without
 * the blanks around it. false at the end. */
bool case_list_next(const char **at, const char **item, size_t *len);

/* The known keys. */
struct case_key {
    const char *section; /* "case", "capture", "observed", "meter", "swap", "repair",
                            "selfcheck", "have" */
    const char *key;
    const char *values;   /* "never|on-access|always", "number", "text", "list:...",
                             "profile:drive" ... */
    const char *question; /* what to ask a person, one sentence; NULL where it is not asked */
};
size_t case_keys(const struct case_key **out);
/* NULL where there is none. */
const struct case_key *case_key_find(const char *section, const char *key);
bool case_value_fits(const struct case_key *key, const char *value);

/* The words of a key whose values are words between bars, by their place from 0: the place of a
 * word (-1: it is none), and the word of a place ("" behind the last). */
#define CASE_WORD_MAX 32
int case_word_place(const struct case_key *key, const char *word);
const char *case_word(const struct case_key *key, int place, char out[CASE_WORD_MAX]);

/* Can the section be given several times, each with a name? */
bool case_section_named(const char *section);

/* The allowed values in words. */
#define CASE_VALUES_TEXT_MAX 400
const char *case_values_text(const struct case_key *key, char out[CASE_VALUES_TEXT_MAX]);
/* "4.9 V", "150 ohm" as told for a meter: value in V, ohm or A. */
bool case_quantity(const char *s, double *out_value, const char **out_unit);

/* A new line in the text of a case: section "observed" or "capture at-machine", key, value. An
 * old value of the key is replaced, a missing section is added at the end; comments stay. out
 * is initialised by the caller. Check the result with case_file_parse before it is written.
 * ERR_USAGE for what no INI line can hold. */
enum err case_text_set(const char *text, const char *section, const char *key,
                       const char *value, struct buf *out, struct err_msg *e);

#endif
