/* `whichend measure` for people: speed inside the turn, and the read signal as a whole. */
#include "report/measure.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>

#define ISV_SHOWN 0.005 /* percent: smaller lines do not print as a number */

const char *measure_limit(const struct survey *s, enum figure_limit_of which,
                          char out[LIMIT_TEXT_MAX])
{
    const struct figure_limit *l = &s->limit[which];
    out[0] = '\0';
    if (l->has_min && l->has_max) {
        (void)snprintf(out, LIMIT_TEXT_MAX, "%g to %g %s (%s)", l->min, l->max, l->unit,
                       l->source);
    } else if (l->has_min || l->has_max) {
        (void)snprintf(out, LIMIT_TEXT_MAX, "%s %g %s (%s)", l->has_min ? "at least" : "up to",
                       l->has_min ? l->min : l->max, l->unit, l->source);
    }
    return out;
}

static enum err limit_text(const struct survey *s, enum figure_limit_of which, const char *what,
                           struct buf *out)
{
    char text[LIMIT_TEXT_MAX];
    return measure_limit(s, which, text)[0] != '\0'
               ? text_wrapf(out, 0, "", MEASURE_HANG, "%s: %s", what, text)
               : ERR_OK;
}

static enum err witnesses(const struct survey *s, struct buf *out)
{
    const struct rotation *f = &s->rotation_flux;
    if (s->rotation.from == ROTATION_INDEX && f->from == ROTATION_SECTORS) {
        TRY(text_wrapf(out, 0, "", MEASURE_HANG, "%.2f rpm +/- %.2g by sectors", f->rpm,
                       MEASURE_SURE * f->uncertainty_rpm));
    }
    if (s->slip.visits > 0) {
        bool slips = s->slip.percent > 2 * s->slip.u_percent;
        TRY(text_wrapf(out, 0, "", MEASURE_HANG, "disk behind the index by %.3f %% +/- %.2g%s",
                       s->slip.percent, s->slip.u_percent,
                       slips ? ": the hub slips" : ": no slip seen"));
    }
    if (s->clock_speed.rpm > 0 && s->rotation.from != ROTATION_FLUX) {
        TRY(text_wrapf(out, 0, "", MEASURE_HANG,
                       "%.2f rpm +/- %.2g by the bit clock, if the writer turned at its rated "
                       "speed",
                       s->clock_speed.rpm, MEASURE_SURE * s->clock_speed.uncertainty_rpm));
    }
    return limit_text(s, LIMIT_SPEED, "maker's limit", out);
}

static enum err line_text(const struct speed_figures *f, size_t i, struct buf *out)
{
    const struct speed_line *l = &f->middle.line[i];
    char lead[48];
    (void)snprintf(lead, sizeof lead, "%7.2f Hz  +/- %.2f %%", l->hz, l->percent);
    TRY(text_wrapf(out, MEASURE_HANG, lead, MEASURE_HANG + 26, "%.4g a turn, %s", l->orders,
                   l->locked ? "locked to the turn" : "not locked to the turn"));
    for (size_t c = 0; c < f->cause[i].count; c++) {
        TRY(text_wrapf(out, MEASURE_HANG + 11, "-", MEASURE_HANG + 13, "%s (%s)",
                       f->cause[i].text[c], f->cause[i].source[c]));
    }
    return ERR_OK;
}

static enum err variation(const struct survey *s, struct buf *out)
{
    const struct speed_figures *f = &s->speed;
    const struct speed_variation *v = &f->middle;
    if (f->visits == 0) {
        return ERR_OK;
    }
    TRY(text_wrapf(out, 0, "in the turn", MEASURE_HANG, "+/- %.2f %% (+/- %.2g)", v->isv,
                   v->isv_u));
    if (f->visits > 1) {
        TRY(text_wrapf(out, 0, "", MEASURE_HANG,
                       "middle of %" PRId32 " places; worst %.2f %% at %" PRId32 "/%" PRId32,
                       f->visits, f->worst_isv, f->worst_cylinder, f->worst_side));
    }
    TRY(limit_text(s, LIMIT_ISV, "maker's limit, plus or minus", out));
    if (v->repeats < 0) {
        return text_wrap(out, 0, "", MEASURE_HANG,
                         "too few turns to tell what repeats with the angle");
    }
    TRY(text_wrapf(out, 0, "", MEASURE_HANG,
                   "%.2f %% (+/- %.2g) repeats with the angle: written in, or this spindle's; "
                   "another disk, or this one reseated at another angle, tells which",
                   v->repeats, v->repeats_u));
    TRY(text_wrapf(out, 0, "", MEASURE_HANG,
                   "%.2f %% (+/- %.2g) does not: this drive as it turns now", v->free,
                   v->free_u));
    for (size_t i = 0; i < v->lines; i++) {
        if (v->line[i].percent >= ISV_SHOWN) {
            TRY(line_text(f, i, out));
        }
    }
    return ERR_OK;
}

enum err measure_speed_text(const struct survey *s, struct buf *out)
{
    TRY(witnesses(s, out));
    return variation(s, out);
}

