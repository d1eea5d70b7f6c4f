/* The map of sectors on a page: cylinders across, sectors downward, a panel a side. */
#include "report/page_parts.h"
#include "report/svg.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define MAP_LEFT      34
#define MAP_WIDTH     590
#define CELL_MOST     24.0
#define CYLINDERS_MAX 128
#define ROWS_MAX      48
#define BOX           0.9   /* of a cell: the rest is the gap to the next */
#define MAP_HIGH      220.0 /* of one side, where there are many sectors */
#define CELL_HIGH     14.0
#define BETWEEN       26
#define LEGEND_STEP   118

enum look { LOOK_GOOD, LOOK_REPAIRED, LOOK_DAMAGED, LOOK_ABSENT, LOOK_NO_ID, LOOKS };
static const char *const look_name[LOOKS] = {"good", "repaired", "damaged", "absent",
                                             "identifier bad"};
static const char *const look_class[LOOKS] = {"s-good", "s-repaired", "s-damaged", "s-absent",
                                              "s-absent"};

struct map {
    int32_t first, last; /* cylinders */
    int sides;
    size_t rows;
    double cell_w, cell_h;
    size_t left_out; /* sectors that the map does not hold */
};

static enum look look_of(const struct track_sector *s)
{
    static const enum look by_state[] = {[FIELD_ABSENT] = LOOK_ABSENT,
                                         [FIELD_DAMAGED] = LOOK_DAMAGED,
                                         [FIELD_REPAIRED] = LOOK_REPAIRED,
                                         [FIELD_GOOD] = LOOK_GOOD};
    return s->id_good ? by_state[s->data] : LOOK_NO_ID;
}

static struct map map_of(const struct survey *s)
{
    struct map m = {.first = INT32_MAX, .last = INT32_MIN};
    for (size_t i = 0; i < s->track_count; i++) {
        const struct track *t = &s->track[i];
        m.first = t->cylinder < m.first ? t->cylinder : m.first;
        m.last = t->cylinder > m.last ? t->cylinder : m.last;
        m.sides = t->side >= m.sides ? t->side + 1 : m.sides;
        m.rows = t->sector_count > m.rows ? t->sector_count : m.rows;
    }
    if (s->track_count > 0 && (int64_t)m.last - m.first >= CYLINDERS_MAX) {
        m.last = m.first + CYLINDERS_MAX - 1;
    }
    m.rows = m.rows > ROWS_MAX ? ROWS_MAX : m.rows;
    m.sides = m.sides > 2 ? 2 : m.sides;
    if (m.rows > 0) {
        m.cell_w = MAP_WIDTH / (double)(m.last - m.first + 1);
        m.cell_w = m.cell_w > CELL_MOST ? CELL_MOST : m.cell_w;
        m.cell_h = MAP_HIGH / (double)m.rows;
        m.cell_h = m.cell_h > CELL_HIGH ? CELL_HIGH : m.cell_h;
    }
    return m;
}

/* A box, in cells. */
static enum err box(struct buf *out, int32_t x, size_t y)
{
    return buf_printf(out, "M%" PRId32 " %zuh%gv%gh-%gz", x, y, BOX, BOX, BOX);
}

/* Marks inside a box, so that no state is told by its colour alone. */
static enum err mark(struct buf *out, enum look look, int32_t x, size_t y)
{
    if (look == LOOK_REPAIRED || look == LOOK_DAMAGED || look == LOOK_NO_ID) {
        TRY(buf_printf(out, "M%" PRId32 ".9 %zul-%g %g", x, y, BOX, BOX));
    }
    if (look == LOOK_DAMAGED || look == LOOK_NO_ID) {
        TRY(buf_printf(out, "M%" PRId32 " %zul%g %g", x, y, BOX, BOX));
    }
    return ERR_OK;
}

static bool on_map(const struct map *m, const struct track *t)
{
    return t->cylinder >= m->first && t->cylinder <= m->last && t->side >= 0 &&
           t->side < m->sides;
}

/* All sectors of one look on one side: one path of boxes, or of the marks in them. */
static enum err sectors(struct buf *out, const struct survey *s, const struct map *m, int side,
                        enum look look, bool marks)
{
    for (size_t i = 0; i < s->track_count; i++) {
        const struct track *t = &s->track[i];
        if (!on_map(m, t) || t->side != side) {
            continue;
        }
        for (size_t k = 0; k < t->sector_count && k < m->rows; k++) {
            int32_t x = t->cylinder - m->first;
            if (look_of(&t->sector[k]) == look) {
                TRY(marks ? mark(out, look, x, k) : box(out, x, k));
            }
        }
    }
    return ERR_OK;
}

