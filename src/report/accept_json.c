/* `whichend accept --json`, schema whichend.accept/1, and the same read back. */
#include "base/file.h"
#include "report/accept.h"
#include "report/json.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define SCHEMA         "whichend.accept/1"
#define SHEET_BYTES    (4u << 20)
#define VALUE_DECIMALS 6

static json_t *limit_json(const struct accept_limit *l, bool *failed)
{
    json_t *o = json_object();
    json_put(o, "min", json_number_if(l->has_min, l->min, VALUE_DECIMALS), failed);
    json_put(o, "max", json_number_if(l->has_max, l->max, VALUE_DECIMALS), failed);
    json_put(o, "source", json_text(l->source), failed);
    return o;
}

static json_t *line_json(enum accept_item i, const struct accept_line *l, bool *failed)
{
    json_t *o = json_object();
    json_put(o, "line", json_text(accept_item_id(i)), failed);
    json_put(o, "title", json_text(accept_item_title(i)), failed);
    json_put(o, "state", json_text(accept_state_word(l->state)), failed);
    json_put(o, "wanting", json_boolean(l->wanting), failed);
    json_put(o, "value", json_number_if(l->has_value, l->value, VALUE_DECIMALS), failed);
    json_put(o, "uncertainty", json_number_if(l->has_value, l->uncertainty, VALUE_DECIMALS),
             failed);
    json_put(o, "unit", json_text(accept_item_unit(i)), failed);
    json_put(o, "limit", l->has_limit ? limit_json(&l->limit, failed) : json_null(), failed);
    json_put(o, "shop", l->has_shop ? limit_json(&l->shop, failed) : json_null(), failed);
    json_put(o, "outside_shop", json_boolean(l->outside_shop), failed);
    json_put(o, "close", json_boolean(l->close), failed);
    json_put(o, "text", json_text(l->text), failed);
    return o;
}

static json_t *place_json(const struct accept_place *p, bool *failed)
{
    json_t *o = json_object();
    bool clock = p->margin_u_ns > 0;
    json_put(o, "cylinder", json_integer(p->cylinder), failed);
    json_put(o, "side", json_integer(p->side), failed);
    json_put(o, "margin_ns", json_number_if(clock, p->margin_ns, 1), failed);
    json_put(o, "margin_u_ns", json_number_if(clock, p->margin_u_ns, 2), failed);
    json_put(o, "jitter_ns", json_number_if(clock, p->jitter_ns, 2), failed);
    json_put(o, "jitter_u_ns", json_number_if(clock, p->jitter_u_ns, 3), failed);
    json_put(o, "asymmetry_ns", json_number_if(clock, p->asymmetry_ns, 2), failed);
    json_put(o, "asymmetry_u_ns", json_number_if(clock, p->asymmetry_u_ns, 3), failed);
    json_put(o, "index_data_us", json_number_if(p->has_index_data, p->index_data_us, 2),
             failed);
    json_put(o, "sectors", json_integer(p->sectors), failed);
    json_put(o, "sectors_good", json_integer(p->sectors_good), failed);
    return o;
}

enum err report_accept_json(const struct accept_sheet *s, struct buf *out)
{
    static const char *const word[] = {"passed", "failed", "incomplete"};
    bool failed = false;
    json_t *root = json_object();
    json_t *lines = json_array();
    json_t *places = json_array();
    for (int i = 0; i < ACCEPT_ITEMS; i++)
        if (s->line[i].state != ACCEPT_ABSENT)
            json_push(lines, line_json((enum accept_item)i, &s->line[i], &failed), &failed);
    for (size_t i = 0; i < s->place_count; i++)
        json_push(places, place_json(&s->place[i], &failed), &failed);
    json_put(root, "schema", json_text(SCHEMA), &failed);
    json_put(root, "outcome", json_text(word[accept_sheet_outcome(s)]), &failed);
    json_put(root, "drive", json_text(s->drive), &failed);
    json_put(root, "title", json_text(s->title), &failed);
    json_put(root, "serial", json_text(s->serial), &failed);
    json_put(root, "made", json_text(s->made), &failed);
    json_put(root, "cut_short", s->rest[0] != '\0' ? json_text(s->rest) : json_null(), &failed);
    json_put(root, "source", json_text(s->source), &failed);
    json_put(root, "lines", lines, &failed);
    json_put(root, "places", places, &failed);
    return json_finish(root, failed, out);
}

/* ---- back ---- */

static void text_from(const json_t *o, const char *key, char *out, size_t room)
{
    const char *s = json_string_value(json_object_get(o, key));
    (void)snprintf(out, room, "%s", s != NULL ? s : "");
}

static bool number_from(const json_t *o, const char *key, double *out)
{
    const json_t *n = json_object_get(o, key);
    double v = json_is_number(n) ? json_number_value(n) : 0;
    *out = isfinite(v) ? v : 0;
    return json_is_number(n) && isfinite(v);
}

static int32_t count_from(const json_t *o, const char *key)
{
    json_int_t n = json_integer_value(json_object_get(o, key));
    return n < 0 ? 0 : n > 1000000 ? 1000000 : (int32_t)n;
}

static bool limit_from(const json_t *o, struct accept_limit *out)
{
    if (!json_is_object(o))
        return false;
    out->has_min = number_from(o, "min", &out->min);
    out->has_max = number_from(o, "max", &out->max);
    text_from(o, "source", out->source, sizeof out->source);
    return out->has_min || out->has_max;
}

