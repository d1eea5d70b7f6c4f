/* What two taps show beside each other, and what a person told, as features. */
#include "evidence/feature_make.h"
#include "evidence/told.h"

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

static void as_told(struct feature *n, const char *section, const char *name)
{
    n->finding.observation = true;
    snprintf(n->finding.id, sizeof n->finding.id, "%s.%.60s", section, name);
    snprintf(n->finding.from, sizeof n->finding.from, "%s %.60s", section, name);
}

static enum err add_told(const struct case_file *c, const struct feature_from *f,
                         struct feature_list *l)
{
    for (size_t i = 0; i < c->told_count; i++) {
        const struct told *t = &c->told[i];
        enum told_question q = told_question_by_key(t->section, t->key);
        int answer = q < TOLD_QUESTIONS ? told_answer(q, t->value) : -1;
        struct feature *n;

        if (answer < 0)
            continue;
        TRY(feature_add(l, f, FEATURE_TOLD, told_row(q)->group, SIG_COUNT, answer, &n, "told",
                        "%s: %s", told_row(q)->text, t->value));
        n->sig2 = (int)q;
        n->answers = told_row(q)->answers;
        as_told(n, t->section, t->key);
        snprintf(n->finding.from, sizeof n->finding.from, "%s", t->section);
    }
    return ERR_OK;
}

/* A rail read with a meter at the drive's plug, against the drive's own limits. Off, it proves
 * nothing. */
static enum err add_meter_rail(const struct feature_from *f, const char *name,
                               struct feature_list *l)
{
    static const char *const key[RAIL_COUNT] = {"v5_v", "v12_v", "v24_v"};
    const char *line = case_told_named(f->c, "meter", name, "line"),
               *value = case_told_named(f->c, "meter", name, "value");
    const char *when = case_told_named(f->c, "meter", name, "when"), *unit = NULL;
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
    feature_value(n, volt, 0.05, "V");
    feature_limit(n, lim);
    as_told(n, "meter", name);
    return ERR_OK;
}

/* A level read with a meter on a line that nobody works: what it says of the line. Low level
 * limits: handbook, timing, bus.*: to 0.8 V is active, from 2 V inactive. */
static int level_state(double volt)
{
    return volt < 0.8 ? STATE_ALWAYS : volt > 2 ? STATE_NEVER : -1;
}

static enum err add_line_told(const struct feature_from *f, const struct wiring *w,
                              const char *section, const char *name, int state,
                              struct feature_list *l)
{
    const char *word = case_told_named(f->c, section, name, "line");
    const char *at = case_told_named(f->c, section, name, "at");
    bool at_drive = !at || strcmp(at, "machine-end");
    enum line line = word ? line_by_name(word) : LINE_NONE;
    enum sig s = line == LINE_NONE ? SIG_COUNT : wiring_sig(w, line, at_drive);
    static const char *const says[] = {"never active", "switching", "always active", "erratic"};
    struct feature *n;

    if (s == SIG_COUNT || state < 0)
        return ERR_OK;
    TRY(feature_add(l, f, FEATURE_LINE, group_of_sig(s), s, state, &n, "probe",
                    "%s at the %s end is %s on an access", word, at_drive ? "drive" : "machine",
                    says[state]));
    n->tap = at_drive ? TAP_DRIVE_END : TAP_MACHINE_END;
    as_told(n, section, name);
    return ERR_OK;
}

static enum err add_probe(const struct feature_from *f, const struct wiring *w,
                          const char *name, struct feature_list *l)
{
    static const char *const words[] = {"never", "toggles", "always", "erratic"};
    const char *state = case_told_named(f->c, "probe", name, "state");

    for (int i = 0; state && i < 4; i++)
        if (!strcmp(state, words[i]))
            return add_line_told(f, w, "probe", name, i, l);
    return ERR_OK;
}

/* One [meter NAME] or [probe NAME], at its first key. */
static enum err add_measured(const struct feature_from *f, const struct wiring *w,
                             const struct told *t, struct feature_list *l)
{
    const char *value = case_told_named(f->c, t->section, t->name, "value"), *unit = NULL;
    const char *when = case_told_named(f->c, t->section, t->name, "when");
    double volt;

    if (!strcmp(t->section, "probe"))
        return !strcmp(t->key, "line") ? add_probe(f, w, t->name, l) : ERR_OK;
    if (strcmp(t->section, "meter") || strcmp(t->key, "what"))
        return ERR_OK;
    if (!strcmp(t->value, "rail"))
        return add_meter_rail(f, t->name, l);
    if (strncmp(t->value, "level-", 6) || !value || !case_quantity(value, &volt, &unit) ||
        strcmp(unit, "V") || (when && !strcmp(when, "off")))
        return ERR_OK;
    return add_line_told(f, w, "meter", t->name, level_state(volt), l);
}

static int outcome_answer(enum outcome o)
{
    return o == OUTCOME_WORKED ? 0 : o == OUTCOME_SOMETIMES ? 2 : 1;
}

