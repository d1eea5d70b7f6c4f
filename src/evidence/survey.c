/* One pass over a capture. Control lines go to the bus tracker, INDEX to the rotation, RDATA to
 * the visits. */
#include "evidence/survey_private.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define WARNINGS_MAX  100
#define WARNING_BYTES 240
#define RATED_TURN_S  0.2 /* where nothing tells the speed: 300 rpm */

enum err survey_warn(struct survey *s, const char *fmt, ...)
{
    char text[WARNING_BYTES];
    va_list ap;
    if (s->warning_count == WARNINGS_MAX) {
        return ERR_OK;
    }
    va_start(ap, fmt);
    (void)vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    if (s->warning == NULL) {
        s->warning = calloc(WARNINGS_MAX, sizeof s->warning[0]);
    }
    char *copy = strdup(text);
    if (s->warning == NULL || copy == NULL) {
        free(copy);
        return ERR_MEMORY;
    }
    s->warning[s->warning_count++] = copy;
    return ERR_OK;
}

static enum err place_update(struct survey_run *r, int64_t ns)
{
    uint64_t serial = 0;
    const struct bus_place *place = bus_tracker_place(r->tracker, &serial);
    if (serial == r->serial) {
        return ERR_OK;
    }
    r->serial = serial;
    if (place->motor != r->place.motor) {
        supply_motor(r, ns, place->motor);
    }
    TRY(index_gap(&r->index, GAP_MOTOR_OFF, !place->motor, ns));
    TRY(index_gap(&r->index, GAP_DESELECTED, place->unit == -2, ns));
    return visit_move(r, ns, place);
}

static enum err edge(struct survey_run *r, int64_t tick, enum line line, enum level level,
                     struct err_msg *e)
{
    int64_t ns = 0;
    enum level before = r->level[line];
    if (!ticks_to_ns(tick, r->tick, &ns)) {
        return err_set(e, ERR_FORMAT, "the capture is longer than 292 years");
    }
    r->now_ns = ns;
    if (!r->started) { /* nothing is recorded before the first value */
        r->started = true;
        r->start_ns = ns;
    }
    r->level[line] = level;
    if (before != LEVEL_UNKNOWN && level != LEVEL_UNKNOWN) {
        r->out->edges++;
        grid_edge(&r->grid, tick, line == LINE_RDATA);
    }
    TRY(bus_tracker_edge(r->tracker, ns, line, level));
    TRY(place_update(r, ns));
    if (line == LINE_RDATA) {
        TRY(visit_rdata(r, tick, ns, level));
        if (before == LEVEL_HIGH && level == LEVEL_LOW && r->visit.open) {
            TRY(figures_fall(r, tick, ns));
        }
    } else if (line == LINE_INDEX) {
        TRY(index_edge(&r->index, ns, level));
    } else if (line == LINE_READY) {
        TRY(index_gap(&r->index, GAP_NOT_READY, level == LEVEL_HIGH, ns));
    } else if (line == LINE_STEP && before != LEVEL_UNKNOWN && level != LEVEL_UNKNOWN) {
        TRY(index_step(&r->index, ns));
    }
    return r->o->edges_out != NULL ? tap_edges_add(r->o->edges_out, ns, line, level) : ERR_OK;
}

static enum err rails_until(struct survey_run *r, const struct chunk *c, size_t *next,
                            int64_t tick)
{
    for (; *next < c->rail_count && c->rail[*next].tick <= tick; (*next)++) {
        int64_t ns = 0;
        if (ticks_to_ns(c->rail[*next].tick, r->tick, &ns)) {
            supply_sample(r, c->rail[*next].rail, ns, c->rail[*next].millivolt / 1000.0);
        }
    }
    return ERR_OK;
}

