/* `whichend measure --json`: the keys beyond the contract's, each figure with its uncertainty
 * (95
 * %) under the same name with _u before its unit. */
#include "report/measure.h"

static json_t *rpm_json(bool have, double rpm, double u, bool *failed)
{
    json_t *o = json_object();
    if (!have) {
        json_decref(o);
        return json_null();
    }
    json_put(o, "rpm", json_number(rpm, 4), failed);
    json_put(o, "u_rpm", json_number(u, 5), failed);
    return o;
}

static json_t *lines_json(const struct speed_figures *f, bool *failed)
{
    json_t *a = json_array();
    for (size_t i = 0; i < f->middle.lines; i++) {
        const struct speed_line *l = &f->middle.line[i];
        json_t *o = json_object();
        json_t *causes = json_array();
        for (size_t c = 0; c < f->cause[i].count; c++) {
            json_t *cause = json_object();
            json_put(cause, "text", json_text(f->cause[i].text[c]), failed);
            json_put(cause, "source", json_text(f->cause[i].source[c]), failed);
            json_push(causes, cause, failed);
        }
        json_put(o, "hz", json_number(l->hz, 3), failed);
        json_put(o, "swings_a_turn", json_number(l->orders, 4), failed);
        json_put(o, "percent", json_number(l->percent, 4), failed);
        json_put(o, "u_percent", json_number(l->u_percent, 4), failed);
        json_put(o, "locked_to_turn", json_boolean(l->locked), failed);
        json_put(o, "causes", causes, failed);
        json_push(a, o, failed);
    }
    return a;
}

static json_t *variation_json(const struct speed_figures *f, bool *failed)
{
    const struct speed_variation *v = &f->middle;
    json_t *o = NULL;
    if (f->visits == 0) {
        return json_null();
    }
    bool split = v->repeats >= 0;
    o = json_object();
    json_put(o, "visits", json_integer(f->visits), failed);
    json_put(o, "turns", json_integer(v->turns), failed);
    json_put(o, "isv_percent", json_number(v->isv, 4), failed);
    json_put(o, "isv_u_percent", json_number(v->isv_u, 4), failed);
    json_put(o, "repeats_percent", json_number_if(split, v->repeats, 4), failed);
    json_put(o, "repeats_u_percent", json_number_if(split, v->repeats_u, 4), failed);
    json_put(o, "free_percent", json_number_if(split, v->free, 4), failed);
    json_put(o, "free_u_percent", json_number_if(split, v->free_u, 4), failed);
    json_put(o, "worst_isv_percent", json_number(f->worst_isv, 4), failed);
    json_put(o, "worst_cylinder", json_integer(f->worst_cylinder), failed);
    json_put(o, "worst_side", json_integer(f->worst_side), failed);
    json_put(o, "lines", split ? lines_json(f, failed) : json_null(), failed);
    return o;
}

static json_t *limits_json(const struct survey *s, bool *failed)
{
    static const char *const NAME[FIGURE_LIMITS] = {"speed", "isv", "window_margin",
                                                    "asymmetry"};
    json_t *o = json_object();
    for (int i = 0; i < FIGURE_LIMITS; i++) {
        const struct figure_limit *l = &s->limit[i];
        if (!l->has_min && !l->has_max) {
            continue;
        }
        json_t *j = json_object();
        json_put(j, "min", json_number_if(l->has_min, l->min, 4), failed);
        json_put(j, "max", json_number_if(l->has_max, l->max, 4), failed);
        json_put(j, "unit", json_string(l->unit), failed);
        json_put(j, "source", json_text(l->source), failed);
        json_put(o, NAME[i], j, failed);
    }
    return o;
}

json_t *measure_speed_json(const struct survey *s, bool *failed)
{
    const struct rotation *r = &s->rotation;
    const struct rotation *f = &s->rotation_flux;
    json_t *o = json_object();
    bool sectors = f->from == ROTATION_SECTORS;
    json_put(o, "by_index",
             rpm_json(r->from == ROTATION_INDEX, r->rpm, r->uncertainty_rpm, failed), failed);
    json_put(o, "by_sectors", rpm_json(sectors, f->rpm, f->uncertainty_rpm, failed), failed);
    json_put(o, "by_bit_clock",
             rpm_json(s->clock_speed.rpm > 0, s->clock_speed.rpm,
                      s->clock_speed.uncertainty_rpm, failed),
             failed);
    json_put(o, "slip_percent", json_number_if(s->slip.visits > 0, s->slip.percent, 4), failed);
    json_put(o, "slip_u_percent", json_number_if(s->slip.visits > 0, s->slip.u_percent, 4),
             failed);
    json_put(o, "variation", variation_json(&s->speed, failed), failed);
    json_put(o, "limits", limits_json(s, failed), failed);
    return o;
}

