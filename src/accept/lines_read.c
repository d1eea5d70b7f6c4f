/* The read signal of each side, sectors, and where they lie against the index. */
#include "accept/accept_private.h"

#include <math.h>
#include <stdlib.h>

#define TRANSITIONS_MIN 20000 /* for a margin at one place: a fifth of a turn and more */
#define SILENT_MS       100   /* a head that gives nothing for so long gives nothing */
#define ELSEWHERE       "does another drive read this disk?"
#define K95             2.0

/* ---- places ---- */

static struct accept_place *place_at(struct accept_sheet *s, int32_t cylinder, int32_t side)
{
    for (size_t i = 0; i < s->place_count; i++)
        if (s->place[i].cylinder == cylinder && s->place[i].side == side)
            return &s->place[i];
    if (s->place_count == ACCEPT_PLACES_MAX)
        return NULL;
    struct accept_place *p = &s->place[s->place_count++];
    *p = (struct accept_place){.cylinder = cylinder, .side = side};
    return p;
}

static bool has_clock(const struct flux_quality *q)
{
    return q->transitions >= TRANSITIONS_MIN && q->cell_ns > 0 &&
           (q->encoding == ENC_FM || q->encoding == ENC_MFM || q->encoding == ENC_MIXED ||
            q->encoding == ENC_REGULAR_OTHER);
}

/* A place seen in several captures keeps its worst margin. */
static void add_place(struct accept_sheet *s, const struct place_figures *f)
{
    const struct flux_quality *q = &f->quality;
    if (!has_clock(q) || f->cylinder < 0 || f->side < 0)
        return;
    struct accept_place *p = place_at(s, f->cylinder, f->side);
    double ns_a_percent =
        q->margin_percent > 0 ? q->margin_ns / q->margin_percent : q->cell_ns / 200;
    double most = q->margin_ns + q->margin_u_percent * ns_a_percent;
    if (p == NULL || (p->margin_u_ns > 0 && p->margin_ns + p->margin_u_ns <= most))
        return;
    p->jitter_ns = q->jitter_ns;
    p->jitter_u_ns = q->jitter_u_ns;
    p->margin_ns = q->margin_ns;
    p->margin_u_ns = q->margin_u_percent * ns_a_percent;
    p->asymmetry_ns = q->asymmetry_ns;
    p->asymmetry_u_ns = q->asymmetry_u_ns;
    p->has_index_data = f->first_id.count > 0;
    p->index_data_us = f->first_id.mean_us;
}

static int by_place(const void *a, const void *b)
{
    const struct accept_place *x = a;
    const struct accept_place *y = b;
    int by_cylinder = (x->cylinder > y->cylinder) - (x->cylinder < y->cylinder);
    return by_cylinder != 0 ? by_cylinder : (x->side > y->side) - (x->side < y->side);
}

static void places(struct evidence *v)
{
    struct accept_sheet *s = v->sheet;
    for (size_t i = 0; i < v->captures; i++) {
        if (!v->survey[i]->flux_usable || v->own_writing[i])
            continue;
        for (size_t k = 0; k < v->survey[i]->place_count; k++)
            add_place(s, &v->survey[i]->place[k]);
        for (size_t k = 0; k < v->survey[i]->track_count; k++) {
            const struct track *t = &v->survey[i]->track[k];
            struct accept_place *p = place_at(s, t->cylinder, t->side);
            if (p == NULL || t->sector_count == 0)
                continue;
            int32_t good = 0;
            for (size_t n = 0; n < t->sector_count; n++)
                good += t->sector[n].data == FIELD_GOOD;
            if (p->sectors == 0 || good > p->sectors_good)
                p->sectors_good = good;
            p->sectors = (int32_t)t->sector_count;
        }
    }
    qsort(s->place, s->place_count, sizeof s->place[0], by_place);
}

/* ---- by side ---- */

struct heard {
    bool recorded, slow, turning;          /* slow: sampled too slowly */
    int64_t silent_ns, transitions, coded; /* coded: transitions with a clock in them */
    bool ready_never;
};

static struct heard heard_of(const struct evidence *v, int side)
{
    struct heard h = {.ready_never = true};
    for (size_t i = 0; i < v->captures; i++) {
        const struct survey *s = v->survey[i];
        if (v->own_writing[i])
            continue;
        h.recorded = h.recorded || s->flux_recorded;
        h.slow = h.slow || (s->flux_recorded && !s->flux_usable);
        h.turning = h.turning || s->index.pulses > 1;
        if (s->story.line[LINE_READY].state != LINE_NEVER_ACTIVE)
            h.ready_never = false;
        for (size_t k = 0; k < s->visit_count; k++) {
            const struct visit *x = &s->visit[k];
            bool here = x->side == side || x->side < 0;
            if (!here || !x->selected || !x->motor)
                continue;
            h.transitions += x->transitions;
            h.coded += x->quality.cell_ns > 0 ? x->transitions : 0;
            h.silent_ns += x->silent_ns;
        }
    }
    return h;
}

enum figure { MARGIN, JITTER, ASYMMETRY };