static enum err chunks(struct survey_run *r, struct capture *c, struct err_msg *e)
{
    struct chunk chunk = {0};
    while (!chunk.last) {
        size_t rail = 0;
        if (r->o->stop != NULL && *r->o->stop != 0) {
            return err_set(e, ERR_INTERRUPTED, "interrupted");
        }
        TRY(capture_next(c, &chunk, e));
        if (r->o->watch != NULL) {
            r->o->watch(r->o->watch_ctx, &r->out->info, &chunk);
        }
        for (size_t i = 0; i < chunk.count;) {
            int64_t tick = edge_tick(&chunk, i);
            size_t taken = 0;
            TRY(rails_until(r, &chunk, &rail, tick));
            TRY(survey_reads(r, &chunk, i, &taken));
            if (taken == 0) {
                TRY(edge(r, tick, edge_line(chunk.edge[i]), edge_level(chunk.edge[i]), e));
                taken = 1;
            }
            i += taken;
        }
        TRY(rails_until(r, &chunk, &rail, INT64_MAX));
        if (r->o->progress != NULL) {
            r->o->progress(r->o->progress_ctx, capture_progress(c));
        }
    }
    if (!ticks_to_ns(chunk.end_tick, r->tick, &r->now_ns)) {
        return err_set(e, ERR_FORMAT, "the capture is longer than 292 years");
    }
    return ERR_OK;
}

/* Bench practice 13: too slow a tap loses read pulses, and then nothing is concluded from the
 * flux. */
static enum err sampling_judge(struct survey *s, const struct profile *drive)
{
    double pulse_ns = profile_min(drive, "read_pulse_ns", 0);
    s->flux_usable = s->flux_recorded && (pulse_ns <= 0 || s->sample_ns <= pulse_ns / 2);
    if (s->flux_recorded && !s->flux_usable) {
        return survey_warn(
            s,
            "sampled every %.0f ns, read pulses may be as short as %.0f ns: too slow to "
            "conclude anything from the flux",
            s->sample_ns, pulse_ns);
    }
    return ERR_OK;
}

/* "step_interval_ms" as "step interval" and "ms". */
static void split_key(const char *key, char *words, size_t max, const char **unit)
{
    const char *last = strrchr(key, '_');
    size_t len = last != NULL ? (size_t)(last - key) : strlen(key);

    *unit = last != NULL ? last + 1 : "";
    snprintf(words, max, "%.*s", (int)len, key);
    for (char *p = words; *p != '\0'; p++) {
        if (*p == '_') {
            *p = ' ';
        }
    }
}

/* Limits of the profiles that a line's timing broke. */
static enum err timing_warnings(struct survey *s)
{
    for (size_t i = 0; i < s->story.timing_count; i++) {
        const struct timing_check *t = &s->story.timing[i];
        char words[48];
        const char *unit;

        /* the first pulse of INDEX may be cut by the drive's own gates; its width is measured
         * apart */
        if (t->broken == 0 || t->line == LINE_INDEX) {
            continue;
        }
        split_key(t->what, words, sizeof words, &unit);
        TRY(survey_warn(s,
                        "%s: %s goes %s to %.4g %s, the limit is %.4g (%lld of %lld times; %s)",
                        line_name(t->line), words, t->below_min ? "down" : "up", t->worst, unit,
                        t->limit, (long long)t->broken, (long long)t->count,
                        t->source != NULL ? t->source : "profile"));
    }
    return ERR_OK;
}

static enum err warnings(struct survey_run *r, bool guessed)
{
    struct survey *s = r->out;
    if (s->info.cut_short) {
        TRY(survey_warn(s, "the file was cut short: read up to its last whole chunk"));
    }
    if (s->info.ignored > 0) {
        TRY(survey_warn(s, "%zu variable%s no line %s ignored", s->info.ignored,
                        s->info.ignored == 1 ? " that names" : "s that name",
                        s->info.ignored == 1 ? "was" : "were"));
    }
    if (guessed) {
        TRY(survey_warn(
            s, "TRK00 never fixed the head's place: cylinders follow the identifiers"));
    }
    if (s->story.truncated || r->visits_full || r->tracks.full) {
        TRY(survey_warn(s,
                        "more steps, visits or sectors than can be kept: lists are cut short"));
    }
    if (r->tracks.sums_full) {
        TRY(survey_warn(s, "too many damaged fields to put the turns of each together"));
    }
    if ((s->story.units_used & (s->story.units_used - 1)) != 0) {
        TRY(survey_warn(s,
                        "more than one unit was selected: their tracks are listed together"));
    }
    return ERR_OK;
}

