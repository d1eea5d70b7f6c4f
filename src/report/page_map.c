#include "report/page_map.h"

#include "report/svg.h"

#include <inttypes.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>

#define MAP_LEFT    34
#define MAP_WIDTH   590
#define CELL_MOST   24.0
#define BOX         0.9   /* of a cell: the rest is the gap to the next */
#define MAP_HIGH    220.0 /* of one side, where there are many sectors */
#define CELL_HIGH   14.0
#define BETWEEN     26
#define LEGEND_STEP 118
#define MARK_WIDTH  40.0 /* of a number below */

static const struct {
    const char *name, *box, *mark;
} look_row[LOOKS] = {
    [LOOK_GOOD] = {"good", "s-good", "s-line"},
    [LOOK_ONCE] = {"good once", "s-good", "s-line"},
    [LOOK_REPAIRED] = {"repaired", "s-repaired", "s-line"},
    [LOOK_DAMAGED] = {"damaged", "s-damaged", "s-cut"},
    [LOOK_ABSENT] = {"absent", "s-absent", "s-line"},
    [LOOK_NO_ID] = {"identifier bad", "s-absent", "s-line"},
};

/* What the map shows, and how large a sector is. */
struct extent {
    int32_t first, last; /* cylinders */
    int32_t sides;
    uint32_t rows;
    double cell_w, cell_h;
    size_t left_out;
    bool look[LOOKS];
};

static bool fits(const struct extent *x, const struct map_sector *s)
{
    return s->cylinder >= x->first && s->cylinder <= x->last && s->side >= 0 &&
           s->side < x->sides && s->row < x->rows;
}

static struct extent extent_of(const struct sector_map *m)
{
    struct extent x = {.first = INT32_MAX, .last = INT32_MIN};
    for (size_t i = 0; i < m->count; i++) {
        const struct map_sector *s = &m->sector[i];
        x.first = s->cylinder < x.first ? s->cylinder : x.first;
        x.last = s->cylinder > x.last ? s->cylinder : x.last;
        x.sides = s->side >= x.sides && s->side < 2 ? s->side + 1 : x.sides;
        x.rows = s->row >= x.rows ? s->row + 1 : x.rows;
        x.look[s->look] = true;
    }
    if ((int64_t)x.last - x.first >= MAP_CYLINDERS_MAX) {
        x.last = x.first + MAP_CYLINDERS_MAX - 1;
    }
    x.rows = x.rows > MAP_ROWS_MAX ? MAP_ROWS_MAX : x.rows;
    x.cell_w = MAP_WIDTH / (double)((int64_t)x.last - x.first + 1);
    x.cell_w = x.cell_w > CELL_MOST ? CELL_MOST : x.cell_w;
    x.cell_h = MAP_HIGH / (double)x.rows;
    x.cell_h = x.cell_h > CELL_HIGH ? CELL_HIGH : x.cell_h;
    for (size_t i = 0; i < m->count; i++) {
        x.left_out += !fits(&x, &m->sector[i]);
    }
    return x;
}

/* A box, in cells. */
static enum err box(struct buf *out, int32_t x, uint32_t y)
{
    return buf_printf(out, "M%" PRId32 " %" PRIu32 "h%gv%gh-%gz", x, y, BOX, BOX, BOX);
}

/* Marks inside a box, so that no state is told by its colour alone. */
static enum err mark(struct buf *out, enum look look, int32_t x, uint32_t y)
{
    if (look == LOOK_REPAIRED || look == LOOK_DAMAGED || look == LOOK_NO_ID) {
        TRY(buf_printf(out, "M%" PRId32 ".9 %" PRIu32 "l-%g %g", x, y, BOX, BOX));
    }
    if (look == LOOK_DAMAGED || look == LOOK_NO_ID) {
        TRY(buf_printf(out, "M%" PRId32 " %" PRIu32 "l%g %g", x, y, BOX, BOX));
    }
    return look == LOOK_ONCE ? buf_printf(out, "M%" PRId32 " %" PRIu32 ".45h%g", x, y, BOX)
                             : ERR_OK;
}

