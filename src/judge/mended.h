/* Private to src/judge: work that was done on the set, and what it left.
 *
 * A capture is taken before or after each [repair] of the case (its `after`). One of the works
 * may have cured a cause, and from then on the cause shows nothing: each hypothesis is summed
 * over which one did.
 */
#ifndef WHICHEND_JUDGE_MENDED_H
#define WHICHEND_JUDGE_MENDED_H

#include "judge/infer.h"

/* Which work cured which of the causes of a hypothesis, by its bit; 0 none did. */
struct cured {
    double ln; /* of the chance */
    unsigned a, b;
};
#define CURED_MAX ((MENDED_MAX + 1) * (MENDED_MAX + 1))

/* The works of the case, in the order of their names, and which captures of it came after
 * which. ERR_FORMAT for more than MENDED_MAX. */
enum err mended_gather(const struct case_file *c, struct gathered *g, struct err_msg *e);
/* The bits of the works of a capture's `after`. */
unsigned mended_before(const struct case_file *c, const struct case_capture *cap);

/* All ways in which works can have cured a hypothesis; returns how many, their chances sum
 * to 1.
 */
size_t mended_ways(const struct inference *n, size_t h, struct cured out[CURED_MAX]);
/* The hypothesis that is left in a capture taken after these works: itself, one of its two
 * causes, or 0 for nothing wrong. */
size_t mended_left(const struct inference *n, size_t h, const struct cured *c, unsigned after);

/* What is left of a hypothesis in a run by the likeliest of its ways; itself in what was told.
 */
size_t mended_in_run(const struct inference *n, size_t h, int run);

/* What all works together left, an end each; sums to 1. fault: the likeliest cause, -1 none. */
enum err mended_remains(const struct inference *n, double end[END_COUNT], int *fault);

#endif