static enum err finish(struct survey_run *r)
{
    struct survey *s = r->out;
    bool guessed = false;
    sampling_settle(r, true);
    if (r->o->edges_out != NULL) {
        tap_edges_sampled(r->o->edges_out, (int64_t)ceil(s->sample_ns));
        TRY(tap_edges_end(r->o->edges_out, r->now_ns));
    }
    TRY(visit_close(r, r->now_ns));
    supply_finish(r, r->now_ns);
    TRY(bus_tracker_finish(r->tracker, r->now_ns, &s->story));
    s->seconds = (double)(r->now_ns - (r->started ? r->start_ns : 0)) / (double)NS_PER_S;
    s->flux = quality_mean(&r->flux, (size_t)r->flux_transitions);
    TRY(rotation_finish(r));
    TRY(tracks_finish(&r->tracks, s, s->rotation.rpm > 0 ? 60 / s->rotation.rpm : RATED_TURN_S,
                      &guessed));
    TRY(figures_finish(r));
    TRY(sampling_judge(s, r->o->drive));
    TRY(timing_warnings(r->out));
    return warnings(r, guessed);
}

static enum err begin(struct survey_run *r, struct capture *c)
{
    const struct bus_place *place = NULL;
    struct survey *s = r->out;
    s->info = *capture_info(c);
    r->tracks.listener = r->o->listener;
    r->tick = s->info.tick;
    r->ns_scale = tick_scale_ns(r->tick);
    r->ps_scale = tick_scale_ps(r->tick);
    r->grid.last_tick = -1;
    r->motor_on_ns = -1;
    r->visit.rdata = LEVEL_UNKNOWN;
    index_begin(&r->index, r->o->drive);
    for (int l = 0; l < LINE_COUNT; l++) {
        r->level[l] = LEVEL_UNKNOWN;
    }
    TRY(bus_tracker_new(r->o->drive, r->o->controller, s->info.lines, &r->tracker));
    place = bus_tracker_place(r->tracker, &r->serial);
    r->place = *place;
    TRY(index_gap(&r->index, GAP_MOTOR_OFF, !place->motor, 0));
    return index_gap(&r->index, GAP_DESELECTED, place->unit == -2, 0);
}

enum err survey_run(struct capture *c, const struct survey_options *o, struct survey *out,
                    struct err_msg *e)
{
    struct survey_run *r = calloc(1, sizeof *r);
    struct survey *s = calloc(1, sizeof *s);
    enum err code = ERR_MEMORY;
    if (r != NULL && s != NULL) {
        r->o = o;
        r->out = s;
        code = begin(r, c);
        code = code == ERR_OK ? chunks(r, c, e) : code;
        s->info.cut_short = capture_info(c)->cut_short;
        code = code == ERR_OK ? finish(r) : code;
        bus_tracker_free(r->tracker);
        visit_gather_release(&r->visit);
        index_gather_release(&r->index);
        track_store_release(&r->tracks);
        figures_release(r);
    }
    if (code == ERR_OK) {
        *out = *s;
    } else {
        (void)err_set(e, code, "%s", err_text(code));
        if (s != NULL) {
            survey_release(s);
        }
    }
    free(s);
    free(r);
    return code;
}

void survey_release(struct survey *s)
{
    for (size_t i = 0; i < s->track_count; i++) {
        free(s->track[i].sector);
    }
    for (size_t i = 0; i < s->warning_count; i++) {
        free(s->warning[i]);
    }
    bus_story_release(&s->story);
    free(s->track);
    free(s->place);
    free(s->guess);
    free(s->visit);
    free(s->warning);
    memset(s, 0, sizeof *s);
}