/* How bad a figure surely is: with its uncertainty taken off, so that of many places read for
 * a moment none is the worst by chance. */
static double badness(const struct accept_place *p, enum figure f)
{
    if (f == MARGIN)
        return -(p->margin_ns + p->margin_u_ns);
    return f == JITTER ? p->jitter_ns - p->jitter_u_ns
                       : fabs(p->asymmetry_ns) - p->asymmetry_u_ns;
}

/* NULL: no place of that side was read. */
static const struct accept_place *worst_of(const struct accept_sheet *s, int side,
                                           enum figure f, size_t *count)
{
    const struct accept_place *worst = NULL;
    *count = 0;
    for (size_t i = 0; i < s->place_count; i++) {
        const struct accept_place *p = &s->place[i];
        if (p->side != side || p->margin_u_ns <= 0)
            continue;
        ++*count;
        if (worst == NULL || badness(p, f) > badness(worst, f))
            worst = p;
    }
    return worst;
}

static void nothing_read(struct evidence *v, enum accept_item item, int side)
{
    struct heard h = heard_of(v, side);
    bool gated = profile_has_word(v->drive, "index_gate", "ready") && h.ready_never &&
                 (line_failed(v, ACCEPT_INDEX) || line_failed(v, ACCEPT_START));
    if (!h.recorded)
        line_not_measured(v, item, "RDATA was not recorded");
    else if (h.slow)
        line_not_measured(v, item, "sampled too slowly for read pulses");
    else if (line_failed(v, ACCEPT_START) || gated)
        line_not_measured(v, item, "the drive never became ready");
    else if (!h.turning && h.transitions == 0)
        line_not_measured(v, item, "nothing showed that the disk turned");
    else if (h.coded > 0)
        line_not_measured(v, item, "no place was read for long enough to tell a margin");
    else if (h.silent_ns >= SILENT_MS * NS_PER_MS)
        line_fail(v, item, "RDATA is silent where a recorded disk turns; %s", ELSEWHERE);
    else if (h.transitions >= TRANSITIONS_MIN)
        line_fail(v, item, "no code in the read data of a recorded disk; %s", ELSEWHERE);
    else
        line_not_measured(v, item, "the side was not read for long enough");
}

/* A margin that the spindle eats is the spindle's, which has lines of its own. */
static void margin_of_speed(struct evidence *v, enum accept_item read,
                            const struct accept_place *p)
{
    const struct accept_line *speed = line_of(v, ACCEPT_SPEED);
    const struct accept_limit *limit = &line_of(v, read)->limit;
    double rated = profile_number(v->drive, "speed_rpm", 0);
    if (!line_failed(v, read))
        return;
    if (line_failed(v, ACCEPT_HUB) || line_failed(v, ACCEPT_VARIATION))
        line_not_measured(v, read, "the disk does not turn evenly, and that eats the margin");
    else if (line_failed(v, ACCEPT_SPEED) && speed->value > rated && rated > 0 &&
             p->margin_ns * speed->value / rated >= limit->min)
        line_not_measured(v, read,
                          "%.0f ns: the disk turns too fast, and every cell is so much shorter",
                          p->margin_ns);
}

static void side(struct evidence *v, int n)
{
    enum accept_item read = n == 0 ? ACCEPT_READ_0 : ACCEPT_READ_1;
    enum accept_item jitter = n == 0 ? ACCEPT_JITTER_0 : ACCEPT_JITTER_1;
    enum accept_item asymmetry = n == 0 ? ACCEPT_ASYMMETRY_0 : ACCEPT_ASYMMETRY_1;
    size_t count = 0;
    const struct accept_place *p = worst_of(v->sheet, n, MARGIN, &count);
    if (n >= (int)profile_number(v->drive, "sides", 2)) {
        line_absent(v, read);
        line_absent(v, jitter);
        line_absent(v, asymmetry);
        return;
    }
    if (p == NULL) {
        nothing_read(v, read, n);
        line_not_measured(v, jitter, "no clock was found in the read data");
        line_not_measured(v, asymmetry, "no clock was found in the read data");
        return;
    }
    line_value(v, read, p->margin_ns, p->margin_u_ns);
    line_limit(v, read, "window_margin_ns");
    line_text(v, read,
              "early and late together at one error in a million; worst of %zu "
              "cylinder%s, at %d",
              count, count == 1 ? "" : "s", p->cylinder);
    margin_of_speed(v, read, p);
    p = worst_of(v->sheet, n, JITTER, &count);
    line_value(v, jitter, p->jitter_ns, p->jitter_u_ns);
    line_text(v, jitter, "standard deviation; worst of %zu cylinder%s, at %d", count,
              count == 1 ? "" : "s", p->cylinder);
    p = worst_of(v->sheet, n, ASYMMETRY, &count);
    line_value(v, asymmetry, p->asymmetry_ns, p->asymmetry_u_ns);
    line_text(v, asymmetry,
              "worst of %zu cylinder%s, at %d; a maker's limit holds on a track of "
              "even transitions only",
              count, count == 1 ? "" : "s", p->cylinder);
}

