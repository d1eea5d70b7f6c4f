/* Private to src/judge: is what was seen what the best hypothesis would show?
 */
#ifndef WHICHEND_JUDGE_SURPRISE_H
#define WHICHEND_JUDGE_SURPRISE_H

#include "judge/infer.h"

struct surprise {
    double z;   /* of the sum of what each group says, in spreads of its own simulation */
    bool alarm; /* further off than SURPRISE_FALSE_ALARMS of what the hypothesis would give */
    size_t feature; /* the oddest one */
};
#define SURPRISE_FALSE_ALARMS 0.02

/* hyp: one that has a state of its own. */
enum err surprise_of(const struct inference *n, size_t hyp, struct surprise *out);

#endif
