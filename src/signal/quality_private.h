/* What the measures of quality share: deviations by the lengths of the intervals beside them.
 */
#ifndef WHICHEND_SIGNAL_QUALITY_PRIVATE_H
#define WHICHEND_SIGNAL_QUALITY_PRIVATE_H

#include <stdint.h>

#define KINDS_A_SIDE 3 /* lengths told apart before and behind a transition */
#define KINDS        (KINDS_A_SIDE * KINDS_A_SIDE)
#define DEV_BINS     1024 /* two cells wide */
#define BINS_A_CELL  512.0

/* Transitions with the same lengths before and behind. */
struct kind {
    double count, mean, var; /* in cells */
};

struct deviations {
    uint32_t bin[KINDS][DEV_BINS];
    struct kind kind[KINDS];
    double count, var; /* of all, about their common mean */
};

/* Half width, in cells, that transitions leave once in a million: from the normal laws of the
 * kinds, widened where the tails that were seen are heavier. sample: sampling interval in
 * cells, whose noise is taken out; clock_noise: the part that the clock's own noise adds to a
 * variance. */
double half_width_1e6(const struct deviations *d, double sample, double clock_noise);

#endif
