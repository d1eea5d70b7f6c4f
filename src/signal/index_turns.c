/* Turns from index pulses: the commonest distance first, then a walk from pulse to pulse. */
#include "signal/index_private.h"

#include <math.h>
#include <stdlib.h>

#define PAIRS_AHEAD  8   /* pulses ahead that may end a turn: the rest between them are extra */
#define TURN_LEAST   0.7 /* of the nominal turn */
#define TURN_MOST    1.4
#define DENSE_WIDTH  0.02 /* of a turn: distances that count as one */
#define FIT          0.12 /* of a turn: a pulse this near to where it is due ends it */
#define MISSING_MOST 20   /* turns bridged where pulses are missing */
#define MULTIPLE_FIT 0.12
#define NS_A_MINUTE  60e9
#define RPM_ONE      300.0 /* where the drive is not known */
#define RPM_OTHER    360.0

/* Distances of pulses within low..high, sorted. */
static size_t distances(const struct index_list *l, const struct index_gaps *g, double low,
                        double high, double *out)
{
    size_t n = 0;
    size_t next = 0;
    for (size_t i = 0; i < l->count; i++) {
        for (size_t j = i + 1; j < l->count && j <= i + PAIRS_AHEAD; j++) {
            double apart = (double)(l->pulse[j].fall_ns - l->pulse[i].fall_ns);
            size_t look = next;
            if (apart > high ||
                gap_between(g, &look, l->pulse[i].fall_ns, l->pulse[j].fall_ns)) {
                break;
            }
            if (apart >= low) {
                out[n++] = apart;
            }
        }
        gap_between(g, &next, l->pulse[i].fall_ns, l->pulse[i].fall_ns);
    }
    qsort(out, n, sizeof *out, index_by_size);
    return n;
}

/* Middle of the densest part of a sorted list. */
static double densest(const double *sorted, size_t n)
{
    size_t best = 0;
    size_t most = 0;
    for (size_t i = 0, j = 0; i < n; i++) {
        while (j < n && sorted[j] <= sorted[i] * (1 + DENSE_WIDTH)) {
            j++;
        }
        if (j - i > most) {
            most = j - i;
            best = i;
        }
    }
    return most > 0 ? sorted[best + most / 2] : 0;
}

/* All distances are several turns: more pulses are missing than seen. */
static double part_of(double apart, double nominal_rpm)
{
    double best = 0;
    double off = MULTIPLE_FIT;
    for (int turns = 2; turns <= PAIRS_AHEAD; turns++) {
        double period = apart / turns;
        double first =
            fabs(period * (nominal_rpm > 0 ? nominal_rpm : RPM_ONE) / NS_A_MINUTE - 1);
        double second = nominal_rpm > 0 ? 1 : fabs(period * RPM_OTHER / NS_A_MINUTE - 1);
        if (fmin(first, second) < off) {
            off = fmin(first, second);
            best = period;
        }
    }
    return best;
}

enum err turn_period(const struct index_list *l, const struct index_gaps *g, double nominal_rpm,
                     double *out_ns)
{
    double slowest = nominal_rpm > 0 ? nominal_rpm : RPM_ONE;
    double fastest = nominal_rpm > 0 ? nominal_rpm : RPM_OTHER;
    double low = TURN_LEAST * NS_A_MINUTE / fastest;
    double high = TURN_MOST * NS_A_MINUTE / slowest;
    *out_ns = 0;
    if (l->count < 2) {
        return ERR_OK;
    }
    double *apart = calloc(l->count, PAIRS_AHEAD * sizeof *apart);
    if (apart == NULL) {
        return ERR_MEMORY;
    }
    size_t n = distances(l, g, low, high, apart);
    if (n > 0) {
        *out_ns = densest(apart, n);
    } else {
        n = distances(l, g, high, high * PAIRS_AHEAD, apart);
        *out_ns = n > 0 ? part_of(densest(apart, n), nominal_rpm) : 0;
    }
    free(apart);
    return ERR_OK;
}

/* The pulse nearest to where one is due, `turns` turns behind pulse i; 0: none near enough or a
 * gap before it. */
static size_t due(const struct index_list *l, const struct index_gaps *g, size_t next_gap,
                  size_t i, int turns, double period_ns)
{
    double target = (double)l->pulse[i].fall_ns + turns * period_ns;
    double best_off = FIT * period_ns;
    size_t best = 0;
    for (size_t j = i + 1; j < l->count; j++) {
        double off = (double)l->pulse[j].fall_ns - target;
        if (off > best_off) {
            break;
        }
        if (fabs(off) < best_off) {
            best_off = fabs(off);
            best = j;
        }
    }
    return best > 0 && !gap_between(g, &next_gap, l->pulse[i].fall_ns, l->pulse[best].fall_ns)
               ? best
               : 0;
}

void turns_walk(const struct index_list *l, const struct index_gaps *g, double period_ns,
                struct turn_list *out)
{
    double local_ns = period_ns;
    size_t next_gap = 0;
    bool steady = false; /* the pulse before belonged to a turn */
    for (size_t i = 0; i + 1 < l->count;) {
        int turns = 1;
        size_t j = 0;
        gap_between(g, &next_gap, l->pulse[i].fall_ns, l->pulse[i].fall_ns);
        while (turns <= (steady ? MISSING_MOST : 1) && j == 0) {
            j = due(l, g, next_gap, i, turns++, local_ns);
        }
        turns--;
        if (j == 0) {
            steady = false;
            local_ns = period_ns;
            i++;
            continue;
        }
        out->extra += (int32_t)(j - i - 1);
        out->missing += turns - 1;
        if (turns == 1) {
            int64_t ns = l->pulse[j].fall_ns - l->pulse[i].fall_ns;
            out->turn[out->count++] = (struct turn){l->pulse[i].fall_ns, ns, !steady};
            local_ns = (local_ns + (double)ns) / 2;
        }
        steady = true;
        i = j;
    }
}
