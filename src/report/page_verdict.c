/* The verdict on a page: the answer and the ends, why, what would change it, what to do next.
 */
#include "report/page_parts.h"
#include "report/verdict.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define FAULTS_SHOWN   12
#define FAULT_FAINTEST 0.005
#define FINDINGS_SHOWN 60
#define NEXT_SHOWN     6
#define BAR_WIDTH      200.0

static enum err ends(struct buf *out, const struct verdict *v)
{
    enum end order[END_COUNT];
    verdict_order(v->end, END_COUNT, order);
    TRY(buf_str(out, "<table class=\"ends\">\n<caption>Where the fault sits, over everything "
                     "known; the last column is the chance that this end holds a fault at all, "
                     "beside others</caption>\n<thead><tr><th scope=\"col\">End</th>"
                     "<th scope=\"col\" colspan=\"2\">Chance</th>"
                     "<th scope=\"col\" class=\"n\">Any fault here</th></tr></thead>\n"
                     "<tbody>\n"));
    for (size_t i = 0; i < END_COUNT; i++) {
        enum end e = order[i];
        TRY(buf_str(out, "<tr>"));
        TRY(html_el(out, "th scope=\"row\"", end_shown(e)));
        TRY(html_elf(out, "td class=\"n\"", "%.1f %%", 100 * v->end[e]));
        TRY(buf_printf(out,
                       "<td><svg class=\"bar\" aria-hidden=\"true\" viewBox=\"0 0 %.0f 10\" "
                       "preserveAspectRatio=\"none\" xmlns=\"http://www.w3.org/2000/svg\">"
                       "<path class=\"gap\" d=\"M0 0H%.0fV10H0z\"/>"
                       "<path class=\"bars\" d=\"M0 0H%.1fV10H0z\"/></svg></td>",
                       BAR_WIDTH, BAR_WIDTH, BAR_WIDTH * v->end[e]));
        if (e < ENDS_OF_PARTS) {
            TRY(html_elf(out, "td class=\"n\"", "%.1f %%", 100 * v->also[e]));
        } else {
            TRY(buf_str(out, "<td></td>"));
        }
        TRY(buf_str(out, "</tr>\n"));
    }
    return buf_str(out, "</tbody>\n</table>\n");
}

static enum err faults(struct buf *out, const struct verdict *v)
{
    size_t count = 0;
    while (count < v->fault_count && count < FAULTS_SHOWN &&
           v->fault_list[count].probability >= FAULT_FAINTEST) {
        count++;
    }
    if (count == 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<table>\n<caption>Faults that fit best</caption>\n<thead><tr>"
                     "<th scope=\"col\" class=\"n\">Chance</th><th scope=\"col\">Fault</th>"
                     "<th scope=\"col\">Its name</th></tr></thead>\n<tbody>\n"));
    for (size_t i = 0; i < count; i++) {
        const struct fault_share *f = &v->fault_list[i];
        TRY(buf_str(out, "<tr>"));
        TRY(html_elf(out, "td class=\"n\"", "%.1f %%", 100 * f->probability));
        TRY(html_el(out, "th scope=\"row\"", f->text[0] != '\0' ? f->text : f->fault));
        TRY(html_el(out, "td", f->fault));
        TRY(buf_str(out, "</tr>\n"));
    }
    return buf_str(out, "</tbody>\n</table>\n");
}

enum err page_answer(struct buf *out, const struct page *p)
{
    const struct verdict *v = p->v;
    char text[VERDICT_ANSWER_MAX];
    const char *look = v->grade != GRADE_DECIDED ? "open"
                       : v->leading == END_NONE  ? "sound"
                                                 : "at-fault";
    TRY(buf_printf(out, "<section>\n<div class=\"answer %s\">\n", look));
    TRY(html_elf(out, "p class=\"said\"", "At fault: %s", verdict_answer(v, text)));
    if (v->summary[0] != '\0') {
        TRY(html_el(out, "p", v->summary));
    }
    if (v->worked_on) {
        TRY(html_el(out, "p", v->remains));
    }
    TRY(buf_str(out, "</div>\n<div class=\"columns\">\n"));
    TRY(ends(out, v));
    TRY(faults(out, v));
    return buf_str(out, "</div>\n</section>\n");
}

