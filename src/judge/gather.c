#include "judge/gather.h"

#include "judge/mended.h"
#include "judge/repeats.h"
#include "judge/texts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct taken {
    struct survey survey;
    struct tap_edges *edges;
    bool done;
    int run;
};

struct watched {
    const struct judge_watch *watch;
    size_t capture;
};

static void watch_chunk(void *ctx, const struct capture_info *info, const struct chunk *c)
{
    const struct watched *w = ctx;
    w->watch->chunk(w->watch->ctx, w->capture, info, c);
}

static enum err take(size_t capture, const struct case_file *c, const struct judge_options *o,
                     struct taken *t, struct err_msg *e)
{
    const struct case_capture *cap = &c->capture[capture];
    struct survey_options so = {.drive = c->drive, .controller = c->machine, .stop = o->stop};
    struct watched w = {o->watch, capture};
    struct capture *in = NULL;
    enum err err;

    if (o->watch) {
        so.watch = watch_chunk;
        so.watch_ctx = &w;
    }
    TRY(tap_edges_new(&t->edges));
    so.edges_out = t->edges;
    TRY(capture_open(cap->path, &cap->map, &in, e));
    err = survey_run(in, &so, &t->survey, e);
    capture_close(in);
    t->done = err == ERR_OK;
    return err;
}

/* A select that is on for less of the recording is a unit being polled, not worked. */
#define WORKED_SHARE 0.1

static double share_on(const struct line_stats *s)
{
    double time = (double)(s->low_ns + s->high_ns);

    return time > 0 ? (double)s->low_ns / time : 0;
}

/* The unit whose select is on most of the time at taps of one end; -1 none. */
static int unit_at(const struct case_file *c, const struct taken *t, bool machine_end)
{
    double most = WORKED_SHARE;
    int unit = -1;

    for (size_t i = 0; i < c->capture_count; i++) {
        if ((c->capture[i].tap == TAP_MACHINE_END) != machine_end)
            continue;
        for (int u = 0; u < 4; u++) {
            enum line at = (enum line)(LINE_SELECT0 + u);
            enum line m = machine_end ? at : cable_to_machine(c->cable, at);
            double on = share_on(&t[i].survey.story.line[at]);

            if (m >= LINE_SELECT0 && m <= LINE_SELECT3 && on > most) {
                most = on;
                unit = (int)(m - LINE_SELECT0);
            }
        }
    }
    return unit;
}

/* The unit in use: as the case says, else what the machine's own plug shows: behind a cable
 * whose twist may be wrong a select is not what it is called. */
static int unit_of(const struct case_file *c, const struct taken *t)
{
    int unit;

    for (size_t i = 0; i < c->capture_count; i++)
        if (c->capture[i].unit >= 0)
            return c->capture[i].unit;
    unit = unit_at(c, t, true);
    if (unit < 0)
        unit = unit_at(c, t, false);
    return unit < 0 ? 0 : unit;
}

static bool same_run(const struct case_capture *a, const struct case_capture *b)
{
    return a->run && b->run && !strcmp(a->run, b->run);
}

/* Two captures without a run name, one a tap, are one run when their edges align. */
static bool aligns(const struct case_file *c, const struct taken *t, size_t i, size_t k)
{
    const struct case_capture *a = &c->capture[i], *b = &c->capture[k];
    struct tap_compare r;
    bool a_machine = a->tap == TAP_MACHINE_END;

    if (a->run || b->run || a->tap == b->tap || a->tap == TAP_UNKNOWN || b->tap == TAP_UNKNOWN)
        return false;
    if (tap_compare(t[a_machine ? i : k].edges, t[a_machine ? k : i].edges, c->cable, false,
                    &r) != ERR_OK)
        return false;
    return r.aligned;
}

static size_t first_unnumbered(const struct case_file *c, const struct taken *t)
{
    size_t first = 0;

    while (t[first].run >= 0)
        first++;
    for (size_t i = first + 1; i < c->capture_count; i++)
        if (t[i].run < 0 && strcmp(c->capture[i].name, c->capture[first].name) < 0)
            first = i;
    return first;
}

static int number_runs(const struct case_file *c, struct taken *t)
{
    int runs = 0;

    for (size_t n = 0; n < c->capture_count; n++)
        t[n].run = -1;
    /* in the order of their names, so that the order in the file says nothing */
    for (size_t n = 0; n < c->capture_count; n++) {
        size_t i = first_unnumbered(c, t);

        for (size_t k = 0; k < c->capture_count && t[i].run < 0; k++)
            if (t[k].run >= 0 && (same_run(&c->capture[i], &c->capture[k]) ||
                                  aligns(c, t, i < k ? k : i, i < k ? i : k)))
                t[i].run = t[k].run;
        if (t[i].run < 0)
            t[i].run = runs < RUNS_MAX ? runs++ : RUNS_MAX - 1;
    }
    return runs;
}

