#include "judge/catalogue.h"

#include "base/buf.h"
#include "judge/priors.h"
#include "judge/traits.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FAULTS_MAX 1000
#define PAIRS_MAX  40

struct section {
    const struct ini_file *file;
    const char *name;
    int line;
    const char *weight, *effect, *text, *next, *caution, *lines, *needs, *origin, *source;
    const char *varies, *signs, *cured, *reach;
};

struct load {
    const struct case_file *c;
    const struct wiring *w;
    struct catalogue *out;
    struct err_msg *e;
    bool tapped[3];
};

static enum err bad(const struct load *l, const struct section *s, const char *why)
{
    return err_set(l->e, ERR_FORMAT, "%s:%d: [%s] %s", s->file->path, s->line, s->name, why);
}

static enum err number(const struct load *l, const struct section *s, const char *text,
                       double *out)
{
    char *end;

    if (!text)
        return bad(l, s, "needs a weight or share");
    errno = 0;
    *out = strtod(text, &end);
    if (*end || errno || !(*out > 0) || *out > 1e6)
        return bad(l, s, "weight or share is no number above 0");
    return ERR_OK;
}

static enum err read_section(const struct ini_file *f, const char *name, struct section *s,
                             struct err_msg *e)
{
    *s = (struct section){.file = f, .name = name};
    for (size_t i = 0; i < f->count; i++) {
        const struct ini_entry *n = &f->entry[i];
        const struct {
            const char *key;
            const char **to;
        } keys[] = {{"weight", &s->weight}, {"effect", &s->effect},   {"text", &s->text},
                    {"next", &s->next},     {"caution", &s->caution}, {"lines", &s->lines},
                    {"needs", &s->needs},   {"origin", &s->origin},   {"source", &s->source},
                    {"varies", &s->varies}, {"signs", &s->signs},     {"cured", &s->cured},
                    {"reach", &s->reach}};
        bool known = false;

        if (strcmp(n->section, name))
            continue;
        if (!n->key) {
            s->line = n->line;
            continue;
        }
        for (size_t k = 0; k < sizeof keys / sizeof *keys; k++) {
            if (strcmp(keys[k].key, n->key))
                continue;
            *keys[k].to = n->value;
            known = true;
        }
        if (!known)
            return err_set(e, ERR_FORMAT, "%s:%d: unknown key '%s' in [%s]", f->path, n->line,
                           n->key, name);
    }
    return ERR_OK;
}

/* Replace '*' by a line's name. */
static void expand(char *out, size_t max, const char *pattern, const char *line)
{
    const char *star = pattern ? strchr(pattern, '*') : NULL;

    if (!pattern)
        *out = 0;
    else if (!star)
        snprintf(out, max, "%s", pattern);
    else
        snprintf(out, max, "%.*s%s%s", (int)(star - pattern), pattern, line, star + 1);
}

static enum err read_traits(const struct load *l, const struct section *s, struct fault *f)
{
    traits_begin(f->end, f->sig, &f->traits);
    if (s->varies && !traits_varies(s->varies, &f->traits))
        return bad(l, s, "varies with something that is not known");
    if (s->signs && !traits_signs(s->signs, &f->traits))
        return bad(l, s, "signs: a question or an answer that is not known");
    if (s->cured && !traits_cured(s->cured, &f->traits))
        return bad(l, s, "cured by a kind of work that is not known");
    if (s->reach && !traits_reach(s->reach, &f->traits))
        return bad(l, s, "reach is drive, unit, bus or disk");
    return ERR_OK;
}

