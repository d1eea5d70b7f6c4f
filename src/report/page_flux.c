/* Plots of a page about the read signal: intervals, and its quality by cylinder and side. */
#include "report/page_dots.h"
#include "report/page_parts.h"
#include "report/svg.h"
#include "report/text.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define BARS_MAX      200
#define BASELINE      (-0.3) /* powers of ten below one interval */
#define LABEL_ROOM    0.5    /* powers of ten above the highest bar */
#define WINDOWS_MAX   8
#define UNKNOWN_SHARE 0.999 /* of all intervals that the axis holds where no cell is known */

struct bars {
    double width_ns;
    size_t count;
    int64_t n[BARS_MAX];
    int64_t most, shown;
};

/* How far the axis goes: two cells beyond the longest that the code has. */
static double range_ns(const struct page_capture *c)
{
    const struct flux_quality *q = &c->survey->flux;
    const struct trace *t = c->trace;
    int64_t sum = 0;
    int most = 0;
    size_t bin = 0;
    for (int i = 0; i < WINDOWS_MAX && q->interval_ratio[i] > 0; i++) {
        most = q->interval_ratio[i];
    }
    if (q->cell_ns > 0 && most > 0) {
        return fmin((most + 2) * q->cell_ns, (TRACE_BINS - 1) * TRACE_BIN_NS);
    }
    while (bin < TRACE_BINS - 1 && (double)sum < UNKNOWN_SHARE * (double)t->intervals) {
        sum += t->interval[bin++];
    }
    return (double)(bin + 20) * TRACE_BIN_NS;
}

/* A bar is a whole number of sampling steps wide, so that each holds as many possible values.
 */
static void bars_fill(const struct page_capture *c, struct bars *b)
{
    double range = range_ns(c);
    double step = fmax(c->survey->sample_ns, TRACE_BIN_NS);
    b->width_ns = step * ceil(range / BARS_MAX / step);
    b->count = (size_t)fmin(ceil(range / b->width_ns), BARS_MAX);
    for (size_t i = 0; i < TRACE_BINS - 1; i++) {
        double bar = floor((double)i * TRACE_BIN_NS / b->width_ns + 0.5);
        if (bar < (double)b->count) {
            b->n[(size_t)bar] += c->trace->interval[i];
            b->shown += c->trace->interval[i];
        }
    }
    for (size_t i = 0; i < b->count; i++) {
        b->most = b->n[i] > b->most ? b->n[i] : b->most;
    }
}

static enum err bars_draw(struct buf *out, const struct bars *b, const struct plot *p)
{
    TRY(buf_printf(out, "<path class=\"bars\" data-bar-ns=\"%.6g\" d=\"", b->width_ns));
    for (size_t i = 0; i < b->count; i++) {
        double from = fmax(((double)i - 0.5) * b->width_ns / 1000, 0);
        double to = ((double)i + 0.5) * b->width_ns / 1000;
        if (b->n[i] > 0) {
            TRY(buf_printf(out, "M%.1f %.1fV%.2fH%.1fV%.1fz", axis_at(&p->x, from), p->y.from,
                           axis_at(&p->y, log10((double)b->n[i])), axis_at(&p->x, to),
                           p->y.from));
        }
    }
    return buf_str(out, "\"/>\n");
}

/* Between two whole numbers of cells a decoder must decide: there a window ends. */
static enum err windows(struct buf *out, const struct flux_quality *q, const struct plot *p)
{
    bool edge[2 * WINDOWS_MAX * 32] = {false}; /* by half cells */
    for (int i = 0; i < WINDOWS_MAX && q->interval_ratio[i] > 0; i++) {
        char text[24];
        int r = q->interval_ratio[i];
        double x = axis_at(&p->x, r * q->cell_ns / 1000);
        (void)snprintf(text, sizeof text, "%d cells", r);
        if (r > 200 || x > p->x.to) {
            continue;
        }
        edge[2 * r - 1] = edge[2 * r + 1] = true;
        TRY(svg_label(out, x, SVG_TOP + 12, "middle", text));
    }
    TRY(buf_str(out, "<path class=\"limit\" d=\""));
    for (int half = 0; half < (int)(sizeof edge / sizeof edge[0]); half++) {
        double x = axis_at(&p->x, half / 2.0 * q->cell_ns / 1000);
        if (edge[half] && x <= p->x.to) {
            TRY(buf_printf(out, "M%.1f %dV%.1f", x, SVG_TOP, p->y.from));
        }
    }
    return buf_str(out, "\"/>\n");
}

enum err page_intervals(struct buf *out, const struct page_capture *c)
{
    const struct flux_quality *q = &c->survey->flux;
    char text[300];
    char count[TEXT_COUNT_MAX];
    struct bars *b = calloc(1, sizeof *b);
    enum err e = ERR_OK;
    if (b == NULL) {
        return ERR_MEMORY;
    }
    if (c->trace->intervals > 0) {
        bars_fill(c, b);
    }
    if (b->most > 0) {
        struct plot p = {
            .id = c->id,
            .kind = "intervals",
            .title = "Intervals between read pulses",
            .height = 180,
            .x = {0, (double)b->count * b->width_ns / 1000, 0, 0, "\xc2\xb5s"},
            .y = {BASELINE, ceil(log10((double)b->most) + LABEL_ROOM), 0, 0, "how often (log)"},
            .log_y = true};
        (void)snprintf(
            text, sizeof text,
            "%s intervals, while nothing was written; %" PRId64
            " longer than shown. A bar is %.4g ns wide.%s",
            text_count(c->trace->intervals, count), c->trace->intervals - b->shown, b->width_ns,
            q->cell_ns > 0 ? " Dashed: where the decoder's window for a whole number "
                             "of cells ends."
                           : "");
        e = plot_open(out, &p, text);
        e = e == ERR_OK ? bars_draw(out, b, &p) : e;
        e = e == ERR_OK && q->cell_ns > 0 ? windows(out, q, &p) : e;
        e = e == ERR_OK ? svg_close(out, text) : e;
    }
    free(b);
    return e;
}

static bool drawn(const struct place_figures *f)
{
    return f->quality.cell_ns > 0 && f->cylinder >= 0 && (f->side == 0 || f->side == 1);
}

enum err page_places(struct buf *out, const struct page_capture *c)
{
    const struct survey *s = c->survey;
    struct dot *jitter = calloc(s->place_count + 1, sizeof *jitter);
    struct dot *margin = calloc(s->place_count + 1, sizeof *margin);
    size_t n = 0;
    enum err e = jitter != NULL && margin != NULL ? ERR_OK : ERR_MEMORY;
    for (size_t i = 0; e == ERR_OK && s->flux_usable && i < s->place_count; i++) {
        const struct place_figures *f = &s->place[i];
        const struct flux_quality *q = &f->quality;
        if (drawn(f)) {
            jitter[n] = (struct dot){f->cylinder, f->side, q->jitter_ns, q->jitter_u_ns};
            margin[n] =
                (struct dot){f->cylinder, f->side, q->margin_percent, q->margin_u_percent};
            n++;
        }
    }
    struct dots_plot j = {c->id, "jitter", "Jitter by cylinder and side", "ns", jitter, n};
    struct dots_plot m = {c->id, "margin", "Margin by cylinder and side", "%", margin, n};
    e = e == ERR_OK ? dots_draw(out, &j) : e;
    e = e == ERR_OK ? dots_draw(out, &m) : e;
    free(jitter);
    free(margin);
    return e;
}
