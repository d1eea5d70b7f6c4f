/* The lines of the drive bus by their trade names (contract, "Words"), and the supply rails.
 *
 * Lines are active low on the cable: level 0 is active everywhere in this program.
 */
#ifndef WHICHEND_BASE_LINE_H
#define WHICHEND_BASE_LINE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum line {
    /* machine to drive */
    LINE_SELECT0,
    LINE_SELECT1,
    LINE_SELECT2,
    LINE_SELECT3,
    LINE_MOTOR,
    LINE_MOTOR0,
    LINE_MOTOR1,
    LINE_DIR,
    LINE_STEP,
    LINE_SIDE,
    LINE_WGATE,
    LINE_WDATA,
    LINE_DENSITY,
    LINE_HLOAD,
    LINE_INUSE,
    LINE_LOWCUR,
    LINE_FAULTRESET,
    /* drive to machine */
    LINE_INDEX,
    LINE_TRK00,
    LINE_WPROT,
    LINE_RDATA,
    LINE_READY,
    LINE_DSKCHG,
    LINE_HDOUT,
    LINE_SECTOR,
    LINE_TWOSIDED,
    LINE_FAULT,
    LINE_COUNT,
    LINE_NONE = 63
};

enum rail { RAIL_V5, RAIL_V12, RAIL_V24, RAIL_COUNT, RAIL_NONE = 63 };

enum level { LEVEL_LOW = 0, LEVEL_HIGH = 1, LEVEL_UNKNOWN = 2 /* not recorded */ };

/* A set of lines, one bit each. */
typedef uint64_t line_set;
#define LINE_BIT(l) ((line_set)1 << (l))

/* Trade name in capitals; "?" for LINE_NONE. */
const char *line_name(enum line line);
const char *rail_name(enum rail rail);

/* Exact name in any case, no affixes. LINE_NONE where it is none. */
enum line line_by_name(const char *name);
enum rail rail_by_name(const char *name);
/* The same for the first len bytes of a text. */
enum line line_by_part(const char *text, size_t len);

/* The contract's rule for a variable in a file: any case; with or without a leading '/' or 'n';
 * a trailing '#', "_n", "_b" or a bit range "[0]". name need not end in NUL. */
enum line line_by_variable(const char *name, size_t len);

/* true for machine-to-drive lines */
bool line_from_machine(enum line line);
bool line_is_select(enum line line); /* SELECT0..3 */
bool line_is_motor(enum line line);  /* MOTOR, MOTOR0, MOTOR1 */

#endif
