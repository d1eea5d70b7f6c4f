/* `whichend judge --json`, schema whichend.verdict/1. */
#include "report/json.h"
#include "report/report.h"
#include "report/verdict.h"

#define FAULT_SHARE_MIN 0.0005 /* fainter faults are not listed */

static json_t *text_or_null(const char *s)
{
    return s[0] != '\0' ? json_text(s) : json_null();
}

static json_t *line_or_null(enum line line)
{
    return line < LINE_COUNT ? json_string(line_name(line)) : json_null();
}

json_t *verdict_json(const struct verdict *v, bool *failed)
{
    json_t *o = json_object();
    bool undecided = v->grade == GRADE_UNDECIDED;
    json_put(o, "end", json_string(undecided ? "undecided" : end_name(v->leading)), failed);
    json_put(o, "grade", json_string(grade_name(v->grade)), failed);
    json_put(o, "decided", json_boolean(v->grade == GRADE_DECIDED), failed);
    json_put(o, "probability", json_number(v->probability, 6), failed);
    json_put(o, "fault", text_or_null(v->fault), failed);
    json_put(o, "line", line_or_null(v->line), failed);
    json_put(o, "explains_complaint", text_or_null(v->explains_complaint), failed);
    json_put(o, "summary", json_text(v->summary), failed);
    return o;
}

static json_t *ends_part(const double *share, size_t count, bool *failed)
{
    json_t *a = json_array();
    enum end order[END_COUNT];
    verdict_order(share, count, order);
    for (size_t i = 0; i < count; i++) {
        json_t *o = json_object();
        json_put(o, "end", json_string(end_name(order[i])), failed);
        json_put(o, "probability", json_number(share[order[i]], 6), failed);
        json_push(a, o, failed);
    }
    return a;
}

static json_t *faults_part(const struct verdict *v, bool *failed)
{
    json_t *a = json_array();
    for (size_t i = 0; i < v->fault_count; i++) {
        const struct fault_share *f = &v->fault_list[i];
        json_t *o = NULL;
        if (f->probability < FAULT_SHARE_MIN) {
            continue;
        }
        o = json_object();
        json_put(o, "fault", json_text(f->fault), failed);
        json_put(o, "end", json_string(end_name(f->end)), failed);
        json_put(o, "line", line_or_null(f->line), failed);
        json_put(o, "probability", json_number(f->probability, 6), failed);
        json_put(o, "text", text_or_null(f->text), failed);
        json_push(a, o, failed);
    }
    return a;
}

static json_t *finding_part(const struct finding *f, bool *failed)
{
    json_t *o = json_object();
    json_t *weight = json_object();
    for (int end = 0; end < END_COUNT; end++) {
        json_put(weight, end_name((enum end)end), json_number(f->weight[end], 2), failed);
    }
    json_put(o, "id", json_text(f->id), failed);
    json_put(o, "from", json_text(f->from), failed);
    json_put(o, "kind", json_string(f->observation ? "observation" : "reading"), failed);
    json_put(o, "text", json_text(f->text), failed);
    json_put(o, "value", json_number_if(f->has_value, f->value, 6), failed);
    json_put(o, "unit", text_or_null(f->unit), failed);
    json_put(o, "uncertainty", json_number_if(f->has_value, f->uncertainty, 6), failed);
    json_put(o, "limit", text_or_null(f->limit), failed);
    json_put(o, "source", text_or_null(f->source), failed);
    json_put(o, "weight", weight, failed);
    return o;
}

static json_t *next_part(const struct next_test *t, bool *failed)
{
    json_t *o = json_object();
    json_t *needs = json_array();
    json_t *first = json_array();
    json_t *outcomes = json_array();
    for (size_t i = 0; i < t->need_count; i++) {
        json_push(needs, json_text(t->needs[i]), failed);
    }
    for (size_t i = 0; i < t->first_count; i++) {
        json_push(first, json_text(t->first[i]), failed);
    }
    for (size_t i = 0; i < t->outcome_count; i++) {
        json_push(outcomes, json_text(t->outcome[i]), failed);
    }
    json_put(o, "test", json_text(t->test), failed);
    json_put(o, "why", json_text(t->why), failed);
    json_put(o, "minutes", json_number(t->minutes, 1), failed);
    json_put(o, "bits", json_number(t->bits, 3), failed);
    json_put(o, "needs", needs, failed);
    json_put(o, "first", first, failed);
    json_put(o, "outcomes", outcomes, failed);
    json_put(o, "note", text_or_null(t->note), failed);
    json_put(o, "risk", json_text(t->risk[0] != '\0' ? t->risk : "none"), failed);
    json_put(o, "caution", json_text(t->caution), failed);
    return o;
}

static json_t *work_part(const struct verdict *v, bool *failed)
{
    json_t *a = json_array();
    for (size_t i = 0; i < v->work_count; i++) {
        const struct work *w = &v->work[i];
        json_t *o = json_object();
        json_put(o, "work", json_text(w->text), failed);
        json_put(o, "end", json_string(end_name(w->part)), failed);
        json_put(o, "minutes", json_number(w->minutes, 1), failed);
        json_put(o, "probability", json_number(w->chance, 3), failed);
        json_put(o, "caution", json_text(w->caution), failed);
        json_push(a, o, failed);
    }
    return a;
}

static json_t *texts_part(const char text[][VERDICT_TEXT_MAX], size_t count, bool *failed)
{
    json_t *a = json_array();
    for (size_t i = 0; i < count; i++) {
        json_push(a, json_text(text[i]), failed);
    }
    return a;
}

static json_t *remains_part(const struct verdict *v, bool *failed)
{
    if (!v->worked_on) {
        return json_null();
    }
    json_t *o = json_object();
    json_put(o, "text", json_text(v->remains), failed);
    json_put(o, "ends", ends_part(v->remaining, END_COUNT, failed), failed);
    return o;
}

enum err report_verdict_json(const struct verdict *v, struct buf *out)
{
    bool failed = false;
    json_t *root = json_object();
    json_t *findings = json_array();
    json_t *next = json_array();
    for (size_t i = 0; i < v->finding_count; i++) {
        json_push(findings, finding_part(&v->finding[i], &failed), &failed);
    }
    for (size_t i = 0; i < v->next_count; i++) {
        json_push(next, next_part(&v->next[i], &failed), &failed);
    }
    json_put(root, "schema", json_string("whichend.verdict/1"), &failed);
    json_put(root, "case", json_text(v->title), &failed);
    json_put(root, "verdict", verdict_json(v, &failed), &failed);
    json_put(root, "ends", ends_part(v->end, END_COUNT, &failed), &failed);
    json_put(root, "also", ends_part(v->also, ENDS_OF_PARTS, &failed), &failed);
    json_put(root, "remains", remains_part(v, &failed), &failed);
    json_put(root, "faults", faults_part(v, &failed), &failed);
    json_put(root, "findings", findings, &failed);
    json_put(root, "next", next, &failed);
    json_put(root, "work", work_part(v, &failed), &failed);
    json_put(root, "gates", texts_part(v->gate, v->gate_count, &failed), &failed);
    json_put(root, "change", texts_part(v->change, v->change_count, &failed), &failed);
    json_put(root, "disproof", text_or_null(v->disproof), &failed);
    json_put(root, "untested", texts_part(v->untested, v->untested_count, &failed), &failed);
    json_put(root, "cautions", texts_part(v->caution, v->caution_count, &failed), &failed);
    json_put(root, "warnings", texts_part(v->warning, v->warning_count, &failed), &failed);
    return json_finish(root, failed, out);
}
