/* Speed inside the turn: the bit clock by angle, over several turns.
 *
 * A pass of its own over the intervals, beside the decoder: it needs the cell's length only,
 * whatever the code. It does not follow single transitions but the phase of runs of them, so
 * that a cell misjudged here and there does no harm, and it leaves out what it is not sure of
 * (splices, dropouts, unrecorded parts).
 */
#ifndef WHICHEND_SIGNAL_SPEED_H
#define WHICHEND_SIGNAL_SPEED_H

#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Intervals between transitions in ticks of one length. */
struct ticked {
    const uint32_t *interval;
    size_t count;
    double tick_ns;
    int64_t start_ns; /* of the first transition */
};

/* What is known of the code: the cell, roughly, and the intervals that it has. */
struct cell_hint {
    double cell_ns;
    int step_min, step_max; /* cells */
};

/* A run of transitions. Times count from the first transition. */
struct clock_run {
    double ns;    /* of its middle */
    double cells; /* from the run before to this one; 0: not sure */
    float
        jitter_sq; /* deviations from an even clock within the run, squared mean, in cells^2 */
    uint16_t transitions;
    uint16_t shorter, longer; /* intervals that the code cannot have: extra pulses, dropouts */
};
struct clock_runs {
    struct clock_run *run;
    size_t count;
    int64_t start_ns;
};
/* ERR_MEMORY only. */
enum err clock_runs_find(const struct ticked *t, const struct cell_hint *hint,
                         struct clock_runs *out);
void clock_runs_release(struct clock_runs *r);

#define SPEED_POINTS    128 /* of a turn */
#define SPEED_TURNS_MAX 32
#define SPEED_ORDERS    24 /* swings a turn, to which the spectrum goes */

/* Speed over whole turns, in percent off its mean, SPEED_POINTS a turn. */
struct speed_curve {
    int32_t turns;
    double turn_ns;
    double cell_ns, cell_u_ns; /* mean cell, and its uncertainty (95 %) */
    double noise_percent;      /* standard deviation of a point that jitter makes */
    float *percent;            /* turns * SPEED_POINTS; NULL: too little was sure */
};
/* turn_start_ns: turns + 1 times, from the same zero as start_ns. ERR_MEMORY only. */
enum err speed_curve_make(const struct clock_runs *r, const int64_t *turn_start_ns,
                          int32_t turns, struct speed_curve *out);
void speed_curve_release(struct speed_curve *c);

/* One line of the spectrum. */
struct speed_line {
    double orders; /* swings a turn */
    double hz;
    double percent, u_percent; /* amplitude: plus or minus; uncertainty (95 %) */
    bool locked;               /* to the turn: comes back at the same angle */
};
#define SPEED_LINES_MAX 10
#define SPLIT_TURNS_MIN 3 /* turns from which what repeats can be told from what does not */

struct speed_variation {
    int32_t turns;
    /* half of peak to peak, in percent; uncertainties at 95 % */
    double isv, isv_u;         /* in the worst turn */
    double repeats, repeats_u; /* what comes back at the same angle; negative: too few turns */
    double free, free_u;       /* what does not, over all turns; likewise */
    struct speed_line line[SPEED_LINES_MAX]; /* strongest first */
    size_t lines;
};
/* ERR_MEMORY only. A curve without points gives turns 0. */
enum err speed_variation_find(const struct speed_curve *c, struct speed_variation *out);

#endif