/* One side, its places weighed by their transitions: a row. */
static enum err side_row(const struct survey *s, int side, struct buf *out)
{
    double weight = 0;
    double jitter = 0;
    double margin = 0;
    double asymmetry = 0;
    int64_t extra = 0;
    int64_t lost = 0;
    for (size_t i = 0; i < s->place_count; i++) {
        const struct place_figures *p = &s->place[i];
        if (p->side != side || p->quality.cell_ns <= 0) {
            continue;
        }
        double w = (double)p->quality.transitions;
        weight += w;
        jitter += w * p->quality.jitter_ns * p->quality.jitter_ns;
        margin += w * p->quality.margin_percent;
        asymmetry += w * p->quality.asymmetry_ns;
        extra += p->shorter;
        lost += p->longer;
    }
    if (weight <= 0) {
        return ERR_OK;
    }
    return buf_printf(out, "%*s%4d %6.0f ns %6.0f %% %8.0f ns %19.0f %6.0f\n", MEASURE_HANG, "",
                      side, sqrt(jitter / weight), margin / weight, asymmetry / weight,
                      1e6 * (double)extra / weight, 1e6 * (double)lost / weight);
}

double measure_odd_by_jitter(const struct survey *s)
{
    const struct flux_quality *q = &s->flux;
    double transitions = 0;
    for (size_t i = 0; i < s->place_count; i++) {
        transitions += (double)s->place[i].quality.transitions;
    }
    /* an interval has the jitter of both its ends, and half a cell to go */
    return q->jitter_ns > 0 ? transitions * 0.5 * erfc(q->cell_ns / 4 / q->jitter_ns) : 0;
}

/* Intervals that the code cannot have. */
static enum err odd_text(const struct survey *s, int64_t extra, int64_t lost, struct buf *out)
{
    double by_jitter = measure_odd_by_jitter(s);
    TRY(text_wrapf(out, 0, "", MEASURE_HANG, "%" PRId64 " extra pulses, %" PRId64 " dropouts",
                   extra, lost));
    return by_jitter < 1 || extra + lost == 0
               ? ERR_OK
               : text_wrapf(out, 0, "", MEASURE_HANG,
                            "so much jitter makes up to %.0f of either by itself", by_jitter);
}

/* Below this share of a cell nobody looks for a cause (our own guess). */
#define ASYMMETRY_SHARE 0.02

/* Surely uneven: what makes it so (common practice). */
static enum err asymmetry_cause(const struct flux_quality *q, struct buf *out)
{
    double size = fabs(q->asymmetry_ns);
    return size > 2 * q->asymmetry_u_ns && size > ASYMMETRY_SHARE * q->cell_ns
               ? text_wrap(out, 0, "", MEASURE_HANG,
                           "every other interval is long: a magnetised head, or an offset in "
                           "the read amplifier; another disk tells whether it is written in")
               : ERR_OK;
}

enum err measure_signal_text(const struct survey *s, struct buf *out)
{
    const struct flux_quality *q = &s->flux;
    TRY(text_wrapf(out, 0, "", MEASURE_HANG, "jitter %.0f ns rms (+/- %.2g)", q->jitter_ns,
                   q->jitter_u_ns));
    TRY(text_wrapf(out, 0, "", MEASURE_HANG,
                   "margin %.0f %% (+/- %.2g), %.0f ns, at one error in a million: carried on "
                   "%.1f powers of ten beyond what was seen",
                   q->margin_percent, q->margin_u_percent, q->margin_ns, q->margin_beyond));
    TRY(limit_text(s, LIMIT_MARGIN, "maker's promise", out));
    TRY(text_wrapf(out, 0, "", MEASURE_HANG,
                   "asymmetry %.0f ns (+/- %.2g), peak shift %.0f ns (+/- %.2g)",
                   q->asymmetry_ns, q->asymmetry_u_ns, q->peak_shift_ns, q->peak_shift_u_ns));
    TRY(asymmetry_cause(q, out));
    TRY(limit_text(s, LIMIT_ASYMMETRY, "maker's asymmetry, on a track of even transitions only",
                   out));
    if (s->first_id.count > 0) {
        TRY(text_wrapf(out, 0, "", MEASURE_HANG,
                       "index to first identifier %.0f us, %.1f us rms, from %.0f to %.0f us",
                       s->first_id.mean_us, s->first_id.sd_us, s->first_id.min_us,
                       s->first_id.max_us));
    }
    bool side[2] = {false, false};
    int64_t extra = 0;
    int64_t lost = 0;
    for (size_t i = 0; i < s->place_count; i++) {
        const struct place_figures *p = &s->place[i];
        extra += p->shorter;
        lost += p->longer;
        side[p->side == 1] = side[p->side == 1] || p->quality.cell_ns > 0;
    }
    TRY(odd_text(s, extra, lost, out));
    if (side[0] && side[1]) {
        TRY(buf_printf(out,
                       "%*sside    jitter   margin   asymmetry  per million: extra   lost\n",
                       MEASURE_HANG, ""));
        TRY(side_row(s, 0, out));
        TRY(side_row(s, 1, out));
    }
    return ERR_OK;
}
