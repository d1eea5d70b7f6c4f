/* Bayes in the log domain over an enumerated list of hypotheses: the arithmetic of the judge.
 *
 * Hypotheses and groups of evidence are numbers here; what they mean is the caller's. Natural
 * logarithms throughout; sums run in index order, so the same input gives the same bytes.
 * Sources of the formulas: handbook, diagnosis, 1.8 (update), 1.12 (gain), 1.4 (noisy-OR), 1.13
 * (weights), 1.7 (sequential test).
 */
#ifndef WHICHEND_JUDGE_ENGINE_H
#define WHICHEND_JUDGE_ENGINE_H

#include <stddef.h>

/* ln of the sum of exp(v[i]); -INFINITY for n = 0. */
double ln_sum(const double *v, size_t n);

/* posterior[i] = exp(ln_joint[i]) / sum; returns ln of the evidence. May be done in place. */
double engine_posterior(const double *ln_joint, size_t n, double *posterior);

/* 10 log10 of the odds p : 1 - p from two sums over classes; class_of[i] in 0..classes-1. */
double engine_odds_decibans(const double *ln_joint, const int *class_of, size_t n,
                            int class_wanted);

/* Bits that a test tells of the class: I = sum P(e,o) log2(P(e,o) / (P(e) P(o))). answer[i *
 * answers + k] is the chance of answer k under hypothesis i. */
double engine_gain_bits(const double *posterior, const int *class_of, size_t n, int classes,
                        const double *answer, int answers);

/* Shannon entropy in bits of a distribution. */
double engine_entropy_bits(const double *p, size_t n);

/* Limit how much one group can say: no value below the highest less cap (in decibans). */
void engine_cap(double *ln_group, size_t n, double cap_decibans);

/* Chance of absence under noisy-OR: leak absent chance times the inhibitions of the causes
 * present. */
double engine_noisy_or_absent(double leak_absent, const double *inhibition, const int *present,
                              size_t n);

/* Two named rates, trials one by one: verdict of the log odds against the two bounds of a
 * sequential test. -1 accept the low rate, +1 accept the high rate, 0 go on. */
int engine_sequential(double low_rate, double high_rate, double risk_high_missed,
                      double risk_low_blamed, int trials, int failures);

/* ln of the chance of these tries, in their order, of which `bad` failed: at a rate that nobody
 * knows, spread as a beta distribution (failing, working), and at a known rate (handbook,
 * diagnosis, 1.7). */
double engine_tries_ln(int bad, int tries, double failing, double working);
double engine_tries_at_rate_ln(int bad, int tries, double rate);

/* Kinds of work, each with a cost and a chance to cure each cause: cure[work * causes + cause].
 * What they cost on average when done in this order until one helps; chances need not sum
 * to 1. */
double engine_work_cost(const double *cause, size_t causes, const double *cure,
                        const double *cost, const size_t *order, size_t works);
/* The work that cures most for its cost first, given that those before it did not help
 * (handbook, diagnosis, 1.12). left has room for `causes`. */
void engine_work_order(const double *cause, size_t causes, const double *cure,
                       const double *cost, size_t works, double *left, size_t *order);

#define NAT_PER_DECIBAN 0.23025850929940458

#endif