static enum err add(struct load *l, const struct section *s, const char *name,
                    const char *line_name, struct fault *f, double share)
{
    void *items = l->out->fault;
    struct state probe;

    state_init(&probe);
    if (state_apply(&probe, s->effect, f->sig, f->sig2, f->tap) != ERR_OK)
        return bad(l, s, "effect is not one that the model knows");
    TRY(read_traits(l, s, f));
    TRY(array_grow(&items, &l->out->cap, l->out->count + 1, sizeof *l->out->fault, FAULTS_MAX));
    l->out->fault = items;
    snprintf(f->name, sizeof f->name, "%s", name);
    expand(f->text, sizeof f->text, s->text, line_name);
    expand(f->next, sizeof f->next, s->next, line_name);
    expand(f->caution, sizeof f->caution, s->caution, line_name);
    f->effect = s->effect;
    f->share = share;
    l->out->fault[l->out->count++] = *f;
    return ERR_OK;
}

static bool word_in(const char *list, const char *word)
{
    size_t n = strlen(word);

    for (const char *p = list; (p = strstr(p, word)) != NULL; p += n)
        if ((p == list || p[-1] == ' ') && (p[n] == 0 || p[n] == ' '))
            return true;
    return false;
}

/* Does a section's list of lines take in this signal? */
static bool takes(const char *list, enum sig s)
{
    static const char *const names[SIG_COUNT] = {
        "SELECT", "MOTOR", "DIR",   "STEP",  "SIDE",  "WGATE", "WDATA", "DENSITY",
        "HLOAD",  "INDEX", "TRK00", "WPROT", "RDATA", "READY", "DSKCHG"};

    if (word_in(list, "all") || word_in(list, "tapped"))
        return true;
    if (word_in(list, s < SIG_FROM_DRIVE ? "from-machine" : "from-drive"))
        return true;
    return word_in(list, names[s]);
}

/* Does the machine's profile say that this signal comes from there? Unsaid: it may. */
static bool comes_from(const struct load *l, const struct section *s, enum sig g)
{
    static const char *const key[SIG_COUNT] = {[SIG_SEL] = "select_from",
                                               [SIG_MOT] = "motor_from",
                                               [SIG_SIDE] = "side_from",
                                               [SIG_STEP] = "step_from",
                                               [SIG_DIR] = "step_from"};

    return !s->origin || !key[g] ||
           !strcmp(profile_word(l->c->machine, key[g], s->origin), s->origin);
}

static bool meant(const struct load *l, const struct section *s, enum sig g)
{
    return l->w->at_machine[g] != LINE_NONE && takes(s->lines, g) && comes_from(l, s, g);
}

/* The fault of one line, named as at the drive's or the machine's plug. */
static enum err add_line(struct load *l, const struct section *s, struct fault *f,
                         bool drive_named, double share)
{
    char name[FAULT_NAME_MAX];

    f->line = drive_named ? l->w->at_drive[f->sig] : l->w->at_machine[f->sig];
    expand(name, sizeof name, s->name, line_name(f->line));
    return add(l, s, name, line_name(f->line), f, share);
}

/* The fault of a test lead at each tap that was used. */
static enum err add_leads(struct load *l, const struct section *s, const struct fault *model,
                          double share)
{
    for (enum tap t = TAP_MACHINE_END; t <= TAP_DRIVE_END; t++) {
        struct fault f = *model;
        char *text;
        size_t len;

        if (!l->tapped[t])
            continue;
        f.tap = t;
        TRY(add_line(l, s, &f, f.end == END_DRIVE || t == TAP_DRIVE_END, share));
        text = l->out->fault[l->out->count - 1].text;
        len = strlen(text);
        snprintf(text + len, sizeof f.text - len, " (%s end)",
                 t == TAP_DRIVE_END ? "drive" : "machine");
    }
    return ERR_OK;
}

static enum err add_lines(struct load *l, const struct section *s, enum end end, double weight)
{
    bool leads = word_in(s->lines, "tapped");
    int taps = (l->tapped[TAP_MACHINE_END] != 0) + (l->tapped[TAP_DRIVE_END] != 0);
    int n = 0;

