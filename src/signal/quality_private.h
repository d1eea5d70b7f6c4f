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
 * variance. out_tail_doubt: part of the width that carrying tails on may be off (95 %). */
double half_width_1e6(const struct deviations *d, double sample, double clock_noise,
                      double *out_tail_doubt);

/* Uncertainties at 95 %, in cells. */
struct doubt {
    double jitter, shift;
    double sampled;    /* the part of the jitter's that sampling may have made */
    double width_part; /* of the half width */
};
/* cells: in the whole stretch; tail: half_width_1e6's, as a part. */
void doubt_find(const struct deviations *d, double sample, double cells, double tail,
                struct doubt *out);
/* What sampling may have added to a jitter, or hidden of it, where the cells stand still
 * against the samples. */
double sampling_doubt(double jitter, double sample, double cells);
/* Of the root of a square that is known to one standard deviation. */
double square_root_doubt(double square, double sd);

#endif