/* READY has a pin of its own on this cable, and does not share one with DSKCHG. */
static bool own_ready_pin(const struct profile *cable)
{
    int pin = cable_drive_pin(cable, LINE_READY);

    return pin != 0 && pin != cable_drive_pin(cable, LINE_DSKCHG);
}

static void setting_of(const struct case_file *c, struct setting *s)
{
    const struct profile *d = c->drive, *m = c->machine;

    *s = (struct setting){
        .role = ROLE_INLINE,
        .has_ready = (profile_lines(d) & LINE_BIT(LINE_READY)) != 0,
        .ready_sure =
            !strcmp(profile_word(d, "pin34", "none"), "ready") || own_ready_pin(c->cable),
        .waits_ready = profile_flag(m, "waits_ready", false),
        .head_load = !strcmp(profile_word(d, "head_loaded_by", "none"), "hload"),
        .has_motor = profile_flag(d, "has_motor_line", true),
        .two_sided = profile_number(d, "sides", 2) > 1.5,
        .rotor_index = !strcmp(profile_word(d, "index_origin", "hole"), "rotor"),
        .no_index_timer = profile_number(m, "no_index_timer_share", 0.25),
        .disk_known_good = c->disk == DISK_KNOWN_GOOD,
        .disk_blank = c->disk == DISK_BLANK,
        .disk_none = c->disk == DISK_NONE,
    };
}

/* Features that tell of the session and not of the tap: said once a run. */
static bool of_the_session(enum feature_kind k)
{
    return k == FEATURE_SPEED || k == FEATURE_INDEX || k == FEATURE_CELL || k == FEATURE_RATE ||
           k == FEATURE_QUALITY || k == FEATURE_FIELDS || k == FEATURE_REPEAT ||
           k == FEATURE_SIDE_1 || k == FEATURE_MACHINE || k == FEATURE_OUTCOME ||
           k == FEATURE_TRIES || k == FEATURE_READ_BACK || k == FEATURE_STEP_RATE;
}

static int likeliest(const struct feature *f)
{
    int best = 0;

    for (int i = 1; i < f->answers; i++)
        if (f->soft[i] > f->soft[best])
            best = i;
    return best;
}

static int order_of(long a, long b)
{
    return (a > b) - (a < b);
}

/* An order of the evidence that is its own, and not that of the file. */
static int by_place(const void *a, const void *b)
{
    const struct feature *x = a, *y = b;
    int by[] = {order_of(x->run, y->run),
                order_of((long)x->group, (long)y->group),
                order_of((long)x->tap, (long)y->tap),
                order_of((long)x->kind, (long)y->kind),
                order_of((long)x->sig, (long)y->sig),
                order_of(x->sig2, y->sig2),
                strcmp(x->finding.from, y->finding.from),
                strcmp(x->finding.id, y->finding.id),
                strcmp(x->finding.text, y->finding.text)};

    for (size_t i = 0; i < sizeof by / sizeof *by; i++)
        if (by[i])
            return by[i];
    return 0;
}

/* Of equal answers in one run keep the one at the drive end, else the first. */
static void say_once(struct feature_list *l)
{
    for (size_t i = 0; i < l->count; i++) {
        for (size_t k = 0; k < l->count; k++) {
            struct feature *a = &l->item[i], *b = &l->item[k];

            if (i == k || a->run < 0 || a->run != b->run || a->kind != b->kind ||
                !of_the_session(a->kind))
                continue;
            if (likeliest(a) != likeliest(b))
                continue;
            if (b->tap == TAP_DRIVE_END && a->tap != TAP_DRIVE_END)
                continue;
            memmove(b, b + 1, (l->count - k - 1) * sizeof *b);
            l->count--;
            k--;
            if (k < i)
                i--;
        }
    }
}

/* Tries tell of all of them, and not of the one that was recorded: they go to what a person
 * told. */
static void count_tries(struct gathered *g)
{
    for (size_t i = 0; i < g->features.count; i++) {
        struct feature *f = &g->features.item[i];

        if (f->kind != FEATURE_TRIES)
            continue;
        g->tries += f->count;
        g->bad_tries += f->bad;
        f->run = -1;
        f->tap = TAP_UNKNOWN;
    }
}

static enum err compare_taps(const struct case_file *c, const struct taken *t,
                             struct gathered *g)
{
    for (size_t i = 0; i < c->capture_count; i++) {
        for (size_t k = 0; k < c->capture_count; k++) {
            struct tap_compare r;

            if (t[i].run != t[k].run || c->capture[i].tap != TAP_MACHINE_END ||
                c->capture[k].tap != TAP_DRIVE_END)
                continue;
            TRY(tap_compare(t[i].edges, t[k].edges, c->cable,
                            !strcmp(c->capture[i].file, c->capture[k].file), &r));
            TRY(features_from_taps(c, k, t[i].run, &r, &g->wiring, &g->features));
        }
    }
    return ERR_OK;
}

