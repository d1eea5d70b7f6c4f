/* `whichend measure` for people: the read signal by angle, and by cylinder with its sides
 * beside each other. */
#include "report/measure.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>

#define FIGURES_MAX 80
#define SIDE_WIDE   38
#define ROWS_ALL    16   /* more cylinders are shown in steps, unless all are asked for */
#define EVEN        2.0  /* jitter over the turn, from best to worst, in % of a cell */
#define EVEN_ODD    1e-5 /* intervals outside the code, of all */

static enum err angle_row(const struct survey *s, int side, bool verbose, struct buf *out)
{
    double marks = 0;
    double n = 0;
    double low = INFINITY;
    double high = 0;
    for (int i = 0; i < ANGLE_PARTS; i++) {
        n += (double)s->angle[side][i].transitions;
        marks += (double)(s->angle[side][i].shorter + s->angle[side][i].longer);
        low = fmin(low, s->angle[side][i].jitter_percent);
        high = fmax(high, s->angle[side][i].jitter_percent);
    }
    if (n <= 0) {
        return ERR_OK;
    }
    if (!verbose && low > 0 && high - low < EVEN && marks < EVEN_ODD * n) {
        return buf_printf(out, " side %d even: jitter %.1f to %.1f %%, out of code %.0f\n",
                          side, low, high, marks);
    }
    TRY(buf_printf(out, " side %d jitter %%", side));
    for (int i = 0; i < ANGLE_PARTS; i++) {
        double j = s->angle[side][i].jitter_percent;
        TRY(j > 0 ? buf_printf(out, "%4.0f", j) : buf_str(out, "   -"));
    }
    TRY(buf_str(out, "\n"));
    if (marks <= 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "    out of code "));
    for (int i = 0; i < ANGLE_PARTS; i++) {
        int64_t odd = s->angle[side][i].shorter + s->angle[side][i].longer;
        TRY(odd < 1000 ? buf_printf(out, "%4" PRId64, odd) : buf_str(out, " >1k"));
    }
    return buf_str(out, "\n");
}

/* Places of one cylinder. */
struct pair {
    const struct place_figures *side[2];
};

static struct pair pair_at(const struct survey *s, size_t *at)
{
    struct pair p = {{NULL, NULL}};
    int32_t cylinder = s->place[*at].cylinder;
    for (; *at < s->place_count && s->place[*at].cylinder == cylinder; (*at)++) {
        p.side[s->place[*at].side == 1] = &s->place[*at];
    }
    return p;
}

static const char *figures(const struct place_figures *p, char out[FIGURES_MAX])
{
    if (p == NULL || p->quality.cell_ns <= 0) {
        return p == NULL ? "       -" : "       no clock";
    }
    const struct flux_quality *q = &p->quality;
    (void)snprintf(out, FIGURES_MAX,
                   "%4.0f+/-%-2.0f%3.0f+/-%-2.0f%5.0f%5.0f%6" PRId64 "%5" PRId64, q->jitter_ns,
                   ceil(q->jitter_u_ns), q->margin_percent, ceil(q->margin_u_percent),
                   q->asymmetry_ns, q->peak_shift_ns, p->shorter, p->longer);
    return out;
}

/* One text a side; of sides that the capture does not have, none. */
static enum err side_by_side(const char *lead, const char *left, const char *right,
                             const bool side[2], struct buf *out)
{
    if (side[0] && side[1]) {
        return buf_printf(out, "%4s%-*s%s\n", lead, SIDE_WIDE, left, right);
    }
    return buf_printf(out, "%4s%s\n", lead, side[0] ? left : right);
}

static enum err pair_row(const struct pair *p, const bool side[2], struct buf *out)
{
    const struct place_figures *any = p->side[0] != NULL ? p->side[0] : p->side[1];
    char lead[16];
    char left[FIGURES_MAX];
    char right[FIGURES_MAX];
    (void)snprintf(lead, sizeof lead, "%" PRId32, any->cylinder);
    return side_by_side(lead, figures(p->side[0], left), figures(p->side[1], right), side, out);
}

/* The place with the least margin. */
static const struct place_figures *worst_of(const struct survey *s)
{
    const struct place_figures *worst = NULL;
    for (size_t i = 0; i < s->place_count; i++) {
        const struct place_figures *p = &s->place[i];
        if (p->quality.cell_ns > 0 &&
            (worst == NULL || p->quality.margin_percent < worst->quality.margin_percent)) {
            worst = p;
        }
    }
    return worst;
}

static enum err heads(const bool side[2], struct buf *out)
{
    static const char names[] = "   jitter  margin asym shft extra lost";
    TRY(side_by_side("", "   side 0", "   side 1", side, out));
    return side_by_side("cyl", names, names, side, out);
}

static enum err places(const struct survey *s, bool verbose, struct buf *out)
{
    bool side[2] = {false, false};
    size_t rows = 0;
    for (size_t at = 0; at < s->place_count; rows++) {
        struct pair p = pair_at(s, &at);
        side[0] = side[0] || p.side[0] != NULL;
        side[1] = side[1] || p.side[1] != NULL;
    }
    const struct place_figures *worst = worst_of(s);
    size_t step = verbose || rows <= ROWS_ALL ? 1 : (rows + ROWS_ALL - 1) / ROWS_ALL;
    TRY(heads(side, out));
    for (size_t at = 0, row = 0; at < s->place_count; row++) {
        struct pair p = pair_at(s, &at);
        bool is_worst = worst != NULL && (p.side[0] == worst || p.side[1] == worst);
        if (row % step == 0 || row == rows - 1 || is_worst) {
            TRY(pair_row(&p, side, out));
        }
    }
    if (step > 1 && worst != NULL) {
        return text_wrapf(
            out, 2, "", 2,
            "one in %zu of %zu cylinders, the last, and that with the least margin, "
            "%" PRId32 "; --verbose shows all",
            step, rows, worst->cylinder);
    }
    return ERR_OK;
}

enum err measure_places_text(const struct survey *s, const struct text_style *st,
                             struct buf *out)
{
    if (!s->flux_usable || s->flux.cell_ns <= 0) {
        return ERR_OK;
    }
    if (s->angle_known) {
        TRY(text_heading(out, st,
                         "by angle (sixteenths of a turn from the index; jitter in % of a "
                         "cell)"));
        TRY(angle_row(s, 0, st->verbose, out));
        TRY(angle_row(s, 1, st->verbose, out));
    }
    if (s->place_count < 2) {
        return ERR_OK;
    }
    TRY(text_heading(
        out, st, "read signal by cylinder (jitter, asymmetry and shift in ns, margin in %)"));
    return places(s, st->verbose, out);
}
