/* Plots of a page over time: lines, supply rails, and the period turn by turn. */
#include "report/measure.h"
#include "report/page_parts.h"
#include "report/svg.h"
#include "report/text.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#define STRIP_LEFT    100
#define STRIP_ROW     22
#define STRIP_SWING   13 /* from high to low */
#define POINTS_MAX    300
#define PERIOD_SPREAD 0.002 /* of the period: the least that the plot spans */
#define NS_PER_MS_F   1e6

/* Runs of columns that look alike. */
static enum err strip(struct buf *out, const struct axis *x, const uint8_t *seen,
                      size_t columns, double top, unsigned bits, bool exact)
{
    for (size_t i = 0; i < columns;) {
        size_t to = i + 1;
        bool draw = exact ? seen[i] == bits : (seen[i] & bits) == bits;
        while (to < columns && (exact ? seen[to] == bits : (seen[to] & bits) == bits) == draw) {
            to++;
        }
        double from_px = axis_at(x, (double)i);
        double to_px = axis_at(x, (double)to);
        if (draw && exact && bits != SEEN_GAP) {
            TRY(buf_printf(out, "M%.1f %.1fH%.1f", from_px,
                           top + (bits == SEEN_LOW ? STRIP_SWING : 0), to_px));
        } else if (draw) {
            TRY(buf_printf(out, "M%.1f %.1fH%.1fv%dH%.1fz", from_px, top, to_px, STRIP_SWING,
                           from_px));
        }
        i = to;
    }
    return ERR_OK;
}

static enum err strip_line(struct buf *out, const struct trace *t, const struct axis *x,
                           enum line line, double top)
{
    const uint8_t *seen = t->line[line].seen;
    size_t columns = trace_columns(t);
    TRY(svg_label(out, STRIP_LEFT - 8, top + STRIP_SWING - 2, "end", line_name(line)));
    TRY(buf_printf(out, "<g data-line=\"%s\"><path class=\"gap\" d=\"", line_name(line)));
    TRY(strip(out, x, seen, columns, top, SEEN_GAP, true));
    TRY(buf_str(out, "\"/><path class=\"level\" d=\""));
    TRY(strip(out, x, seen, columns, top, SEEN_LOW, true));
    TRY(strip(out, x, seen, columns, top, SEEN_HIGH, true));
    TRY(buf_str(out, "\"/><path class=\"busy\" d=\""));
    TRY(strip(out, x, seen, columns, top, SEEN_LOW | SEEN_HIGH, false));
    return buf_str(out, "\"/></g>\n");
}

enum err page_lines(struct buf *out, const struct page_capture *c)
{
    const struct trace *t = c->trace;
    size_t columns = trace_columns(t);
    double seconds = (double)columns * trace_column_s(t);
    int rows = 0;
    char text[160];
    for (int l = 0; l < LINE_COUNT; l++) {
        rows += t->line[l].started;
    }
    if (rows == 0) {
        return ERR_OK;
    }
    struct plot p = {
        .id = c->id, .kind = "lines", .title = "Lines over time", .height = rows * STRIP_ROW};
    struct axis x = {0, (double)columns, STRIP_LEFT, SVG_RIGHT, NULL};
    struct axis s = {0, seconds, STRIP_LEFT, SVG_RIGHT, "seconds from the start"};
    (void)snprintf(
        text, sizeof text,
        "%d lines over %.3g s. Up is inactive, down is active; the table below gives "
        "their states.",
        rows, seconds);
    TRY(svg_open(out, &p, text));
    rows = 0;
    for (int l = 0; l < LINE_COUNT; l++) {
        if (t->line[l].started) {
            TRY(strip_line(out, t, &x, (enum line)l, SVG_TOP + rows * STRIP_ROW));
            rows++;
        }
    }
    TRY(buf_printf(out, "<path class=\"frame\" d=\"M%d %dH%d\"/>\n", STRIP_LEFT,
                   SVG_TOP + p.height, SVG_RIGHT));
    TRY(svg_x_marks(out, &s, SVG_TOP + p.height, 10));
    (void)snprintf(text, sizeof text,
                   "Up is inactive, down is active, solid is both within %.3g ms; shaded "
                   "stretches were not recorded.",
                   trace_column_s(t) * 1000);
    return svg_close(out, text);
}