/* Columns of the findings that not every case fills. */
struct columns {
    bool value, limit;
};

static enum err value(struct buf *out, const struct finding *f)
{
    if (!f->has_value || !isfinite(f->value)) {
        return buf_str(out, "<td></td>");
    }
    return f->uncertainty > 0
               ? html_elf(out, "td", "%.6g \xc2\xb1 %.2g %s", f->value, f->uncertainty, f->unit)
               : html_elf(out, "td", "%.6g %s", f->value, f->unit);
}

static enum err finding(struct buf *out, const struct page *p, const struct columns *c,
                        const struct finding *f)
{
    double w = f->weight[p->v->leading];
    TRY(buf_printf(out, "<tr><td class=\"%s\">%s</td>", w > 0 ? "good" : "bad",
                   w > 0 ? "for" : "against"));
    TRY(p->verbose ? html_elf(out, "td", "%s, %+.1f decibans", verdict_strength(w), w)
                   : html_el(out, "td", verdict_strength(w)));
    TRY(html_el(out, "th scope=\"row\"", f->text));
    TRY(c->value ? value(out, f) : ERR_OK);
    if (c->limit) {
        bool source = f->source[0] != '\0';
        TRY(html_elf(out, "td", "%s%s%s%s", f->limit, source ? " (" : "", f->source,
                     source ? ")" : ""));
    }
    TRY(html_elf(out, "td", "%s, %s", f->observation ? "observation" : "reading", f->from));
    return buf_str(out, "</tr>\n");
}

static bool shown(const struct page *p, const struct finding *f)
{
    return p->verbose || fabs(f->weight[p->v->leading]) >= WEIGHT_SOME;
}

static enum err findings_head(struct buf *out, const struct columns *c)
{
    TRY(buf_str(out, "<div class=\"wide\"><table class=\"rows\">\n"
                     "<caption>Findings for and against the leading end, strongest "
                     "first</caption>\n<thead><tr><th scope=\"col\">Speaks</th>"
                     "<th scope=\"col\">How much</th><th scope=\"col\">Finding</th>"));
    TRY(c->value ? html_el(out, "th scope=\"col\"", "Value") : ERR_OK);
    TRY(c->limit ? html_el(out, "th scope=\"col\"", "Limit") : ERR_OK);
    return buf_str(out, "<th scope=\"col\">From</th></tr></thead>\n<tbody>\n");
}

/* Findings come strongest first; those for the leading end, then those against it. */
static enum err findings(struct buf *out, const struct page *p)
{
    const struct verdict *v = p->v;
    struct columns c = {false, false};
    size_t rows = 0;
    for (size_t i = 0; i < v->finding_count; i++) {
        const struct finding *f = &v->finding[i];
        c.value = c.value || (shown(p, f) && f->has_value);
        c.limit = c.limit || (shown(p, f) && (f->limit[0] != '\0' || f->source[0] != '\0'));
    }
    TRY(findings_head(out, &c));
    for (int sign = 1; sign >= -1; sign -= 2) {
        for (size_t i = 0; i < v->finding_count && rows < FINDINGS_SHOWN; i++) {
            const struct finding *f = &v->finding[i];
            if (shown(p, f) && f->weight[v->leading] * sign > 0) {
                TRY(finding(out, p, &c, f));
                rows++;
            }
        }
    }
    return buf_str(out, "</tbody>\n</table></div>\n");
}

static enum err change(struct buf *out, const struct verdict *v)
{
    if (v->grade != GRADE_DECIDED) {
        TRY(page_list(out, "Why it is not decided", v->gate, v->gate_count));
    }
    TRY(buf_str(out, "<div>\n<h3>What would change the verdict</h3>\n<ul>\n"));
    for (size_t i = 0; i < v->change_count; i++) {
        TRY(html_el(out, "li", v->change[i]));
    }
    if (v->disproof[0] != '\0') {
        TRY(html_elf(out, "li", "The one swap that would disprove it: %s", v->disproof));
    } else if (v->change_count == 0) {
        TRY(html_el(out, "li",
                    "No single finding, and no test that is left, would put another "
                    "end in front."));
    }
    return buf_str(out, "</ul>\n</div>\n");
}