    for (enum sig g = 0; g < SIG_COUNT; g++)
        n += meant(l, s, g);
    if (!n || (leads && !taps))
        return ERR_OK;
    for (enum sig g = 0; g < SIG_COUNT; g++) {
        struct fault f = {.end = end, .sig = g, .sig2 = SIG_COUNT, .tap = TAP_DRIVE_END};

        if (!meant(l, s, g))
            continue;
        if (leads)
            TRY(add_leads(l, s, &f, weight / (n * taps)));
        else
            TRY(add_line(l, s, &f, end == END_DRIVE, weight / n));
    }
    return ERR_OK;
}

static enum err add_pairs(struct load *l, const struct section *s, enum end end, double weight)
{
    enum line a[PAIRS_MAX], b[PAIRS_MAX];
    size_t n = cable_neighbours(l->c->cable, a, b, PAIRS_MAX);
    size_t used = 0;

    for (int pass = 0; pass < 2; pass++) {
        for (size_t i = 0; i < n; i++) {
            struct fault f = {.end = end, .line = a[i], .tap = TAP_DRIVE_END};
            char name[FAULT_NAME_MAX], lines[40];

            f.sig = wiring_sig(l->w, a[i], true);
            f.sig2 = wiring_sig(l->w, b[i], true);
            /* a partner that is idle in this chain changes nothing that could be seen */
            if (f.sig == SIG_COUNT || f.sig2 == SIG_COUNT)
                continue;
            if (pass == 0) {
                used++;
                continue;
            }
            snprintf(lines, sizeof lines, "%s+%s", line_name(a[i]), line_name(b[i]));
            snprintf(name, sizeof name, "cable.%s.short", lines);
            TRY(add(l, s, name, lines, &f, weight / (double)used));
        }
    }
    return ERR_OK;
}

static bool needed(const struct load *l, const struct section *s)
{
    if (!s->needs)
        return true;
    if (!strcmp(s->needs, "twist"))
        return cable_machine_pin(l->c->cable, LINE_MOTOR0) != 0;
    if (!strcmp(s->needs, "v12_v"))
        return profile_limit(l->c->drive, "v12_v") != NULL;
    if (!strcmp(s->needs, "80-tracks"))
        return profile_number(l->c->drive, "cylinders", 80) > 60;
    if (!strcmp(s->needs, "hole"))
        return !strcmp(profile_word(l->c->drive, "index_origin", "hole"), "hole");
    return false;
}

static enum err add_section(struct load *l, const struct section *s)
{
    struct fault f = {
        .sig = SIG_COUNT, .sig2 = SIG_COUNT, .line = LINE_NONE, .tap = TAP_DRIVE_END};
    char prefix[16];
    double weight = 0;
    size_t dot = strcspn(s->name, ".");

    if (dot >= sizeof prefix)
        return bad(l, s, "does not begin with an end");
    snprintf(prefix, sizeof prefix, "%.*s", (int)dot, s->name);
    f.end = end_by_name(prefix);
    if (f.end >= END_TWO)
        return bad(l, s, "does not begin with an end");
    if (!s->source || !s->text || !s->effect)
        return bad(l, s, "needs text, effect and source");
    TRY(number(l, s, s->weight, &weight));
    if (!needed(l, s))
        return ERR_OK;
    if (!s->lines) {
        if (!strncmp(s->effect, "drive-out WPROT", 15)) {
            f.line = LINE_WPROT;
            if (l->w->at_drive[SIG_WPROT] == LINE_NONE)
                return ERR_OK;
        }
        return add(l, s, s->name, "", &f, weight);
    }
    return word_in(s->lines, "pairs") ? add_pairs(l, s, f.end, weight)
                                      : add_lines(l, s, f.end, weight);
}

static enum err add_file(struct load *l, const struct ini_file *f)
{
    for (size_t i = 0; i < f->count; i++) {
        struct section s;

        if (f->entry[i].key)
            continue;
        TRY(read_section(f, f->entry[i].section, &s, l->e));
        TRY(add_section(l, &s));
    }
    return ERR_OK;
}

static enum err read_ends(struct load *l, const struct ini_file *f)
{
    static const enum end listed[] = {END_DRIVE, END_CABLE, END_CONTROLLER, END_DISK,
                                      END_POWER, END_SETUP, END_NONE};
    struct section s = {.file = f, .name = "mix", .line = 1};

