/* The figures of all captures of a case side by side: a row a figure, a column a capture. */
#include "report/measure.h"
#include "report/page_parts.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define CELL_MAX 120

/* Writes the cell; false where the capture does not show it. */
typedef bool cell(const struct survey *s, char out[CELL_MAX]);

static bool length(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "%.4g s", s->seconds);
    return true;
}

static bool sampling(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "%.4g ns", s->sample_ns);
    return s->sample_known || s->info.sample_fs > 0;
}

static bool speed(const struct survey *s, char out[CELL_MAX])
{
    static const char *const from[] = {"", "index", "sectors", "bit clock"};
    const struct rotation *r = &s->rotation;
    (void)snprintf(out, CELL_MAX, "%.2f \xc2\xb1 %.2g rpm, by %s", r->rpm,
                   MEASURE_SURE * r->uncertainty_rpm, from[r->from]);
    return r->from != ROTATION_NONE;
}

static bool turns(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "%" PRId32 " turns, %.2f %% from end to end",
                   s->rotation.revolutions, s->rotation.spread_percent);
    return s->rotation.from != ROTATION_NONE && s->rotation.revolutions > 1;
}

static bool spin_up(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "%.0f ms", s->rotation.spin_up_ms);
    return s->rotation.from != ROTATION_NONE && s->rotation.spin_up_ms >= 0;
}

static bool in_turn(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "\xc2\xb1 %.2f %%", s->speed.middle.isv);
    return s->speed.visits > 0;
}

static bool pulses(const struct survey *s, char out[CELL_MAX])
{
    const struct index_stats *x = &s->index;
    (void)snprintf(out, CELL_MAX, "%" PRId32 ", %" PRId32 " missing, %" PRId32 " extra",
                   x->pulses, x->missing, x->extra);
    return s->index_recorded;
}

static bool width(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "%.1f \xc2\xb5s, %.1f \xc2\xb5s rms", s->index.width_us,
                   s->index.width_sd_us);
    return s->index_recorded && s->index.width_us > 0;
}

static bool has_clock(const struct survey *s)
{
    return s->flux_recorded && s->flux_usable && s->flux.cell_ns > 0;
}

static bool code(const struct survey *s, char out[CELL_MAX])
{
    const struct flux_quality *q = &s->flux;
    if (q->data_rate > 0) {
        (void)snprintf(out, CELL_MAX, "%s, %.0f kbit/s", encoding_name(q->encoding),
                       q->data_rate / 1000.0);
    } else {
        (void)snprintf(out, CELL_MAX, "%s", encoding_name(q->encoding));
    }
    return s->flux_recorded && s->flux_usable;
}

static bool transitions(const struct survey *s, char out[CELL_MAX])
{
    text_count((int64_t)s->flux.transitions, out);
    return s->flux_recorded && s->flux_usable;
}

static bool jitter(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "%.0f \xc2\xb1 %.2g ns", s->flux.jitter_ns,
                   s->flux.jitter_u_ns);
    return has_clock(s);
}

static bool margin(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "%.0f \xc2\xb1 %.2g %%", s->flux.margin_percent,
                   s->flux.margin_u_percent);
    return has_clock(s);
}

static bool asymmetry(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "%.0f \xc2\xb1 %.2g ns", s->flux.asymmetry_ns,
                   s->flux.asymmetry_u_ns);
    return has_clock(s);
}

static bool sectors(const struct survey *s, char out[CELL_MAX])
{
    size_t all = 0;
    size_t good = 0;
    for (size_t t = 0; t < s->track_count; t++) {
        all += s->track[t].sector_count;
        for (size_t i = 0; i < s->track[t].sector_count; i++) {
            const struct track_sector *x = &s->track[t].sector[i];
            good += x->id_good && x->data == FIELD_GOOD;
        }
    }
    (void)snprintf(out, CELL_MAX, "%zu of %zu good, on %zu track%s", good, all, s->track_count,
                   s->track_count == 1 ? "" : "s");
    return s->track_count > 0;
}

static bool writes(const struct survey *s, char out[CELL_MAX])
{
    (void)snprintf(out, CELL_MAX, "%" PRId32, s->story.write_gates);
    return s->story.line[LINE_WGATE].state != LINE_NOT_RECORDED;
}

static bool supply(const struct survey *s, char out[CELL_MAX])
{
    size_t at = 0;
    out[0] = '\0';
    for (int r = 0; r < RAIL_COUNT; r++) {
        const struct supply_stats *v = &s->supply[r];
        if (v->recorded && at + 40 < CELL_MAX) {
            at += (size_t)snprintf(out + at, CELL_MAX - at, "%s%s %.2f V (%.2f to %.2f)",
                                   at > 0 ? "; " : "", rail_name((enum rail)r), v->mean_v,
                                   v->min_v, v->max_v);
        }
    }
    return at > 0;
}

