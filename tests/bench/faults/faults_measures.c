/* Scores of forecasts, held to published worked examples. */
#include "faults.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static double error_of(const struct bins *b, int bins, int count)
{
    double error = 0;
    for (int i = 0; i < bins; i++)
        error += fabs(b->sum[i] - b->hits[i]);
    return count > 0 ? error / count : 0;
}

double measure_calibration(const double *forecast, const bool *hit, int count, int bins,
                           struct bins *out)
{
    struct bins b = {.count = {0}};
    for (int i = 0; i < count; i++) {
        int at = (int)(forecast[i] * bins);
        at = at < 0 ? 0 : at >= bins ? bins - 1 : at;
        b.count[at]++;
        b.hits[at] += hit[i];
        b.sum[at] += forecast[i];
    }
    if (out != NULL)
        *out = b;
    return error_of(&b, bins, count);
}

struct pair {
    double forecast;
    bool hit;
};

static int by_forecast(const void *a, const void *b)
{
    const struct pair *x = a, *y = b;
    return (x->forecast > y->forecast) - (x->forecast < y->forecast);
}

double measure_calibration_by_count(double *forecast, bool *hit, int count, int bins)
{
    struct pair *p = calloc((size_t)count + 1, sizeof *p);
    struct bins b = {.count = {0}};
    if (p == NULL)
        return 1;
    for (int i = 0; i < count; i++)
        p[i] = (struct pair){forecast[i], hit[i]};
    qsort(p, (size_t)count, sizeof *p, by_forecast);
    for (int i = 0; i < count; i++) {
        int at = (int)((int64_t)i * bins / count);
        b.sum[at] += p[i].forecast;
        b.hits[at] += p[i].hit;
    }
    free(p);
    return error_of(&b, bins, count);
}

double measure_quadratic(const double *share, int classes, int truth)
{
    double sum = 0;
    for (int i = 0; i < classes; i++) {
        double off = share[i] - (i == truth);
        sum += off * off;
    }
    return sum;
}

double measure_log(const double *share, int truth)
{
    return -log(share[truth] > 1e-9 ? share[truth] : 1e-9);
}

static double share_wrong(int wrong, int of, int parts)
{
    return (double)wrong * (of + 1) / ((double)parts * (wrong + 1));
}

double measure_utility(int blamed, int wrongly, int missed, int parts)
{
    return 1 - share_wrong(wrongly, blamed, parts) - share_wrong(missed, parts - blamed, parts);
}

/* Chance of at most `events` in `count` at a rate. */
static double at_most(int events, int count, double rate)
{
    double sum = 0;
    for (int k = 0; k <= events; k++)
        sum += exp(lgamma(count + 1.0) - lgamma(k + 1.0) - lgamma(count - k + 1.0) +
                   k * log(rate) + (count - k) * log1p(-rate));
    return sum;
}

double measure_rate_bound(int events, int count)
{
    double low = 1e-12, high = 1 - 1e-12;
    if (events >= count)
        return 1;
    for (int i = 0; i < 60; i++) {
        double middle = (low + high) / 2;
        if (at_most(events, count, middle) > 0.05)
            low = middle;
        else
            high = middle;
    }
    return high;
}

double measure_rate_floor(int events, int count)
{
    return events <= 0 ? 0 : 1 - measure_rate_bound(count - events, count);
}

static bool near(const char *what, double is, double wanted, double within)
{
    bool agrees = fabs(is - wanted) <= within;
    if (!agrees)
        fprintf(stderr, "%s: %.12f, published %.12f\n", what, is, wanted);
    return agrees;
}

/* Handbook, diagnosis: W10 (doctest of a library of statistics), W11 (docstrings of another),
 * R6 (exact interval; two-sided there, so 0 of 299 is taken for the one-sided bound: 1 %). */
bool measures_agree(void)
{
    static const double two[][2] = {{.1, .9}, {.9, .1}, {.8, .2}, {.35, .65}};
    static const int truth[] = {1, 0, 0, 1};
    static const double sure[] = {.55, .55, .60, .90};
    static const bool right[] = {false, false, true, true};
    static const double binary[] = {.25, .25, .55, .75, .75};
    static const bool came[] = {false, false, true, true, true};
    double logs = 0;
    for (int i = 0; i < 4; i++)
        logs += measure_log(two[i], truth[i]) / 4;
    /* W10: .70 and it happens is .09 for one class; two classes count it twice */
    bool ok = near("quadratic", measure_quadratic((double[]){.3, .7}, 2, 1), 2 * .09, 1e-12);
    ok &= near("log", logs, .21616187468057912, 1e-12);
    ok &= near("calibration, top label", measure_calibration(sure, right, 4, 3, NULL), .2000,
               5e-5);
    ok &= near("calibration, two bins", measure_calibration(binary, came, 5, 2, NULL), .2900,
               5e-5);
    ok &= near("bound", measure_rate_bound(0, 299), 0.01, 5e-5);
    return ok;
}