static const struct limit *rail_limit(const struct profile *drive, enum rail rail)
{
    static const char *const key[RAIL_COUNT] = {"v5_v", "v12_v", "v24_v"};
    return profile_limit(drive, key[rail]);
}

static void rail_range(const struct trace_rail *r, size_t columns, double *low, double *high)
{
    *low = INFINITY;
    *high = -INFINITY;
    for (size_t i = 0; i < columns; i++) {
        if (r->seen[i]) {
            *low = fmin(*low, r->low_mv[i] / 1000.0);
            *high = fmax(*high, r->high_mv[i] / 1000.0);
        }
    }
}

static enum err limit_line(struct buf *out, const struct plot *p, bool have, double value)
{
    if (!have || value < p->y.min || value > p->y.max) {
        return ERR_OK;
    }
    return buf_printf(out, "<path class=\"limit\" d=\"M%d %.1fH%d\"/>\n", SVG_LEFT,
                      axis_at(&p->y, value), SVG_RIGHT);
}

/* A bar a column, from its lowest to its highest voltage, at least a pixel. */
static enum err rail_bars(struct buf *out, const struct trace *t, const struct trace_rail *r,
                          const struct plot *p)
{
    size_t columns = trace_columns(t);
    TRY(buf_str(out, "<path class=\"bars\" d=\""));
    for (size_t i = 0; i < columns;) {
        size_t to = i + 1;
        while (to < columns && r->seen[to] == r->seen[i] && r->low_mv[to] == r->low_mv[i] &&
               r->high_mv[to] == r->high_mv[i]) {
            to++;
        }
        if (r->seen[i]) {
            double top = axis_at(&p->y, r->high_mv[i] / 1000.0) - 0.5;
            TRY(buf_printf(out, "M%.1f %.1fH%.1fV%.1fH%.1fz",
                           axis_at(&p->x, (double)i * trace_column_s(t)), top,
                           axis_at(&p->x, (double)to * trace_column_s(t)),
                           axis_at(&p->y, r->low_mv[i] / 1000.0) + 0.5,
                           axis_at(&p->x, (double)i * trace_column_s(t))));
        }
        i = to;
    }
    return buf_str(out, "\"/>\n");
}

static enum err rail(struct buf *out, const struct page_capture *c, enum rail which)
{
    static const char *const kind[RAIL_COUNT] = {"rail-v5", "rail-v12", "rail-v24"};
    const struct trace *t = c->trace;
    const struct trace_rail *r = &t->rail[which];
    const struct limit *limit = rail_limit(c->drive, which);
    size_t columns = trace_columns(t);
    char title[40];
    char text[300];
    struct plot p = {.id = c->id,
                     .kind = kind[which],
                     .title = title,
                     .height = 120,
                     .x = {0, (double)columns * trace_column_s(t), 0, 0, "seconds"},
                     .y = {0, 0, 0, 0, "V"}};
    rail_range(r, columns, &p.y.min, &p.y.max);
    (void)snprintf(title, sizeof title, "Supply rail %s", rail_name(which));
    (void)snprintf(text, sizeof text, "%s lies between %.2f and %.2f V.", rail_name(which),
                   p.y.min, p.y.max);
    if (limit != NULL && limit->has_min && limit->has_max) {
        p.y.min = fmin(p.y.min, limit->min);
        p.y.max = fmax(p.y.max, limit->max);
        (void)snprintf(text + strlen(text), sizeof text - strlen(text),
                       " Dashed: %g to %g V (%.160s).", limit->min, limit->max, limit->source);
    }
    axis_round(&p.y, 0.1);
    TRY(plot_open(out, &p, text));
    TRY(rail_bars(out, t, r, &p));
    TRY(limit_line(out, &p, limit != NULL && limit->has_min, limit != NULL ? limit->min : 0));
    TRY(limit_line(out, &p, limit != NULL && limit->has_max, limit != NULL ? limit->max : 0));
    return svg_close(out, text);
}

