/* Rotation from index pulses. */
#include "signal/index_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define NS_A_MINUTE    60e9
#define AT_SPEED       0.02 /* off the final turn time: speed is reached */
#define SETTLED        0.005 /* off it, until which turns behind a start are left out of the mean */
#define SINGLE_PERCENT 0.3     /* what one turn alone may be off (common practice) */
#define EDGE_NS        0.41    /* standard deviation of two times rounded to whole ns */
#define START_NS       1000000 /* a gap that ends with motor on does not hide the start */
#define TURN_GUESS_NS  180e6   /* between 300 and 360 rpm */

static int compare_int64(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a;
    int64_t y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static enum err median_turn(const struct turn_list *t, double *out)
{
    int64_t *sorted = calloc(t->count + 1, sizeof *sorted);
    if (sorted == NULL) {
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < t->count; i++) {
        sorted[i] = t->turn[i].period_ns;
    }
    qsort(sorted, t->count, sizeof *sorted, compare_int64);
    size_t middle = t->count / 2;
    *out = (double)sorted[middle];
    free(sorted);
    return ERR_OK;
}

/* Leave out turns during which the spindle was still gaining speed: those behind a start, until
 * one has settled. */
static void keep_at_speed(struct turn_list *t, double final_ns)
{
    size_t kept = 0;
    bool gaining = false;
    for (size_t i = 0; i < t->count; i++) {
        double period = (double)t->turn[i].period_ns;
        gaining = (gaining || t->turn[i].first) && period > final_ns * (1 + SETTLED);
        if (!gaining) {
            t->turn[kept++] = t->turn[i];
        }
    }
    t->count = kept;
}

static void speed(const struct turn_list *t, struct rotation *out)
{
    double total = 0;
    double square = 0;
    double low = HUGE_VAL;
    double high = 0;
    size_t n = t->count < TURNS_KEPT_MAX ? t->count : TURNS_KEPT_MAX;
    for (size_t i = 0; i < n; i++) {
        double period = (double)t->turn[i].period_ns;
        out->period_ns[i] = t->turn[i].period_ns;
        total += period;
        low = fmin(low, period);
        high = fmax(high, period);
    }
    double mean = total / (double)n;
    out->revolutions = (int32_t)n;
    out->rpm = NS_A_MINUTE / mean;
    for (size_t i = 0; i < n; i++) {
        square += pow(NS_A_MINUTE / (double)out->period_ns[i] - out->rpm, 2);
    }
    out->rpm_sd = n > 1 ? sqrt(square / (double)(n - 1)) : 0;
    out->spread_percent = n > 1 ? 100 * (high - low) / mean : 0;
    double turns = n > 1 ? out->rpm_sd / sqrt((double)n) : out->rpm * SINGLE_PERCENT / 100;
    out->uncertainty_rpm = hypot(turns, out->rpm * EDGE_NS / total);
}

/* Motor on to the first turn within 2 % of the final turn time. */
static void spin_up(const struct turn_list *t, const struct index_gaps *g, int64_t motor_on_ns,
                    double final_ns, struct rotation *out)
{
    size_t i = 0;
    size_t next = 0;
    while (i < t->count && (t->turn[i].start_ns < motor_on_ns ||
                            fabs((double)t->turn[i].period_ns / final_ns - 1) > AT_SPEED)) {
        i++;
    }
    if (motor_on_ns >= 0 && i < t->count &&
        !gap_between(g, &next, motor_on_ns + START_NS, t->turn[i].start_ns)) {
        out->spin_up_ms = (double)(t->turn[i].start_ns - motor_on_ns) / 1e6;
    }
}

/* Widths of the pulses that begin turns at speed; of all where there is no such turn. */
static void widths(const struct index_list *l, const struct turn_list *t,
                   const struct index_gaps *g, struct index_stats *out)
{
    double n = 0;
    double sum = 0;
    double square = 0;
    size_t next = 0;
    size_t turn = 0;
    for (size_t i = 0; i < l->count; i++) {
        const struct index_pulse *p = &l->pulse[i];
        while (turn < t->count && t->turn[turn].start_ns < p->fall_ns) {
            turn++;
        }
        bool counts =
            t->count == 0 || (turn < t->count && t->turn[turn].start_ns == p->fall_ns);
        if (!counts || p->rise_ns < p->fall_ns ||
            gap_between(g, &next, p->fall_ns, p->rise_ns)) {
            continue;
        }
        double us = (double)(p->rise_ns - p->fall_ns) / 1e3;
        n += 1;
        sum += us;
        square += us * us;
    }
    out->width_us = n > 0 ? sum / n : 0;
    out->width_sd_us = n > 1 ? sqrt(fmax(0, (square - sum * sum / n) / (n - 1))) : 0;
}

static enum err measure(struct index_list *l, const struct index_gaps *g, double nominal_rpm,
                        int64_t motor_on_ns, struct turn_list *t, struct rotation *out,
                        struct index_stats *stats)
{
    double period_ns = 0;
    double final_ns = 0;
    double guess_ns = nominal_rpm > 0 ? NS_A_MINUTE / nominal_rpm : TURN_GUESS_NS;
    stats->bounced = index_join(l, guess_ns, true);
    stats->sector_holes = index_hard_sectored(l);
    if (stats->sector_holes == 0) {
        stats->bounced += index_join(l, guess_ns, false);
    }
    stats->pulses = (int32_t)l->count;
    TRY(turn_period(l, g, nominal_rpm, &period_ns));
    if (period_ns > 0) {
        turns_walk(l, g, period_ns, t);
    }
    if (t->count > 0) {
        TRY(median_turn(t, &final_ns));
        spin_up(t, g, motor_on_ns, final_ns, out);
        keep_at_speed(t, final_ns);
    }
    if (t->count > 0) {
        out->from = ROTATION_INDEX;
        speed(t, out);
    }
    stats->missing = t->missing;
    stats->extra = t->extra;
    widths(l, t, g, stats);
    return ERR_OK;
}

enum err rotation_from_index(const struct index_pulse *pulse, size_t count,
                             const int64_t *gap_ns, size_t gap_count, double nominal_rpm,
                             int64_t motor_on_ns, struct rotation *out_rotation,
                             struct index_stats *out_index)
{
    struct index_gaps g = {gap_ns, gap_count};
    struct index_list l = {calloc(count + 1, sizeof *l.pulse), count};
    struct turn_list t = {.turn = calloc(count + 1, sizeof *t.turn)};
    struct rotation *r = calloc(1, sizeof *r);
    struct index_stats stats = {0};
    enum err e = ERR_MEMORY;
    if (l.pulse != NULL && t.turn != NULL && r != NULL) {
        if (count > 0) {
            memcpy(l.pulse, pulse, count * sizeof *pulse);
        }
        r->isv_percent = -1;
        r->spin_up_ms = -1;
        e = measure(&l, &g, nominal_rpm, motor_on_ns, &t, r, &stats);
    }
    if (e == ERR_OK) {
        *out_rotation = *r;
        *out_index = stats;
    }
    free(l.pulse);
    free(t.turn);
    free(r);
    return e;
}
