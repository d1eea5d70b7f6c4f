#include "evidence/feature.h"

#include "base/buf.h"
#include "evidence/feature_make.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FEATURES_MAX 10000

static const int answers[FEATURE_KINDS] = {
    [FEATURE_LINE] = STATE_COUNT,
    [FEATURE_UNSELECTED] = 2,
    [FEATURE_INDEX] = 4,
    [FEATURE_SPEED] = SPEED_COUNT,
    [FEATURE_DIRECTION] = 3,
    [FEATURE_RESTORE] = 4,
    [FEATURE_RELEASE] = 2,
    [FEATURE_STEP_RATE] = 2,
    [FEATURE_OVERRUN] = 2,
    [FEATURE_PLACE] = PLACE_COUNT,
    [FEATURE_QUALITY] = 4,
    [FEATURE_FIELDS] = 4,
    [FEATURE_CELL] = 4,
    [FEATURE_RATE] = 3,
    [FEATURE_SIDE_ID] = 4,
    [FEATURE_SIDE_1] = 3,
    [FEATURE_REPEAT] = 2,
    [FEATURE_GATE] = 3,
    [FEATURE_GATE_DATA] = 2,
    [FEATURE_READ_BACK] = 2,
    [FEATURE_MACHINE] = 4,
    [FEATURE_OUTCOME] = 5,
    [FEATURE_TRIES] = 3,
    [FEATURE_PAIR] = 2,
    [FEATURE_CROSSTALK] = 2,
    [FEATURE_RAIL] = 3,
    [FEATURE_SAMPLING] = 2,
    [FEATURE_TAPS] = 2,
    [FEATURE_TOLD] = FEATURE_ANSWERS_MAX, /* each question has its own number */
    [FEATURE_SWAP] = 3,
    [FEATURE_TRIED] = 3,
    [FEATURE_REPAIR] = 4,
    [FEATURE_SELFCHECK] = 2,
    [FEATURE_EXAMINED] = 2,
};

static const char *const group_names[GROUP_COUNT] = {
    [GROUP_SELECT] = "select",
    [GROUP_MOTOR] = "motor and index",
    [GROUP_HEAD] = "head position",
    [GROUP_READ] = "read signal",
    [GROUP_WRITE] = "write gate",
    [GROUP_MACHINE] = "what the machine then does",
    [GROUP_POWER] = "supply",
    [GROUP_PERSON] = "what a person saw",
    [GROUP_SWAP] = "substitution, work or search",
};

static const enum group group_of[SIG_COUNT] = {
    [SIG_SEL] = GROUP_SELECT,  [SIG_MOT] = GROUP_MOTOR,    [SIG_DIR] = GROUP_HEAD,
    [SIG_STEP] = GROUP_HEAD,   [SIG_SIDE] = GROUP_READ,    [SIG_WGATE] = GROUP_WRITE,
    [SIG_WDATA] = GROUP_WRITE, [SIG_DENSITY] = GROUP_READ, [SIG_HLOAD] = GROUP_READ,
    [SIG_INDEX] = GROUP_MOTOR, [SIG_TRK00] = GROUP_HEAD,   [SIG_WPROT] = GROUP_WRITE,
    [SIG_RDATA] = GROUP_READ,  [SIG_READY] = GROUP_MOTOR,  [SIG_DSKCHG] = GROUP_SELECT,
};

enum group group_of_sig(enum sig s)
{
    return group_of[s];
}

int feature_answers(enum feature_kind kind)
{
    return answers[kind];
}

bool feature_is_intervention(enum feature_kind kind)
{
    return kind == FEATURE_SWAP || kind == FEATURE_TRIED || kind == FEATURE_REPAIR ||
           kind == FEATURE_EXAMINED;
}

const char *group_name(enum group g)
{
    return group_names[g];
}

bool feature_recorded(const struct feature_from *f, enum sig s)
{
    return f->name[s] != LINE_NONE && f->s->story.line[f->name[s]].state != LINE_NOT_RECORDED;
}

