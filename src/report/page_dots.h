/* Private to src/report: a figure by cylinder and side. */
#ifndef WHICHEND_REPORT_PAGE_DOTS_H
#define WHICHEND_REPORT_PAGE_DOTS_H

#include "base/buf.h"

#include <stddef.h>
#include <stdint.h>

struct dot {
    int32_t cylinder, side; /* side 0 or 1 */
    double value, uncertainty;
};

#define DOTS_MAX 512

struct dots_plot {
    const char *id, *kind, *title, *unit;
    const struct dot *dot;
    size_t count; /* those behind DOTS_MAX are not drawn */
};

/* Nothing for fewer than two. */
enum err dots_draw(struct buf *out, const struct dots_plot *d);

#endif