/* All sectors of one look on one side: one path of boxes, or of the marks in them. */
static enum err sectors(struct buf *out, const struct sector_map *m, const struct extent *x,
                        int32_t side, enum look look, bool marks)
{
    for (size_t i = 0; i < m->count; i++) {
        const struct map_sector *s = &m->sector[i];
        if (s->side == side && s->look == look && fits(x, s)) {
            TRY(marks ? mark(out, look, s->cylinder - x->first, s->row)
                      : box(out, s->cylinder - x->first, s->row));
        }
    }
    return ERR_OK;
}

/* A group whose unit is a cell. */
static enum err cells(struct buf *out, double x, double y, double w, double h)
{
    return buf_printf(out, "<g transform=\"translate(%.1f %.1f) scale(%.4f %.4f)\"", x, y, w,
                      h);
}

static enum err panel(struct buf *out, const struct sector_map *m, const struct extent *x,
                      int32_t side, double top)
{
    char name[24];
    (void)snprintf(name, sizeof name, "side %" PRId32, side);
    TRY(svg_label(out, MAP_LEFT, top - 6, "start", name));
    TRY(cells(out, MAP_LEFT, top, x->cell_w, x->cell_h));
    TRY(buf_printf(out, " data-side=\"%" PRId32 "\">", side));
    for (int look = 0; look < LOOKS; look++) {
        TRY(buf_printf(out, "<path class=\"%s\" data-state=\"%s\" d=\"", look_row[look].box,
                       look_row[look].name));
        TRY(sectors(out, m, x, side, (enum look)look, false));
        TRY(buf_printf(out, "\"/><path class=\"%s\" d=\"", look_row[look].mark));
        TRY(sectors(out, m, x, side, (enum look)look, true));
        TRY(buf_str(out, "\"/>"));
    }
    return buf_str(out, "</g>\n");
}

/* Of the looks that are on the map. */
static enum err legend(struct buf *out, const struct extent *x, double y)
{
    double left = MAP_LEFT;
    for (int look = 0; look < LOOKS; look++) {
        if (!x->look[look]) {
            continue;
        }
        TRY(cells(out, left, y, CELL_HIGH, CELL_HIGH));
        TRY(buf_printf(out, "><path class=\"%s\" d=\"", look_row[look].box));
        TRY(box(out, 0, 0));
        TRY(buf_printf(out, "\"/><path class=\"%s\" d=\"", look_row[look].mark));
        TRY(mark(out, (enum look)look, 0, 0));
        TRY(buf_str(out, "\"/></g>\n"));
        TRY(svg_label(out, left + CELL_HIGH + 6, y + 11, "start", look_row[look].name));
        left += LEGEND_STEP;
    }
    return ERR_OK;
}

static enum err cylinders(struct buf *out, const struct extent *x, double y)
{
    struct axis a = {x->first, x->last, MAP_LEFT + x->cell_w * BOX / 2,
                     MAP_LEFT + x->cell_w * (x->last - x->first + BOX / 2), "cylinder"};
    char one[40];
    double marks = fmin((a.to - a.from) / MARK_WIDTH, x->last - x->first); /* whole cylinders */
    if (x->last > x->first) {
        return svg_x_marks(out, &a, y, marks >= 2 ? (int)marks : 1);
    }
    (void)snprintf(one, sizeof one, "cylinder %" PRId32, x->first);
    return svg_label(out, MAP_LEFT, y + 16, "start", one); /* an axis needs two ends */
}

enum err map_draw(struct buf *out, const struct sector_map *m)
{
    if (m->count == 0) {
        return ERR_OK;
    }
    struct extent x = extent_of(m);
    char text[400];
    double panel_h = x.rows * x.cell_h + BETWEEN;
    double bottom = SVG_TOP + x.sides * panel_h;
    struct plot p = {.id = m->id,
                     .kind = "sectors",
                     .title = m->title,
                     .height = (int)(x.sides * panel_h) + BETWEEN};
    (void)snprintf(text, sizeof text,
                   "%s Each column is a cylinder; downward in the order on the track.",
                   m->describe);
    if (x.left_out > 0) {
        (void)snprintf(text, sizeof text, "%s %zu sectors do not fit here.", m->describe,
                       x.left_out);
    }
    TRY(svg_open(out, &p, text));
    for (int32_t side = 0; side < x.sides; side++) {
        TRY(panel(out, m, &x, side, SVG_TOP + side * panel_h + BETWEEN - 8));
    }
    TRY(cylinders(out, &x, bottom - 6));
    TRY(legend(out, &x, bottom + BETWEEN + 6));
    return svg_close(out, text);
}
