/* Profiles: facts about drives, machines, cables and faults as data, each value with unit and
 * source.
 *
 * A profile is an INI file below profiles/drives, profiles/controllers or profiles/cables. Its
 * name is the file's name without ".ini". The keys a kind may hold, with unit and meaning, are
 * one table each (profile_keys.c): help, checks and reading use the same table.
 */
#ifndef WHICHEND_PROFILE_PROFILE_H
#define WHICHEND_PROFILE_PROFILE_H

#include "base/err.h"
#include "base/ini_file.h"
#include "base/line.h"

#include <stdbool.h>
#include <stddef.h>

enum profile_kind { PROFILE_DRIVE, PROFILE_CONTROLLER, PROFILE_CABLE, PROFILE_KINDS };

/* "drive", "controller", "cable": the word of [profile] kind. The folder's name is its plural.
 */
const char *profile_kind_word(enum profile_kind kind);

enum profile_form {
    PROFILE_NUMBER, /* min, typ, max: at least one, in the key's unit */
    PROFILE_WORD,   /* word = one of the key's words */
    PROFILE_LIST,   /* list = some of the key's words, or numbers in the key's unit */
};

/* What a profile may hold: one section of the file a key. */
struct profile_key {
    const char *key;
    enum profile_form form;
    const char *unit;  /* "" for words */
    const char *words; /* allowed words with blanks between; NULL for numbers */
    bool required;
    const char *meaning;
};

/* The whole table of a kind: *count rows. */
const struct profile_key *profile_keys(enum profile_kind kind, size_t *count);

/* One value. Numbers not given are 0 and never NAN: has_* says which are there. */
struct limit {
    const char *key;
    bool has_min, has_typ, has_max;
    double min, typ, max;
    const char *unit;   /* "" for words */
    const char *word;   /* text values ("trailing", "yes", "select ready"); NULL for numbers */
    const char *source; /* never NULL in a checked profile */
    const char *confidence; /* high, medium, low; NULL if absent */
    const char *note;       /* where sources differ, what to beware of; NULL if absent */
    int place;              /* line of the file */
};

struct profile;

/* Where profiles are looked for, in the contract's order: dir (may be NULL),
 * $WHICHEND_PROFILES, the user's config directory, the installed data directory, beside the
 * source tree the program was built from. */
struct profile_path;
enum err profile_path_make(const char *dir, struct profile_path **out, struct err_msg *e);
void profile_path_free(struct profile_path *p);

/* List names of a kind, sorted, without duplicates. *out is an array of *count strings, yours:
 * profile_names_free. */
enum err profile_list(const struct profile_path *p, enum profile_kind kind, char ***out,
                      size_t *count, struct err_msg *e);
void profile_names_free(char **names, size_t count);

/* The same search for files of other kinds (folder "faults"): names without ".ini", and the
 * whole path of one of them in *path (yours: free). ERR_USAGE when there is none, or the name
 * could leave the folder. */
enum err profile_file_list(const struct profile_path *p, const char *folder, char ***out,
                           size_t *count, struct err_msg *e);
enum err profile_file_find(const struct profile_path *p, const char *folder, const char *name,
                           char **path, struct err_msg *e);

/* ERR_USAGE when there is no such profile, ERR_FORMAT "path:line: reason" when it is damaged. A
 * case turns the first into its own ERR_FORMAT. */
enum err profile_load(const struct profile_path *p, enum profile_kind kind, const char *name,
                      struct profile **out, struct err_msg *e);
void profile_free(struct profile *p); /* NULL allowed */

/* Check one file wholly: unknown section or key, wrong unit, min over max, missing source, pins
 * off the connector, a line on two pins. Each problem is added to *problems (a struct buf, one
 * "path:line: text" a line). ERR_OK also when there are problems. */
struct buf;
enum err profile_check_file(const char *path, enum profile_kind kind, struct buf *problems,
                            size_t *count, struct err_msg *e);

const char *profile_name(const struct profile *p);
const char *profile_title(const struct profile *p);
const char *profile_file(const struct profile *p); /* its path */
const char *profile_note(const struct profile *p); /* "" where it has none */
enum profile_kind profile_kind_of(const struct profile *p);

/* All values in file order, for `show`. */
size_t profile_limits(const struct profile *p, const struct limit **out);
/* One value, or NULL. Here and below p may be NULL: no profile, so nothing is known. */
const struct limit *profile_limit(const struct profile *p, const char *key);

/* Best single number: typ, else the middle of min and max, else the one there is, else
 * fallback. */
double profile_number(const struct profile *p, const char *key, double fallback);
double profile_min(const struct profile *p, const char *key, double fallback);
double profile_max(const struct profile *p, const char *key, double fallback);
/* "yes"/"no" words. */
bool profile_flag(const struct profile *p, const char *key, bool fallback);
/* Word or whole list, or fallback. */
const char *profile_word(const struct profile *p, const char *key, const char *fallback);
/* true when the value is a word or list and `word` is one of its words. */
bool profile_has_word(const struct profile *p, const char *key, const char *word);

/* Lines that a drive or machine carries (its key lines), as a set. */
line_set profile_lines(const struct profile *p);

/* Cables. A pin may bear several names (34: READY or DSKCHG, as the drive is strapped): the
 * first one is the pin's name, the others find it too. Pin 0: not carried. */
int cable_pins(const struct profile *cable);       /* of the machine's plug */
int cable_drive_pins(const struct profile *cable); /* of the drive's plug */
/* Pin of a line as named at that plug. */
int cable_machine_pin(const struct profile *cable, enum line line);
int cable_drive_pin(const struct profile *cable, enum line line);
/* Drive's pin that a machine's pin leads to; 0: none. */
int cable_far_pin(const struct profile *cable, int machine_pin);
/* What a pin of either plug is for: ground; or a line, a supply or another use, so that its
 * conductor must be there. */
bool cable_pin_is_ground(const struct profile *cable, bool drive_plug, int pin);
bool cable_pin_is_used(const struct profile *cable, bool drive_plug, int pin);
/* First name of a pin; LINE_NONE for grounds, supplies and open pins. */
enum line cable_machine_line(const struct profile *cable, int pin);
enum line cable_drive_line(const struct profile *cable, int pin);
/* The line's name at the other plug, through the map: its own name where that pin bears it,
 * else the pin's first. LINE_NONE where the cable does not carry it. */
enum line cable_to_drive(const struct profile *cable, enum line machine_line);
enum line cable_to_machine(const struct profile *cable, enum line drive_line);
/* Lines two pins apart at the drive plug (the other row between them ground), each pin under
 * each of its names, a on the lower pin. Fills a, b up to max; returns how many there are.
 * Leave out the pairs that the drive does not carry (profile_lines). */
size_t cable_neighbours(const struct profile *cable, enum line *a, enum line *b, size_t max);

#endif