enum err page_reasons(struct buf *out, const struct page *p)
{
    size_t strong = 0;
    for (size_t i = 0; i < p->v->finding_count; i++) {
        strong += shown(p, &p->v->finding[i]);
    }
    size_t faint = p->v->finding_count - strong;
    TRY(buf_str(out, "<section class=\"long\">\n<h2>Why</h2>\n"));
    TRY(strong > 0 ? findings(out, p)
                   : html_el(out, "p", "No single finding carries it: all agree a little."));
    if (faint > 0) {
        TRY(html_elf(out, "p class=\"faint\"",
                     "%zu %sfinding%s hardly weigh%s for or against it.", faint,
                     strong > 0 ? "more " : "", faint == 1 ? "" : "s", faint == 1 ? "s" : ""));
    }
    TRY(buf_str(out, "<div class=\"columns\">\n"));
    TRY(change(out, p->v));
    TRY(page_list(out, "Not tested", p->v->untested, p->v->untested_count));
    return buf_str(out, "</div>\n</section>\n");
}

static enum err words(struct buf *out, const char *term, const char *text)
{
    if (text[0] == '\0') {
        return ERR_OK;
    }
    TRY(html_el(out, "dt", term));
    return html_el(out, "dd", text);
}

static enum err test(struct buf *out, const struct next_test *t)
{
    bool risky = t->risk[0] != '\0' && strcmp(t->risk, "none") != 0;
    TRY(buf_str(out, "<li>"));
    TRY(html_elf(out, "strong", "%s (%.0f min)", t->test, t->minutes));
    TRY(buf_str(out, "<dl>\n"));
    TRY(words(out, "Why", t->why));
    for (size_t i = 0; i < t->need_count; i++) {
        TRY(words(out, "Needs", t->needs[i]));
    }
    for (size_t i = 0; i < t->first_count; i++) {
        TRY(words(out, "First", t->first[i]));
    }
    if (risky) {
        TRY(buf_str(out, "<dt>Risk</dt><dd class=\"mind\">"));
        TRY(html_textf(out, "to the %s", t->risk));
        TRY(buf_str(out, "</dd>\n"));
    } else {
        TRY(words(out, "Risk", "none"));
    }
    if (t->caution[0] != '\0') {
        TRY(buf_str(out, "<dt>Mind</dt>"));
        TRY(html_el(out, "dd class=\"mind\"", t->caution));
    }
    for (size_t i = 0; i < t->outcome_count; i++) {
        TRY(words(out, "If", t->outcome[i]));
    }
    return buf_str(out, "</dl></li>\n");
}

static enum err work(struct buf *out, const struct verdict *v)
{
    if (v->grade == GRADE_UNDECIDED || v->work_count == 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<h3>What to put right, in this order until it works</h3>\n<ol>\n"));
    for (size_t i = 0; i < v->work_count; i++) {
        const struct work *w = &v->work[i];
        TRY(buf_str(out, "<li>"));
        TRY(html_textf(out, "%s: %s (%.0f min; helps with %.0f %%)", end_shown(w->part),
                       w->text, w->minutes, 100 * w->chance));
        TRY(w->caution[0] == '\0' ? ERR_OK
                                  : html_elf(out, "div class=\"mind\"", "%s", w->caution));
        TRY(buf_str(out, "</li>\n"));
    }
    return buf_str(out, "</ol>\n");
}

enum err page_tests(struct buf *out, const struct page *p)
{
    const struct verdict *v = p->v;
    if (v->next_count + v->caution_count + v->warning_count == 0) {
        return ERR_OK;
    }
    TRY(buf_str(out, "<section class=\"long\">\n<h2>What to do next</h2>\n"));
    TRY(page_list(out, "Cautions", v->caution, v->caution_count));
    if (v->next_count > 0) {
        TRY(buf_str(out, "<h3>Tests, the most telling first</h3>\n<ol class=\"tests\">\n"));
        for (size_t i = 0; i < v->next_count && i < NEXT_SHOWN; i++) {
            TRY(test(out, &v->next[i]));
        }
        TRY(buf_str(out, "</ol>\n"));
    }
    TRY(work(out, v));
    TRY(page_list(out, "Mind about the captures", v->warning, v->warning_count));
    return buf_str(out, "</section>\n");
}
