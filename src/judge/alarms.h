/* Private to src/judge: signs that nothing listed explains the evidence (handbook, diagnosis,
 * 1.10). Each is said with the findings that raise it, and holds a verdict back.
 */
#ifndef WHICHEND_JUDGE_ALARMS_H
#define WHICHEND_JUDGE_ALARMS_H

#include "judge/infer.h"

/* best: the likeliest hypothesis. Adds gates and warnings to v. */
enum err alarms_raise(const struct inference *n, size_t best, struct verdict *v);

#endif