/* A capture of the same run stands earlier in the case. */
static bool counted_already(const struct case_file *c, size_t i)
{
    for (size_t k = 0; k < i; k++)
        if (same_run(&c->capture[i], &c->capture[k]))
            return true;
    return false;
}

static void note_outcomes(const struct case_file *c, struct gathered *g)
{
    int worked = 0, other = 0;
    bool observed = false;

    for (size_t i = 0; i < c->told_count; i++)
        observed = observed || !strcmp(c->told[i].section, "observed") ||
                   !strcmp(c->told[i].section, "repair");

    for (size_t i = 0; i < c->capture_count; i++) {
        const struct case_capture *cap = &c->capture[i];
        bool failed = cap->worked < cap->tried ||
                      (cap->outcome != OUTCOME_WORKED && cap->outcome != OUTCOME_UNKNOWN);
        bool clean = !failed && (cap->outcome == OUTCOME_WORKED || cap->tried > 0);

        if (clean && !counted_already(c, i))
            g->clean_tries += cap->tried > 0 ? cap->tried : 1;
        worked += clean;
        other += failed;
    }
    /* who tried a swap, or describes the drive, complains */
    g->complaint = other > 0 || (!worked && (c->swap_count > 0 || observed));
    g->all_worked = worked > 0 && !other;
}

/* A recording knows at which plug it was taken; a case that says otherwise turns every fault
 * round. */
static void check_tap(const struct case_capture *cap, const struct capture_info *info,
                      struct verdict *v)
{
    const char *told = cap->tap == TAP_MACHINE_END ? "machine-end" : "drive-end";

    if (cap->tap != TAP_UNKNOWN && info->tap[0] && strcmp(info->tap, told) != 0)
        verdict_warn(v, "%s: the case says %s, the recording itself %s", cap->name, told,
                     info->tap);
}

static enum err draw(const struct case_file *c, struct taken *t, struct gathered *g,
                     struct verdict *v)
{
    wiring_make(c, unit_of(c, t), &g->wiring);
    g->runs = number_runs(c, t);
    for (int r = 0; r <= g->runs; r++)
        setting_of(c, &g->setting[r]);
    for (size_t i = 0; i < c->capture_count; i++) {
        struct setting *s = &g->setting[t[i].run];

        s->asked |= c->capture[i].asked;
        s->role = c->capture[i].role;
        s->disk_none = c->capture[i].disk == DISK_NONE;
        s->disk_blank = c->capture[i].disk == DISK_BLANK;
        s->after |= mended_before(c, &c->capture[i]);
        s->tap_pull_up = s->tap_pull_up || case_pulled_up(&c->capture[i]);
        g->setting[g->runs].asked |= c->capture[i].asked;
        g->adapter = g->adapter || t[i].survey.info.format == CAPTURE_WEC;
        check_tap(&c->capture[i], &t[i].survey.info, v);
        g->flux_seen = g->flux_seen || (t[i].survey.flux_recorded && t[i].survey.flux_usable);
        for (size_t k = 0; k < t[i].survey.warning_count; k++)
            verdict_warn(v, "%s: %s", c->capture[i].name, t[i].survey.warning[k]);
        TRY(features_from_survey(c, i, t[i].run, &t[i].survey, &g->wiring, &g->features));
    }
    TRY(compare_taps(c, t, g));
    TRY(features_from_told(c, &g->wiring, &g->features));
    for (size_t i = 0; i < g->features.count; i++)
        repeats_soften(&g->features.item[i]);
    if (g->features.count > 1)
        qsort(g->features.item, g->features.count, sizeof *g->features.item, by_place);
    say_once(&g->features);
    count_tries(g);
    note_outcomes(c, g);
    return ERR_OK;
}

enum err gather(const struct case_file *c, const struct judge_options *o, struct gathered *out,
                struct verdict *v, struct err_msg *e)
{
    struct taken *t = calloc(c->capture_count + 1, sizeof *t);
    enum err err = t ? ERR_OK : ERR_MEMORY;

    *out = (struct gathered){0};
    for (size_t i = 0; i < c->capture_count && err == ERR_OK; i++) {
        if (o->progress)
            o->progress(o->progress_ctx, c->capture[i].name,
                        (double)i / (double)c->capture_count);
        err = take(i, c, o, &t[i], e);
    }
    if (err == ERR_OK)
        err = mended_gather(c, out, e);
    if (err == ERR_OK)
        err = draw(c, t, out, v);
    for (size_t i = 0; t && i < c->capture_count; i++) {
        if (t[i].done && err == ERR_OK && o->watch)
            o->watch->surveyed(o->watch->ctx, i, &t[i].survey);
        if (t[i].done)
            survey_release(&t[i].survey);
        tap_edges_free(t[i].edges);
    }
    free(t);
    if (err != ERR_OK)
        gathered_release(out);
    return err;
}

void gathered_release(struct gathered *g)
{
    feature_list_release(&g->features);
}
