/* Which code, and how long is its cell: from the histogram of intervals alone. */
#include "signal/flux_private.h"

#include <math.h>
#include <string.h>

#define BIN_SHIFT      15 /* bins of 32.768 ns */
#define BINS           640
#define BIN_PS         (1 << BIN_SHIFT)
#define CHUNKS         32
#define CHUNK          1024
#define CELL_MIN_PS    0.38e6 /* MFM at 1 Mbit/s, fast by more than 10 % */
#define CELL_MAX_PS    5.2e6  /* FM at 125 kbit/s, slow by more than 10 % */
#define CELL_RATIO     1.015
#define CANDIDATES_MAX 256
#define TURN           1024 /* entries of the cosine's table */
#define UNIFORM_VAR    (1.0 / 12)
#define UNSTEADY_VAR   0.066 /* of intervals about whole cells; at random it is 0.083 */
#define LIKE_SLACK     0.05  /* of two cells that explain alike the longer is right */
#define TRADE_SLACK    0.7
#define SHARE_PRESENT  0.03
#define ONE_LENGTH     0.97 /* of the intervals */

struct histogram {
    float bin[BINS];
    double total;
};

/* How well whole multiples of one cell explain the intervals. */
struct fit {
    double cell_ps, var, covered, likelihood;
    double sd; /* from the mean distance, which a few stray pulses hardly touch */
    double share[STEPS_NAMED + 1];
};

static void histogram_add(struct histogram *h, const struct flux *f, size_t from, size_t to)
{
    for (size_t i = from; i < to; i++) {
        uint32_t b = f->interval_ps[i] >> BIN_SHIFT;
        if (b < BINS) {
            h->bin[b] += 1;
            h->total += 1;
        }
    }
}

/* Spread chunks over the stretch where it is long. */
static void histogram_spread(struct histogram *h, const struct flux *f)
{
    memset(h, 0, sizeof *h);
    if (f->count <= (size_t)CHUNKS * CHUNK) {
        histogram_add(h, f, 0, f->count);
        return;
    }
    for (size_t c = 0; c < CHUNKS; c++) {
        size_t from = (f->count - CHUNK) / (CHUNKS - 1) * c;
        histogram_add(h, f, from, from + CHUNK);
    }
}

/* Strength of the line that intervals of whole cells give at one cell in the spectrum. */
static double line_strength(const struct histogram *h, const float *cosine, double cell_ps)
{
    double sum = 0;
    double turns_per_bin = (double)BIN_PS / cell_ps * TURN;
    int last = (int)fmin(BINS - 1, (STEPS_NAMED + 0.5) * cell_ps / BIN_PS);
    for (int b = 0; b <= last; b++) {
        sum += (double)(h->bin[b] * cosine[(int)((b + 0.5) * turns_per_bin) & (TURN - 1)]);
    }
    return sum / h->total;
}

static void fit_sums(const struct histogram *h, struct fit *f)
{
    double dn = 0;
    double nn = 0;
    double square = 0;
    double distance = 0;
    double covered = 0;
    memset(f->share, 0, sizeof f->share);
    for (int b = 0; b < BINS; b++) {
        double n = (double)h->bin[b];
        double cells = (b + 0.5) * BIN_PS / f->cell_ps;
        int step = (int)(cells + 0.5);
        if (n <= 0 || step < 1 || step > STEPS_NAMED) {
            continue;
        }
        double off = cells - step;
        f->share[step] += n;
        dn += n * cells * step;
        nn += n * step * step;
        square += n * off * off;
        distance += n * fabs(off);
        covered += n;
    }
    f->covered = covered / h->total;
    f->var = covered > 0 ? square / covered : UNIFORM_VAR;
    f->sd = covered > 0 ? distance / covered * sqrt(M_PI_2) : 1;
    for (int s = 1; s <= STEPS_NAMED; s++) {
        f->share[s] /= fmax(covered, 1);
    }
    if (nn > 0) {
        f->cell_ps *= dn / nn;
    }
}

static double share_log(double share)
{
    return share > 0 ? share * log(share) : 0;
}

