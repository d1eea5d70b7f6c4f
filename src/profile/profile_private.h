/* Shared inside src/profile. */
#ifndef WHICHEND_PROFILE_PRIVATE_H
#define WHICHEND_PROFILE_PRIVATE_H

#include "base/buf.h"
#include "profile/profile.h"

#define PINS_MAX      64
#define PIN_NAMES_MAX 4

enum pin_use { PIN_OPEN, PIN_LINE, PIN_GROUND, PIN_SUPPLY, PIN_OTHER, PIN_KEY };

struct pin {
    enum pin_use use;
    enum line name[PIN_NAMES_MAX]; /* of PIN_LINE */
    size_t names;
    int place; /* line of the file that gave it, 0 for none */
};

struct plug {
    int pins, rows;
    struct pin pin[PINS_MAX + 1]; /* by number, from 1 */
    const struct ini_entry *ground;
    const char *source;
    bool like_machine; /* what is not given is as in the machine's plug */
};

struct cable {
    struct plug machine, drive;
    int map[PINS_MAX + 1];       /* drive pin of each machine pin, 0 for none */
    int map_place[PINS_MAX + 1]; /* line of the file that gave it, 0 for none */
    bool straight, listed;
    const char *map_source;
};

struct profile {
    enum profile_kind kind;
    char *name;
    const char *title, *note;
    struct ini_file ini; /* owns all text */
    struct limit *limit;
    size_t limits;
    line_set lines;
    struct cable cable;
};

/* Where a check's complaints go. */
struct problems {
    const char *path;
    struct buf *text;
    size_t count;
};

/* Add "path:line: text". Past the buffer's ceiling only the count goes on. */
void problem(struct problems *to, int line, const char *fmt, ...) PRINTF_LIKE(3, 4);

/* Next word of a list, blanks between: its start in *at and its length; 0 at the end. */
size_t next_word(const char **at);
/* true when the list holds the word. */
bool list_has(const char *list, const char *word, size_t len);

/* A plug's or the map's section, entry by entry; what it lacks is found by cable_finish. */
bool is_cable_section(const char *section);
void cable_take(struct profile *p, const struct ini_entry *x, struct problems *to);
/* After the last entry: copy what one plug has from the other, fill the map, check it. */
void cable_finish(struct profile *p, struct problems *to);

/* Build a profile from its file's entries; complaints go to `to`, whose count is 0 for a sound
 * one. The profile owns `ini` afterwards. ERR_MEMORY only. */
enum err profile_build(enum profile_kind kind, const char *name, struct ini_file *ini,
                       struct profile **out, struct problems *to);

#endif
