/* What selfcheck found, as text and as JSON. */
#include "cli/selfcheck.h"
#include "report/json.h"
#include "report/text.h"

#include <stdio.h>
#include <string.h>

struct check_item *selfcheck_add(struct selfcheck *c, enum line line)
{
    size_t at = c->items < CHECK_ITEMS_MAX ? c->items++ : CHECK_ITEMS_MAX - 1;
    c->item[at] = (struct check_item){.line = line};
    return &c->item[at];
}

size_t selfcheck_faults(const struct selfcheck *c)
{
    size_t n = 0;
    for (size_t i = 0; i < c->items; i++)
        n += !c->item[i].untested;
    return n;
}

int selfcheck_status(const struct selfcheck *c)
{
    if (selfcheck_faults(c) > 0)
        return EXIT_FAULT;
    return c->items > 0 ? EXIT_UNDECIDED : 0;
}

void selfcheck_release(struct selfcheck *c)
{
    buf_release(&c->not_tested);
}

/* ---- supply ---- */

#define RAIL_THERE_V 1

static void supply_fault(const struct check_supply *s, struct selfcheck *out)
{
    struct check_item *x = selfcheck_add(out, LINE_NONE);
    (void)snprintf(x->fault, sizeof x->fault, "power.%s.out-of-limits", rail_name(s->rail));
    (void)snprintf(x->text, sizeof x->text, "%s reads %.2f V, %.2f to %.2f V is wanted",
                   rail_name(s->rail), s->volts, s->min, s->max);
    x->why = "metered by the adapter, held against the drive's profile";
    x->next = "measure it at the power plug, loaded, the right way round, before a known-good "
              "drive or machine joins";
}

enum err selfcheck_supply(const struct adapter_use *u, const struct adapter_status *st,
                          struct selfcheck *out)
{
    static const char *const key[WIRE_RAILS] = {"v5_v", "v12_v", "v24_v"};
    for (int i = 0; i < WIRE_RAILS; i++) {
        const struct limit *l = profile_limit(u->drive, key[i]);
        double volts = st->rail_mv[i] / 1000.0;
        if (st->rail_mv[i] == WIRE_NO_METER || l == NULL)
            continue;
        struct check_supply *s = &out->supply[out->supplies++];
        *s = (struct check_supply){(enum rail)i, volts, l->has_min ? l->min : 0.95 * l->typ,
                                   l->has_max ? l->max : 1.05 * l->typ, "good"};
        if (volts < RAIL_THERE_V) {
            s->state = "not there";
            TRY(buf_printf(&out->not_tested, "supply %s: nothing on its lead (%.2f V)\n",
                           rail_name((enum rail)i), volts));
        } else if (volts < s->min || volts > s->max) {
            s->state = "out of limits";
            supply_fault(s, out);
        }
    }
    return ERR_OK;
}

/* ---- text ---- */

enum err selfcheck_answer(const struct selfcheck *c, struct buf *out)
{
    size_t faults = selfcheck_faults(c);
    bool cable = c->role == WIRE_ROLE_BOTH_PLUGS;
    const struct check_item *first = NULL;
    for (size_t i = c->items; i > 0; i--)
        if (!c->item[i - 1].untested)
            first = &c->item[i - 1];
    if (first != NULL && faults == 1)
        return buf_str(out, first->text);
    if (first != NULL)
        return buf_printf(out, "%zu faults; the first: %s", faults, first->text);
    if (c->items > 0)
        return buf_printf(out, "no fault in what could be tested: %s", c->item[0].text);
    if (cable)
        return buf_printf(out,
                          "all %zu conductors looked at carry, none touches another or ground",
                          c->conductors);
    return buf_printf(out, "all %zu lines pull, read and lead where they should",
                      c->conductors);
}

static const char *end_at_fault(const struct selfcheck *c)
{
    for (size_t i = 0; i < c->items; i++)
        if (!c->item[i].untested && strncmp(c->item[i].fault, "power.", 6) != 0)
            return c->role == WIRE_ROLE_BOTH_PLUGS ? "the cable" : "bench and fitting";
    return "the power supply";
}

