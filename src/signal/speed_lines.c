/* Variation of speed taken apart: what repeats with the angle, single lines that do not, and
 * the rest. */
#include "signal/speed_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FREE_LINES_MAX 4
#define ROUNDS         16    /* the parts are fitted in turn, each to what the others leave */
#define GRID           4     /* frequencies tried for each that can be told apart */
#define HALVINGS       16    /* of the step by which a frequency is refined */
#define LOW_HZ         0.5   /* slower is drift from turn to turn */
#define LOW_SWINGS     0.75  /* of the stretch: fewer are no line */
#define LINE_SURE      5.0   /* standard deviations from which a line counts */
#define LINE_LEAST     0.01  /* percent: smaller ones move nothing */
#define SURE           2.0   /* standard deviations of a 95 % uncertainty */
#define PEAK_SD        2.5   /* half of peak to peak of noise, in standard deviations */
#define FLAT_ERROR     0.005 /* of the evening out, see speed_private.h */
#define PARTED         0.002 /* of a line that does not repeat, which may be left in what does */
#define NS_PER_S       1e9

struct wave {
    double orders, c, s; /* c cos + s sin */
    double taken;        /* sum of squares that it takes out of the rest */
};

struct apart {
    const struct speed_curve *curve;
    size_t n;
    double *rest; /* of all points, what the parts leave */
    double turn[SPEED_POINTS];
    struct wave wave[FREE_LINES_MAX];
    size_t waves;
};

static double amplitude(const struct wave *w)
{
    return hypot(w->c, w->s);
}

/* Least squares for one frequency in the rest. */
static struct wave fit(const struct apart *a, double orders)
{
    double w = 2 * M_PI * orders / SPEED_POINTS;
    double cw = cos(w);
    double sw = sin(w);
    double c = 1;
    double s = 0;
    double cc = 0;
    double ss = 0;
    double cs = 0;
    double xc = 0;
    double xs = 0;
    for (size_t i = 0; i < a->n; i++) {
        cc += c * c;
        ss += s * s;
        cs += c * s;
        xc += a->rest[i] * c;
        xs += a->rest[i] * s;
        double next = c * cw - s * sw;
        s = s * cw + c * sw;
        c = next;
    }
    double det = cc * ss - cs * cs;
    struct wave v = {.orders = orders};
    if (det > 1e-9 * cc * (ss + cc)) {
        v.c = (xc * ss - xs * cs) / det;
        v.s = (xs * cc - xc * cs) / det;
        v.taken = v.c * xc + v.s * xs;
    }
    return v;
}

static void wave_add(struct apart *a, const struct wave *v, double sign)
{
    double w = 2 * M_PI * v->orders / SPEED_POINTS;
    double cw = cos(w);
    double sw = sin(w);
    double c = 1;
    double s = 0;
    for (size_t i = 0; i < a->n; i++) {
        a->rest[i] += sign * (v->c * c + v->s * s);
        double next = c * cw - s * sw;
        s = s * cw + c * sw;
        c = next;
    }
}

static void turn_fit(struct apart *a)
{
    double turns = (double)a->curve->turns;
    for (size_t i = 0; i < a->n; i++) {
        a->rest[i] += a->turn[i % SPEED_POINTS];
    }
    memset(a->turn, 0, sizeof a->turn);
    for (size_t i = 0; i < a->n; i++) {
        a->turn[i % SPEED_POINTS] += a->rest[i] / turns;
    }
    for (size_t i = 0; i < a->n; i++) {
        a->rest[i] -= a->turn[i % SPEED_POINTS];
    }
}

static double rest_power(const struct apart *a)
{
    double square = 0;
    for (size_t i = 0; i < a->n; i++) {
        square += a->rest[i] * a->rest[i];
    }
    return square;
}

/* Swings a turn that cannot be told from one that the turn repeats. */
static bool repeats(const struct apart *a, double orders)
{
    return fabs(orders - round(orders)) < 0.5 / a->curve->turns && orders > 0.5;
}

/* The strongest line in the rest. */
static struct wave strongest(const struct apart *a)
{
    double turns = (double)a->curve->turns;
    double low = fmax(LOW_HZ * a->curve->turn_ns / NS_PER_S, LOW_SWINGS / turns);
    struct wave best = {0};
    int tried = (int)((SPEED_ORDERS - low) * GRID * turns);
    for (int i = 0; i <= tried; i++) {
        double o = low + i / (GRID * turns);
        if (repeats(a, o)) {
            continue;
        }
        struct wave v = fit(a, o);
        best = v.taken > best.taken ? v : best;
    }
    return best;
}

/* The frequency nearby that takes most out of the rest. */
static struct wave refine(const struct apart *a, struct wave best)
{
    double step = 1.0 / (GRID * a->curve->turns);
    for (int i = 0; i < HALVINGS; i++) {
        step /= 2;
        struct wave lower = fit(a, best.orders - step);
        struct wave upper = fit(a, best.orders + step);
        best = lower.taken > best.taken ? lower : best;
        best = upper.taken > best.taken ? upper : best;
    }
    return best;
}

static void fit_in_turn(struct apart *a)
{
    for (int round = 0; round < ROUNDS; round++) {
        for (size_t w = 0; w < a->waves; w++) {
            wave_add(a, &a->wave[w], 1);
            a->wave[w] = round % 4 == 3 ? refine(a, a->wave[w]) : fit(a, a->wave[w].orders);
            wave_add(a, &a->wave[w], -1);
        }
        turn_fit(a);
    }
}