static struct fit fit_cell(const struct histogram *h, double cell_ps)
{
    struct fit f = {.cell_ps = cell_ps};
    double entropy = 0;
    for (int round = 0; round < 4; round++) {
        fit_sums(h, &f);
        f.cell_ps = fmin(fmax(f.cell_ps, cell_ps * 0.97), cell_ps * 1.03);
    }
    for (int s = 1; s <= STEPS_NAMED; s++) {
        entropy -= share_log(f.covered * f.share[s]);
    }
    entropy -= share_log(1 - f.covered); /* what no step covers comes at random */
    double sd_ps = hypot(f.sd * f.cell_ps, BIN_PS / sqrt(12.0));
    double width_ps = sd_ps * sqrt(2 * M_PI * M_E);
    f.likelihood =
        -entropy - f.covered * log(width_ps) - (1 - f.covered) * log((double)BINS * BIN_PS);
    return f;
}

static enum encoding name_code(const struct fit *f)
{
    const double *w = f->share;
    double mfm = w[2] + w[3] + w[4];
    if (f->var > UNSTEADY_VAR) {
        return ENC_UNSTEADY;
    }
    if (mfm > 0.85 && w[3] > SHARE_PRESENT && w[1] < 0.25 * w[2] && w[5] < SHARE_PRESENT) {
        return ENC_MFM;
    }
    return w[1] + w[2] > 0.9 && w[1] > SHARE_PRESENT ? ENC_FM : ENC_REGULAR_OTHER;
}

static bool is_trade_code(const struct fit *f)
{
    enum encoding e = name_code(f);
    return e == ENC_FM || e == ENC_MFM;
}

static void keep_better(struct fit *best, const struct fit *f)
{
    if (f->likelihood > best->likelihood + LIKE_SLACK || best->cell_ps <= 0) {
        *best = *f;
    }
}

/* The cell that explains the intervals best; of several alike the longest, and one of FM or MFM
 * before one of another code: peak shift may move MFM's peaks off whole cells. */
static struct fit fit_best(const struct histogram *h)
{
    float cosine[TURN];
    double strength[CANDIDATES_MAX];
    double cell[CANDIDATES_MAX];
    struct fit best = {.var = UNIFORM_VAR, .likelihood = -HUGE_VAL};
    struct fit trade = best;
    double top = 0;
    int n = 0;
    for (int i = 0; i < TURN; i++) {
        cosine[i] = cosf((float)(2 * M_PI * i / TURN));
    }
    for (double c = CELL_MIN_PS; c <= CELL_MAX_PS && n < CANDIDATES_MAX; c *= CELL_RATIO, n++) {
        cell[n] = c;
        strength[n] = line_strength(h, cosine, c);
        top = fmax(top, strength[n]);
    }
    for (int i = n - 2; i > 0; i--) { /* from the longest cell down */
        if (strength[i] < 0.4 * top || strength[i] < strength[i - 1] ||
            strength[i] < strength[i + 1]) {
            continue;
        }
        struct fit f = fit_cell(h, cell[i]);
        keep_better(&best, &f);
        if (is_trade_code(&f)) {
            keep_better(&trade, &f);
        }
    }
    return trade.likelihood > best.likelihood - TRADE_SLACK ? trade : best;
}

static void code_limits(struct code *c)
{
    double sum = 0;
    double weight = 0;
    c->step_min = c->encoding == ENC_MFM ? 2 : 1;
    c->step_max = c->encoding == ENC_MFM ? 4 : c->encoding == ENC_FM ? 2 : STEPS_NAMED;
    if (c->encoding == ENC_REGULAR_OTHER) {
        while (c->step_min < STEPS_NAMED && c->share[c->step_min] < SHARE_PRESENT / 3) {
            c->step_min++;
        }
        while (c->step_max > c->step_min && c->share[c->step_max] < SHARE_PRESENT / 3) {
            c->step_max--;
        }
    }
    for (int s = c->step_min; s <= c->step_max; s++) {
        sum += s * c->share[s];
        weight += c->share[s];
    }
    c->step_mean = weight > 0 ? sum / weight : c->step_min;
}

/* Fits of parts of a stretch. */
struct parts {
    struct fit steadiest; /* of those with a clock */
    struct fit trade;     /* the steadiest of those that show FM or MFM */
    int steady, trades;
};

