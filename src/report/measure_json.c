/* `whichend measure --json`, schema whichend.measure/1. */
#include "report/measure.h"

static const char *const rotation_word[] = {
    [ROTATION_NONE] = NULL,
    [ROTATION_INDEX] = "index",
    [ROTATION_SECTORS] = "sectors",
    [ROTATION_FLUX] = "flux",
};

static json_t *capture_json(const struct survey *s, bool *failed)
{
    json_t *o = json_object();
    json_t *lines = json_array();
    for (int l = 0; l < LINE_COUNT; l++) {
        if (s->info.lines & LINE_BIT(l)) {
            json_push(lines, json_string(line_name((enum line)l)), failed);
        }
    }
    json_put(o, "seconds", json_number(s->seconds, 9), failed);
    json_put(o, "tick_ns", json_number(tick_ns(s->info.tick), 6), failed);
    json_put(o, "sample_ns", json_number_if(s->sample_ns > 0, s->sample_ns, 3), failed);
    json_put(o, "lines", lines, failed);
    json_put(o, "edges", json_integer(s->edges), failed);
    return o;
}

static json_t *rotation_json(const struct rotation *r, bool *failed)
{
    json_t *o = NULL;
    json_t *periods = NULL;
    if (r->from == ROTATION_NONE) {
        return json_null();
    }
    o = json_object();
    periods = json_array();
    for (int32_t i = 0; i < r->revolutions && i < TURNS_KEPT_MAX; i++) {
        json_push(periods, json_integer(r->period_ns[i]), failed);
    }
    json_put(o, "from", json_string(rotation_word[r->from]), failed);
    json_put(o, "revolutions", json_integer(r->revolutions), failed);
    json_put(o, "rpm", json_number(r->rpm, 4), failed);
    json_put(o, "rpm_sd", json_number_if(r->revolutions > 1, r->rpm_sd, 5), failed);
    json_put(o, "uncertainty_rpm", json_number(r->uncertainty_rpm, 5), failed);
    json_put(o, "period_ns", periods, failed);
    json_put(o, "isv_percent", json_number_if(r->isv_percent >= 0, r->isv_percent, 3), failed);
    json_put(o, "spin_up_ms", json_number_if(r->spin_up_ms >= 0, r->spin_up_ms, 3), failed);
    return o;
}

static json_t *index_json(const struct survey *s, bool *failed)
{
    const struct index_stats *x = &s->index;
    json_t *o = NULL;
    if (!s->index_recorded) {
        return json_null();
    }
    o = json_object();
    json_put(o, "pulses", json_integer(x->pulses), failed);
    json_put(o, "missing", json_integer(x->missing), failed);
    json_put(o, "extra", json_integer(x->extra), failed);
    json_put(o, "sector_holes", json_integer(x->sector_holes), failed);
    json_put(o, "width_us", json_number_if(x->pulses > 0 && x->width_us > 0, x->width_us, 3),
             failed);
    json_put(o, "width_sd_us",
             json_number_if(x->pulses > 1 && x->width_us > 0, x->width_sd_us, 3), failed);
    return o;
}

static json_t *lines_json(const struct survey *s, bool *failed)
{
    json_t *a = json_array();
    for (int l = 0; l < LINE_COUNT; l++) {
        const struct line_stats *st = &s->story.line[l];
        double known = (double)(st->low_ns + st->high_ns);
        json_t *o = NULL;
        if (!(s->info.lines & LINE_BIT(l))) {
            continue;
        }
        o = json_object();
        json_put(o, "line", json_string(line_name((enum line)l)), failed);
        json_put(o, "state", json_string(line_state_name(st->state)), failed);
        json_put(o, "edges", json_integer(st->edges), failed);
        json_put(o, "low_percent",
                 json_number_if(known > 0, 100 * (double)st->low_ns / known, 4), failed);
        json_put(o, "glitches", json_integer(st->glitches), failed);
        json_push(a, o, failed);
    }
    return a;
}

