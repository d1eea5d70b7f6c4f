/* What two taps show beside each other, and what a person told, as features. */
#include "evidence/feature_make.h"

#include <stdio.h>
#include <string.h>

enum err features_from_taps(const struct case_file *c, size_t drive_capture, int run,
                            const struct tap_compare *t, const struct wiring *w,
                            struct feature_list *out)
{
    struct feature_from f = {.c = c,
                             .cap = &c->capture[drive_capture],
                             .w = w,
                             .capture = drive_capture,
                             .run = run,
                             .at_drive = true,
                             .name = w->at_drive};

    if (!t->aligned)
        return ERR_OK;
    for (size_t i = 0; i < t->line_count; i++) {
        enum sig s = wiring_sig(w, t->line[i].machine_line, false);
        bool differ = t->line[i].relation == TAP_DIFFER;
        char id[48];

        if (s == SIG_COUNT || (t->line[i].relation != TAP_SAME && !differ))
            continue;
        snprintf(id, sizeof id, "taps.%s.%s", line_name(t->line[i].machine_line),
                 differ ? "differ" : "match");
        TRY(feature_add(
            out, &f, FEATURE_TAPS, GROUP_SELECT, s, differ, NULL, id,
            differ ? "%s is not the same at the two plugs: %lld edges at the machine end only, "
                     "%lld at the drive end only"
                   : "%s is the same at both plugs (%lld and %lld edges without a partner)",
            line_name(t->line[i].machine_line), (long long)t->line[i].only_machine,
            (long long)t->line[i].only_drive));
    }
    return ERR_OK;
}

struct told_rule {
    const char *key;
    enum feature_kind kind;
    const char *value[3];
    const char *text;
};

static const struct told_rule rules[] = {
    {"lamp", FEATURE_LAMP, {"never", "on-access", "always"}, "the drive's lamp lights"},
    {"spindle", FEATURE_SPINDLE, {"still", "turns", "turns-slowly"}, "the spindle"},
    {"head-at-start", FEATURE_HEAD, {"still", "moves", "hammers"}, "the head at the start"},
    {"lamp-host-off",
     FEATURE_HOST_OFF,
     {"no", "yes", NULL},
     "the lamp is lit with the machine off"},
    {"motor-host-off",
     FEATURE_HOST_OFF,
     {"no", "yes", NULL},
     "the motor turns with the machine off"},
};

static enum err add_told(const struct case_file *c, const struct feature_from *f,
                         struct feature_list *l)
{
    for (size_t i = 0; i < sizeof rules / sizeof *rules; i++) {
        const struct told_rule *r = &rules[i];
        const char *value = case_told(c, "observed", r->key);
        struct feature *n;
        char id[48];

        for (int a = 0; value && a < 3 && r->value[a]; a++) {
            if (strcmp(value, r->value[a]))
                continue;
            snprintf(id, sizeof id, "observed.%s", r->key);
            TRY(feature_add(l, f, r->kind, GROUP_PERSON, SIG_COUNT, a, &n, id, "%s: %s",
                            r->text, value));
            n->finding.observation = true;
            snprintf(n->finding.from, sizeof n->finding.from, "observed");
        }
    }
    return ERR_OK;
}

static const char *meter_value(const struct case_file *c, const char *name, const char *key)
{
    for (size_t i = 0; i < c->told_count; i++)
        if (!strcmp(c->told[i].section, "meter") && !strcmp(c->told[i].name, name) &&
            !strcmp(c->told[i].key, key))
            return c->told[i].value;
    return NULL;
}

/* A rail read with a meter at the drive's plug, against the drive's own limits. Off, it proves
 * nothing. */
static enum err add_meter_rail(const struct feature_from *f, const char *name,
                               struct feature_list *l)
{
    static const char *const key[RAIL_COUNT] = {"v5_v", "v12_v", "v24_v"};
    const char *line = meter_value(f->c, name, "line"),
               *value = meter_value(f->c, name, "value");
    const char *when = meter_value(f->c, name, "when"), *unit = NULL;
    enum rail r = line ? rail_by_name(line) : RAIL_NONE;
    const struct limit *lim = r < RAIL_COUNT ? profile_limit(f->c->drive, key[r]) : NULL;
    struct feature *n;
    double volt;

    if (!lim || !lim->has_min || !value || !case_quantity(value, &volt, &unit) || !unit ||
        strcmp(unit, "V") || (when && !strcmp(when, "off")))
        return ERR_OK;
    TRY(feature_add(l, f, FEATURE_RAIL, GROUP_POWER, SIG_COUNT,
                    volt < lim->min / 2 ? 2 : volt < lim->min, &n, "meter.rail",
                    "%s reads %.2f V%s%s", line, volt, when ? " while " : "",
                    when ? when : ""));
    n->sig2 = (int)r;
    n->finding.observation = true;
    feature_value(n, volt, 0.05, "V");
    feature_limit(n, lim);
    snprintf(n->finding.id, sizeof n->finding.id, "meter.%.60s", name);
    snprintf(n->finding.from, sizeof n->finding.from, "meter %.60s", name);
    return ERR_OK;
}

static enum err add_meters(const struct case_file *c, const struct feature_from *f,
                           struct feature_list *l)
{
    for (size_t i = 0; i < c->told_count; i++)
        if (!strcmp(c->told[i].section, "meter") && !strcmp(c->told[i].key, "what") &&
            !strcmp(c->told[i].value, "rail"))
            TRY(add_meter_rail(f, c->told[i].name, l));
    return ERR_OK;
}

enum err features_from_told(const struct case_file *c, struct feature_list *out)
{
    struct feature_from f = {.c = c, .run = -1};

    TRY(add_told(c, &f, out));
    TRY(add_meters(c, &f, out));
    for (size_t i = 0; i < c->swap_count; i++) {
        const struct swap_tried *s = &c->swap[i];
        struct feature *n;
        int a = s->outcome == OUTCOME_WORKED ? 0 : s->outcome == OUTCOME_SOMETIMES ? 2 : 1;

        if (s->outcome == OUTCOME_UNKNOWN || (s->into && !strcmp(s->into, "good-chain")))
            continue;
        TRY(feature_add(out, &f, FEATURE_SWAP, GROUP_SWAP, SIG_COUNT, a, &n, "swap",
                        "with another %s (%s) it %s", s->part,
                        s->known_good ? "known good" : "unknown",
                        a == 0   ? "worked"
                        : a == 1 ? "failed"
                                 : "works sometimes"));
        n->sig2 = (int)end_by_name(s->part);
        n->known_good = s->known_good;
        if (s->back && !strcmp(s->back, "fault-returned"))
            n->back = BACK_RETURNED;
        else if (s->back && !strcmp(s->back, "stayed-away"))
            n->back = BACK_STAYED_AWAY;
        n->finding.observation = true;
        snprintf(n->finding.id, sizeof n->finding.id, "swap.%.60s", s->name);
        snprintf(n->finding.from, sizeof n->finding.from, "swap %.60s", s->name);
    }
    return ERR_OK;
}