static bool line_from(const json_t *o, struct accept_sheet *s)
{
    const char *id = json_string_value(json_object_get(o, "line"));
    const char *word = json_string_value(json_object_get(o, "state"));
    if (id == NULL || word == NULL || accept_state_by_word(word) == ACCEPT_STATES)
        return false;
    enum accept_item i = accept_item_by_id(id);
    if (i == ACCEPT_ITEMS)
        return true; /* of a later version */
    struct accept_line *l = &s->line[i];
    *l = (struct accept_line){.state = accept_state_by_word(word)};
    l->wanting = json_is_true(json_object_get(o, "wanting"));
    l->has_value = number_from(o, "value", &l->value);
    (void)number_from(o, "uncertainty", &l->uncertainty);
    l->has_limit = limit_from(json_object_get(o, "limit"), &l->limit);
    l->has_shop = limit_from(json_object_get(o, "shop"), &l->shop);
    l->outside_shop = json_is_true(json_object_get(o, "outside_shop"));
    l->close = json_is_true(json_object_get(o, "close"));
    text_from(o, "text", l->text, sizeof l->text);
    return l->uncertainty >= 0;
}

static void place_from(const json_t *o, struct accept_place *p)
{
    p->cylinder = count_from(o, "cylinder");
    p->side = count_from(o, "side");
    (void)number_from(o, "margin_ns", &p->margin_ns);
    (void)number_from(o, "margin_u_ns", &p->margin_u_ns);
    (void)number_from(o, "jitter_ns", &p->jitter_ns);
    (void)number_from(o, "jitter_u_ns", &p->jitter_u_ns);
    (void)number_from(o, "asymmetry_ns", &p->asymmetry_ns);
    (void)number_from(o, "asymmetry_u_ns", &p->asymmetry_u_ns);
    p->has_index_data = number_from(o, "index_data_us", &p->index_data_us);
    p->sectors = count_from(o, "sectors");
    p->sectors_good = count_from(o, "sectors_good");
}

static enum err sheet_from(const json_t *root, const char *path, struct accept_sheet *s,
                           struct err_msg *e)
{
    const char *schema = json_string_value(json_object_get(root, "schema"));
    const json_t *lines = json_object_get(root, "lines");
    const json_t *places = json_object_get(root, "places");
    if (schema == NULL || strcmp(schema, SCHEMA) != 0)
        return err_set(e, ERR_FORMAT, "%s: no sheet of whichend accept --json", path);
    *s = (struct accept_sheet){.place_count = 0};
    text_from(root, "drive", s->drive, sizeof s->drive);
    text_from(root, "title", s->title, sizeof s->title);
    text_from(root, "serial", s->serial, sizeof s->serial);
    text_from(root, "made", s->made, sizeof s->made);
    text_from(root, "cut_short", s->rest, sizeof s->rest);
    text_from(root, "source", s->source, sizeof s->source);
    for (size_t i = 0; i < json_array_size(lines); i++)
        if (!line_from(json_array_get(lines, i), s))
            return err_set(e, ERR_FORMAT, "%s: line %zu of the sheet is damaged", path, i + 1);
    for (size_t i = 0; i < json_array_size(places) && i < ACCEPT_PLACES_MAX; i++)
        place_from(json_array_get(places, i), &s->place[s->place_count++]);
    return ERR_OK;
}

enum err report_accept_read(const char *path, struct accept_sheet *out, struct err_msg *e)
{
    struct buf text;
    json_error_t why;
    buf_init(&text, SHEET_BYTES);
    enum err err = file_read(path, &text, e);
    if (err != ERR_OK) {
        buf_release(&text);
        return err;
    }
    json_t *root =
        json_loadb(text.data != NULL ? text.data : "", text.len, JSON_REJECT_DUPLICATES, &why);
    if (root == NULL)
        err = err_set(e, ERR_FORMAT, "%s:%d: %s", path, why.line, why.text);
    else
        err = sheet_from(root, path, out, e);
    json_decref(root);
    buf_release(&text);
    return err;
}

/* ---- two sheets ---- */

enum err report_compare_json(const struct accept_sheet *before,
                             const struct accept_sheet *after, struct buf *out)
{
    bool failed = false;
    struct accept_difference d[ACCEPT_ITEMS];
    json_t *root = json_object();
    json_t *lines = json_array();
    accept_compare(before, after, d);
    for (int i = 0; i < ACCEPT_ITEMS; i++) {
        const struct accept_line *a = &before->line[i];
        const struct accept_line *b = &after->line[i];
        json_t *o = json_object();
        json_put(o, "line", json_text(accept_item_id((enum accept_item)i)), &failed);
        json_put(o, "change", json_text(accept_change_word(d[i].change)), &failed);
        json_put(o, "before", json_text(accept_state_word(a->state)), &failed);
        json_put(o, "after", json_text(accept_state_word(b->state)), &failed);
        json_put(o, "by", json_number_if(d[i].has_change, d[i].by, VALUE_DECIMALS), &failed);
        json_put(o, "uncertainty",
                 json_number_if(d[i].has_change, d[i].uncertainty, VALUE_DECIMALS), &failed);
        json_push(lines, o, &failed);
    }
    json_put(root, "schema", json_text("whichend.accept-compare/1"), &failed);
    json_put(root, "drive_before", json_text(before->drive), &failed);
    json_put(root, "drive_after", json_text(after->drive), &failed);
    json_put(root, "lines", lines, &failed);
    return json_finish(root, failed, out);
}
