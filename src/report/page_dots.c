#include "report/page_dots.h"

#include "report/svg.h"

#include <math.h>
#include <stdio.h>

#define DOT        3.2
#define APART      0.15 /* of a cylinder: the sides stand beside each other */
#define SPAN_LEAST 50.0

static double place(const struct plot *p, const struct dot *d)
{
    return axis_at(&p->x, d->cylinder + (d->side == 0 ? -APART : APART));
}

static enum err shape(struct buf *out, const struct plot *p, const struct dot *d)
{
    double x = place(p, d);
    double y = axis_at(&p->y, d->value);
    return d->side == 0 ? buf_printf(out, "M%.1f %.1fa%g %g 0 1 0 %g 0a%g %g 0 1 0 -%g 0z",
                                     x - DOT, y, DOT, DOT, 2 * DOT, DOT, DOT, 2 * DOT)
                        : buf_printf(out, "M%.1f %.1fh%gv%gh-%gz", x - DOT, y - DOT, 2 * DOT,
                                     2 * DOT, 2 * DOT);
}

static enum err stroke(struct buf *out, const struct plot *p, const struct dot *d)
{
    return buf_printf(out, "M%.1f %.1fV%.1f", place(p, d),
                      axis_at(&p->y, fmax(d->value - d->uncertainty, p->y.min)),
                      axis_at(&p->y, fmin(d->value + d->uncertainty, p->y.max)));
}

static enum err side_draw(struct buf *out, const struct dots_plot *d, const struct plot *p,
                          int32_t side)
{
    size_t count = d->count < DOTS_MAX ? d->count : DOTS_MAX;
    TRY(buf_printf(out, "<path class=\"dot%d\" data-side=\"%d\" d=\"", side + 1, side));
    for (size_t i = 0; i < count; i++) {
        TRY(d->dot[i].side == side ? shape(out, p, &d->dot[i]) : ERR_OK);
    }
    TRY(buf_printf(out, "\"/>\n<path class=\"%s\" d=\"", side == 0 ? "one" : "two"));
    for (size_t i = 0; i < count; i++) {
        TRY(d->dot[i].side == side ? stroke(out, p, &d->dot[i]) : ERR_OK);
    }
    return buf_str(out, "\"/>\n");
}

enum err dots_draw(struct buf *out, const struct dots_plot *d)
{
    char text[240];
    double low = INFINITY;
    double high = -INFINITY;
    struct plot p = {.id = d->id,
                     .kind = d->kind,
                     .title = d->title,
                     .height = 150,
                     .x = {INFINITY, -INFINITY, 0, 0, "cylinder"},
                     .y = {0, 0, 0, 0, d->unit}};
    if (d->count < 2) {
        return ERR_OK;
    }
    for (size_t i = 0; i < d->count; i++) {
        p.x.min = fmin(p.x.min, d->dot[i].cylinder - 1);
        p.x.max = fmax(p.x.max, d->dot[i].cylinder + 1);
        low = fmin(low, d->dot[i].value);
        high = fmax(high, d->dot[i].value);
    }
    p.y.min = fmin(0, low);
    p.y.max = fmax(high * 1.05, 0);
    axis_round(&p.y, SPAN_LEAST);
    (void)snprintf(text, sizeof text,
                   "From %.0f to %.0f %s. Filled dots: side 0, open squares: side 1; strokes: "
                   "uncertainty at 95 %%.",
                   low, high, d->unit);
    TRY(plot_open(out, &p, text));
    TRY(side_draw(out, d, &p, 0));
    TRY(side_draw(out, d, &p, 1));
    return svg_close(out, text);
}