/* Standard deviation of a line's amplitude where the rest is noise. */
static double line_sd(const struct apart *a)
{
    return sqrt(2 * rest_power(a) / (double)a->n / (double)a->n);
}

static void take_apart(struct apart *a)
{
    turn_fit(a);
    while (a->waves < FREE_LINES_MAX) {
        struct wave v = strongest(a);
        double before = rest_power(a);
        double sd_limit = LINE_SURE * line_sd(a);
        if (amplitude(&v) < fmax(LINE_LEAST, sd_limit)) {
            return;
        }
        a->wave[a->waves++] = v;
        wave_add(a, &v, -1);
        fit_in_turn(a);
        if (rest_power(a) > 0.98 * before) {
            return;
        }
    }
}

static double half_range(const double *v, size_t n)
{
    double low = HUGE_VAL;
    double high = -HUGE_VAL;
    for (size_t i = 0; i < n; i++) {
        low = fmin(low, v[i]);
        high = fmax(high, v[i]);
    }
    return (high - low) / 2;
}

static void line_push(struct speed_variation *v, struct speed_line l)
{
    size_t i = v->lines < SPEED_LINES_MAX ? v->lines++ : SPEED_LINES_MAX;
    if (i == SPEED_LINES_MAX) {
        i--;
        if (v->line[i].percent >= l.percent) {
            return;
        }
    }
    while (i > 0 && v->line[i - 1].percent < l.percent) {
        v->line[i] = v->line[i - 1];
        i--;
    }
    v->line[i] = l;
}

/* What the points' width and the evening out leave of a line. */
static double passed(double orders)
{
    double w = 2 * M_PI * orders / SPEED_POINTS;
    double even = SPEED_EVEN[0] + 2 * SPEED_EVEN[1] * cos(w) + 2 * SPEED_EVEN[2] * cos(2 * w);
    return w > 1e-6 ? even * sin(w / 2) / (w / 2) : 1;
}

static void lines_list(const struct apart *a, struct speed_variation *v)
{
    double sd = line_sd(a);
    double hz = NS_PER_S / a->curve->turn_ns;
    double turns = (double)a->curve->turns;
    for (size_t i = 0; i < a->waves; i++) {
        const struct wave *w = &a->wave[i];
        double p = passed(w->orders);
        line_push(v, (struct speed_line){w->orders, w->orders * hz, amplitude(w) / p,
                                         SURE * sd / p, false});
    }
    struct apart turn = {.curve = a->curve, .n = SPEED_POINTS};
    double points[SPEED_POINTS];
    memcpy(points, a->turn, sizeof points);
    turn.rest = points;
    double turn_sd = sd + a->curve->noise_percent * sqrt(2 / (turns * SPEED_POINTS));
    for (int o = 1; o <= SPEED_ORDERS; o++) {
        struct wave w = fit(&turn, o);
        double p = passed(o);
        if (amplitude(&w) > fmax(LINE_LEAST, LINE_SURE * turn_sd)) {
            line_push(
                v, (struct speed_line){o, o * hz, amplitude(&w) / p, SURE * turn_sd / p, true});
        }
    }
}

static void split(struct apart *a, struct speed_variation *v)
{
    double turns = (double)a->curve->turns;
    double noise = a->curve->noise_percent;
    take_apart(a);
    double unexplained = sqrt(rest_power(a) / (double)a->n);
    v->repeats = half_range(a->turn, SPEED_POINTS);
    double mean_sd = hypot(unexplained, noise) / sqrt(turns);
    v->repeats_u = hypot(SURE * PEAK_SD / M_SQRT2 * mean_sd, FLAT_ERROR * v->repeats);
    double stray = half_range(a->rest, a->n);
    v->isv_u = fmax(v->isv_u, stray);
    v->free_u = hypot(stray, SURE * PEAK_SD / M_SQRT2 * mean_sd);
    lines_list(a, v);
    for (size_t w = 0; w < a->waves; w++) {
        v->repeats_u = hypot(v->repeats_u, PARTED * amplitude(&a->wave[w]));
        wave_add(a, &a->wave[w], 1);
    }
    v->free = half_range(a->rest, a->n);
    v->free_u = hypot(v->free_u, FLAT_ERROR * v->free);
}

enum err speed_variation_find(const struct speed_curve *c, struct speed_variation *out)
{
    struct apart a = {.curve = c, .n = (size_t)c->turns * SPEED_POINTS};
    memset(out, 0, sizeof *out);
    out->isv = out->repeats = out->free = -1;
    if (c->percent == NULL) {
        return ERR_OK;
    }
    a.rest = calloc(a.n, sizeof *a.rest);
    if (a.rest == NULL) {
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < a.n; i++) {
        a.rest[i] = (double)c->percent[i];
    }
    for (int32_t t = 0; t < c->turns; t++) {
        out->isv = fmax(out->isv, half_range(a.rest + (size_t)t * SPEED_POINTS, SPEED_POINTS));
    }
    out->isv_u = hypot(SURE * PEAK_SD / M_SQRT2 * c->noise_percent, FLAT_ERROR * out->isv);
    out->turns = c->turns;
    if (c->turns >= SPLIT_TURNS_MIN) {
        split(&a, out);
    }
    free(a.rest);
    return ERR_OK;
}
