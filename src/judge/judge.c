#include "judge/judge.h"

#include "judge/change.h"
#include "judge/engine.h"
#include "judge/gates.h"
#include "judge/mended.h"
#include "judge/next.h"
#include "judge/texts.h"
#include "judge/weighed.h"
#include "judge/work.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FAULTS_SHOWN    12
#define FAULT_SHARE_MIN 0.001

const char *grade_name(enum grade g)
{
    static const char *const names[] = {"undecided", "leaning", "decided"};

    return names[g];
}

static int by_probability(const void *a, const void *b)
{
    const struct fault_share *x = a, *y = b;

    if (x->probability > y->probability || x->probability < y->probability)
        return x->probability < y->probability ? 1 : -1;
    return strcmp(x->fault, y->fault);
}

static enum err list_faults(const struct inference *n, struct verdict *v)
{
    struct fault_share *list = calloc(n->c->count + 1, sizeof *list);
    size_t count = 0;

    if (!list)
        return ERR_MEMORY;
    for (size_t i = 0; i < n->c->count; i++) {
        const struct fault *f = &n->c->fault[i];
        struct fault_share s = {.end = f->end, .line = f->line};

        for (size_t h = 0; h < n->hyp_count; h++)
            if (n->hyp[h].a == (int)i || n->hyp[h].b == (int)i)
                s.probability += n->posterior[h];
        if (s.probability < FAULT_SHARE_MIN)
            continue;
        snprintf(s.fault, sizeof s.fault, "%s", f->name);
        snprintf(s.text, sizeof s.text, "%s", f->text);
        list[count++] = s;
    }
    qsort(list, count, sizeof *list, by_probability);
    v->fault_list = list;
    v->fault_count = count < FAULTS_SHOWN ? count : FAULTS_SHOWN;
    return ERR_OK;
}

/* The likeliest fault of the leading end, unless one in no list is likelier. */
static const struct fault_share *leading_fault(const struct verdict *v)
{
    for (size_t i = 0; i < v->fault_count; i++)
        if (v->fault_list[i].end == v->leading)
            return v->fault_list[i].probability > 0.1 * v->probability ? &v->fault_list[i]
                                                                       : NULL;
    return NULL;
}

static void rivals(const struct verdict *v, char *out, size_t max)
{
    enum end second = ends_second(v->end, v->leading);

    if (second != END_COUNT)
        snprintf(out, max, "%s (%.0f %%) or %s (%.0f %%)", end_shown(v->leading),
                 v->probability * 100, end_shown(second), v->end[second] * 100);
    else
        snprintf(out, max, "%s", end_shown(v->leading));
}

/* Two ends at once: the likeliest fault, and the likeliest of another end. */
static void say_two(struct verdict *v)
{
    const struct fault_share *a = v->fault_count ? &v->fault_list[0] : NULL, *b = NULL;

    for (size_t i = 1; a && i < v->fault_count && !b; i++)
        if (v->fault_list[i].end != a->end)
            b = &v->fault_list[i];
    if (b)
        snprintf(v->summary, sizeof v->summary,
                 "Leaning to two faults at once: %.130s; and %.130s.", a->text, b->text);
    else
        snprintf(v->summary, sizeof v->summary, "Leaning to two faults at once.");
}

static void summarise(struct verdict *v)
{
    const struct fault_share *f = leading_fault(v);
    char two[120];

    v->line = LINE_NONE;
    if (f && v->leading < END_TWO) {
        snprintf(v->fault, sizeof v->fault, "%s", f->fault);
        v->line = f->line;
    }
    rivals(v, two, sizeof two);
    if (v->grade == GRADE_UNDECIDED)
        snprintf(v->summary, sizeof v->summary, "The evidence does not decide between %s.",
                 two);
    else if (v->leading == END_NONE)
        snprintf(v->summary, sizeof v->summary,
                 "Nothing that the captures exercised is at fault.");
    else if (v->leading == END_TWO)
        say_two(v);
    else if (f)
        snprintf(v->summary, sizeof v->summary, "%s %s: %s.",
                 v->grade == GRADE_DECIDED ? "Best of the listed causes," : "Leaning to",
                 end_shown(v->leading), f->text);
    else
        snprintf(v->summary, sizeof v->summary, "Leaning to %s, by a cause that is in no list.",
                 end_shown(v->leading));
}