static const struct {
    const char *name;
    cell *cell;
    enum figure_limit_of limit; /* FIGURE_LIMITS: none */
} rows[] = {
    {"Length", length, FIGURE_LIMITS},
    {"Sampled every", sampling, FIGURE_LIMITS},
    {"Speed", speed, LIMIT_SPEED},
    {"Turn to turn", turns, FIGURE_LIMITS},
    {"Variation within a turn", in_turn, LIMIT_ISV},
    {"From motor on to speed", spin_up, FIGURE_LIMITS},
    {"Index pulses", pulses, FIGURE_LIMITS},
    {"Index width", width, FIGURE_LIMITS},
    {"Code", code, FIGURE_LIMITS},
    {"Transitions", transitions, FIGURE_LIMITS},
    {"Jitter", jitter, FIGURE_LIMITS},
    {"Margin at one error in a million", margin, LIMIT_MARGIN},
    {"Asymmetry", asymmetry, LIMIT_ASYMMETRY},
    {"Sectors", sectors, FIGURE_LIMITS},
    {"Write gate pulses", writes, FIGURE_LIMITS},
    {"Supply", supply, FIGURE_LIMITS},
};

static enum err figure_row(struct buf *out, const struct page *p, size_t row)
{
    char text[PAGE_DRAWN_MAX][CELL_MAX];
    char limit[LIMIT_TEXT_MAX] = "";
    bool any = false;
    for (size_t i = 0; i < p->drawn; i++) {
        if (rows[row].cell(&p->survey[i], text[i])) {
            any = true;
        } else {
            (void)snprintf(text[i], CELL_MAX, "not shown");
        }
    }
    if (!any) {
        return ERR_OK;
    }
    if (rows[row].limit != FIGURE_LIMITS) {
        (void)measure_limit(&p->survey[0], rows[row].limit, limit);
    }
    TRY(buf_str(out, "<tr>"));
    TRY(html_el(out, "th scope=\"row\"", rows[row].name));
    for (size_t i = 0; i < p->drawn; i++) {
        bool shown = strcmp(text[i], "not shown") != 0;
        TRY(html_el(out, shown ? "td" : "td class=\"faint\"", text[i]));
    }
    TRY(html_el(out, "td", limit));
    return buf_str(out, "</tr>\n");
}

static enum err head(struct buf *out, const struct page *p, const char *caption,
                     const char *first, const char *last)
{
    TRY(buf_str(out, "<div class=\"wide\"><table>\n"));
    TRY(html_el(out, "caption", caption));
    TRY(buf_str(out, "<thead><tr>"));
    TRY(html_el(out, "th scope=\"col\"", first));
    for (size_t i = 0; i < p->drawn; i++) {
        TRY(html_el(out, "th scope=\"col\"", p->c->capture[i].name));
    }
    if (last != NULL) {
        TRY(html_el(out, "th scope=\"col\"", last));
    }
    return buf_str(out, "</tr></thead>\n<tbody>\n");
}

static enum err line_cell(struct buf *out, const struct survey *s, enum line line)
{
    const struct line_stats *x = &s->story.line[line];
    double known = (double)(x->low_ns + x->high_ns);
    char edges[TEXT_COUNT_MAX];
    char glitches[TEXT_COUNT_MAX];
    if (x->state == LINE_NOT_RECORDED || known <= 0) {
        return html_el(out, "td class=\"faint\"", "not recorded");
    }
    if (x->edges == 0) {
        return html_el(out, "td", line_state_name(x->state));
    }
    return html_elf(out, "td", "%s, %s edges, active %.3f %%%s%s%s", line_state_name(x->state),
                    text_count(x->edges, edges), 100 * (double)x->low_ns / known,
                    x->glitches > 0 ? ", " : "",
                    x->glitches > 0 ? text_count(x->glitches, glitches) : "",
                    x->glitches > 0 ? " glitches" : "");
}

static enum err line_rows(struct buf *out, const struct page *p)
{
    for (int l = 0; l < LINE_COUNT; l++) {
        bool any = false;
        for (size_t i = 0; i < p->drawn; i++) {
            any = any || (p->survey[i].info.lines & LINE_BIT(l)) != 0;
        }
        if (!any) {
            continue;
        }
        TRY(buf_str(out, "<tr>"));
        TRY(html_el(out, "th scope=\"row\"", line_name((enum line)l)));
        for (size_t i = 0; i < p->drawn; i++) {
            TRY(line_cell(out, &p->survey[i], (enum line)l));
        }
        TRY(buf_str(out, "</tr>\n"));
    }
    return ERR_OK;
}

enum err page_figures(struct buf *out, const struct page *p)
{
    TRY(head(out, p, "Captures side by side. Uncertainties are at 95 %.", "Figure",
             "Maker's limit"));
    for (size_t row = 0; row < sizeof rows / sizeof rows[0]; row++) {
        TRY(figure_row(out, p, row));
    }
    TRY(buf_str(out, "</tbody>\n</table></div>\n"));
    TRY(head(out, p, "Lines side by side", "Line", NULL));
    TRY(line_rows(out, p));
    return buf_str(out, "</tbody>\n</table></div>\n");
}
