/* Private to src/judge: several recorded runs of one set.
 *
 * A constant fault is there in every run, one that comes and goes in some. Runs of one kind
 * that say the same are one observation said again, so a clean session clears only so far
 * (handbook, diagnosis, 1.7 and 1.8).
 */
#ifndef WHICHEND_JUDGE_REPEATS_H
#define WHICHEND_JUDGE_REPEATS_H

#include "judge/mended.h"

/* Of a FEATURE_TRIES, its answers from the counts: the chance of them at a background rate, at
 * a rate that nobody knows, and where nearly all fails (handbook, diagnosis, 1.7). */
void repeats_soften(struct feature *f);

/* Exponent of each run, from run_ln: 1 for a run that is alone of its kind. */
void repeats_temper(struct inference *n);
/* ln of the evidence of all runs for one hypothesis, what a person told included; of run
 * `changed` (-1: none) the values of own, one a hypothesis, stand: of this one, of "nothing
 * wrong", and of what works leave of it. With fewer than two recorded runs, and no count of
 * tries, a fault is taken as constant. */
double repeats_evidence(const struct inference *n, size_t h, int changed, const double *own);
/* Of the recorded runs alone, where works cured so much. */
double repeats_evidence_cured(const struct inference *n, size_t h, const struct cured *cured);

#endif
