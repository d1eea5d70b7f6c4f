/* The window's margin: how wide transitions scatter once in a million, from far fewer than a
 * million. */
#include "signal/quality_private.h"

#include <math.h>
#include <string.h>

#define ERRORS     1e-6
#define TAIL_COUNT 25.0 /* transitions in the furthest tail that is trusted */
#define TAIL_RATIO 4.0  /* times as many lie beyond the nearer point */
#define TAIL_BINS  2000
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

/* Transitions by how many standard deviations of their kind they lie off. */
static void tail_fill(const struct deviations *d, double *tail)
{
    for (int k = 0; k < KINDS; k++) {
        double sd = sqrt(d->kind[k].var);
        for (int b = 0; b < DEV_BINS && sd > 0; b++) {
            double x = (b + 0.5 - BINS_A_CELL) / BINS_A_CELL - d->kind[k].mean;
            int t = (int)fmin(fabs(x) / sd * TAIL_SCALE, TAIL_BINS - 1);
            tail[t] += d->bin[k][b];
        }
    }
}

/* Standard deviations beyond which `want` transitions or a few more lie; *got: how many. */
static double tail_point(const double *tail, double want, double *got)
{
    int at = TAIL_BINS;
    *got = 0;
    while (at > 1 && *got < want) {
        *got += tail[--at];
    }
    return (double)at / TAIL_SCALE;
}

/* How much further once in a million lies than normal laws would have it; 1 where they fit. Two
 * points of the tail, drawn on a scale on which a normal law is a straight line, are carried
 * on. */
static double tail_stretch(const struct deviations *d, double sample, double *out_doubt)
{
    *out_doubt = 0;
    double tail[TAIL_BINS] = {0};
    double far_count = 0;
    double near_count = 0;
    if (d->count < COUNT_MIN) {
        return 1;
    }
    tail_fill(d, tail);
    double grain =
        sample / 2 / sqrt(d->var); /* a coarse sample lifts its whole width into the tail */
    double far = tail_point(tail, TAIL_COUNT, &far_count) - grain;
    double near = tail_point(tail, TAIL_RATIO * far_count, &near_count) - grain;
    double far_normal = two_sided_point(far_count / d->count);
    double near_normal = two_sided_point(near_count / d->count);
    double error = 1 / (sqrt(far_count) * far * far);
    if (far < far_normal * (1 + TAIL_SURE * error) || far_normal <= near_normal) {
        return 1;
    }
    double goal = two_sided_point(ERRORS);
    double slope = fmax((far - near) / (far_normal - near_normal), far / far_normal);
    double near_error = 1 / (sqrt(near_count) * near);
    double far_error = error * far;
    double slope_error = hypot(near_error, far_error) / (far_normal - near_normal);
    *out_doubt = 2 * hypot(far_error, slope_error * (goal - far_normal)) /
                 (far + slope * (goal - far_normal));
    return (far + slope * (goal - far_normal)) / goal;
}

static double beyond_share(const struct deviations *d, double x, double sample,
                           double clock_noise, double stretch)
{
    double sum = 0;
    for (int k = 0; k < KINDS; k++) {
        const struct kind *c = &d->kind[k];
        double var = fmax(c->var / (1 + clock_noise) - sample * sample / 12, 1e-9);
        double sd = sqrt(var) * stretch;
        sum += c->count * (upper_tail((x - c->mean) / sd) + upper_tail((x + c->mean) / sd));
    }
    return sum / d->count;
}

double half_width_1e6(const struct deviations *d, double sample, double clock_noise,
                      double *out_tail_doubt)
{
    double stretch = tail_stretch(d, sample, out_tail_doubt);
    double low = 0;
    double high = 8;
    for (int i = 0; i < HALVINGS; i++) {
        double mid = (low + high) / 2;
        if (beyond_share(d, mid, sample, clock_noise, stretch) > ERRORS) {
            low = mid;
        } else {
            high = mid;
        }
    }
    return low;
}
