/* What all forms of a verdict share. */
#ifndef WHICHEND_REPORT_VERDICT_H
#define WHICHEND_REPORT_VERDICT_H

#include "judge/judge.h"
#include "report/json.h"

#define ENDS_OF_PARTS ((size_t)END_TWO) /* the ends that are parts, first in enum end */

/* The first `count` ends, highest share first. */
void verdict_order(const double *share, size_t count, enum end order[END_COUNT]);

/* How much a weight in decibans says: "strong", "clear", "some", "hardly". */
const char *verdict_strength(double decibans);
#define WEIGHT_SOME 3.0 /* decibans: weaker ones hardly say anything */

/* "the cable", "bench and fitting" */
#define VERDICT_END_MAX 48
const char *verdict_end(enum end end, char out[VERDICT_END_MAX]);

/* What stands behind "At fault:". */
#define VERDICT_ANSWER_MAX 400
const char *verdict_answer(const struct verdict *v, char out[VERDICT_ANSWER_MAX]);

/* "verdict" of whichend.verdict/1. */
json_t *verdict_json(const struct verdict *v, bool *failed);

#endif
