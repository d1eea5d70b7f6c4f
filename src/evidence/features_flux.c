/* The read signal as features. */
#include "evidence/feature_make.h"

#include <math.h>

/* A visit shorter than this many transitions says nothing of quality. */
#define TRANSITIONS_MIN 2000
/* Half-window margin below which a read signal is poor (common practice: half gone is suspect).
 */
#define MARGIN_POOR_PERCENT 20.0
#define DAMAGED_POOR        0.2
/* Further from every rate of the drive than writer and reader together can be: another rate.
 * Rates of the trade differ by factors of two, and by 6/5 where one side of the exchange turned
 * at 360 rpm and the other at 300; a writer may be this far from its own. */
#define RATE_OFF        0.1
#define RATE_FROM_TRADE 0.025
/* Visits whose cells differ by more, rms: no rate was written so, the disk turns unsteadily. No
 * drive's own variation over some turns comes near it (limits are 1 to 3 % within a turn). */
#define CELL_WANDERS_PERCENT 2.5
/* Of a drive whose profile tells no start time; how many start times a visit lasts, begun as
 * the motor starts, until that no longer mars its mean. */
#define SPIN_UP_MS    1000.0
#define SPUN_UP_LASTS 5

struct sums {
    double transitions, noise, other, poor, clean;
    double margin, jitter, weight;
    double timed;              /* of those that a spindle coming up to speed does not mar: */
    double stretch, stretch_2; /* of the cell against its own rate's, and its square */
    int good, damaged, absent, ids_good, ids_bad;
    int32_t rate;
    enum encoding encoding;
};

static bool counts(const struct visit *v)
{
    return v->selected && v->motor && v->settled && v->transitions >= TRANSITIONS_MIN &&
           !v->after_write;
}

/* A visit that begins before the spindle is at speed tells the cell only when it lasts. */
static bool at_speed(const struct feature_from *f, const struct visit *v)
{
    const struct limit *start = profile_limit(f->c->drive, "start_ms");
    double ms = start ? start->has_max ? start->max : start->typ : SPIN_UP_MS;
    int64_t start_ns = (int64_t)(ms * 1e6);

    return v->since_motor_ns < 0 || v->since_motor_ns >= start_ns ||
           v->end_ns - v->start_ns > SPUN_UP_LASTS * start_ns;
}

static void add_up(const struct feature_from *f, const struct visit *v, struct sums *a)
{
    double n = (double)v->transitions, stretch;
    int fields = v->data_good + v->data_damaged, ids = v->ids_good + v->ids_bad;
    bool broken = (fields && v->data_damaged > DAMAGED_POOR * fields) ||
                  (ids && v->ids_bad > DAMAGED_POOR * ids);

    a->transitions += n;
    a->good += v->data_good;
    a->damaged += v->data_damaged;
    a->absent += v->data_absent;
    a->ids_good += v->ids_good;
    a->ids_bad += v->ids_bad;
    if (v->quality.encoding == ENC_UNSTEADY || v->quality.encoding == ENC_NONE) {
        a->noise += n;
        return;
    }
    if (v->quality.encoding == ENC_REGULAR_OTHER) {
        a->other += n;
        return;
    }
    if (broken || (v->quality.margin_percent < MARGIN_POOR_PERCENT && !v->ids_good))
        a->poor += n;
    else
        a->clean += n;
    a->margin += v->quality.margin_percent * n;
    a->jitter += v->quality.jitter_ns * n;
    a->weight += n;
    a->rate = v->quality.data_rate;
    a->encoding = v->quality.encoding;
    if (!at_speed(f, v))
        return;
    stretch = v->quality.cell_ns * 2e-9 * v->quality.data_rate;
    a->timed += n;
    a->stretch += stretch * n;
    a->stretch_2 += stretch * stretch * n;
}

