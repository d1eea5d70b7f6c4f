/* The window's margin: how wide transitions scatter once in a million, from far fewer than a
 * million. */
#include "signal/quality_private.h"

#include <math.h>
#include <string.h>

#define ERRORS     1e-6
#define TAIL_COUNT 25.0 /* transitions in the furthest tail that is trusted */
#define TAIL_BINS  600
#define TAIL_SCALE 100 /* bins a standard deviation */
#define TAIL_SURE  3.0 /* standard errors from which a tail counts as not normal */
#define COUNT_MIN  2000.0
#define HALVINGS   60

/* Chance to lie above x standard deviations. */
static double upper_tail(double x)
{
    return 0.5 * erfc(x * M_SQRT1_2);
}

/* Deviation that a normal law exceeds, on either side, with probability p. */
static double two_sided_point(double p)
{
    double low = 0;
    double high = 9;
    for (int i = 0; i < HALVINGS; i++) {
        double mid = (low + high) / 2;
        if (2 * upper_tail(mid) > p) {
            low = mid;
        } else {
            high = mid;
        }
    }
    return low;
}

/* How much further the furthest trusted tail reaches than normal laws would; 1 where they fit.
 */
static double tail_stretch(const struct deviations *d)
{
    double tail[TAIL_BINS] = {0};
    double beyond = 0;
    int at = TAIL_BINS;
    if (d->count < COUNT_MIN) {
        return 1;
    }
    for (int k = 0; k < KINDS; k++) {
        double sd = sqrt(d->kind[k].var);
        for (int b = 0; b < DEV_BINS && sd > 0; b++) {
            double x = (b + 0.5 - DEV_BINS / 2.0) / BINS_A_CELL - d->kind[k].mean;
            int t = (int)fmin(fabs(x) / sd * TAIL_SCALE, TAIL_BINS - 1);
            tail[t] += d->bin[k][b];
        }
    }
    while (at > 1 && beyond < TAIL_COUNT) {
        beyond += tail[--at];
    }
    double seen = (double)at / TAIL_SCALE;
    double normal = two_sided_point(beyond / d->count);
    double error = 1 / (sqrt(beyond) * seen * seen);
    double stretch = seen / normal;
    return stretch > 1 + TAIL_SURE * error ? stretch : 1;
}

static double beyond_share(const struct deviations *d, double x, double noise,
                           double clock_noise, double stretch)
{
    double sum = 0;
    for (int k = 0; k < KINDS; k++) {
        const struct kind *c = &d->kind[k];
        double var = fmax(c->var / (1 + clock_noise) - noise, 1e-9);
        double sd = sqrt(var) * stretch;
        sum += c->count * (upper_tail((x - c->mean) / sd) + upper_tail((x + c->mean) / sd));
    }
    return sum / d->count;
}

double half_width_1e6(const struct deviations *d, double noise, double clock_noise)
{
    double stretch = tail_stretch(d);
    double low = 0;
    double high = 8;
    for (int i = 0; i < HALVINGS; i++) {
        double mid = (low + high) / 2;
        if (beyond_share(d, mid, noise, clock_noise, stretch) > ERRORS) {
            low = mid;
        } else {
            high = mid;
        }
    }
    return low;
}