static struct parts fit_parts(const struct flux *f)
{
    struct parts p = {.steadiest = {.var = UNIFORM_VAR}, .trade = {.var = UNIFORM_VAR}};
    size_t parts = f->count / (2 * (size_t)CHUNK);
    parts = parts > CHUNKS ? CHUNKS : parts;
    for (size_t i = 0; i < parts; i++) {
        struct histogram h = {0};
        size_t from = f->count / parts * i;
        histogram_add(&h, f, from, from + (size_t)2 * CHUNK);
        if (h.total < CHUNK) {
            continue;
        }
        struct fit part = fit_best(&h);
        if (name_code(&part) == ENC_UNSTEADY) {
            continue;
        }
        p.steady++;
        p.trades += is_trade_code(&part);
        if (part.var < p.steadiest.var) {
            p.steadiest = part;
        }
        if (is_trade_code(&part) && part.var < p.trade.var) {
            p.trade = part;
        }
    }
    return p;
}

/* Where noise prevails the code may still stand in a part; and where most parts show FM or MFM,
 * another code seen in all of them together comes from pulses that do not belong there. */
static struct fit fit_again(const struct flux *f, const struct fit *whole)
{
    struct parts p = fit_parts(f);
    if (name_code(whole) == ENC_UNSTEADY) {
        return p.steadiest;
    }
    return 2 * p.trades > p.steady ? p.trade : *whole;
}

void code_find(const struct flux *f, struct code *out)
{
    struct histogram h;
    struct fit best = {.var = UNIFORM_VAR};
    memset(out, 0, sizeof *out);
    out->encoding = ENC_UNSTEADY;
    histogram_spread(&h, f);
    if (h.total < 1) {
        return;
    }
    best = fit_best(&h);
    enum encoding whole = name_code(&best);
    if (whole == ENC_UNSTEADY || (whole == ENC_REGULAR_OTHER && best.share[1] <= ONE_LENGTH)) {
        best = fit_again(f, &best);
    }
    out->encoding = name_code(&best);
    out->cell_ps = best.cell_ps;
    memcpy(out->share, best.share, sizeof out->share);
    if (out->encoding == ENC_REGULAR_OTHER && best.share[1] > ONE_LENGTH) {
        *out = code_as_mfm(out); /* one length alone: zeros or ones */
        return;
    }
    code_limits(out);
}

struct code code_as_mfm(const struct code *c)
{
    struct code m = {.encoding = ENC_MFM, .cell_ps = c->cell_ps};
    if (c->encoding == ENC_MFM) {
        return *c;
    }
    if (c->share[1] > SHARE_PRESENT) {
        m.cell_ps = c->cell_ps / 2;
        for (int s = 1; 2 * s <= STEPS_NAMED; s++) {
            m.share[s + s] = c->share[s];
        }
    } else {
        memcpy(m.share, c->share, sizeof m.share);
    }
    code_limits(&m);
    return m;
}

struct code code_as_fm(const struct code *c)
{
    struct code m = {.encoding = ENC_FM, .cell_ps = 2 * c->cell_ps};
    if (c->encoding == ENC_FM) {
        return *c;
    }
    for (int s = 1; 2 * s <= STEPS_NAMED; s++) {
        m.share[s] = c->share[s + s];
    }
    code_limits(&m);
    return m;
}

/* Half the data bit is a cell in both codes. Boundaries lie so that 10 % of speed error fits on
 * the side where drives are commonest: 300 kbit/s comes only from disks turned at 360 rpm. */
struct rate_class {
    double from_cell_ns;
    int32_t data_rate;
};
static const struct rate_class mfm_rate[] = {
    {1800, 250000},
    {1290, 300000},
    {707, 500000},
    {0, 1000000},
};
static const struct rate_class fm_rate[] = {
    {3600, 125000}, {2580, 150000}, {1414, 250000}, {707, 500000}, {0, 1000000},
};

int32_t code_data_rate(enum encoding encoding, double cell_ps)
{
    const struct rate_class *r = encoding == ENC_FM ? fm_rate : mfm_rate;
    if (encoding == ENC_NONE || encoding == ENC_UNSTEADY || encoding == ENC_REGULAR_OTHER) {
        return 0;
    }
    while (cell_ps < r->from_cell_ns * 1e3) {
        r++;
    }
    return r->data_rate;
}

double code_cell_ps(int32_t data_rate)
{
    return 1e12 / (2.0 * (double)data_rate);
}
