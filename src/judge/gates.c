/* When to speak: bounds of the contract and the gates of the handbook's diagnosis page, 1.11.
 */
#include "judge/gates.h"

#include "judge/alarms.h"
#include "judge/engine.h"
#include "judge/infer_rows.h"
#include "judge/texts.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LEANING            0.70
#define RUNNER_UP_DECIBANS 10.0
#define TILT               3.0
/* Two ends whose best causes fit within this are alike: no prior decides between them. */
#define ALIKE_DECIBANS        5.0
#define GROUP_SPEAKS_DECIBANS 1.0
#define GROUP_ALONE_DECIBANS  2.0

static const double bounds[END_COUNT] = {
    [END_DRIVE] = 0.97, [END_CABLE] = 0.95,    [END_CONTROLLER] = 0.98,
    [END_DISK] = 0.95,  [END_POWER] = 0.97,    [END_SETUP] = 0.95,
    [END_TWO] = 2,      [END_UNEXPLAINED] = 2, [END_NONE] = 0.95,
};

size_t likeliest_of(const struct inference *n, enum end e)
{
    size_t best = SIZE_MAX;

    for (size_t h = 0; h < n->hyp_count; h++) {
        if (n->hyp[h].left_out || (e != END_COUNT && n->hyp[h].end != e))
            continue;
        if (best == SIZE_MAX || n->joint[h] > n->joint[best])
            best = h;
    }
    return best;
}

static double second(const double *end, enum end first)
{
    enum end e = ends_second(end, first);

    return e == END_COUNT ? 0 : end[e];
}

/* Best evidence of a cause of an end, whatever its prior. */
static double best_fit(const struct inference *n, enum end e)
{
    double best = -(double)INFINITY;

    for (size_t h = 0; h < n->hyp_count; h++) {
        const struct hypothesis *y = &n->hyp[h];

        if ((y->kind == HYP_SINGLE || y->kind == HYP_HELD || y->kind == HYP_NONE ||
             e == END_TWO) &&
            y->end == e && y->ln_evidence > best)
            best = y->ln_evidence;
    }
    return best / NAT_PER_DECIBAN;
}

static void gate_alike(const struct inference *n, struct verdict *v)
{
    double own = best_fit(n, v->leading);

    if (v->leading == END_NONE)
        return;
    for (enum end e = END_DRIVE; e < END_COUNT; e++) {
        if (e == v->leading || e == END_TWO || e == END_UNEXPLAINED)
            continue;
        if (best_fit(n, e) > own - ALIKE_DECIBANS)
            verdict_gate(v, "the evidence leaves %s and %s alike", end_shown(v->leading),
                         end_shown(e));
    }
}

/* A group speaks for an end when the rest without it says less, or when it says so alone: where
 * everything is dead each mechanism repeats what the others say, and none is missed. */
static bool speaks_alone(const struct inference *n, size_t g, enum end e, double unheard,
                         double *joint)
{
    inference_alone(n, g, joint);
    return engine_odds_decibans(joint, n->end_of, n->hyp_count, (int)e) - unheard >
           GROUP_ALONE_DECIBANS;
}

/* Groups that speak for the leading end, and whether it leads without the best of them. */
static enum err gate_groups(const struct inference *n, struct verdict *v)
{
    double *joint = calloc(n->hyp_count, sizeof *joint);
    int speaking = 0;
    double best = 0, with, unheard;
    enum end then = v->leading;
    enum group strongest = GROUP_SELECT;

    if (!joint)
        return ERR_MEMORY;
    with = engine_odds_decibans(n->joint, n->end_of, n->hyp_count, (int)v->leading);
    inference_alone(n, SIZE_MAX, joint);
    unheard = engine_odds_decibans(joint, n->end_of, n->hyp_count, (int)v->leading);
    for (size_t g = 0; g < n->group_count; g++) {
        double end[END_COUNT], says;

        (void)inference_without(n, SIZE_MAX, g, joint);
        says = with - engine_odds_decibans(joint, n->end_of, n->hyp_count, (int)v->leading);
        if (!n->group[g].two_taps && says > best) {
            best = says;
            inference_ends(n, joint, end);
            then = ends_leader(end);
            strongest = n->group[g].group;
        }
        speaking +=
            says > GROUP_SPEAKS_DECIBANS || speaks_alone(n, g, v->leading, unheard, joint);
    }
    free(joint);
    if (v->leading == END_NONE && n->group_count < 3)
        verdict_gate(v, "too little was seen to say that nothing is at fault");
    else if (v->leading != END_NONE && speaking < 2)
        verdict_gate(v, "%s speaks for it by itself",
                     speaking ? "only one kind of evidence" : "no evidence");
    if (then != v->leading)
        verdict_gate(v, "without its strongest evidence (%s) %s would lead",
                     group_name(strongest), end_shown(then));
    return ERR_OK;
}

