/* `whichend profile list|show`. */
#include "report/json.h"
#include "report/lists.h"
#include "report/text.h"

#include <stdio.h>
#include <string.h>

#define NUMBER_TEXT_MAX 96

enum err report_profiles_text(const struct profile_row *row, size_t count,
                              const struct text_style *s, struct buf *out)
{
    enum profile_kind kind = PROFILE_KINDS;
    for (size_t i = 0; i < count; i++) {
        if (row[i].kind != kind) {
            kind = row[i].kind;
            TRY(text_heading(out, s, profile_kind_word(kind)));
        }
        TRY(text_wrap(out, 2, row[i].name, 28, row[i].title));
    }
    return ERR_OK;
}

enum err report_profiles_json(const struct profile_row *row, size_t count, struct buf *out)
{
    bool failed = false;
    json_t *root = json_object();
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        json_t *o = json_object();
        json_put(o, "kind", json_string(profile_kind_word(row[i].kind)), &failed);
        json_put(o, "name", json_text(row[i].name), &failed);
        json_put(o, "title", json_text(row[i].title), &failed);
        json_push(list, o, &failed);
    }
    json_put(root, "schema", json_string("whichend.profiles/1"), &failed);
    json_put(root, "profiles", list, &failed);
    return json_finish(root, failed, out);
}

/* "min 295.5, typ 300, max 304.5 rpm" or the words */
static const char *value_text(const struct limit *l, char out[NUMBER_TEXT_MAX])
{
    size_t at = 0;
    const struct {
        bool has;
        const char *name;
        double value;
    } part[] = {
        {l->has_min, "min", l->min}, {l->has_typ, "typ", l->typ}, {l->has_max, "max", l->max}};
    if (l->word != NULL) {
        (void)snprintf(out, NUMBER_TEXT_MAX, "%s", l->word);
        return out;
    }
    out[0] = '\0';
    for (size_t i = 0; i < 3; i++) {
        if (part[i].has) {
            at += (size_t)snprintf(out + at, NUMBER_TEXT_MAX - at, "%s%s %.6g",
                                   at > 0 ? ", " : "", part[i].name, part[i].value);
        }
    }
    (void)snprintf(out + at, NUMBER_TEXT_MAX - at, " %s", l->unit);
    return out;
}

static enum err lines_text(const struct profile *p, const struct text_style *s, struct buf *out)
{
    line_set lines = profile_lines(p);
    struct buf names;
    enum err e = ERR_OK;
    if (lines == 0) {
        return ERR_OK;
    }
    buf_init(&names, 1000);
    for (int l = 0; l < LINE_COUNT && e == ERR_OK; l++) {
        if (lines & LINE_BIT(l)) {
            e = buf_printf(&names, "%s ", line_name((enum line)l));
        }
    }
    e = e == ERR_OK ? text_heading(out, s, "lines") : e;
    e = e == ERR_OK ? text_wrap(out, 2, "", 2, names.data) : e;
    buf_release(&names);
    return e;
}

static enum err pins_text(const struct profile *p, const struct text_style *s, struct buf *out)
{
    TRY(text_heading(out, s, "pins (machine's plug, drive's plug)"));
    for (int pin = 1; pin <= cable_pins(p); pin++) {
        enum line line = cable_machine_line(p, pin);
        enum line far = line != LINE_NONE ? cable_to_drive(p, line) : LINE_NONE;
        char lead[16];
        if (line == LINE_NONE) {
            continue;
        }
        (void)snprintf(lead, sizeof lead, "%3d", pin);
        if (far == LINE_NONE) {
            TRY(text_wrapf(out, 2, lead, 7, "%-10s not carried", line_name(line)));
        } else {
            TRY(text_wrapf(out, 2, lead, 7, "%-10s pin %d, %s", line_name(line),
                           cable_drive_pin(p, far), line_name(far)));
        }
    }
    return ERR_OK;
}

