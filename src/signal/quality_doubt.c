/* How far the figures of quality may be off, at 95 %. */
#include "signal/quality_private.h"

#include <math.h>

#define SURE          2.0
#define JITTER_SYSTEM 0.005 /* of the jitter: what is taken for the clock's own noise */
#define SHIFT_SURE    3.0   /* the clock follows neighbours, so that they are not independent */
#define LOCK_PARTS    6.0 /* a cell of so many sixths of a sample falls on a few places only */
#define LOCK_SWEEPS   3.0 /* samples that the cells must drift past for all places to come */
#define MORE_TERMS    1.3 /* of the series */
#define TRIED         400

/* What one step of sampling may leave in a variance beyond its twelfth when all transitions
 * fall on the same place of it: the first term of the noise's Fourier series. */
static double left_of_sampling(double sd, double sample)
{
    double x = M_PI * sd / sample;
    return MORE_TERMS * (sample * sample / (M_PI * M_PI) + 4 * sd * sd) * exp(-2 * x * x);
}

double sampling_doubt(double jitter, double sample, double cells)
{
    double most = 0;
    double sixths = sample > 0 ? LOCK_PARTS / sample : 0;
    if (sample <= 0 || fabs(sixths - round(sixths)) / LOCK_PARTS * cells > LOCK_SWEEPS) {
        return 0;
    }
    for (int i = 0; i <= TRIED; i++) { /* true jitters that may look like this one */
        double sd = (jitter + sample) * i / TRIED;
        double step = (jitter + sample) / TRIED * (sd + jitter);
        if (fabs(sd * sd - jitter * jitter) <= left_of_sampling(sd, sample) + step) {
            most = fmax(most, fabs(sd - jitter));
        }
    }
    return most;
}

void doubt_find(const struct deviations *d, double sample, double cells, double tail,
                struct doubt *out)
{
    double jitter = sqrt(d->var);
    double n = fmax(d->count, 2);
    double unlike = 0;
    for (int k = 0; k < KINDS; k++) {
        unlike += k / KINDS_A_SIDE != k % KINDS_A_SIDE ? d->kind[k].count : 0;
    }
    double unsampled = sqrt(fmax(0, d->var - sample * sample / 12));
    double sampled = sampling_doubt(unsampled, sample, cells);
    out->sampled = sampled;
    double part = hypot(SURE / sqrt(2 * n), JITTER_SYSTEM);
    out->jitter = hypot(part * jitter, sampled);
    out->width_part = hypot(hypot(part, unsampled > 0 ? sampled / unsampled : 0), tail);
    out->shift = unlike > 0 ? SHIFT_SURE * jitter / sqrt(unlike) : 0;
}

double square_root_doubt(double square, double sd)
{
    double root = sqrt(fmax(square, 0));
    double up = sqrt(fmax(square, 0) + SURE * sd) - root;
    return square < (SURE + 0.5) * sd ? fmax(up, root) : up;
}
