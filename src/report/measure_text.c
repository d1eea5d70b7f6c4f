/* `whichend measure` for people. */
#include "report/measure.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define HANG       MEASURE_HANG
#define LINES_HANG 18

static enum err lead(const char *capture_name, const struct survey *s,
                     const struct text_style *st, struct buf *out)
{
    char edges[TEXT_COUNT_MAX];
    char text[240];
    bool coarse = s->sample_ns > 1.5 * tick_ns(s->info.tick) || s->info.sample_fs > 0;
    (void)snprintf(text, sizeof text, "%.6g s, %s edges, tick %.6g ns", s->seconds,
                   text_count(s->edges, edges), tick_ns(s->info.tick));
    TRY(text_tinted(out, st, TINT_STRONG, 0, capture_name, 0, ""));
    TRY(text_wrap(out, 2, "", 2, text));
    if (coarse) {
        TRY(text_wrapf(out, 2, "", 2, "sampled every %.1f ns", s->sample_ns));
    }
    return ERR_OK;
}

static enum err rotation(const struct survey *s, struct buf *out)
{
    static const char *const from[] = {"", "by index", "by sectors that came round again",
                                       "by the bit clock and the drive's rated speed"};
    const struct rotation *r = &s->rotation;
    if (r->from == ROTATION_NONE) {
        return text_wrap(out, 0, "rotation", HANG, "nothing in this capture tells it");
    }
    TRY(text_wrapf(out, 0, "rotation", HANG, "%.2f rpm +/- %.2g, %s, %" PRId32 " whole turn%s",
                   r->rpm, MEASURE_SURE * r->uncertainty_rpm, from[r->from], r->revolutions,
                   r->revolutions == 1 ? "" : "s"));
    if (r->revolutions > 1) {
        TRY(text_wrapf(out, 0, "", HANG, "turn to turn %.3f rpm rms, %.2f %% from end to end",
                       r->rpm_sd, r->spread_percent));
    }
    if (r->spin_up_ms >= 0) {
        TRY(text_wrapf(out, 0, "", HANG, "at speed %.0f ms after the motor was switched on",
                       r->spin_up_ms));
    }
    return measure_speed_text(s, out);
}

static enum err index_text(const struct survey *s, struct buf *out)
{
    const struct index_stats *x = &s->index;
    if (!s->index_recorded) {
        return text_wrap(out, 0, "index", HANG, "not recorded");
    }
    TRY(text_wrapf(out, 0, "index", HANG,
                   "%" PRId32 " pulse%s, %" PRId32 " missing, %" PRId32 " extra", x->pulses,
                   x->pulses == 1 ? "" : "s", x->missing, x->extra));
    if (x->sector_holes > 0) {
        TRY(text_wrapf(out, 0, "", HANG, "hard-sectored disk: %" PRId32 " sector holes a turn",
                       x->sector_holes));
    }
    if (x->width_us > 0) {
        TRY(text_wrapf(out, 0, "", HANG, "width %.1f us, %.1f us rms", x->width_us,
                       x->width_sd_us));
    }
    return x->bounced > 0
               ? text_wrapf(out, 0, "", HANG, "%" PRId32 " edge%s that came back at once",
                            x->bounced, x->bounced == 1 ? "" : "s")
               : ERR_OK;
}

static enum err line_row(const struct line_stats *x, enum line line, struct buf *out)
{
    double known = (double)(x->low_ns + x->high_ns);
    char edges[TEXT_COUNT_MAX];
    TRY(buf_printf(out, "  %-11s %-13s", line_name(line), line_state_name(x->state)));
    if (known > 0) {
        TRY(buf_printf(out, "%12s edges   active %7.3f %%", text_count(x->edges, edges),
                       100 * (double)x->low_ns / known));
    }
    if (x->glitches > 0) {
        TRY(buf_printf(out, "   %s glitches", text_count(x->glitches, edges)));
    }
    return buf_str(out, "\n");
}

/* All lines in one state, by their names alone. */
static enum err still_lines(const struct survey *s, enum line_state state, struct buf *out)
{
    char names[LINE_COUNT * 12] = "";
    size_t at = 0;
    for (int l = 0; l < LINE_COUNT; l++) {
        const struct line_stats *x = &s->story.line[l];
        if ((s->info.lines & LINE_BIT(l)) && x->state == state && x->edges == 0) {
            at += (size_t)snprintf(names + at, sizeof names - at, "%s%s", at > 0 ? " " : "",
                                   line_name((enum line)l));
        }
    }
    return at > 0 ? text_wrap(out, 2, line_state_name(state), LINES_HANG, names) : ERR_OK;
}

/* Lines that move have a row each. */
static enum err lines(const struct survey *s, const struct text_style *st, struct buf *out)
{
    TRY(text_heading(out, st, "lines"));
    for (int l = 0; l < LINE_COUNT; l++) {
        if ((s->info.lines & LINE_BIT(l)) && s->story.line[l].edges > 0) {
            TRY(line_row(&s->story.line[l], (enum line)l, out));
        }
    }
    TRY(still_lines(s, LINE_NEVER_ACTIVE, out));
    TRY(still_lines(s, LINE_ALWAYS_ACTIVE, out));
    return still_lines(s, LINE_NOT_RECORDED, out);
}

static enum err flux(const struct survey *s, struct buf *out)
{
    const struct flux_quality *q = &s->flux;
    char count[TEXT_COUNT_MAX];
    if (!s->flux_recorded) {
        return text_wrap(out, 0, "flux", HANG, "not recorded");
    }
    if (!s->flux_usable) {
        return text_wrap(out, 0, "flux", HANG,
                         "sampled too slowly to conclude anything from it");
    }
    TRY(text_wrapf(out, 0, "flux", HANG, "%s transitions, code: %s",
                   text_count((int64_t)q->transitions, count), encoding_name(q->encoding)));
    if (q->data_rate > 0) {
        TRY(text_wrapf(out, 0, "", HANG, "%.0f kbit/s, cell %.1f ns", q->data_rate / 1000.0,
                       q->cell_ns));
    }
    return q->cell_ns > 0 ? measure_signal_text(s, out) : ERR_OK;
}

static enum err supply(const struct survey *s, struct buf *out)
{
    for (int rail = 0; rail < RAIL_COUNT; rail++) {
        const struct supply_stats *v = &s->supply[rail];
        if (!v->recorded) {
            continue;
        }
        TRY(text_wrapf(out, 0, rail_name((enum rail)rail), HANG, "%.2f V, from %.2f to %.2f V",
                       v->mean_v, v->min_v, v->max_v));
        if (v->min_motor_v > 0) {
            TRY(text_wrapf(out, 0, "", HANG, "lowest while the motor started: %.2f V",
                           v->min_motor_v));
        }
    }
    return ERR_OK;
}

enum err report_measure_text(const char *capture_name, const struct survey *s,
                             const struct text_style *st, struct buf *out)
{
    TRY(lead(capture_name, s, st, out));
    TRY(buf_str(out, "\n"));
    TRY(rotation(s, out));
    TRY(index_text(s, out));
    TRY(flux(s, out));
    TRY(supply(s, out));
    TRY(lines(s, st, out));
    TRY(measure_tracks_text(s, st, out));
    TRY(measure_places_text(s, st, out));
    if (s->warning_count > 0) {
        TRY(text_heading(out, st, "mind"));
    }
    for (size_t i = 0; i < s->warning_count; i++) {
        TRY(text_wrap(out, 2, "-", 4, s->warning[i]));
    }
    return ERR_OK;
}
