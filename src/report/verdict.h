/* What both forms of a verdict share. */
#ifndef WHICHEND_REPORT_VERDICT_H
#define WHICHEND_REPORT_VERDICT_H

#include "judge/judge.h"

#define ENDS_OF_PARTS ((size_t)END_TWO) /* the ends that are parts, first in enum end */

/* The first `count` ends, highest share first. */
void verdict_order(const double *share, size_t count, enum end order[END_COUNT]);

#endif