static const char *mark_class(enum look look)
{
    return look == LOOK_DAMAGED ? "s-cut" : "s-line";
}

/* A group whose unit is a cell. */
static enum err cells(struct buf *out, double x, double y, double w, double h)
{
    return buf_printf(out, "<g transform=\"translate(%.1f %.1f) scale(%.4f %.4f)\"", x, y, w,
                      h);
}

static enum err panel(struct buf *out, const struct survey *s, const struct map *m, int side,
                      double top)
{
    char name[16];
    (void)snprintf(name, sizeof name, "side %d", side);
    TRY(svg_label(out, MAP_LEFT, top - 6, "start", name));
    TRY(cells(out, MAP_LEFT, top, m->cell_w, m->cell_h));
    TRY(buf_printf(out, " data-side=\"%d\">", side));
    for (int look = 0; look < LOOKS; look++) {
        TRY(buf_printf(out, "<path class=\"%s\" data-state=\"%s\" d=\"", look_class[look],
                       look_name[look]));
        TRY(sectors(out, s, m, side, (enum look)look, false));
        TRY(buf_printf(out, "\"/><path class=\"%s\" d=\"", mark_class((enum look)look)));
        TRY(sectors(out, s, m, side, (enum look)look, true));
        TRY(buf_str(out, "\"/>"));
    }
    return buf_str(out, "</g>\n");
}

static enum err legend(struct buf *out, double y)
{
    for (int look = 0; look < LOOKS; look++) {
        double x = MAP_LEFT + look * LEGEND_STEP;
        TRY(cells(out, x, y, CELL_HIGH, CELL_HIGH));
        TRY(buf_printf(out, "><path class=\"%s\" d=\"", look_class[look]));
        TRY(box(out, 0, 0));
        TRY(buf_printf(out, "\"/><path class=\"%s\" d=\"", mark_class((enum look)look)));
        TRY(mark(out, (enum look)look, 0, 0));
        TRY(buf_str(out, "\"/></g>\n"));
        TRY(svg_label(out, x + CELL_HIGH + 6, y + 11, "start", look_name[look]));
    }
    return ERR_OK;
}

static const char *describe(const struct survey *s, struct map *m, char out[240])
{
    size_t count[LOOKS] = {0};
    for (size_t i = 0; i < s->track_count; i++) {
        for (size_t k = 0; k < s->track[i].sector_count; k++) {
            count[look_of(&s->track[i].sector[k])]++;
            m->left_out += !on_map(m, &s->track[i]) || k >= m->rows;
        }
    }
    (void)snprintf(
        out, 240,
        "%zu sectors good, %zu repaired, %zu damaged, %zu absent, %zu with a damaged "
        "identifier. Each column is a cylinder; downward in the order on the track.",
        count[LOOK_GOOD], count[LOOK_REPAIRED], count[LOOK_DAMAGED], count[LOOK_ABSENT],
        count[LOOK_NO_ID]);
    if (m->left_out > 0) {
        size_t len = strlen(out);
        (void)snprintf(out + len, 240 - len, " %zu more do not fit here.", m->left_out);
    }
    return out;
}

enum err page_sectors(struct buf *out, const struct page_capture *c)
{
    const struct survey *s = c->survey;
    struct map m = map_of(s);
    char text[240];
    if (m.rows == 0) {
        return ERR_OK;
    }
    double panel_h = (double)m.rows * m.cell_h + BETWEEN;
    double bottom = SVG_TOP + m.sides * panel_h;
    struct plot p = {.id = c->id,
                     .kind = "sectors",
                     .title = "Sectors by cylinder and side",
                     .height = (int)(m.sides * panel_h) + BETWEEN};
    struct axis x = {m.first, m.last, MAP_LEFT + m.cell_w * 0.44,
                     MAP_LEFT + m.cell_w * (m.last - m.first + 0.44), "cylinder"};
    (void)describe(s, &m, text);
    TRY(svg_open(out, &p, text));
    for (int side = 0; side < m.sides; side++) {
        TRY(panel(out, s, &m, side, SVG_TOP + side * panel_h + BETWEEN - 8));
    }
    if (m.last == m.first) { /* one column: an axis needs two ends */
        char one[40];
        (void)snprintf(one, sizeof one, "cylinder %" PRId32, m.first);
        TRY(svg_label(out, MAP_LEFT, bottom + 10, "start", one));
    } else {
        TRY(svg_x_marks(out, &x, bottom - 6, 12));
    }
    TRY(legend(out, bottom + BETWEEN + 6));
    return svg_close(out, text);
}