const struct line_stats *feature_stats(const struct feature_from *f, enum sig s)
{
    return &f->s->story.line[f->name[s]];
}

static void fill(struct feature *n, const struct feature_from *f)
{
    n->run = f->run;
    n->capture = f->cap ? (int)f->capture : -1;
    n->tap = f->cap ? f->cap->tap : TAP_UNKNOWN;
    if (f->cap)
        snprintf(n->finding.from, sizeof n->finding.from, "%s", f->cap->name);
}

enum err feature_add(struct feature_list *l, const struct feature_from *f,
                     enum feature_kind kind, enum group g, enum sig sig, int answer,
                     struct feature **out, const char *id, const char *fmt, ...)
{
    struct feature n = {
        .kind = kind, .group = g, .sig = sig, .sig2 = -1, .answers = answers[kind]};
    void *items = l->item;
    va_list ap;

    TRY(array_grow(&items, &l->cap, l->count + 1, sizeof *l->item, FEATURES_MAX));
    l->item = items;
    fill(&n, f);
    n.soft[answer] = 1;
    snprintf(n.finding.id, sizeof n.finding.id, "%s", id);
    va_start(ap, fmt);
    vsnprintf(n.finding.text, sizeof n.finding.text, fmt, ap);
    va_end(ap);
    l->item[l->count++] = n;
    if (out)
        *out = &l->item[l->count - 1];
    return ERR_OK;
}

void feature_soften(struct feature *f, double value, double sd, const double *edges, int bins)
{
    double below = 0, sum = 0;

    for (int i = 0; i < bins; i++) {
        double upto =
            i == bins - 1 ? 1 : 0.5 * (1 + erf((edges[i] - value) / (sd * sqrt(2) + 1e-12)));

        f->soft[i] = upto > below ? upto - below : 0;
        sum += f->soft[i];
        below = upto > below ? upto : below;
    }
    for (int i = 0; i < bins; i++)
        f->soft[i] /= sum;
    for (int i = bins; i < FEATURE_ANSWERS_MAX; i++)
        f->soft[i] = 0;
}

void feature_value(struct feature *f, double value, double uncertainty, const char *unit)
{
    f->finding.has_value = true;
    f->finding.value = value;
    f->finding.uncertainty = uncertainty;
    snprintf(f->finding.unit, sizeof f->finding.unit, "%s", unit);
}

void feature_limit(struct feature *f, const struct limit *limit)
{
    if (!limit)
        return;
    if (limit->has_min && limit->has_max)
        snprintf(f->finding.limit, sizeof f->finding.limit, "%g to %g %s", limit->min,
                 limit->max, limit->unit);
    else if (limit->has_max)
        snprintf(f->finding.limit, sizeof f->finding.limit, "at most %g %s", limit->max,
                 limit->unit);
    else if (limit->has_min)
        snprintf(f->finding.limit, sizeof f->finding.limit, "at least %g %s", limit->min,
                 limit->unit);
    if (limit->source)
        snprintf(f->finding.source, sizeof f->finding.source, "%s", limit->source);
}

enum err features_from_survey(const struct case_file *c, size_t capture, int run,
                              const struct survey *s, const struct wiring *w,
                              struct feature_list *out)
{
    const struct case_capture *cap = &c->capture[capture];
    bool at_drive = cap->tap != TAP_MACHINE_END;
    struct feature_from f = {.c = c,
                             .cap = cap,
                             .s = s,
                             .w = w,
                             .capture = capture,
                             .run = run,
                             .at_drive = at_drive,
                             .name = at_drive ? w->at_drive : w->at_machine};

    TRY(features_lines(&f, out));
    TRY(features_motion(&f, out));
    TRY(features_flux(&f, out));
    TRY(features_write(&f, out));
    return features_machine(&f, out);
}

void feature_list_release(struct feature_list *l)
{
    free(l->item);
    *l = (struct feature_list){0};
}