/* Below this what may be left beside the likeliest is not worth words. */
#define REMAINS_MIN 0.05

/* What the works on record left. */
static enum err say_remains(const struct inference *n, struct verdict *v)
{
    enum end first, second;
    char text[200] = "", other[80] = "";
    int fault;

    v->worked_on = n->g->works > 0;
    if (!v->worked_on)
        return ERR_OK;
    TRY(mended_remains(n, v->remaining, &fault));
    first = ends_leader(v->remaining);
    second = ends_second(v->remaining, first);
    if (fault >= 0 && n->c->fault[fault].end == first)
        snprintf(text, sizeof text, ": %s", n->c->fault[fault].text);
    if (second != END_COUNT && v->remaining[second] > REMAINS_MIN)
        snprintf(other, sizeof other, "; or %s, %.0f %%", end_shown(second),
                 100 * v->remaining[second]);
    if (first == END_NONE)
        snprintf(v->remains, sizeof v->remains,
                 "After the work on record nothing that was exercised is at fault any more "
                 "(%.0f %%%s).",
                 100 * v->remaining[first], other);
    else
        snprintf(v->remains, sizeof v->remains,
                 "After the work on record %s%s remains suspect%s (%.0f %%%s).",
                 first < END_SETUP ? "the " : "", end_shown(first), text,
                 100 * v->remaining[first], other);
    return ERR_OK;
}

static double strength(const struct finding *f)
{
    double best = 0;

    for (int e = 0; e < END_COUNT; e++)
        best = fmax(best, fabs(f->weight[e]));
    return best;
}

static int by_strength(const void *a, const void *b)
{
    const struct finding *x = a, *y = b;
    double sx = strength(x), sy = strength(y);
    int from;

    if (sx > sy || sx < sy)
        return sx < sy ? 1 : -1;
    from = strcmp(x->from, y->from);
    return from ? from : strcmp(x->id, y->id);
}

static size_t group_of(const struct inference *n, size_t feature)
{
    for (size_t g = 0; g < n->group_count; g++)
        for (size_t i = 0; i < n->group[g].count; i++)
            if (n->group[g].feature[i] == feature)
                return g;
    return 0;
}

static enum err weigh_findings(const struct inference *n, struct verdict *v)
{
    size_t count = n->g->features.count;
    double end[END_COUNT];
    double *joint = calloc(n->hyp_count, sizeof *joint);
    enum err err = ERR_OK;

    v->finding = calloc(count + 1, sizeof *v->finding);
    if (!joint || !v->finding) {
        free(joint);
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < count && err == ERR_OK; i++) {
        struct finding *f = &v->finding[i];

        *f = n->g->features.item[i].finding;
        err = inference_without(n, i, group_of(n, i), joint);
        inference_ends(n, joint, end);
        f->without = ends_leader(end);
        for (int e = 0; e < END_COUNT; e++)
            f->weight[e] = engine_odds_decibans(n->joint, n->end_of, n->hyp_count, e) -
                           engine_odds_decibans(joint, n->end_of, n->hyp_count, e);
    }
    v->finding_count = count;
    qsort(v->finding, count, sizeof *v->finding, by_strength);
    free(joint);
    return err;
}

/* The fault of a hypothesis that nothing exercised; NULL where it is another. */
static const struct fault *fault_left_out(const struct inference *n, size_t h)
{
    const struct hypothesis *y = &n->hyp[h];

    return y->kind == HYP_SINGLE && y->left_out ? &n->c->fault[y->a] : NULL;
}

/* What clean tries exclude at 95 %: 1 - 0.05^(1/n) (handbook, diagnosis, 1.7). */
static void say_come_and_go(const struct gathered *g, struct verdict *v)
{
    if (g->clean_tries > 0 && !g->bad_tries)
        verdict_untested(v,
                         "faults that come and go: %d clean tr%s exclude%s only one that shows "
                         "in more than %.0f %% of tries",
                         g->clean_tries, g->clean_tries == 1 ? "y" : "ies",
                         g->clean_tries == 1 ? "s" : "",
                         100 * (1 - pow(0.05, 1.0 / g->clean_tries)));
    else
        verdict_untested(v, "faults that come and go: one session clears only so far");
}

