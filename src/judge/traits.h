/* Private to src/judge: what a section of the catalogue says of a fault beside its effect. Each
 * reader gives false for words that it does not know.
 */
#ifndef WHICHEND_JUDGE_TRAITS_H
#define WHICHEND_JUDGE_TRAITS_H

#include "judge/model.h"

/* What the end alone says; the rest is added to it. */
void traits_begin(enum end end, enum sig sig, struct traits *t);
bool traits_varies(const char *text, struct traits *t); /* "plugs heat place ..." */
bool traits_cured(const char *text, struct traits *t);  /* kinds of work of a [repair] */
bool traits_reach(const char *text, struct traits *t);  /* "drive", "unit", "bus", "disk" */
/* Does work of these kinds (0: not told) on a part cure the fault? */
bool traits_cured_by(const struct traits *t, enum end part, unsigned kinds);
/* "belt-looks slack broken, noise squeals": what a look at the part, or its history, gives. */
bool traits_signs(const char *text, struct traits *t);

#endif