static enum err say_answer(const struct selfcheck *c, const struct text_style *s,
                           struct buf *out)
{
    bool faulty = selfcheck_faults(c) > 0;
    const char *lead = faulty ? "At fault:" : c->items > 0 ? "Not all tested:" : "Sound:";
    enum tint tint = faulty ? TINT_BAD : c->items > 0 ? TINT_WARN : TINT_GOOD;
    struct buf line;
    buf_init(&line, 1024);
    enum err err = faulty ? buf_printf(&line, "%s - ", end_at_fault(c)) : ERR_OK;
    if (err == ERR_OK)
        err = selfcheck_answer(c, &line);
    if (err == ERR_OK)
        err = text_tinted(out, s, tint, 0, lead, (int)strlen(lead) + 1, line.data);
    buf_release(&line);
    return err;
}

static enum err say_items(const struct selfcheck *c, const struct text_style *s,
                          struct buf *out)
{
    TRY(text_heading(out, s, "Why"));
    for (size_t i = 0; i < c->items; i++) {
        TRY(text_wrap(out, 2, "-", 4, c->item[i].text));
        TRY(text_wrap(out, 4, "", 4, c->item[i].why));
    }
    TRY(text_wrapf(out, 2, "-", 4, "%u %s looked at, %u time%s over", c->looked_at,
                   c->role == WIRE_ROLE_LOOP ? "lines" : "pins", c->passes,
                   c->passes == 1 ? "" : "s"));
    for (size_t i = 0; i < c->supplies; i++)
        TRY(text_wrapf(out, 2, "-", 4, "supply %s: %.2f V, %s (%.2f to %.2f V)",
                       rail_name(c->supply[i].rail), c->supply[i].volts, c->supply[i].state,
                       c->supply[i].min, c->supply[i].max));
    if (c->items == 0)
        return ERR_OK;
    TRY(text_heading(out, s, "What to do next"));
    unsigned n = 0;
    for (size_t i = 0; i < c->items; i++) {
        bool told = false;
        for (size_t k = 0; k < i; k++)
            told = told || c->item[k].next == c->item[i].next;
        if (!told) {
            char lead[16];
            (void)snprintf(lead, sizeof lead, "%u.", ++n);
            TRY(text_wrap(out, 2, lead, 5, c->item[i].next));
        }
    }
    return ERR_OK;
}

/* Each line of the list as an entry. */
static enum err say_not_tested(const struct selfcheck *c, const struct text_style *s,
                               struct buf *out)
{
    const char *at = c->not_tested.data;
    TRY(text_heading(out, s, "Not tested"));
    while (at != NULL && *at != '\0') {
        size_t len = strcspn(at, "\n");
        char line[1200];
        (void)snprintf(line, sizeof line, "%.*s", (int)len, at);
        TRY(text_wrap(out, 2, "-", 4, line));
        at += len + (at[len] == '\n');
    }
    return ERR_OK;
}

enum err selfcheck_text(const struct selfcheck *c, const struct text_style *s, struct buf *out)
{
    TRY(say_answer(c, s, out));
    TRY(say_items(c, s, out));
    TRY(say_not_tested(c, s, out));
    TRY(text_heading(out, s, "Cautions"));
    if (c->write_link)
        TRY(text_wrap(out, 2, "-", 4,
                      "the link of the write gate is closed: open it unless a scratch disk is "
                      "meant to be written"));
    return text_wrap(out, 2, "-", 4,
                     "no disk in any drive, power off before a plug is moved; local codes and "
                     "licensed practice stand above these hints");
}

/* ---- JSON ---- */

static json_t *pin_json(int pin)
{
    return pin > 0 ? json_integer(pin) : json_null();
}

