/* Private to src/judge: what would every likely hypothesis answer to a question that nobody put
 * yet?
 */
#ifndef WHICHEND_JUDGE_ASK_H
#define WHICHEND_JUDGE_ASK_H

#include "judge/infer.h"
#include "judge/world.h"

/* One play that the evidence leaves open. */
struct played {
    size_t hyp;
    double share; /* of this hypothesis, all its plays together 1 */
    struct world w;
};

struct asking {
    const struct inference *n; /* borrowed */
    struct played *item;
    size_t count, cap;
};

/* Plays every likely hypothesis in each run, what a person told included where anything was,
 * over what nobody told and the run leaves open. Release also after an error. */
enum err asking_begin(const struct inference *n, struct asking *out);
void asking_release(struct asking *a);

/* [hyp][answers], yours; NULL without memory. Hypotheses of no state of their own (in no list)
 * answer like a coin. */
double *asking_answers(const struct asking *a, const struct feature *f);
/* Bits that the answer is expected to tell of the ends; answer may be NULL. */
double asking_bits(const struct asking *a, const struct feature *f, const double *answer);

#endif
