/* `whichend judge` for people: the answer, why, what next. */
#include "report/text.h"
#include "report/verdict.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define FOR_SHOWN       6
#define AGAINST_SHOWN   4
#define FAULTS_SHOWN    5
#define FAULT_SHOWN_MIN 0.01
#define RIVAL_SHOWN_MIN 0.02
#define LIST_SHOWN      8
#define NEXT_SHOWN      3
#define HANG            19

static enum err answer(const struct verdict *v, const struct text_style *s, struct buf *out)
{
    char text[VERDICT_ANSWER_MAX];
    enum tint t = v->grade == GRADE_UNDECIDED ? TINT_WARN
                  : v->leading == END_NONE    ? TINT_GOOD
                  : v->grade == GRADE_DECIDED ? TINT_BAD
                                              : TINT_WARN;
    TRY(text_tinted(out, s, t, 0, "At fault:", 10, verdict_answer(v, text)));
    if (v->summary[0] != '\0') {
        TRY(buf_str(out, "\n"));
        TRY(text_wrap(out, 0, "", 0, v->summary));
    }
    if (v->worked_on) {
        TRY(buf_str(out, "\n"));
        TRY(text_wrap(out, 0, "", 0, v->remains));
    }
    return ERR_OK;
}

static enum err finding(const struct finding *f, const struct text_style *s, double weight,
                        struct buf *out)
{
    char lead[40];
    char text[FINDING_TEXT_MAX + FINDING_ID_MAX + 200];
    char number[40] = "";
    (void)snprintf(lead, sizeof lead, "%-8s %s", weight > 0 ? "for" : "against",
                   verdict_strength(weight));
    if (s->verbose) {
        (void)snprintf(number, sizeof number, "; %+.1f decibans", weight);
    }
    (void)snprintf(text, sizeof text, "%s (%s%s%s%s%s)", f->text, f->from,
                   f->limit[0] != '\0' ? "; " : "", f->limit[0] != '\0' ? "limit " : "",
                   f->limit, number);
    return text_wrap(out, 2, lead, HANG, text);
}

/* Findings come strongest first; those for the leading end, then those against it. */
static enum err findings(const struct verdict *v, const struct text_style *s, struct buf *out)
{
    TRY(text_heading(out, s, "Why"));
    size_t shown = 0;
    for (int sign = 1; sign >= -1; sign -= 2) {
        size_t room = s->verbose ? v->finding_count : sign > 0 ? FOR_SHOWN : AGAINST_SHOWN;
        for (size_t i = 0; i < v->finding_count && room > 0; i++) {
            double weight = v->finding[i].weight[v->leading];
            bool faint = fabs(weight) < WEIGHT_SOME;
            if (weight * sign <= 0 || (faint && !s->verbose)) {
                continue;
            }
            TRY(finding(&v->finding[i], s, weight, out));
            room--;
            shown++;
        }
    }
    return shown > 0 ? ERR_OK : text_wrap(out, 2, "", 2, "no single finding carries it");
}

static enum err rivals(const struct verdict *v, const struct text_style *s, struct buf *out)
{
    enum end order[END_COUNT];
    bool any = false;
    char end[VERDICT_END_MAX];
    verdict_order(v->end, END_COUNT, order);
    for (size_t i = 0; i < END_COUNT; i++) {
        if (order[i] == v->leading || (v->end[order[i]] < RIVAL_SHOWN_MIN && !s->verbose)) {
            continue;
        }
        if (!any) {
            TRY(text_heading(out, s, "What else it could be"));
        }
        any = true;
        TRY(text_wrapf(out, 2, verdict_end(order[i], end), HANG + 10, "%5.1f %%",
                       100 * v->end[order[i]]));
    }
    return ERR_OK;
}

static enum err faults(const struct verdict *v, const struct text_style *s, struct buf *out)
{
    size_t room = s->verbose ? v->fault_count : FAULTS_SHOWN;
    bool any = false;
    for (size_t i = 0; i < v->fault_count && room > 0; i++, room--) {
        const struct fault_share *f = &v->fault_list[i];
        if (f->probability < FAULT_SHOWN_MIN) {
            break;
        }
        if (!any) {
            TRY(text_heading(out, s, "Faults that fit"));
        }
        any = true;
        char lead[32];
        (void)snprintf(lead, sizeof lead, "%5.1f %%", 100 * f->probability);
        TRY(text_wrapf(out, 2, lead, 11, "%s (%s)", f->text[0] != '\0' ? f->text : f->fault,
                       f->fault));
    }
    return ERR_OK;
}

