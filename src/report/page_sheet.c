/* The sheet of an acceptance test on a page, or two of them side by side. */
#include "report/accept.h"
#include "report/page_dots.h"
#include "report/page_parts.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const state_shown[ACCEPT_STATES] = {
    [ACCEPT_ABSENT] = "this drive has none",
    [ACCEPT_NOT_MEASURED] = "not measured",
    [ACCEPT_READING] = "a reading",
    [ACCEPT_PASS] = "pass",
    [ACCEPT_FAIL] = "FAIL",
};

static enum err state_cell(struct buf *out, const struct accept_line *l)
{
    const char *tag = l->state == ACCEPT_FAIL   ? "td class=\"bad\""
                      : l->state == ACCEPT_PASS ? "td class=\"good\""
                      : l->wanting              ? "td class=\"mind\""
                                                : "td";
    return html_elf(out, tag, "%s%s%s%s", state_shown[l->state],
                    l->wanting ? ", and should be" : "",
                    l->close ? ", by less than the uncertainty" : "",
                    l->outside_shop ? ", outside the shop's limit" : "");
}

static enum err limit_cell(struct buf *out, enum accept_item i, const struct accept_line *l)
{
    char maker[ACCEPT_TEXT_MAX];
    char shop[ACCEPT_TEXT_MAX];
    if (!l->has_limit) {
        return buf_str(out, "<td></td>");
    }
    if (!l->has_shop) {
        return html_elf(out, "td", "%s (%s)", accept_limit_text(i, &l->limit, maker),
                        l->limit.source);
    }
    return html_elf(out, "td", "maker %s (%s); shop %s (%s)",
                    accept_limit_text(i, &l->limit, maker), l->limit.source,
                    accept_limit_text(i, &l->shop, shop), l->shop.source);
}

static enum err value_cell(struct buf *out, enum accept_item i, const struct accept_line *l)
{
    char text[ACCEPT_TEXT_MAX];
    const char *sign = strstr(accept_value_text(i, l, text), "+/-"); /* as screens have it */
    return sign == NULL
               ? html_el(out, "td", text)
               : html_elf(out, "td", "%.*s\xc2\xb1%s", (int)(sign - text), text, sign + 3);
}

/* Failed ones first, then what passed, readings, and what was not measured. */
static enum err one_sheet(struct buf *out, const struct accept_sheet *s)
{
    static const enum accept_state order[] = {ACCEPT_FAIL, ACCEPT_PASS, ACCEPT_READING,
                                              ACCEPT_NOT_MEASURED};
    TRY(buf_str(out, "<div class=\"wide\"><table class=\"rows\">\n<caption>Each line with its "
                     "uncertainty at "
                     "95 %, and the limit it was held against</caption>\n<thead><tr>"
                     "<th scope=\"col\">Line</th><th scope=\"col\">Result</th>"
                     "<th scope=\"col\">Value</th><th scope=\"col\">Limit</th>"
                     "<th scope=\"col\">How, or why not</th></tr></thead>\n<tbody>\n"));
    for (size_t k = 0; k < sizeof order / sizeof order[0]; k++) {
        for (int n = 0; n < ACCEPT_ITEMS; n++) {
            enum accept_item i = (enum accept_item)n;
            const struct accept_line *l = &s->line[i];
            if (l->state != order[k]) {
                continue;
            }
            TRY(buf_str(out, "<tr>"));
            TRY(html_el(out, "th scope=\"row\"", accept_item_title(i)));
            TRY(state_cell(out, l));
            TRY(value_cell(out, i, l));
            TRY(limit_cell(out, i, l));
            TRY(html_el(out, "td", l->text));
            TRY(buf_str(out, "</tr>\n"));
        }
    }
    return buf_str(out, "</tbody>\n</table></div>\n");
}

static enum err change_cell(struct buf *out, enum accept_item i,
                            const struct accept_difference *d)
{
    const char *tag = d->change == ACCEPT_BROKE    ? "td class=\"bad\""
                      : d->change == ACCEPT_MENDED ? "td class=\"good\""
                                                   : "td";
    int n = accept_item_decimals(i);
    return d->has_change && d->change != ACCEPT_SAME
               ? html_elf(out, tag, "%s, by %+.*f", accept_change_word(d->change), n, d->by)
               : html_el(out, tag, accept_change_word(d->change));
}

static enum err pair_row(struct buf *out, enum accept_item i, const struct accept_sheet *s,
                         const struct accept_difference *d)
{
    const struct accept_line *a = &s[0].line[i];
    const struct accept_line *b = &s[1].line[i];
    TRY(buf_str(out, "<tr>"));
    TRY(html_el(out, "th scope=\"row\"", accept_item_title(i)));
    TRY(value_cell(out, i, a));
    TRY(state_cell(out, a));
    TRY(value_cell(out, i, b));
    TRY(state_cell(out, b));
    TRY(change_cell(out, i, d));
    TRY(limit_cell(out, i, b->has_limit ? b : a));
    return buf_str(out, "</tr>\n");
}