static enum err add_quality(const struct feature_from *f, const struct sums *a,
                            struct feature_list *l)
{
    static const char *const id[] = {"read.clean", "read.poor", "read.noise",
                                     "read.another-code"};
    double share[4] = {a->clean, a->poor, a->noise, a->other};
    int best = 0;
    struct feature *n;

    for (int i = 1; i < 4; i++)
        if (share[i] > share[best])
            best = i;
    if (best >= 2)
        return feature_add(l, f, FEATURE_QUALITY, GROUP_READ, SIG_RDATA, best, NULL, id[best],
                           best == 2 ? "RDATA pulses come at random intervals: no code in them"
                                     : "RDATA is regular, but neither FM nor MFM");
    TRY(feature_add(l, f, FEATURE_QUALITY, GROUP_READ, SIG_RDATA, best, &n, id[best],
                    "%s at %d kbit/s, jitter %.0f ns, window margin %.0f %%",
                    encoding_name(a->encoding), a->rate / 1000, a->jitter / a->weight,
                    a->margin / a->weight));
    feature_value(n, a->margin / a->weight, 3, "%");
    return ERR_OK;
}

static enum err add_fields(const struct feature_from *f, const struct sums *a,
                           struct feature_list *l)
{
    int fields = a->good + a->damaged;
    int ids = a->ids_good + a->ids_bad;
    int answer;
    struct feature *n;

    if (ids == 0 && a->transitions < 30000)
        return ERR_OK;
    if (ids && !fields && !a->ids_bad)
        return ERR_OK;
    if (a->ids_good == 0)
        answer = 3;
    else if (a->damaged == 0 && a->ids_bad == 0)
        answer = 0;
    else
        answer = a->damaged + a->ids_bad > (fields + ids) / 2 ? 2 : 1;
    TRY(feature_add(l, f, FEATURE_FIELDS, GROUP_READ, SIG_RDATA, answer, &n,
                    answer == 0   ? "fields.all-good"
                    : answer == 3 ? "fields.none"
                                  : "fields.damaged",
                    "%d identifiers good and %d bad, %d data fields good and %d damaged",
                    a->ids_good, a->ids_bad, a->good, a->damaged));
    feature_value(n, a->damaged + a->ids_bad, 0, "fields");
    return ERR_OK;
}

/* The drive's rate that a measured one is nearest to, in kbit/s. */
static double nearest_rate(const struct limit *l, double kbps)
{
    double rates[] = {l->has_min ? l->min : l->typ, l->typ, l->has_max ? l->max : l->typ};
    double best = rates[0];

    for (size_t i = 1; i < sizeof rates / sizeof *rates; i++)
        if (rates[i] > 0 && fabs(log(kbps / rates[i])) < fabs(log(kbps / best)))
            best = rates[i];
    return best;
}

/* The rate with this drive's stretch of it: of a disk of two codes, each visit against its own.
 */
static double mean_kbps(const struct sums *a)
{
    return a->rate / 1000.0 / (a->stretch / a->timed);
}

/* How far the visits' cells differ from each other, rms. */
static double cell_wander_percent(const struct sums *a)
{
    double mean = a->stretch / a->timed;
    double variance = a->stretch_2 / a->timed - mean * mean;

    return variance > 0 && mean > 0 ? 100 * sqrt(variance) / mean : 0;
}

static enum err add_cell(const struct feature_from *f, const struct sums *a,
                         struct feature_list *l)
{
    static const double edges[] = {4, 12};
    const struct limit *rate = profile_limit(f->c->drive, "data_rate_kbps");
    double kbps, nominal, off, wander;
    struct feature *n;