/* Lines that nothing here exercised, in one sentence; then the parts. */
static void list_untested(const struct inference *n, struct verdict *v)
{
    char lines[160] = "";

    if (!n->g->flux_seen)
        verdict_untested(v, "the read signal: RDATA was not recorded, or sampled too slowly");
    for (size_t h = 0; h < n->hyp_count; h++) {
        const struct fault *f = fault_left_out(n, h);
        size_t len = strlen(lines);

        if (f && !strcmp(f->effect, "conductor * open"))
            snprintf(lines + len, sizeof lines - len, "%s%s", len ? ", " : "",
                     line_name(f->line));
    }
    if (lines[0])
        verdict_untested(v, "lines that nothing here exercised: %s", lines);
    for (size_t h = 0; h < n->hyp_count; h++) {
        const struct fault *f = fault_left_out(n, h);

        if (f && f->line == LINE_NONE)
            verdict_untested(v, "%s: nothing here would have shown it", f->text);
    }
    say_come_and_go(n->g, v);
}

static void list_cautions(const struct case_file *c, const struct inference *n,
                          struct verdict *v)
{
    for (size_t i = 0; i < v->fault_count; i++)
        for (size_t k = 0; k < n->c->count; k++)
            if (!strcmp(n->c->fault[k].name, v->fault_list[i].fault) &&
                n->c->fault[k].caution[0] && v->fault_list[i].probability > 0.05)
                verdict_caution(v, "%s", n->c->fault[k].caution);
    for (size_t i = 0; i < v->finding_count; i++)
        if (!strcmp(v->finding[i].id, "wgate.unasked"))
            verdict_caution(v, "WGATE erases whatever disk is in: open the lever or eject "
                               "first, then switch off");
    if (v->end[END_DRIVE] > 0.05 || v->end[END_CONTROLLER] > 0.05)
        verdict_caution(
            v, "no valued disk into this drive before it is cleared; use a scratch disk");
    if (!strcmp(profile_word(c->drive, "spindle_power", "rails"), "mains"))
        verdict_caution(v, "8-inch drives carry mains at the motor: mains plug out before "
                           "hands, guard fitted");
    verdict_caution(v, "disk out and power off before a plug is moved; local codes and "
                       "licensed practice stand "
                       "above these hints");
}

static void say_assumed(const struct case_file *c, struct verdict *v)
{
    if (c->machine_assumed)
        verdict_warn(v, "the case names no machine: %s was assumed", profile_name(c->machine));
    if (c->drive_assumed)
        verdict_warn(v, "the case names no drive: %s was assumed", profile_name(c->drive));
    if (c->cable_assumed)
        verdict_warn(v, "the case names no cable: %s was assumed", profile_name(c->cable));
}

static enum err conclude(const struct case_file *c, const struct judge_options *o,
                         const struct inference *n, struct verdict *v, struct err_msg *e)
{
    TRY(gates_apply(c, n, v));
    TRY(list_faults(n, v));
    summarise(v);
    TRY(say_remains(n, v));
    TRY(weigh_findings(n, v));
    TRY(next_tests(c, n, o->profiles, v, e));
    list_changes(c, n, v);
    TRY(list_work(n, o->profiles, v, e));
    list_untested(n, v);
    list_cautions(c, n, v);
    say_assumed(c, v);
    return ERR_OK;
}

enum err judge_case(const struct case_file *c, const struct judge_options *o,
                    struct verdict *out, struct err_msg *e)
{
    struct weighed w;
    enum err err;

    *out = (struct verdict){.line = LINE_NONE};
    snprintf(out->title, sizeof out->title, "%s", c->title ? c->title : "");
    err = weigh_case(c, o, &w, out, e);
    if (err == ERR_OK)
        err = conclude(c, o, &w.n, out, e);
    weighed_release(&w);
    if (err != ERR_OK)
        verdict_release(out);
    return err == ERR_OK ? ERR_OK : err_set(e, err, "cannot judge: %s", err_text(err));
}

void verdict_release(struct verdict *v)
{
    free(v->fault_list);
    free(v->finding);
    free(v->next);
    v->fault_list = NULL;
    v->finding = NULL;
    v->next = NULL;
    v->fault_count = v->finding_count = v->next_count = 0;
}
