/* The sheet of an acceptance test: one line a measurement, with the value, its uncertainty, the
 * limit it was held against, and what came of it.
 *
 * A plain struct without pointers, so that a sheet read from a file and one just made are the
 * same thing. report/accept.h writes and reads it; accept/accept.h makes it.
 */
#ifndef WHICHEND_ACCEPT_SHEET_H
#define WHICHEND_ACCEPT_SHEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum accept_item {
    ACCEPT_SELECT,
    ACCEPT_START,
    ACCEPT_SPEED,
    ACCEPT_DRIFT,
    ACCEPT_VARIATION,
    ACCEPT_HUB,
    ACCEPT_INDEX,
    ACCEPT_INDEX_WIDTH,
    ACCEPT_INDEX_REPEAT,
    ACCEPT_TRACK0,
    ACCEPT_STEP_RATE,
    ACCEPT_SLIP,
    ACCEPT_REACH,
    ACCEPT_SETTLE,
    ACCEPT_SIDE_SELECT,
    ACCEPT_READ_0,
    ACCEPT_READ_1,
    ACCEPT_JITTER_0,
    ACCEPT_JITTER_1,
    ACCEPT_ASYMMETRY_0,
    ACCEPT_ASYMMETRY_1,
    ACCEPT_INDEX_DATA,
    ACCEPT_SIDES,
    ACCEPT_WRITE_QUIET,
    ACCEPT_WPROT,
    ACCEPT_DSKCHG,
    ACCEPT_READY,
    ACCEPT_WRITE,
    ACCEPT_OVERWRITE,
    ACCEPT_ERASE,
    ACCEPT_FOREIGN,
    ACCEPT_ELSEWHERE,
    ACCEPT_WARM,
    ACCEPT_V5,
    ACCEPT_V5_MOTOR,
    ACCEPT_V5_HEAD,
    ACCEPT_V12,
    ACCEPT_V12_MOTOR,
    ACCEPT_V12_HEAD,
    ACCEPT_V24,
    ACCEPT_RADIAL,
    ACCEPT_AZIMUTH,
    ACCEPT_BURST,
    ACCEPT_ITEMS
};

enum accept_state {
    ACCEPT_ABSENT, /* this drive has nothing of the kind */
    ACCEPT_NOT_MEASURED,
    ACCEPT_READING, /* measured; there is nothing to hold it against */
    ACCEPT_PASS,
    ACCEPT_FAIL,
    ACCEPT_STATES
};

struct accept_limit {
    bool has_min, has_max;
    double min, max; /* in the line's unit */
    char source[160];
};

struct accept_line {
    enum accept_state state;
    bool wanting; /* not measured, and the sheet is not complete without it */
    bool has_value;
    double value, uncertainty; /* 95 %; in the item's unit */
    bool has_limit;
    struct accept_limit limit;
    bool has_shop; /* the shop's own limit beside the maker's: speed */
    struct accept_limit shop;
    bool outside_shop; /* within the maker's limit, not within the shop's */
    bool close;        /* on its side of the limit by less than the uncertainty */
    char text[200];    /* how it was measured, what failed, or why it was not measured */
};

/* The read signal at one place of the head. */
struct accept_place {
    int32_t cylinder, side;
    double jitter_ns, jitter_u_ns;
    double margin_ns, margin_u_ns;
    double asymmetry_ns, asymmetry_u_ns;
    bool has_index_data;
    double index_data_us; /* index pulse to the first identifier */
    int32_t sectors, sectors_good;
};
#define ACCEPT_PLACES_MAX 512

struct accept_sheet {
    char drive[64], title[160]; /* the profile */
    char serial[64];            /* as the person gave it; "" */
    char made[32];              /* UTC, "2031-05-04T10:11:12Z"; "" where nobody said */
    char source[160];           /* adapter, or the captures */
    char rest[200];             /* why the run over the adapter ended before its plan; "" */
    struct accept_line line[ACCEPT_ITEMS];
    size_t place_count;
    struct accept_place place[ACCEPT_PLACES_MAX];
};

/* What an item is; never NULL. id: permanent, "speed.mean". */
const char *accept_item_id(enum accept_item i);
const char *accept_item_title(enum accept_item i);
const char *accept_item_unit(enum accept_item i);
int accept_item_decimals(enum accept_item i);
/* ACCEPT_ITEMS where no item has that id. */
enum accept_item accept_item_by_id(const char *id);

/* "pass", "fail", "not-measured", "reading", "absent". ACCEPT_STATES where there is none such.
 */
const char *accept_state_word(enum accept_state s);
enum accept_state accept_state_by_word(const char *word);

enum accept_outcome { ACCEPT_PASSED, ACCEPT_FAILED, ACCEPT_INCOMPLETE };
/* Failed with any line; incomplete where a line is wanting. */
enum accept_outcome accept_sheet_outcome(const struct accept_sheet *s);
/* Number of lines in that state. */
size_t accept_sheet_count(const struct accept_sheet *s, enum accept_state state);

/* Two sheets of one drive: before and after a repair, or months apart. */
enum accept_change {
    ACCEPT_SAME,     /* alike within their uncertainties, or not measured in both */
    ACCEPT_MOVED,    /* by more than both uncertainties together, same state */
    ACCEPT_MENDED,   /* failed before, passes now */
    ACCEPT_BROKE,    /* passed before, fails now */
    ACCEPT_APPEARED, /* not measured before */
    ACCEPT_LOST,     /* not measured now */
    ACCEPT_CHANGES
};
struct accept_difference {
    enum accept_change change;
    bool has_change; /* both have a value */
    double by, uncertainty;
};
void accept_compare(const struct accept_sheet *before, const struct accept_sheet *after,
                    struct accept_difference out[ACCEPT_ITEMS]);
/* "same", "moved", "mended", "broke", "appeared", "lost". */
const char *accept_change_word(enum accept_change c);

#endif
