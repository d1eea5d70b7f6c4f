/* Supply rails: extremes, the mean over time, and the dip when the motor starts. */
#include "evidence/survey_private.h"

#define MOTOR_START_NS (500 * NS_PER_MS)

static void dip(struct survey_run *r, enum rail rail, double volt)
{
    struct supply_stats *s = &r->out->supply[rail];
    if (s->min_motor_v <= 0 || volt < s->min_motor_v) {
        s->min_motor_v = volt;
    }
}

void supply_sample(struct survey_run *r, enum rail rail, int64_t ns, double volt)
{
    if (rail >= RAIL_COUNT) {
        return;
    }
    struct supply_stats *s = &r->out->supply[rail];
    if (!r->rail[rail].seen) {
        r->rail[rail].seen = true;
        r->rail[rail].first_ns = ns;
        s->recorded = true;
        s->min_v = s->max_v = volt;
    } else {
        r->rail[rail].volt_seconds +=
            r->rail[rail].volt * (double)(ns - r->rail[rail].since_ns) / (double)NS_PER_S;
    }
    r->rail[rail].since_ns = ns;
    r->rail[rail].volt = volt;
    s->min_v = volt < s->min_v ? volt : s->min_v;
    s->max_v = volt > s->max_v ? volt : s->max_v;
    if (r->motor_on_ns >= 0 && ns - r->motor_on_ns <= MOTOR_START_NS) {
        dip(r, rail, volt);
    }
}

void supply_motor(struct survey_run *r, int64_t ns, bool on)
{
    r->motor_on_ns = on ? ns : -1;
    for (int rail = 0; on && rail < RAIL_COUNT; rail++) {
        if (r->rail[rail].seen) {
            dip(r, (enum rail)rail, r->rail[rail].volt);
        }
    }
}

void supply_finish(struct survey_run *r, int64_t end_ns)
{
    for (int rail = 0; rail < RAIL_COUNT; rail++) {
        if (!r->rail[rail].seen) {
            continue;
        }
        double seconds = (double)(end_ns - r->rail[rail].first_ns) / (double)NS_PER_S;
        double sum =
            r->rail[rail].volt_seconds +
            r->rail[rail].volt * (double)(end_ns - r->rail[rail].since_ns) / (double)NS_PER_S;
        r->out->supply[rail].mean_v = seconds > 0 ? sum / seconds : r->rail[rail].volt;
    }
}
