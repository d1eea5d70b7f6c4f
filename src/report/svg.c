#include "report/svg.h"

#include "report/html.h"

#include <math.h>
#include <stdio.h>

#define BELOW      40 /* under the area: numbers and the label */
#define X_MARKS    10
#define Y_MARKS    6
#define MARKS_MOST 40
#define SNAP       1e-9

double axis_at(const struct axis *a, double value)
{
    return a->from + (value - a->min) / (a->max - a->min) * (a->to - a->from);
}

double axis_step(const struct axis *a, int most)
{
    double least = (a->max - a->min) / most;
    double ten = pow(10, floor(log10(least)));
    double times = least / ten;
    return ten * (times <= 1 + SNAP ? 1 : times <= 2 + SNAP ? 2 : times <= 5 + SNAP ? 5 : 10);
}

void axis_round(struct axis *a, double least)
{
    if (a->max - a->min < least) {
        double middle = (a->max + a->min) / 2;
        a->min = middle - least / 2;
        a->max = middle + least / 2;
    }
    double step = axis_step(a, Y_MARKS);
    a->min = step * floor(a->min / step + SNAP);
    a->max = step * ceil(a->max / step - SNAP);
}

enum err svg_open(struct buf *out, const struct plot *p, const char *describe)
{
    TRY(html_el(out, "h4", p->title));
    TRY(buf_printf(out,
                   "<figure class=\"plot\" id=\"%s-%s\">\n<svg role=\"img\" "
                   "viewBox=\"0 0 %d %d\" xmlns=\"http://www.w3.org/2000/svg\" "
                   "aria-label=\"",
                   p->id, p->kind, SVG_WIDTH, p->height + SVG_TOP + BELOW));
    TRY(html_text(out, p->title));
    TRY(buf_str(out, "\">\n"));
    TRY(html_el(out, "title", p->title));
    return html_el(out, "desc", describe);
}

enum err svg_label(struct buf *out, double x, double y, const char *anchor, const char *text)
{
    TRY(buf_printf(out, "<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\">", x, y, anchor));
    TRY(html_text(out, text));
    return buf_str(out, "</text>\n");
}

/* Digits behind the point that a step needs. */
static int decimals(double step)
{
    int n = (int)ceil(-log10(step) - SNAP);
    return n > 0 ? n : 0;
}

enum err svg_x_marks(struct buf *out, const struct axis *x, double y, int most)
{
    double step = axis_step(x, most);
    double first = ceil(x->min / step - SNAP);
    for (int i = 0; i < MARKS_MOST && (first + i) * step <= x->max + step * SNAP; i++) {
        double at = axis_at(x, (first + i) * step);
        char text[40];
        (void)snprintf(text, sizeof text, "%.*f", decimals(step), (first + i) * step + 0.0);
        TRY(buf_printf(out, "<path class=\"tick\" d=\"M%.1f %.1fv5\"/>\n", at, y));
        TRY(svg_label(out, at, y + 17, "middle", text));
    }
    return svg_label(out, (x->from + x->to) / 2, y + 34, "middle", x->label);
}

#define MARK_TEXT_MAX 40

/* "1", "10", "1k", "10M": a power of ten. */
static void power_text(double power, char out[MARK_TEXT_MAX])
{
    static const char *const of_thousand[] = {"", "k", "M", "G", "T"};
    int n = (int)lround(fmin(fmax(power, 0), 14));
    (void)snprintf(out, MARK_TEXT_MAX, "1%.*s%s", n % 3, "00", of_thousand[n / 3]);
}

static enum err y_marks(struct buf *out, const struct plot *p)
{
    double step = p->log_y ? 1 : axis_step(&p->y, Y_MARKS);
    double first = ceil(p->y.min / step - SNAP);
    for (int i = 0; i < MARKS_MOST && (first + i) * step <= p->y.max + step * SNAP; i++) {
        double value = (first + i) * step + 0.0;
        double at = axis_at(&p->y, value);
        char text[MARK_TEXT_MAX];
        if (p->log_y) {
            power_text(value, text);
        } else {
            (void)snprintf(text, sizeof text, "%.*f", decimals(step), value);
        }
        TRY(buf_printf(out, "<path class=\"grid\" d=\"M%d %.1fH%d\"/>\n", SVG_LEFT, at,
                       SVG_RIGHT));
        TRY(svg_label(out, SVG_LEFT - 6, at + 4, "end", text));
    }
    TRY(buf_printf(out,
                   "<text transform=\"translate(13 %.1f) rotate(-90)\" "
                   "text-anchor=\"middle\">",
                   SVG_TOP + p->height / 2.0));
    TRY(html_text(out, p->y.label));
    return buf_str(out, "</text>\n");
}

enum err plot_open(struct buf *out, struct plot *p, const char *describe)
{
    p->x.from = SVG_LEFT;
    p->x.to = SVG_RIGHT;
    p->y.from = SVG_TOP + p->height;
    p->y.to = SVG_TOP;
    TRY(svg_open(out, p, describe));
    TRY(buf_printf(out, "<g data-x=\"%.9g %.9g %g %g\" data-y=\"%.9g %.9g %g %g\">\n", p->x.min,
                   p->x.max, p->x.from, p->x.to, p->y.min, p->y.max, p->y.from, p->y.to));
    TRY(y_marks(out, p));
    TRY(buf_printf(out, "<path class=\"frame\" d=\"M%d %dV%dH%d\"/>\n", SVG_LEFT, SVG_TOP,
                   SVG_TOP + p->height, SVG_RIGHT));
    TRY(svg_x_marks(out, &p->x, p->y.from, X_MARKS));
    return buf_str(out, "</g>\n");
}

enum err svg_close(struct buf *out, const char *caption)
{
    TRY(buf_str(out, "</svg>\n"));
    if (caption != NULL) {
        TRY(html_el(out, "figcaption", caption));
    }
    return buf_str(out, "</figure>\n");
}
