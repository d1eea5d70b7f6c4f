/* `whichend case show|questions`. */
#include "report/json.h"
#include "report/lists.h"
#include "report/text.h"

#include <stdio.h>
#include <string.h>

/* What the case already says: the value in its ini, NULL where it does not. Named sections are
 * not looked into: they can be given any number of times. */
static const char *said(const struct case_file *c, const struct case_key *k)
{
    return c != NULL ? ini_file_get(&c->ini, k->section, k->key) : NULL;
}

#define MOST_TELLING 6

static enum err most_telling(const struct question_rank *rank, size_t ranks,
                             const struct text_style *s, struct buf *out)
{
    char allowed[CASE_VALUES_TEXT_MAX];
    if (ranks == 0) {
        return ERR_OK;
    }
    TRY(text_heading(out, s, "What would help this case most"));
    for (size_t i = 0; i < ranks && i < MOST_TELLING; i++) {
        const struct case_key *k = case_key_find(rank[i].row->section, rank[i].row->key);
        TRY(text_wrap(out, 2, k->key, 24, case_values_text(k, allowed)));
        TRY(text_wrap(out, 6, "", 6, k->question));
    }
    return ERR_OK;
}

static json_t *bits_of(const struct case_key *k, const struct question_rank *rank, size_t ranks)
{
    for (size_t i = 0; i < ranks; i++) {
        if (strcmp(rank[i].row->section, k->section) == 0 &&
            strcmp(rank[i].row->key, k->key) == 0) {
            return json_real(rank[i].bits);
        }
    }
    return json_null();
}

enum err report_questions_text(const struct case_file *c, const struct question_rank *rank,
                               size_t ranks, const struct text_style *s, struct buf *out)
{
    const struct case_key *key = NULL;
    size_t count = case_keys(&key);
    const char *section = "";
    char lead[64];
    char allowed[CASE_VALUES_TEXT_MAX];
    TRY(most_telling(rank, ranks, s, out));
    for (size_t i = 0; i < count; i++) {
        const char *value = said(c, &key[i]);
        if (strcmp(section, key[i].section) != 0) {
            section = key[i].section;
            (void)snprintf(lead, sizeof lead, "[%s%s]", section,
                           case_section_named(section) ? " NAME" : "");
            TRY(text_heading(out, s, lead));
        }
        TRY(text_wrap(out, 2, key[i].key, 24, case_values_text(&key[i], allowed)));
        if (key[i].question != NULL) {
            TRY(text_wrap(out, 6, "", 6, key[i].question));
        }
        if (value != NULL) {
            TRY(text_wrap(out, 6, "this case says:", 22, value));
        }
    }
    return ERR_OK;
}

enum err report_questions_json(const struct case_file *c, const struct question_rank *rank,
                               size_t ranks, struct buf *out)
{
    bool failed = false;
    const struct case_key *key = NULL;
    size_t count = case_keys(&key);
    json_t *root = json_object();
    json_t *list = json_array();
    char allowed[CASE_VALUES_TEXT_MAX];
    for (size_t i = 0; i < count; i++) {
        json_t *o = json_object();
        json_put(o, "section", json_string(key[i].section), &failed);
        json_put(o, "named", json_boolean(case_section_named(key[i].section)), &failed);
        json_put(o, "key", json_string(key[i].key), &failed);
        json_put(o, "values", json_text(case_values_text(&key[i], allowed)), &failed);
        json_put(o, "question", json_text(key[i].question), &failed);
        json_put(o, "said", json_text(said(c, &key[i])), &failed);
        json_put(o, "bits", bits_of(&key[i], rank, ranks), &failed);
        json_push(list, o, &failed);
    }
    json_put(root, "schema", json_string("whichend.questions/1"), &failed);
    json_put(root, "questions", list, &failed);
    return json_finish(root, failed, out);
}

static enum err profile_line(const char *what, const struct profile *p, bool assumed,
                             struct buf *out)
{
    return text_wrapf(out, 2, what, 12, "%s%s", profile_name(p),
                      assumed ? " (assumed: the case names none)" : "");
}

enum err report_case_text(const struct case_file *c, const struct text_style *s,
                          struct buf *out)
{
    const char *section = NULL;
    TRY(text_tinted(out, s, TINT_STRONG, 0, c->title, 0, ""));
    TRY(profile_line("machine", c->machine, c->machine_assumed, out));
    TRY(profile_line("drive", c->drive, c->drive_assumed, out));
    TRY(profile_line("cable", c->cable, c->cable_assumed, out));
    for (size_t i = 0; i < c->ini.count; i++) {
        const struct ini_entry *x = &c->ini.entry[i];
        if (x->key == NULL) {
            section = x->section;
            char heading[120];
            (void)snprintf(heading, sizeof heading, "[%s]", section);
            TRY(text_heading(out, s, heading));
        } else {
            TRY(text_wrap(out, 2, x->key, 24, x->value));
        }
    }
    return ERR_OK;
}

enum err report_case_json(const struct case_file *c, struct buf *out)
{
    bool failed = false;
    json_t *root = json_object();
    json_t *sections = json_array();
    json_t *keys = NULL;
    for (size_t i = 0; i < c->ini.count; i++) {
        const struct ini_entry *x = &c->ini.entry[i];
        if (x->key == NULL) {
            json_t *o = json_object();
            keys = json_object();
            json_put(o, "section", json_text(x->section), &failed);
            json_put(o, "keys", keys, &failed);
            json_push(sections, o, &failed);
        } else if (keys != NULL) {
            json_put(keys, x->key, json_text(x->value), &failed);
        }
    }
    json_put(root, "schema", json_string("whichend.case/1"), &failed);
    json_put(root, "title", json_text(c->title), &failed);
    json_put(root, "machine", json_text(profile_name(c->machine)), &failed);
    json_put(root, "drive", json_text(profile_name(c->drive)), &failed);
    json_put(root, "cable", json_text(profile_name(c->cable)), &failed);
    json_put(root, "sections", sections, &failed);
    return json_finish(root, failed, out);
}