static json_t *item_json(const struct check_item *x, bool *failed)
{
    json_t *o = json_object();
    json_put(o, "fault", json_text(x->fault), failed);
    json_put(o, "line", json_text(x->line != LINE_NONE ? line_name(x->line) : NULL), failed);
    json_put(o, "machine_pin", pin_json(x->pin), failed);
    json_put(o, "drive_pin", pin_json(x->far), failed);
    json_put(o, "at_times", json_boolean(x->at_times), failed);
    json_put(o, "seen", x->of > 0 ? json_integer(x->seen) : json_null(), failed);
    json_put(o, "looks", x->of > 0 ? json_integer(x->of) : json_null(), failed);
    json_put(o, "text", json_text(x->text), failed);
    json_put(o, "why", json_text(x->why), failed);
    json_put(o, "next", json_text(x->next), failed);
    return o;
}

static json_t *conductors_json(const struct selfcheck *c, bool *failed)
{
    json_t *list = json_array();
    for (size_t i = 0; i < c->conductors; i++) {
        const struct check_conductor *k = &c->conductor[i];
        json_t *o = json_object();
        json_put(o, "line", json_text(k->line != LINE_NONE ? line_name(k->line) : NULL),
                 failed);
        json_put(o, "machine_pin", pin_json(k->pin), failed);
        json_put(o, "drive_pin", pin_json(k->far), failed);
        json_put(o, "state", json_text(k->state), failed);
        json_push(list, o, failed);
    }
    return list;
}

static json_t *supply_json(const struct selfcheck *c, bool *failed)
{
    json_t *list = json_array();
    for (size_t i = 0; i < c->supplies; i++) {
        const struct check_supply *k = &c->supply[i];
        json_t *o = json_object();
        json_put(o, "rail", json_text(rail_name(k->rail)), failed);
        json_put(o, "volts", json_number(k->volts, 3), failed);
        json_put(o, "min", json_number(k->min, 3), failed);
        json_put(o, "max", json_number(k->max, 3), failed);
        json_put(o, "state", json_text(k->state), failed);
        json_push(list, o, failed);
    }
    return list;
}

static json_t *lines_json(const char *text, bool *failed)
{
    json_t *list = json_array();
    while (text != NULL && *text != '\0') {
        size_t len = strcspn(text, "\n");
        json_push(list, json_stringn(text, len), failed);
        text += len + (text[len] == '\n');
    }
    return list;
}

enum err selfcheck_json(const struct selfcheck *c, const char *adapter, struct buf *out)
{
    static const char *const results[] = {"passed", "failed", "incomplete"};
    bool failed = false;
    int status = selfcheck_status(c);
    struct buf answer;
    json_t *root = json_object();
    json_t *faults = json_array();
    json_t *untested = json_array();
    buf_init(&answer, 1024);
    failed = selfcheck_answer(c, &answer) != ERR_OK;
    for (size_t i = 0; i < c->items; i++)
        json_push(c->item[i].untested ? untested : faults, item_json(&c->item[i], &failed),
                  &failed);
    json_put(root, "schema", json_text("whichend.selfcheck/1"), &failed);
    json_put(root, "adapter", json_text(adapter), &failed);
    json_put(root, "role", json_text(role_word(c->role)), &failed);
    json_put(root, "cable", json_text(c->cable), &failed);
    json_put(root, "result",
             json_text(results[status == 0            ? 0
                               : status == EXIT_FAULT ? 1
                                                      : 2]),
             &failed);
    json_put(root, "summary", json_text(answer.data), &failed);
    json_put(root, "passes", json_integer(c->passes), &failed);
    json_put(root, "faults", faults, &failed);
    json_put(root, "undecided", untested, &failed);
    json_put(root, "conductors", conductors_json(c, &failed), &failed);
    json_put(root, "supply", supply_json(c, &failed), &failed);
    json_put(root, "write_link", json_text(c->write_link ? "closed" : "open"), &failed);
    json_put(root, "not_tested", lines_json(c->not_tested.data, &failed), &failed);
    buf_release(&answer);
    return json_finish(root, failed, out);
}
