/* Private to src/judge: making the list of hypotheses. */
#ifndef WHICHEND_JUDGE_HYPOTHESES_H
#define WHICHEND_JUDGE_HYPOTHESES_H

#include "judge/infer.h"

/* Prior share of each end for this case; sums to 1. */
void end_priors(const struct gathered *g, const struct catalogue *c, double *share);

/* None, every single fault, an unlisted one at every end, and one that nobody placed. */
enum err hypotheses_single(struct inference *n, size_t *cap);
/* What no list names: a part of an end that holds one of the lines of the listed faults that
 * fit best, and what leaves an end dead altogether. Singles must be weighed. */
enum err hypotheses_held(struct inference *n, size_t *cap);
/* Was the test made that the catalogue names for it? */
bool fault_examined(const struct inference *n, const struct fault *f);
/* Do two faults break the very same thing, so that no evidence of this case tells them apart?
 */
bool faults_alike(const struct inference *n, int a, int b);
/* Two faults at once; shares: of both within their ends, multiplied. */
double hypothesis_pair_ln_prior(const struct inference *n, int a, int b, double shares);
enum err hypothesis_pair(struct inference *n, size_t *cap, int a, int b, double shares);

#endif