static json_t *gap_json(const struct gap_figures *g, bool *failed)
{
    json_t *o = NULL;
    if (g->count == 0) {
        return json_null();
    }
    o = json_object();
    json_put(o, "count", json_integer(g->count), failed);
    json_put(o, "mean_us", json_number(g->mean_us, 2), failed);
    json_put(o, "sd_us", json_number_if(g->count > 1, g->sd_us, 2), failed);
    json_put(o, "min_us", json_number(g->min_us, 2), failed);
    json_put(o, "max_us", json_number(g->max_us, 2), failed);
    return o;
}

/* Of the read signal beyond jitter, margin and asymmetry themselves. */
static void quality_json(const struct flux_quality *q, json_t *o, bool *failed)
{
    bool cell = q->cell_ns > 0;
    json_put(o, "jitter_u_ns", json_number_if(cell, q->jitter_u_ns, 2), failed);
    json_put(o, "margin_u_percent", json_number_if(cell, q->margin_u_percent, 2), failed);
    json_put(o, "margin_powers_beyond", json_number_if(cell, q->margin_beyond, 2), failed);
    json_put(o, "asymmetry_u_ns", json_number_if(cell, q->asymmetry_u_ns, 2), failed);
    json_put(o, "peak_shift_ns", json_number_if(cell, q->peak_shift_ns, 2), failed);
    json_put(o, "peak_shift_u_ns", json_number_if(cell, q->peak_shift_u_ns, 2), failed);
}

void measure_signal_json(const struct survey *s, json_t *flux, bool *failed)
{
    int64_t extra = 0;
    int64_t dropouts = 0;
    for (size_t i = 0; i < s->place_count; i++) {
        extra += s->place[i].shorter;
        dropouts += s->place[i].longer;
    }
    bool cell = s->flux.cell_ns > 0;
    quality_json(&s->flux, flux, failed);
    json_put(flux, "extra_pulses", cell ? json_integer(extra) : json_null(), failed);
    json_put(flux, "dropouts", cell ? json_integer(dropouts) : json_null(), failed);
    json_put(flux, "either_by_jitter_at_most",
             json_number_if(cell, measure_odd_by_jitter(s), 1), failed);
    json_put(flux, "index_to_identifier", gap_json(&s->first_id, failed), failed);
}

json_t *measure_places_json(const struct survey *s, bool *failed)
{
    json_t *a = json_array();
    for (size_t i = 0; i < s->place_count; i++) {
        const struct place_figures *p = &s->place[i];
        const struct flux_quality *q = &p->quality;
        bool cell = q->cell_ns > 0;
        json_t *o = json_object();
        json_put(o, "cylinder", p->cylinder >= 0 ? json_integer(p->cylinder) : json_null(),
                 failed);
        json_put(o, "side", p->side >= 0 ? json_integer(p->side) : json_null(), failed);
        json_put(o, "transitions", json_integer((json_int_t)q->transitions), failed);
        json_put(o, "jitter_ns", json_number_if(cell, q->jitter_ns, 2), failed);
        json_put(o, "margin_percent", json_number_if(cell, q->margin_percent, 2), failed);
        json_put(o, "asymmetry_ns", json_number_if(cell, q->asymmetry_ns, 2), failed);
        quality_json(q, o, failed);
        json_put(o, "extra_pulses", cell ? json_integer(p->shorter) : json_null(), failed);
        json_put(o, "dropouts", cell ? json_integer(p->longer) : json_null(), failed);
        json_put(o, "index_to_identifier", gap_json(&p->first_id, failed), failed);
        json_push(a, o, failed);
    }
    return a;
}

json_t *measure_angles_json(const struct survey *s, bool *failed)
{
    json_t *a = json_array();
    for (int side = 0; side < 2; side++) {
        for (int i = 0; i < ANGLE_PARTS; i++) {
            const struct angle_figures *f = &s->angle[side][i];
            if (f->transitions == 0) {
                continue;
            }
            json_t *o = json_object();
            json_put(o, "side", json_integer(side), failed);
            json_put(o, "from_degrees", json_number(360.0 * i / ANGLE_PARTS, 2), failed);
            json_put(o, "transitions", json_integer(f->transitions), failed);
            json_put(o, "jitter_percent_of_cell",
                     json_number_if(f->jitter_percent > 0, f->jitter_percent, 2), failed);
            json_put(o, "extra_pulses", json_integer(f->shorter), failed);
            json_put(o, "dropouts", json_integer(f->longer), failed);
            json_push(a, o, failed);
        }
    }
    return a;
}
