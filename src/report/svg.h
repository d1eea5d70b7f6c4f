/* Plots as inline SVG: frame, axes with round steps, and where a value sits. */
#ifndef WHICHEND_REPORT_SVG_H
#define WHICHEND_REPORT_SVG_H

#include "base/buf.h"

#include <stdbool.h>

#define SVG_WIDTH 640 /* of every plot, in its own units */
#define SVG_LEFT  58  /* where the plotted area begins and ends */
#define SVG_RIGHT 628
#define SVG_TOP   10

struct axis {
    double min, max;   /* values at the ends */
    double from, to;   /* places of the ends */
    const char *label; /* with its unit */
};

struct plot {
    const char *id;   /* of the capture: with kind, the figure's id */
    const char *kind; /* "turns", ... */
    const char *title;
    int height; /* of the plotted area */
    struct axis x, y;
    bool log_y; /* y holds powers of ten, and its marks show what they are */
};

double axis_at(const struct axis *a, double value);
/* A round step (1, 2 or 5 times a power of ten) that gives at most so many marks. */
double axis_step(const struct axis *a, int most);
/* Widen to round ends, and to at least `least` from end to end. */
void axis_round(struct axis *a, double least);

/* Opens the figure and its svg, with title and description (already escaped by the callee). */
enum err svg_open(struct buf *out, const struct plot *p, const char *describe);
/* The same, with frame, marks, numbers and labels of both axes. Fills in p's axes' places. */
enum err plot_open(struct buf *out, struct plot *p, const char *describe);
/* Closes both; caption NULL: none. */
enum err svg_close(struct buf *out, const char *caption);

enum err svg_label(struct buf *out, double x, double y, const char *anchor, const char *text);
/* Numbers along the bottom of the area at `y`. */
enum err svg_x_marks(struct buf *out, const struct axis *x, double y, int most);

#endif