    if (a->timed <= 0 || a->rate <= 0 || !rate || !rate->has_typ)
        return ERR_OK;
    wander = cell_wander_percent(a);
    if (wander > CELL_WANDERS_PERCENT) {
        TRY(feature_add(l, f, FEATURE_CELL, GROUP_READ, SIG_RDATA, 3, &n, "flux.cell-wanders",
                        "the bit cell differs by %.1f %% rms from place to place", wander));
        feature_value(n, wander, 1, "%");
        return ERR_OK;
    }
    kbps = mean_kbps(a);
    nominal = nearest_rate(rate, kbps);
    off = fabs(kbps - nominal) / nominal * 100;
    TRY(feature_add(l, f, FEATURE_CELL, GROUP_READ, SIG_RDATA, 0, &n, "flux.cell",
                    "the bit cell is %.1f ns, %.1f %% off that of %.0f kbit/s",
                    1e6 / (2 * kbps), off, nominal));
    feature_soften(n, off, 0.2, edges, 3);
    feature_value(n, 1e6 / (2 * kbps), 1, "ns");
    return ERR_OK;
}

/* Is a rate at this ratio to the drive's one that another drive of the trade would write? */
static bool of_the_trade(double ratio)
{
    for (int octave = -3; octave <= 3; octave++) {
        for (int turn = -1; turn <= 1; turn++) {
            double rate = ldexp(turn < 0 ? 5.0 / 6 : turn ? 6.0 / 5 : 1, octave);

            if (fabs(ratio / rate - 1) <= RATE_FROM_TRADE)
                return true;
        }
    }
    return false;
}

/* The rate that the disk was written at: the measured one with this drive's speed taken out. */
static enum err add_rate(const struct feature_from *f, const struct sums *a,
                         struct feature_list *l)
{
    const struct limit *rate = profile_limit(f->c->drive, "data_rate_kbps");
    double nominal_rpm = profile_number(f->c->drive, "speed_rpm", 0);
    double kbps, ratio;
    int answer;
    struct feature *n;

    if (!rate || !rate->has_typ || a->timed <= 0 || a->rate <= 0 ||
        cell_wander_percent(a) > CELL_WANDERS_PERCENT)
        return ERR_OK;
    kbps = mean_kbps(a);
    if (f->s->rotation.from == ROTATION_INDEX && nominal_rpm > 0)
        kbps *= nominal_rpm / f->s->rotation.rpm;
    ratio = kbps / nearest_rate(rate, kbps);
    answer = fabs(ratio - 1) <= RATE_OFF ? 0 : of_the_trade(ratio) ? 1 : 2;
    TRY(feature_add(l, f, FEATURE_RATE, GROUP_READ, SIG_RDATA, answer, &n, "flux.rate",
                    "the disk was written at %.0f kbit/s%s", kbps,
                    answer == 2 ? ", a rate that no drive of the trade writes" : ""));
    feature_value(n, kbps, 1, "kbit/s");
    feature_limit(n, rate);
    return ERR_OK;
}

struct sides {
    int as_selected, zero, one, other, side1_visits;
    double t[2], noise[2], damaged[2], fields[2];
    int64_t ns[2], silent[2];
};

static void add_side(const struct visit *v, struct sides *d)
{
    int8_t s = v->side;

    if (s < 0 || s > 1 || !v->selected || !v->motor || !v->settled || v->after_write)
        return;
    d->ns[s] += v->end_ns - v->start_ns;
    d->silent[s] += v->silent_ns;
    if (v->transitions >= TRANSITIONS_MIN) {
        d->t[s] += (double)v->transitions;
        if (v->quality.encoding == ENC_UNSTEADY)
            d->noise[s] += (double)v->transitions;
        d->damaged[s] += v->data_damaged + v->ids_bad;
        d->fields[s] += v->data_damaged + v->ids_bad + v->data_good + v->ids_good;
    }
    if (v->ids_good < 1)
        return;
    if (v->id_side == s)
        d->as_selected++;
    else if (v->id_side == 0)
        d->zero++;
    else
        d->one++;
    d->side1_visits += s == 1;
}

/* Which side the identifiers name. */
static enum err add_side_id(const struct feature_from *f, const struct sides *d,
                            struct feature_list *l)
{
    int wrong = d->zero + d->one;
    int answer = wrong == 0 ? 0 : d->zero && d->one ? 3 : d->zero ? 1 : 2;

