/* Findings: facts drawn from a capture (readings) or told by a person (observations), in a form
 * that both people and the judge can read.
 */
#ifndef WHICHEND_EVIDENCE_FINDING_H
#define WHICHEND_EVIDENCE_FINDING_H

#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>

enum end {
    END_DRIVE,
    END_CABLE,
    END_CONTROLLER, /* shown as "machine side" */
    END_DISK,
    END_POWER,
    END_SETUP, /* shown as "bench and fitting" */
    END_TWO,
    END_UNEXPLAINED,
    END_NONE,
    END_COUNT
};
const char *
end_name(enum end e); /* contract word: "drive", ..., "two-ends", "unexplained", "none" */
const char *end_shown(enum end e); /* for people: "machine side", "bench and fitting", ... */
enum end end_by_name(const char *name); /* END_COUNT where it is none */

#define FINDING_ID_MAX   72
#define FINDING_TEXT_MAX 240

struct finding {
    char id[FINDING_ID_MAX];     /* permanent: "index.state", "trk00.never-found", ... */
    char from[FINDING_ID_MAX];   /* capture's name, or the section of the case */
    char text[FINDING_TEXT_MAX]; /* one sentence in the words of the trade */
    bool observation;            /* told by a person */
    bool has_value;
    double value, uncertainty;
    char unit[16];
    char limit[96];           /* as text, "" if none: "295.5 to 304.5 rpm" */
    char source[160];         /* of the limit */
    double weight[END_COUNT]; /* decibans for that end against all others, by leaving it out */
    enum end without;         /* the end that would lead without it */
};

#endif