enum err report_profile_text(const struct profile *p, const struct text_style *s,
                             struct buf *out)
{
    const struct limit *limit = NULL;
    size_t count = profile_limits(p, &limit);
    char value[NUMBER_TEXT_MAX];
    TRY(text_tinted(out, s, TINT_STRONG, 0, profile_name(p), 0, ""));
    TRY(text_wrap(out, 2, "", 2, profile_title(p)));
    if (profile_note(p)[0] != '\0') {
        TRY(text_wrap(out, 2, "", 2, profile_note(p)));
    }
    if (count > 0) {
        TRY(text_heading(out, s, "values"));
    }
    for (size_t i = 0; i < count; i++) {
        TRY(text_wrap(out, 2, limit[i].key, 28, value_text(&limit[i], value)));
        TRY(text_wrapf(out, 6, "source:", 14, "%s%s%s%s",
                       limit[i].source != NULL ? limit[i].source : "none",
                       limit[i].confidence != NULL ? " (confidence " : "",
                       limit[i].confidence != NULL ? limit[i].confidence : "",
                       limit[i].confidence != NULL ? ")" : ""));
    }
    TRY(lines_text(p, s, out));
    return profile_kind_of(p) == PROFILE_CABLE ? pins_text(p, s, out) : ERR_OK;
}

static json_t *limit_json(const struct limit *l, bool *failed)
{
    json_t *o = json_object();
    json_put(o, "key", json_text(l->key), failed);
    json_put(o, "word", json_text(l->word), failed);
    json_put(o, "min", json_number_if(l->has_min, l->min, 6), failed);
    json_put(o, "typ", json_number_if(l->has_typ, l->typ, 6), failed);
    json_put(o, "max", json_number_if(l->has_max, l->max, 6), failed);
    json_put(o, "unit", json_text(l->unit), failed);
    json_put(o, "source", json_text(l->source), failed);
    json_put(o, "confidence", json_text(l->confidence), failed);
    return o;
}

static json_t *pins_json(const struct profile *p, bool *failed)
{
    json_t *a = json_array();
    for (int pin = 1; pin <= cable_pins(p); pin++) {
        enum line line = cable_machine_line(p, pin);
        enum line far = line != LINE_NONE ? cable_to_drive(p, line) : LINE_NONE;
        json_t *o = NULL;
        if (line == LINE_NONE) {
            continue;
        }
        o = json_object();
        json_put(o, "machine_pin", json_integer(pin), failed);
        json_put(o, "machine_line", json_string(line_name(line)), failed);
        json_put(o, "drive_pin",
                 far != LINE_NONE ? json_integer(cable_drive_pin(p, far)) : json_null(),
                 failed);
        json_put(o, "drive_line", far != LINE_NONE ? json_string(line_name(far)) : json_null(),
                 failed);
        json_push(a, o, failed);
    }
    return a;
}

enum err report_profile_json(const struct profile *p, struct buf *out)
{
    bool failed = false;
    const struct limit *limit = NULL;
    size_t count = profile_limits(p, &limit);
    json_t *root = json_object();
    json_t *values = json_array();
    json_t *lines = json_array();
    for (size_t i = 0; i < count; i++) {
        json_push(values, limit_json(&limit[i], &failed), &failed);
    }
    for (int l = 0; l < LINE_COUNT; l++) {
        if (profile_lines(p) & LINE_BIT(l)) {
            json_push(lines, json_string(line_name((enum line)l)), &failed);
        }
    }
    json_put(root, "schema", json_string("whichend.profile/1"), &failed);
    json_put(root, "kind", json_string(profile_kind_word(profile_kind_of(p))), &failed);
    json_put(root, "name", json_text(profile_name(p)), &failed);
    json_put(root, "title", json_text(profile_title(p)), &failed);
    json_put(root, "values", values, &failed);
    json_put(root, "lines", lines, &failed);
    json_put(root, "pins",
             profile_kind_of(p) == PROFILE_CABLE ? pins_json(p, &failed) : json_null(),
             &failed);
    return json_finish(root, failed, out);
}

enum err report_names_json(const char *schema, const char *key, const char *const *name,
                           size_t count, struct buf *out)
{
    bool failed = false;
    json_t *root = json_object();
    json_t *list = json_array();
    for (size_t i = 0; i < count; i++) {
        json_push(list, json_text(name[i]), &failed);
    }
    json_put(root, "schema", json_string(schema), &failed);
    json_put(root, key, list, &failed);
    return json_finish(root, failed, out);
}