/* ---- side select, index to data ---- */

static void side_select(struct evidence *v)
{
    int asked = 0;
    int wrong = 0;
    if ((int)profile_number(v->drive, "sides", 2) < 2) {
        line_absent(v, ACCEPT_SIDE_SELECT);
        return;
    }
    for (size_t i = 0; i < v->captures; i++) {
        for (size_t k = 0; !v->own_writing[i] && k < v->survey[i]->visit_count; k++) {
            const struct visit *x = &v->survey[i]->visit[k];
            if (x->side < 0 || x->id_side < 0 || x->ids_good < 2)
                continue;
            asked |= 1 << x->side;
            wrong += x->id_side != x->side;
        }
    }
    if (asked != 3) {
        line_not_measured(v, ACCEPT_SIDE_SELECT, "not both sides gave identifiers");
        return;
    }
    line_value(v, ACCEPT_SIDE_SELECT, wrong, 0);
    line_at_most(v, ACCEPT_SIDE_SELECT, 0, "the side that was asked for");
    line_text(v, ACCEPT_SIDE_SELECT, "by the identifiers read there");
}

static void index_data(struct evidence *v)
{
    const struct gap_figures *best = NULL;
    for (size_t i = 0; i < v->captures; i++) {
        const struct gap_figures *g = &v->survey[i]->first_id;
        if (!v->own_writing[i] && g->count > 1 && (best == NULL || g->count > best->count))
            best = g;
    }
    if (best == NULL) {
        line_not_measured(v, ACCEPT_INDEX_DATA, "no identifier behind an index pulse");
        return;
    }
    line_value(v, ACCEPT_INDEX_DATA, best->mean_us,
               K95 * best->sd_us / sqrt((double)best->count));
    line_text(v, ACCEPT_INDEX_DATA, "%d turns; no evidence on a disk that this drive wrote",
              best->count);
}

static void sides(struct evidence *v)
{
    const struct accept_sheet *s = v->sheet;
    double n = 0;
    double sum = 0;
    double square = 0;
    for (size_t i = 0; i + 1 < s->place_count; i++) {
        const struct accept_place *a = &s->place[i];
        const struct accept_place *b = &s->place[i + 1];
        if (a->cylinder != b->cylinder || !a->has_index_data || !b->has_index_data)
            continue;
        double d = b->index_data_us - a->index_data_us;
        n += 1;
        sum += d;
        square += d * d;
    }
    if ((int)profile_number(v->drive, "sides", 2) < 2) {
        line_absent(v, ACCEPT_SIDES);
    } else if (n < 2) {
        line_not_measured(v, ACCEPT_SIDES, "not both sides of two cylinders were read");
    } else {
        double sd = sqrt(fmax(0, (square - sum * sum / n) / (n - 1)));
        line_value(v, ACCEPT_SIDES, sum / n, K95 * sd / sqrt(n));
        line_text(v, ACCEPT_SIDES, "as written, and as the two heads stand; %.0f cylinders", n);
    }
}

static void foreign(struct evidence *v)
{
    int32_t all = 0;
    int32_t bad = 0;
    for (size_t i = 0; i < v->sheet->place_count; i++) {
        all += v->sheet->place[i].sectors;
        bad += v->sheet->place[i].sectors - v->sheet->place[i].sectors_good;
    }
    if (!v->o->facts.disk_elsewhere) {
        line_not_asked(v, ACCEPT_FOREIGN,
                       "nobody said that another drive wrote this disk "
                       "(--written-by another)");
    } else if (all == 0) {
        line_not_measured(v, ACCEPT_FOREIGN, "no sector was found");
    } else {
        line_value(v, ACCEPT_FOREIGN, bad, 0);
        line_at_most(v, ACCEPT_FOREIGN, 0, "every sector of a good disk");
        line_text(v, ACCEPT_FOREIGN, "not good in any turn, of %d", all);
    }
}

static void elsewhere(struct evidence *v)
{
    int32_t all = 0;
    int32_t bad = 0;
    if (v->elsewhere == NULL) {
        line_not_asked(v, ACCEPT_ELSEWHERE, "no capture of such a disk (--elsewhere)");
        return;
    }
    for (size_t i = 0; i < v->elsewhere->track_count; i++) {
        const struct track *t = &v->elsewhere->track[i];
        for (size_t k = 0; k < t->sector_count; k++)
            bad += t->sector[k].data != FIELD_GOOD;
        all += (int32_t)t->sector_count;
    }
    if (all == 0) {
        line_not_measured(v, ACCEPT_ELSEWHERE, "no sector was found in that capture");
        return;
    }
    line_value(v, ACCEPT_ELSEWHERE, bad, 0);
    line_at_most(v, ACCEPT_ELSEWHERE, 0, "every sector that this drive wrote");
    line_text(v, ACCEPT_ELSEWHERE, "not good in any turn, of %d", all);
}

void accept_lines_read(struct evidence *v)
{
    places(v);
    side(v, 0);
    side(v, 1);
    side_select(v);
    index_data(v);
    sides(v);
    foreign(v);
    elsewhere(v);
}