/* Looks and words alone lean; a verdict needs a recording, a measurement or an intervention. */
static void gate_words(const struct inference *n, struct verdict *v)
{
    for (size_t i = 0; i < n->g->features.count; i++)
        if (n->g->features.item[i].kind != FEATURE_TOLD)
            return;
    verdict_gate(v, "nothing was recorded, measured or exchanged yet");
}

static void gate_bench(const struct case_file *c, const struct inference *n, struct verdict *v)
{
    const char *check = case_told(c, "selfcheck", "result");

    if (n->g->adapter && (!check || strcmp(check, "passed")))
        verdict_gate(v, "the adapter's leads were not checked in this session");
    for (size_t i = 0; i < c->swap_count; i++) {
        const struct swap_tried *s = &c->swap[i];

        if (s->outcome != OUTCOME_WORKED || end_by_name(s->part) != v->leading)
            continue;
        if (!s->back || strcmp(s->back, "fault-returned"))
            verdict_gate(v, "the old %s was not put back to see the fault return", s->part);
    }
}

/* Chance of the reported outcome under the likeliest hypothesis. */
static void explain(const struct inference *n, struct verdict *v)
{
    size_t best = likeliest_of(n, v->leading);
    double sum = 0;
    int count = 0;

    snprintf(v->explains_complaint, sizeof v->explains_complaint, "no-complaint");
    if (!n->g->complaint || best == SIZE_MAX)
        return;
    for (size_t i = 0; i < n->g->features.count; i++) {
        const struct feature *f = &n->g->features.item[i];
        const struct rows *r;
        double z = 0, p = 0;

        if ((f->kind != FEATURE_OUTCOME && f->kind != FEATURE_TRIES) || f->soft[0] > 0.5)
            continue;
        r = inference_rows(n, best, f->run < 0 ? n->g->runs : f->run);
        for (size_t k = 0; k < r->count; k++) {
            double share = exp(inference_row_ln(r, k));

            z += share;
            p += share * exp((double)r->answer_ln[k * n->g->features.count + i]);
        }
        sum += z > 0 ? p / z : 0;
        count++;
    }
    if (count)
        snprintf(v->explains_complaint, sizeof v->explains_complaint, "%s",
                 sum / count > 0.4    ? "yes"
                 : sum / count > 0.15 ? "partly"
                                      : "no");
}

/* Chance that an end holds a fault at all: the verdict's share, its part in two faults at once,
 * and what nothing exercised. */
static void also(const struct inference *n, struct verdict *v)
{
    double unexercised[END_COUNT] = {0};

    for (size_t h = 0; h < n->hyp_count; h++) {
        const struct hypothesis *y = &n->hyp[h];

        if (y->kind == HYP_SINGLE && y->left_out)
            unexercised[y->end] += n->c->two / 100 * exp(y->ln_prior);
        if (y->kind == HYP_PAIR && y->end == END_TWO && !y->left_out) {
            v->also[n->c->fault[y->a].end] += n->posterior[h];
            v->also[n->c->fault[y->b].end] += n->posterior[h];
        }
    }
    for (int e = 0; e < END_TWO; e++) {
        double held = v->end[e] + v->also[e];

        v->also[e] = held + (1 - held) * unexercised[e];
    }
}

static void gate_bound(struct verdict *v)
{
    double bound = bounds[v->leading];

    if (v->leading == END_TWO)
        verdict_gate(v, "two faults at once are never decided: put one right, record again");
    else if (bound > 1)
        verdict_gate(v, "what no listed cause explains is never decided");
    else if (v->probability < bound)
        verdict_gate(v, "%.1f %% is below the %.0f %% that a verdict on %s needs",
                     v->probability * 100, bound * 100, end_shown(v->leading));
}

enum err gates_apply(const struct case_file *c, const struct inference *n, struct verdict *v)
{
    inference_ends(n, n->joint, v->end);
    also(n, v);
    v->leading = ends_leader(v->end);
    v->probability = v->end[v->leading];
    explain(n, v);
    gate_bound(v);
    if (10 * log10(v->probability / (second(v->end, v->leading) + 1e-300)) < RUNNER_UP_DECIBANS)
        verdict_gate(v, "the runner-up is too close");
    if (v->probability / TILT <= second(v->end, v->leading))
        verdict_gate(v, "it depends on how common faults of each end are taken to be");
    gate_alike(n, v);
    TRY(gate_groups(n, v));
    TRY(alarms_raise(n, likeliest_of(n, END_COUNT), v));
    gate_bench(c, n, v);
    gate_words(n, v);
    if (v->leading == END_NONE && !strcmp(v->explains_complaint, "no"))
        verdict_gate(v, "nothing in the captures explains the complaint");
    if (v->gate_count == 0)
        v->grade = GRADE_DECIDED;
    else
        v->grade = v->probability >= LEANING ? GRADE_LEANING : GRADE_UNDECIDED;
    return ERR_OK;
}