    if (d->as_selected + wrong == 0)
        return ERR_OK;
    return feature_add(
        l, f, FEATURE_SIDE_ID, GROUP_READ, SIG_SIDE, answer, NULL,
        answer ? "side.wrong" : "side.as-selected",
        answer ? "identifiers are of another side than SIDE selects (%d of %d visits)"
               : "identifiers are of the side that SIDE selects (%d wrong of %d visits)",
        wrong, d->as_selected + wrong);
}

/* Side 1 beside side 0: 0 alike, 1 no usable signal, 2 worse. */
static int side_1_answer(const struct sides *d)
{
    bool silent = d->silent[1] > d->ns[1] / 2;
    bool noise = d->noise[1] > d->t[1] / 2;

    if (silent || (noise && d->noise[0] < d->t[0] / 2))
        return 1;
    if (d->fields[0] <= 0 || d->fields[1] <= 0 ||
        d->damaged[1] / d->fields[1] <= d->damaged[0] / d->fields[0] + 0.3)
        return 0;
    return noise ? 1 : 2;
}

static enum err add_side_1(const struct feature_from *f, const struct sides *d,
                           struct feature_list *l)
{
    int answer;

    if (d->ns[0] < 100000000 || d->ns[1] < 100000000 || d->t[0] < TRANSITIONS_MIN)
        return ERR_OK;
    answer = side_1_answer(d);
    return feature_add(l, f, FEATURE_SIDE_1, GROUP_READ, SIG_SIDE, answer, NULL,
                       answer == 0   ? "side1.alike"
                       : answer == 1 ? "side1.silent"
                                     : "side1.worse",
                       answer == 0   ? "both sides read alike"
                       : answer == 1 ? "side 0 reads, side 1 gives no usable signal"
                                     : "side 1 reads worse than side 0");
}

static enum err add_sides(const struct feature_from *f, struct feature_list *l)
{
    struct sides d = {0};

    if (!feature_recorded(f, SIG_SIDE))
        return ERR_OK;
    for (size_t i = 0; i < f->s->visit_count; i++)
        add_side(&f->s->visit[i], &d);
    TRY(add_side_id(f, &d, l));
    return add_side_1(f, &d, l);
}

/* Damage that stays at its sectors is in the disk; damage that wanders is made in reading. */
static enum err add_repeat(const struct feature_from *f, struct feature_list *l)
{
    int fixed = 0, wandering = 0;

    for (size_t t = 0; t < f->s->track_count; t++) {
        for (size_t i = 0; i < f->s->track[t].sector_count; i++) {
            const struct track_sector *x = &f->s->track[t].sector[i];

            if (x->seen < 2 || x->data == FIELD_ABSENT)
                continue;
            if (x->good == 0)
                fixed++;
            else if (x->good < x->seen - 1)
                wandering++;
        }
    }
    if (fixed + wandering == 0)
        return ERR_OK;
    return feature_add(l, f, FEATURE_REPEAT, GROUP_READ, SIG_RDATA, wandering > fixed, NULL,
                       wandering > fixed ? "damage.wanders" : "damage.stays",
                       "%d sectors fail on every turn, %d fail on some turns only", fixed,
                       wandering);
}

enum err features_flux(const struct feature_from *f, struct feature_list *l)
{
    struct sums a = {0};

    if (!f->s->flux_usable || !feature_recorded(f, SIG_RDATA))
        return ERR_OK;
    for (size_t i = 0; i < f->s->visit_count; i++)
        if (counts(&f->s->visit[i]))
            add_up(f, &f->s->visit[i], &a);
    if (a.transitions < TRANSITIONS_MIN)
        return ERR_OK;
    TRY(add_quality(f, &a, l));
    TRY(add_fields(f, &a, l));
    TRY(add_cell(f, &a, l));
    TRY(add_rate(f, &a, l));
    TRY(add_sides(f, l));
    return add_repeat(f, l);
}