static json_t *flux_json(const struct survey *s, bool *failed)
{
    const struct flux_quality *q = &s->flux;
    bool cell = q->cell_ns > 0;
    json_t *o = NULL;
    json_t *ratios = NULL;
    if (!s->flux_recorded || !s->flux_usable) {
        return json_null();
    }
    o = json_object();
    ratios = json_array();
    for (int i = 0; i < 8 && q->interval_ratio[i] != 0; i++) {
        json_push(ratios, json_integer(q->interval_ratio[i]), failed);
    }
    json_put(o, "transitions", json_integer((json_int_t)q->transitions), failed);
    json_put(o, "cell_ns", json_number_if(cell, q->cell_ns, 2), failed);
    json_put(o, "jitter_ns", json_number_if(cell, q->jitter_ns, 2), failed);
    json_put(o, "margin_percent", json_number_if(cell, q->margin_percent, 2), failed);
    json_put(o, "margin_ns", json_number_if(cell, q->margin_ns, 2), failed);
    json_put(o, "asymmetry_ns", json_number_if(cell, q->asymmetry_ns, 2), failed);
    json_put(o, "encoding", json_string(encoding_name(q->encoding)), failed);
    json_put(o, "data_rate", q->data_rate > 0 ? json_integer(q->data_rate) : json_null(),
             failed);
    json_put(o, "interval_ratios", ratios, failed);
    measure_signal_json(s, o, failed);
    return o;
}

static json_t *supply_json(const struct survey *s, bool *failed)
{
    json_t *o = NULL;
    for (int rail = 0; rail < RAIL_COUNT; rail++) {
        const struct supply_stats *v = &s->supply[rail];
        json_t *r = NULL;
        if (!v->recorded) {
            continue;
        }
        o = o == NULL ? json_object() : o;
        r = json_object();
        json_put(r, "min_v", json_number(v->min_v, 3), failed);
        json_put(r, "mean_v", json_number(v->mean_v, 3), failed);
        json_put(r, "max_v", json_number(v->max_v, 3), failed);
        json_put(r, "min_motor_start_v", json_number_if(v->min_motor_v > 0, v->min_motor_v, 3),
                 failed);
        json_put(o, rail_name((enum rail)rail), r, failed);
    }
    return o != NULL ? o : json_null();
}

static json_t *track_json(const struct track *t, bool *failed)
{
    json_t *o = json_object();
    json_t *sectors = json_array();
    for (size_t i = 0; i < t->sector_count; i++) {
        const struct track_sector *s = &t->sector[i];
        json_t *j = json_object();
        json_put(j, "cylinder", json_integer(s->cylinder), failed);
        json_put(j, "side", json_integer(s->side), failed);
        json_put(j, "sector", json_integer(s->sector), failed);
        json_put(j, "size", json_integer(s->size_code < 8 ? 128 << s->size_code : 0), failed);
        json_put(j, "id",
                 json_string(field_state_name(s->id_good ? FIELD_GOOD : FIELD_DAMAGED)),
                 failed);
        json_put(j, "data", json_string(field_state_name(s->data)), failed);
        json_put(j, "deleted", json_boolean(s->deleted), failed);
        json_put(j, "seen", json_integer(s->seen), failed);
        json_put(j, "good", json_integer(s->good), failed);
        if (s->twice) {
            json_put(j, "twice", json_true(), failed);
        }
        if (s->data == FIELD_REPAIRED) {
            json_put(j, "cells_changed", json_integer(s->changed), failed);
            json_put(j, "odds_false", json_number(s->odds_false, 6), failed);
        }
        json_push(sectors, j, failed);
    }
    json_put(o, "cylinder", json_integer(t->cylinder), failed);
    json_put(o, "side", json_integer(t->side), failed);
    json_put(o, "revolutions", json_number(t->revolutions, 2), failed);
    json_put(o, "encoding", json_string(encoding_name(t->quality.encoding)), failed);
    json_put(o, "sectors", sectors, failed);
    return o;
}

enum err report_measure_json(const struct survey *s, struct buf *out)
{
    bool failed = false;
    json_t *root = json_object();
    json_t *tracks = json_array();
    json_t *warnings = json_array();
    for (size_t i = 0; i < s->track_count; i++) {
        json_push(tracks, track_json(&s->track[i], &failed), &failed);
    }
    for (size_t i = 0; i < s->warning_count; i++) {
        json_push(warnings, json_text(s->warning[i]), &failed);
    }
    json_put(root, "schema", json_string("whichend.measure/1"), &failed);
    json_put(root, "capture", capture_json(s, &failed), &failed);
    json_put(root, "rotation", rotation_json(&s->rotation, &failed), &failed);
    json_put(root, "speed", measure_speed_json(s, &failed), &failed);
    json_put(root, "index", index_json(s, &failed), &failed);
    json_put(root, "lines", lines_json(s, &failed), &failed);
    json_put(root, "flux", flux_json(s, &failed), &failed);
    json_put(root, "places", measure_places_json(s, &failed), &failed);
    json_put(root, "angles", measure_angles_json(s, &failed), &failed);
    json_put(root, "supply", supply_json(s, &failed), &failed);
    json_put(root, "tracks", tracks, &failed);
    json_put(root, "warnings", warnings, &failed);
    return json_finish(root, failed, out);
}
