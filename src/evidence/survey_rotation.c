/* Rotation: by index where it was recorded, else by sectors that come round again, else by the
 * bit clock. */
#include "evidence/survey_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define PULSES_MAX ((size_t)1 << 20)
#define WRITER_PERCENT                                                                         \
    3.0 /* writer and reader 1.5 % each; source: timing.csv calc.aggregate_speed */

enum err index_edge(struct index_gather *g, int64_t ns, enum level level)
{
    enum level before = g->level;
    g->level = level;
    TRY(index_gap(g, GAP_NOT_RECORDED, level == LEVEL_UNKNOWN, ns));
    if (before == LEVEL_HIGH && level == LEVEL_LOW) {
        if (g->count == PULSES_MAX) {
            g->full = true;
            return ERR_OK;
        }
        TRY(array_grow((void **)&g->pulse, &g->cap, g->count + 1, sizeof g->pulse[0],
                       PULSES_MAX));
        g->pulse[g->count++] = (struct index_pulse){ns, -1};
    } else if (before == LEVEL_LOW && level == LEVEL_HIGH && g->count > 0) {
        struct index_pulse *last = &g->pulse[g->count - 1];
        last->rise_ns = last->rise_ns < 0 ? ns : last->rise_ns;
    }
    return ERR_OK;
}

void index_gather_release(struct index_gather *g)
{
    for (int kind = 0; kind < GAP_KINDS; kind++) {
        free(g->gap[kind].ns);
    }
    free(g->pulse);
}

void sector_turns_add(struct sector_turns *t, const struct flux_read *r, int64_t start_ns,
                      int64_t end_ns)
{
    int64_t period[256];
    size_t n = rotation_from_sectors(r, period, sizeof period / sizeof period[0]);
    double sum = 0;
    identifiers_add(t, r);
    if (n == 0) {
        return;
    }
    for (size_t i = 0; i < n; i++) {
        sum += (double)period[i];
        t->pair_sum += (double)period[i];
        t->pair_square += (double)period[i] * (double)period[i];
    }
    /* pairs come in time order: those of one turn are averaged */
    size_t turns = (size_t)((double)(end_ns - start_ns) / (sum / (double)n));
    turns = turns < 1 ? 1 : turns > n ? n : turns;
    for (size_t turn = 0; turn < turns && t->count < TURNS_KEPT_MAX; turn++) {
        size_t from = turn * n / turns;
        size_t to = (turn + 1) * n / turns;
        sum = 0;
        for (size_t i = from; i < to; i++) {
            sum += (double)period[i];
        }
        t->period_ns[t->count++] = (int64_t)llround(sum / (double)(to - from));
    }
    t->pairs += (double)n;
}

static void by_sectors(const struct survey_run *r, struct rotation *out)
{
    const struct sector_turns *t = &r->turns;
    double time = 0;
    double sum = 0;
    double square = 0;
    double low = 1e18;
    double high = 0;
    if (t->count == 0) {
        return;
    }
    for (size_t i = 0; i < t->count; i++) {
        double period = (double)t->period_ns[i];
        double rpm = 60e9 / period;
        time += period;
        sum += rpm;
        square += rpm * rpm;
        low = fmin(low, period);
        high = fmax(high, period);
    }
    double n = (double)t->count;
    double mean_ns = time / n;
    out->from = ROTATION_SECTORS;
    out->revolutions = (int32_t)t->count;
    memcpy(out->period_ns, t->period_ns, t->count * sizeof t->period_ns[0]);
    out->rpm = 60e9 / mean_ns;
    out->rpm_sd = n > 1 ? sqrt(fmax(0, (square - sum * sum / n) / (n - 1))) : 0;
    out->spread_percent = n > 1 ? 100 * (high - low) / mean_ns : 0;
    /* a mark's time is read to one sample and one jitter; the rest is the speed's own change */
    double mark_ns = sqrt(2.0) * fmax(r->out->sample_ns, r->out->flux.jitter_ns);
    double pairs = fmax(1, t->pairs);
    double pair_var =
        fmax(0, t->pair_square / pairs - t->pair_sum / pairs * (t->pair_sum / pairs));
    double turns_sd = n > 1 ? out->rpm_sd : out->rpm * sqrt(pair_var) / mean_ns;
    out->uncertainty_rpm =
        hypot(out->rpm * mark_ns / mean_ns / sqrt(pairs), turns_sd / sqrt(n));
}

/* The bit clock against the cell that the code and the drive's rated speed call for. The disk's
 * writer has its own speed error, which stays in the result. */
static void by_flux(const struct survey_run *r, double rated_rpm, struct clock_speed *out)
{
    const struct flux_quality *q = &r->out->flux;
    if (q->data_rate <= 0 || q->cell_ns <= 0 || rated_rpm <= 0) {
        return;
    }
    double nominal_ns = 1e9 / (2.0 * (double)q->data_rate); /* two channel cells a data bit */
    out->rpm = rated_rpm * nominal_ns / q->cell_ns;
    out->uncertainty_rpm = out->rpm * WRITER_PERCENT / 100 / sqrt(3.0);
}

static void rotation_blank(struct rotation *out)
{
    memset(out, 0, sizeof *out);
    out->isv_percent = -1;
    out->spin_up_ms = -1;
}

/* First and last edge are each read to one sample: spread evenly over it, so 1/sqrt(12) of it.
 */
static void add_reading_error(struct rotation *r, double sample_ns)
{
    double time_ns = 0;
    for (int32_t i = 0; i < r->revolutions && i < TURNS_KEPT_MAX; i++) {
        time_ns += (double)r->period_ns[i];
    }
    if (time_ns > 0) {
        r->uncertainty_rpm =
            hypot(r->uncertainty_rpm, r->rpm * sample_ns * sqrt(2.0 / 12.0) / time_ns);
    }
}

enum err rotation_finish(struct survey_run *r)
{
    struct survey *s = r->out;
    double rated = profile_number(r->o->drive, "speed_rpm", 0);
    s->index_recorded = s->story.line[LINE_INDEX].state != LINE_NOT_RECORDED;
    rotation_blank(&s->rotation);
    rotation_blank(&s->rotation_flux);
    if (s->index_recorded) {
        struct spans gap = {0};
        int32_t hidden = 0;
        enum err e = index_gaps(r, &gap);
        if (e == ERR_OK) {
            e = index_mend(r, rated, &gap, &hidden);
        }
        if (e == ERR_OK) {
            e = rotation_from_index(r->index.pulse, r->index.count, gap.ns, gap.count, rated,
                                    s->story.motor_on_ns, &s->rotation, &s->index);
        }
        free(gap.ns);
        TRY(e);
        s->index.missing -= hidden < s->index.missing ? hidden : s->index.missing;
        add_reading_error(&s->rotation, s->sample_ns);
    }
    by_sectors(r, &s->rotation_flux);
    by_flux(r, rated, &s->clock_speed);
    if (s->rotation_flux.from == ROTATION_NONE && s->clock_speed.rpm > 0) {
        s->rotation_flux.from = ROTATION_FLUX;
        s->rotation_flux.rpm = s->clock_speed.rpm;
        s->rotation_flux.uncertainty_rpm = s->clock_speed.uncertainty_rpm;
    }
    if (s->rotation.from == ROTATION_NONE || s->rotation.revolutions == 0) {
        if (s->rotation_flux.from != ROTATION_NONE) {
            s->rotation = s->rotation_flux;
        } else {
            rotation_blank(&s->rotation);
        }
    }
    if (r->index.full) {
        TRY(survey_warn(s, "more index pulses or gaps than can be kept: the rest is left out"));
    }
    return ERR_OK;
}