static bool in_neither(const struct accept_sheet *s, int i)
{
    return s[0].line[i].state <= ACCEPT_NOT_MEASURED &&
           s[1].line[i].state <= ACCEPT_NOT_MEASURED;
}

/* What is not measured in either sheet, in one sentence. */
static enum err neither(struct buf *out, const struct accept_sheet *s)
{
    bool any = false;
    for (int i = 0; i < ACCEPT_ITEMS; i++) {
        bool absent =
            s[0].line[i].state == ACCEPT_ABSENT && s[1].line[i].state == ACCEPT_ABSENT;
        if (!in_neither(s, i) || absent) {
            continue;
        }
        TRY(buf_str(out,
                    any ? "; " : "<p class=\"faint\" id=\"neither\">Not measured in either: "));
        TRY(html_text(out, accept_item_title((enum accept_item)i)));
        any = true;
    }
    return any ? buf_str(out, ".</p>\n") : ERR_OK;
}

/* What changed comes first. */
static enum err two_sheets(struct buf *out, const struct accept_sheet *s)
{
    struct accept_difference d[ACCEPT_ITEMS];
    accept_compare(&s[0], &s[1], d);
    TRY(buf_str(out, "<div class=\"wide\"><table>\n<caption>The first sheet against the "
                     "second; what changed comes first</caption>\n<thead><tr>"
                     "<th scope=\"col\">Line</th>"
                     "<th scope=\"col\">First</th><th scope=\"col\">Its result</th>"
                     "<th scope=\"col\">Second</th><th scope=\"col\">Its result</th>"
                     "<th scope=\"col\">Change</th><th scope=\"col\">Limit</th></tr></thead>"
                     "\n<tbody>\n"));
    for (int same = 0; same <= 1; same++) {
        for (int i = 0; i < ACCEPT_ITEMS; i++) {
            if (!in_neither(s, i) && (d[i].change == ACCEPT_SAME) == (same == 1)) {
                TRY(pair_row(out, (enum accept_item)i, s, &d[i]));
            }
        }
    }
    TRY(buf_str(out, "</tbody>\n</table></div>\n"));
    return neither(out, s);
}

static enum err answer(struct buf *out, const struct accept_sheet *s)
{
    static const char *const word[] = {"Passed", "Failed", "Not complete"};
    static const char *const look[] = {"sound", "at-fault", "open"};
    enum accept_outcome o = accept_sheet_outcome(s);
    TRY(buf_printf(out, "<div class=\"answer %s\">\n", look[o]));
    TRY(html_elf(out, "p class=\"said\"", "%s: %zu lines passed, %zu failed, %zu not measured",
                 word[o], accept_sheet_count(s, ACCEPT_PASS),
                 accept_sheet_count(s, ACCEPT_FAIL),
                 accept_sheet_count(s, ACCEPT_NOT_MEASURED)));
    TRY(html_elf(out, "p", "%s (%s)%s%s", s->title, s->drive,
                 s->serial[0] != '\0' ? ", serial " : "", s->serial));
    TRY(html_elf(out, "p", "From %s%s%s", s->source[0] != '\0' ? s->source : "nobody said what",
                 s->made[0] != '\0' ? ", made " : "", s->made));
    return buf_str(out, "</div>\n");
}

static enum err places(struct buf *out, const struct accept_sheet *s, const char *id)
{
    struct dot *margin = calloc(ACCEPT_PLACES_MAX, sizeof *margin);
    size_t n = 0;
    if (margin == NULL) {
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < s->place_count; i++) {
        const struct accept_place *p = &s->place[i];
        if (p->margin_u_ns > 0 && p->side <= 1) {
            margin[n++] = (struct dot){p->cylinder, p->side, p->margin_ns, p->margin_u_ns};
        }
    }
    struct dots_plot m = {id, "margin", "Read margin by cylinder and side", "ns", margin, n};
    enum err e = dots_draw(out, &m);
    free(margin);
    return e;
}

enum err page_sheets(struct buf *out, const struct page *p)
{
    if (p->sheets == 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<section>\n<h2>Acceptance of the drive</h2>\n<div class=\"columns\">\n"));
    for (size_t i = 0; i < p->sheets; i++) {
        char id[24];
        (void)snprintf(id, sizeof id, "s%zu", i + 1);
        TRY(buf_str(out, "<div>\n"));
        TRY(answer(out, &p->sheet[i]));
        TRY(places(out, &p->sheet[i], id));
        TRY(buf_str(out, "</div>\n"));
    }
    TRY(buf_str(out, "</div>\n"));
    TRY(p->sheets == 1 ? one_sheet(out, &p->sheet[0]) : two_sheets(out, p->sheet));
    return buf_str(out, "</section>\n");
}