static const char *const came_of_it[] = {"it worked", "it failed", "it works sometimes"};

/* A part of this set in a chain that is known to work. */
static enum err add_tried(const struct feature_from *f, const struct swap_tried *s, int answer,
                          struct feature_list *l)
{
    struct feature *n;

    TRY(feature_add(l, f, FEATURE_TRIED, GROUP_SWAP, SIG_COUNT, answer, &n, "tried",
                    "this %s in a set that works: %s", s->part, came_of_it[answer]));
    n->sig2 = (int)end_by_name(s->part);
    as_told(n, "swap", s->name);
    return ERR_OK;
}

static enum err add_spare(const struct feature_from *f, const struct swap_tried *s,
                          struct feature_list *l)
{
    int answer = outcome_answer(s->outcome);
    struct feature *n;

    TRY(feature_add(l, f, FEATURE_SWAP, GROUP_SWAP, SIG_COUNT, answer, &n, "swap",
                    "with another %s (%s) %s", s->part,
                    s->known_good ? "known good" : "unknown", came_of_it[answer]));
    n->sig2 = (int)end_by_name(s->part);
    n->known_good = s->known_good;
    n->reseated = s->reseated != 0;
    n->count = s->count;
    if (s->back && !strcmp(s->back, "fault-returned"))
        n->back = BACK_RETURNED;
    else if (s->back && !strcmp(s->back, "stayed-away"))
        n->back = BACK_STAYED_AWAY;
    as_told(n, "swap", s->name);
    return ERR_OK;
}

static enum err add_swaps(const struct case_file *c, const struct feature_from *f,
                          struct feature_list *l)
{
    for (size_t i = 0; i < c->swap_count; i++) {
        const struct swap_tried *s = &c->swap[i];

        if (s->outcome == OUTCOME_UNKNOWN)
            continue;
        if (s->into && !strcmp(s->into, "good-chain"))
            TRY(add_tried(f, s, outcome_answer(s->outcome), l));
        else
            TRY(add_spare(f, s, l));
        if (s->elsewhere && strcmp(s->elsewhere, "not-tried"))
            TRY(add_tried(f, s, strcmp(s->elsewhere, "worked") != 0, l));
    }
    return ERR_OK;
}

static enum err add_repair(const struct feature_from *f, const struct told *t,
                           struct feature_list *l)
{
    static const char *const words[] = {"worked", "partly", "failed", "sometimes"};
    const char *outcome = case_told_named(f->c, "repair", t->name, "outcome");
    const char *did = case_told_named(f->c, "repair", t->name, "did");
    struct feature *n;

    for (int i = 0; outcome && i < 4; i++) {
        if (strcmp(outcome, words[i]))
            continue;
        TRY(feature_add(l, f, FEATURE_REPAIR, GROUP_SWAP, SIG_COUNT, i, &n, "repair",
                        "work on the %s (%s): %s", t->value, did ? did : "of some kind",
                        outcome));
        n->sig2 = (int)end_by_name(t->value);
        n->repair_kinds = did ? repair_kind_bit(did) : 0;
        as_told(n, "repair", t->name);
    }
    return ERR_OK;
}

/* [examined FAULT]: the test that was named for it has been made. */
static enum err add_examined(const struct feature_from *f, const struct told *t,
                             struct feature_list *l)
{
    bool found = !strcmp(t->value, "yes");
    struct feature *n;

    TRY(feature_add(l, f, FEATURE_EXAMINED, GROUP_SWAP, SIG_COUNT, found, &n, "examined",
                    "%s was looked for and %s", t->name, found ? "found" : "not found"));
    n->fault = t->name;
    as_told(n, "examined", t->name);
    return ERR_OK;
}

static enum err add_selfcheck(const struct feature_from *f, const struct told *t,
                              struct feature_list *l)
{
    struct feature *n;

    TRY(feature_add(l, f, FEATURE_SELFCHECK, GROUP_SWAP, SIG_COUNT,
                    strcmp(t->value, "passed") != 0, &n, "selfcheck",
                    "the check of the adapter and its leads %s", t->value));
    as_told(n, "selfcheck", t->key);
    return ERR_OK;
}

enum err features_from_told(const struct case_file *c, const struct wiring *w,
                            struct feature_list *out)
{
    struct feature_from f = {.c = c, .run = -1};

    TRY(add_told(c, &f, out));
    for (size_t i = 0; i < c->told_count; i++) {
        const struct told *t = &c->told[i];

        TRY(add_measured(&f, w, t, out));
        if (!strcmp(t->section, "repair") && !strcmp(t->key, "part"))
            TRY(add_repair(&f, t, out));
        if (!strcmp(t->section, "examined"))
            TRY(add_examined(&f, t, out));
        if (!strcmp(t->section, "selfcheck") && !strcmp(t->key, "result") &&
            strcmp(t->value, "not-done"))
            TRY(add_selfcheck(&f, t, out));
    }
    return add_swaps(c, &f, out);
}