    for (size_t i = 0; i < sizeof listed / sizeof *listed; i++) {
        s.name = end_name(listed[i]);
        TRY(number(l, &s, ini_file_get(f, s.name, "share"), &l->out->end_share[listed[i]]));
    }
    s.name = "mix";
    TRY(number(l, &s, ini_file_get(f, "mix", "two"), &l->out->two));
    return number(l, &s, ini_file_get(f, "mix", "unlisted"), &l->out->unlisted);
}

static enum err read_file(struct load *l, const struct profile_path *path, const char *name)
{
    struct catalogue *out = l->out;
    struct ini_file *files = realloc(out->file, (out->file_count + 1) * sizeof *files);
    char *where = NULL;
    enum err err;

    if (!files)
        return ERR_MEMORY;
    out->file = files;
    TRY(profile_file_find(path, "faults", name, &where, l->e));
    err = ini_file_read(where, &files[out->file_count], l->e);
    free(where);
    if (err != ERR_OK)
        return err;
    out->file_count++;
    if (!strcmp(name, "ends"))
        return read_ends(l, &files[out->file_count - 1]);
    return add_file(l, &files[out->file_count - 1]);
}

static void share_out(struct catalogue *c)
{
    double sum[END_COUNT] = {0};

    for (size_t i = 0; i < c->count; i++)
        sum[c->fault[i].end] += c->fault[i].share;
    for (size_t i = 0; i < c->count; i++)
        c->fault[i].share /= sum[c->fault[i].end];
}

/* A disk known good may still be out of its seat: that keeps its share of complaints, the
 * medium's own faults are left 2 % (contract). */
#define SEAT_OF_KNOWN_GOOD 0.375

static void known_good(struct catalogue *c)
{
    double seat = 0;

    for (size_t i = 0; i < c->count; i++)
        if (!strcmp(c->fault[i].effect, "disk absent"))
            seat += c->fault[i].share;
    for (size_t i = 0; i < c->count && seat > 0 && seat < 1; i++) {
        struct fault *f = &c->fault[i];

        if (f->end == END_DISK)
            f->share *= strcmp(f->effect, "disk absent") ? (1 - SEAT_OF_KNOWN_GOOD) / (1 - seat)
                                                         : SEAT_OF_KNOWN_GOOD / seat;
    }
}

enum err catalogue_load(const struct case_file *c, const struct wiring *w,
                        const struct profile_path *path, struct catalogue *out,
                        struct err_msg *e)
{
    struct load l = {.c = c, .w = w, .out = out, .e = e};
    char **names = NULL;
    size_t count = 0;
    enum err err;

    *out = (struct catalogue){0};
    for (size_t i = 0; i < c->capture_count; i++)
        l.tapped[c->capture[i].tap == TAP_MACHINE_END ? TAP_MACHINE_END : TAP_DRIVE_END] = true;
    err = profile_file_list(path, "faults", &names, &count, e);
    for (size_t i = 0; i < count && err == ERR_OK; i++)
        err = read_file(&l, path, names[i]);
    profile_names_free(names, count);
    if (err == ERR_OK && (!out->count || out->end_share[END_DRIVE] <= 0))
        err = err_set(e, ERR_FORMAT, "no fault catalogue: profiles/faults is missing or empty");
    if (err == ERR_OK)
        err = priors_tilt(path, out->end_share, e);
    if (err != ERR_OK) {
        catalogue_release(out);
        return err_set(e, err, "fault catalogue: out of memory");
    }
    share_out(out);
    if (c->disk == DISK_KNOWN_GOOD)
        known_good(out);
    return ERR_OK;
}

void catalogue_release(struct catalogue *c)
{
    for (size_t i = 0; i < c->file_count; i++)
        ini_file_release(&c->file[i]);
    free(c->file);
    free(c->fault);
    *c = (struct catalogue){0};
}