static enum err next_one(const struct next_test *t, size_t number, const struct text_style *s,
                         struct buf *out)
{
    char lead[24];
    (void)snprintf(lead, sizeof lead, "%zu.", number);
    if (s->verbose) {
        TRY(text_wrapf(out, 2, lead, 5, "%s (%.0f min, %.2f bits)", t->test, t->minutes,
                       t->bits));
    } else {
        TRY(text_wrapf(out, 2, lead, 5, "%s (%.0f min)", t->test, t->minutes));
    }
    if (t->why[0] != '\0') {
        TRY(text_wrap(out, 5, "", 5, t->why));
    }
    for (size_t i = 0; i < t->need_count; i++) {
        TRY(text_wrap(out, 5, i == 0 ? "needs:" : "", 12, t->needs[i]));
    }
    for (size_t i = 0; i < t->first_count; i++) {
        TRY(text_wrap(out, 5, i == 0 ? "first:" : "", 12, t->first[i]));
    }
    for (size_t i = 0; i < t->outcome_count; i++) {
        TRY(text_wrap(out, 5, i == 0 ? "if:" : "", 12, t->outcome[i]));
    }
    if (t->note[0] != '\0') {
        TRY(text_wrap(out, 5, "note:", 12, t->note));
    }
    if (t->risk[0] != '\0' && strcmp(t->risk, "none") != 0) {
        TRY(text_tinted(out, s, TINT_WARN, 5, "risk:", 12, t->risk));
    }
    return t->caution[0] != '\0' ? text_tinted(out, s, TINT_WARN, 5, "mind:", 12, t->caution)
                                 : ERR_OK;
}

static enum err next(const struct verdict *v, const struct text_style *s, struct buf *out)
{
    size_t count = v->next_count < NEXT_SHOWN || s->verbose ? v->next_count : NEXT_SHOWN;
    if (count > 0) {
        TRY(text_heading(out, s, "What to do next"));
    }
    for (size_t i = 0; i < count; i++) {
        TRY(next_one(&v->next[i], i + 1, s, out));
    }
    return ERR_OK;
}

static enum err work(const struct verdict *v, const struct text_style *s, struct buf *out)
{
    if (v->grade == GRADE_UNDECIDED || v->work_count == 0) {
        return ERR_OK;
    }
    TRY(text_heading(out, s, "What to put right, in this order until it works"));
    for (size_t i = 0; i < v->work_count; i++) {
        const struct work *w = &v->work[i];
        char lead[24];
        (void)snprintf(lead, sizeof lead, "%zu.", i + 1);
        TRY(text_wrapf(out, 2, lead, 5, "%s: %s (%.0f min; helps with %.0f %%)",
                       end_shown(w->part), w->text, w->minutes, 100 * w->chance));
        if (w->caution[0] != '\0') {
            TRY(text_tinted(out, s, TINT_WARN, 5, "mind:", 12, w->caution));
        }
    }
    return text_wrapf(out, 2, "", 2, "about %.0f minutes on average", v->work_minutes);
}

static enum err list(const char *heading, const char text[][VERDICT_TEXT_MAX], size_t count,
                     const struct text_style *s, struct buf *out)
{
    if (count > 0) {
        TRY(text_heading(out, s, heading));
    }
    size_t shown = s->verbose || count <= LIST_SHOWN ? count : LIST_SHOWN;
    for (size_t i = 0; i < shown; i++) {
        TRY(text_wrap(out, 2, "-", 4, text[i]));
    }
    return shown == count ? ERR_OK
                          : text_wrapf(out, 2, "-", 4, "and %zu more: --verbose lists them",
                                       count - shown);
}

static enum err changes(const struct verdict *v, const struct text_style *s, struct buf *out)
{
    if (v->disproof[0] != '\0') {
        TRY(text_heading(out, s, "The one swap that would disprove it"));
        TRY(text_wrap(out, 2, "-", 4, v->disproof));
    }
    TRY(list("What would change the verdict", v->change, v->change_count, s, out));
    return !s->verbose ? ERR_OK
                       : text_wrapf(out, 0, "", 0,
                                    "\nSurprise of the best cause: %+.1f spreads above what it "
                                    "gives on average.",
                                    v->surprise);
}

enum err report_verdict_text(const struct verdict *v, const struct text_style *s,
                             struct buf *out)
{
    TRY(answer(v, s, out));
    TRY(findings(v, s, out));
    TRY(rivals(v, s, out));
    TRY(faults(v, s, out));
    if (v->grade != GRADE_DECIDED) {
        TRY(list("Why it is not decided", v->gate, v->gate_count, s, out));
    }
    TRY(changes(v, s, out));
    TRY(next(v, s, out));
    TRY(work(v, s, out));
    TRY(list("Not tested", v->untested, v->untested_count, s, out));
    TRY(list("Cautions", v->caution, v->caution_count, s, out));
    return list("Mind", v->warning, v->warning_count, s, out);
}