enum err page_rails(struct buf *out, const struct page_capture *c)
{
    for (int r = 0; r < RAIL_COUNT; r++) {
        if (c->trace->rail[r].started) {
            TRY(rail(out, c, (enum rail)r));
        }
    }
    return ERR_OK;
}

/* Turns in groups where there are more than points: a stroke from the shortest to the longest.
 */
static enum err turn_points(struct buf *out, const struct rotation *r, const struct plot *p)
{
    int32_t group = (r->revolutions + POINTS_MAX - 1) / POINTS_MAX;
    TRY(buf_printf(out, "<path class=\"one\" data-group=\"%" PRId32 "\" d=\"", group));
    for (int32_t i = 0; i < r->revolutions; i += group) {
        int64_t low = r->period_ns[i];
        int64_t high = low;
        for (int32_t k = i; k < i + group && k < r->revolutions; k++) {
            low = r->period_ns[k] < low ? r->period_ns[k] : low;
            high = r->period_ns[k] > high ? r->period_ns[k] : high;
        }
        double x = axis_at(&p->x, i + 1);
        TRY(buf_printf(out, "%c%.1f %.2f", i == 0 ? 'M' : 'L', x,
                       axis_at(&p->y, (double)low / NS_PER_MS_F)));
        if (high > low) {
            TRY(buf_printf(out, "V%.2f", axis_at(&p->y, (double)high / NS_PER_MS_F)));
        }
    }
    return buf_str(out, "\"/>\n");
}

static void turn_range(const struct rotation *r, struct plot *p)
{
    double low = INFINITY;
    double high = -INFINITY;
    for (int32_t i = 0; i < r->revolutions; i++) {
        low = fmin(low, (double)r->period_ns[i] / NS_PER_MS_F);
        high = fmax(high, (double)r->period_ns[i] / NS_PER_MS_F);
    }
    p->y.min = low;
    p->y.max = high;
    axis_round(&p->y, high * PERIOD_SPREAD);
}

enum err page_turns(struct buf *out, const struct page_capture *c)
{
    const struct rotation *r = &c->survey->rotation;
    const struct figure_limit *l = &c->survey->limit[LIMIT_SPEED];
    char text[500];
    char limit[LIMIT_TEXT_MAX];
    int32_t outside = 0;
    struct plot p = {.id = c->id,
                     .kind = "turns",
                     .title = "Period turn by turn",
                     .height = 150,
                     .x = {1, r->revolutions, 0, 0, "turn at speed"},
                     .y = {0, 0, 0, 0, "ms per turn"}};
    if (r->from == ROTATION_NONE || r->revolutions < 2) {
        return ERR_OK;
    }
    turn_range(r, &p);
    for (int32_t i = 0; i < r->revolutions; i++) {
        double rpm = 60e9 / (double)r->period_ns[i];
        outside += (l->has_min && rpm < l->min) || (l->has_max && rpm > l->max);
    }
    (void)snprintf(
        text, sizeof text,
        "%" PRId32 " turns, %.2f rpm \xc2\xb1 %.2g; from the shortest to the longest "
        "%.3f %%.",
        r->revolutions, r->rpm, MEASURE_SURE * r->uncertainty_rpm, r->spread_percent);
    if (measure_limit(c->survey, LIMIT_SPEED, limit)[0] != '\0') {
        (void)snprintf(text + strlen(text), sizeof text - strlen(text),
                       " Outside the maker's limit of %s: %" PRId32 " turns.", limit, outside);
    }
    TRY(plot_open(out, &p, text));
    TRY(limit_line(out, &p, l->has_max, l->has_max ? 60e3 / l->max : 0));
    TRY(limit_line(out, &p, l->has_min, l->has_min ? 60e3 / l->min : 0));
    TRY(turn_points(out, r, &p));
    return svg_close(out, text);
}
