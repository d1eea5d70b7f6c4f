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

/* One value. Numbers not given are NAN-free: has_* says which are there. */
struct limit {
    const char *key;
    bool has_min, has_typ, has_max;
    double min, typ, max;
    const char *unit;       /* "" for words */
    const char *word;       /* text values ("trailing", "yes"); NULL for numbers */
    const char *source;     /* never NULL in a checked profile */
    const char *confidence; /* high, medium, low; NULL if absent */
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
const char *profile_file(const struct profile *p);
enum profile_kind profile_kind_of(const struct profile *p);

/* All values in file order, for `show`. */
size_t profile_limits(const struct profile *p, const struct limit **out);
/* One value, or NULL. */
const struct limit *profile_limit(const struct profile *p, const char *key);

/* Best single number: typ, else the middle of min and max, else the one there is, else
 * fallback. */
double profile_number(const struct profile *p, const char *key, double fallback);
double profile_min(const struct profile *p, const char *key, double fallback);
double profile_max(const struct profile *p, const char *key, double fallback);
/* "yes"/"no" words. */
bool profile_flag(const struct profile *p, const char *key, bool fallback);
/* Word, or fallback. */
const char *profile_word(const struct profile *p, const char *key, const char *fallback);

/* Lines that a drive or machine carries (its key lines), as a set. */
line_set profile_lines(const struct profile *p);

/* Cables. Pin 0: not carried. */
int cable_pins(const struct profile *cable); /* of the machine's plug */
int cable_machine_pin(const struct profile *cable,
                      enum line line); /* line as named at the machine plug */
int cable_drive_pin(const struct profile *cable,
                    enum line line); /* line as named at the drive plug */
enum line cable_machine_line(const struct profile *cable, int pin);
enum line cable_drive_line(const struct profile *cable, int pin);
/* The line's name at the other plug, through the map; LINE_NONE where the cable does not carry
 * it. */
enum line cable_to_drive(const struct profile *cable, enum line machine_line);
enum line cable_to_machine(const struct profile *cable, enum line drive_line);
/* Lines two pins apart at the drive plug (the other row between them ground): fills a, b;
 * returns count. */
size_t cable_neighbours(const struct profile *cable, enum line *a, enum line *b, size_t max);

#endif
