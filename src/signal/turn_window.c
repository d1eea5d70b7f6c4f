#include "signal/turn_window.h"

#include <math.h>
#include <string.h>

#define TURNS_MIN 3

/* Student's t, two-sided 95 %, for 1 to 30 degrees of freedom: NIST/SEMATECH e-Handbook of
 * Statistical Methods, table 1.3.6.7.2, column 0.975. */
static const double t95[] = {12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306,
                             2.262,  2.228, 2.201, 2.179, 2.160, 2.145, 2.131, 2.120,
                             2.110,  2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064,
                             2.060,  2.056, 2.052, 2.048, 2.045, 2.042};

void turn_window_begin(struct turn_window *w, double rated_rpm, double low_rpm)
{
    memset(w, 0, sizeof *w);
    w->rated_rpm[0] = rated_rpm;
    w->rated_rpm[1] = low_rpm > 0 ? low_rpm : rated_rpm;
}

static bool too_short(const struct turn_window *w, int64_t ns)
{
    double fast = fmax(w->rated_rpm[0], w->rated_rpm[1]);
    return (double)ns < 0.6 * 60e9 / fast;
}

static bool too_long(const struct turn_window *w, int64_t ns)
{
    double slow = fmin(w->rated_rpm[0], w->rated_rpm[1]);
    return (double)ns > 1.6 * 60e9 / slow;
}

bool turn_window_add(struct turn_window *w, int64_t fall_ns)
{
    int64_t since = w->falls > 0 ? fall_ns - w->fall_ns[w->falls - 1] : 0;
    if (w->falls > 0 && too_short(w, since)) {
        w->odd++;
        return false;
    }
    if (w->falls > 0 && too_long(w, since)) {
        w->odd++;
        w->falls = 0;
    }
    if (w->falls == TURN_WINDOW_MAX + 1) {
        memmove(w->fall_ns, w->fall_ns + 1, TURN_WINDOW_MAX * sizeof w->fall_ns[0]);
        w->falls--;
    }
    w->fall_ns[w->falls++] = fall_ns;
    w->turns += w->falls > 1;
    return w->falls > 1;
}

/* Straight line through speed over time, and how far the turns lie from it. */
bool turn_window_figures(const struct turn_window *w, unsigned most, struct turn_figures *out)
{
    double t[TURN_WINDOW_MAX];
    double v[TURN_WINDOW_MAX];
    unsigned whole = w->falls > 0 ? w->falls - 1 : 0;
    unsigned n = whole < most ? whole : most;
    const int64_t *f = w->fall_ns + (whole - n);
    double t_mean = 0, v_mean = 0, tt = 0, tv = 0, rest = 0;
    if (n < TURNS_MIN)
        return false;
    for (unsigned i = 0; i < n; i++) {
        t[i] = ((double)(f[i] - f[0]) + (double)(f[i + 1] - f[0])) / 2e9;
        v[i] = 60e9 / (double)(f[i + 1] - f[i]);
        t_mean += t[i] / n;
        v_mean += v[i] / n;
    }
    for (unsigned i = 0; i < n; i++) {
        tt += (t[i] - t_mean) * (t[i] - t_mean);
        tv += (t[i] - t_mean) * (v[i] - v_mean);
    }
    double slope = tv / tt;
    for (unsigned i = 0; i < n; i++)
        rest += pow(v[i] - v_mean - slope * (t[i] - t_mean), 2);
    double sd = sqrt(rest / (n - 2));
    double k = t95[n - 3];
    *out = (struct turn_figures){.turns = n,
                                 .rpm = 60e9 * n / (double)(f[n] - f[0]),
                                 .uncertainty_rpm = k * sd / sqrt(n),
                                 .trend_rpm_s = slope,
                                 .trend_uncertainty_rpm_s = k * sd / sqrt(tt)};
    out->steady = fabs(slope) <= out->trend_uncertainty_rpm_s;
    return true;
}
