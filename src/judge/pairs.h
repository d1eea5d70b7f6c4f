/* Private to src/judge: which two faults at once are worth a hypothesis.
 */
#ifndef WHICHEND_JUDGE_PAIRS_H
#define WHICHEND_JUDGE_PAIRS_H

#include "judge/infer.h"

/* Pairs are made of the faults that fit best as a whole, and of those that explain some one
 * group best. */
#define PAIR_FAULTS_MAX 28
#define PAIRS_MAX       ((size_t)PAIR_FAULTS_MAX * (PAIR_FAULTS_MAX - 1) / 2)

/* Adds them. Singles must be weighed. */
enum err pairs_make(struct inference *n, size_t *cap);

#endif
