/* From a file's entries to a profile, with a complaint for everything that is off. */
#include "profile_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void problem(struct problems *to, int line, const char *fmt, ...)
{
    char text[ERR_TEXT_MAX];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    to->count++;
    /* Past the ceiling of the caller's buffer the count still tells. */
    (void)buf_printf(to->text, "%s:%d: %s\n", to->path, line, text);
}

size_t next_word(const char **at)
{
    *at += strspn(*at, " \t");
    return strcspn(*at, " \t");
}

bool list_has(const char *list, const char *word, size_t len)
{
    for (size_t n; (n = next_word(&list)) > 0; list += n)
        if (n == len && strncmp(list, word, n) == 0)
            return true;
    return false;
}

/* A plain decimal number; nothing that strtod would take beside that (hex, infinities). */
static bool parse_number(const char *s, size_t len, double *out)
{
    char copy[40];
    if (len == 0 || len >= sizeof copy || strspn(s, "0123456789+-.eE") < len)
        return false;
    memcpy(copy, s, len);
    copy[len] = '\0';
    char *end;
    double v = strtod(copy, &end);
    if (*end != '\0' || !isfinite(v))
        return false;
    *out = v;
    return true;
}

static const struct profile_key *find_key(enum profile_kind kind, const char *name)
{
    size_t count;
    const struct profile_key *k = profile_keys(kind, &count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(k[i].key, name) == 0)
            return &k[i];
    return NULL;
}

static void take_number(const struct ini_entry *x, bool *has, double *out, struct problems *to)
{
    *has = parse_number(x->value, strlen(x->value), out);
    if (!*has)
        problem(to, x->line, "[%s] %s is no number: \"%s\"", x->section, x->key, x->value);
}

/* Words of a word or list value: each must be the key's; a list with a unit holds numbers. */
static void take_words(const struct profile_key *k, const struct ini_entry *x, struct limit *l,
                       struct problems *to)
{
    enum profile_form form = strcmp(x->key, "word") == 0 ? PROFILE_WORD : PROFILE_LIST;
    if (k->form != form) {
        problem(to, x->line, "[%s] does not take %s", x->section, x->key);
        return;
    }
    l->word = x->value;
    size_t words = 0;
    const char *at = x->value;
    for (size_t n; (n = next_word(&at)) > 0; at += n) {
        double v;
        bool known = k->words != NULL ? list_has(k->words, at, n) : parse_number(at, n, &v);
        if (!known)
            problem(to, x->line, "[%s] does not know \"%.*s\"%s%s", x->section,
                    n > 100 ? 100 : (int)n, at, k->words != NULL ? "; it knows " : "",
                    k->words != NULL ? k->words : "");
        words++;
    }
    if (words == 0 || (form == PROFILE_WORD && words > 1))
        problem(to, x->line, "[%s] %s holds %zu words", x->section, x->key, words);
}

static void take_text(const struct ini_entry *x, const char **out, struct problems *to)
{
    if (x->value[0] == '\0')
        problem(to, x->line, "[%s] %s is empty", x->section, x->key);
    else
        *out = x->value;
}

static void take_value(const struct profile_key *k, const struct ini_entry *x, struct limit *l,
                       struct problems *to)
{
    if (strcmp(x->key, "min") == 0) {
        take_number(x, &l->has_min, &l->min, to);
    } else if (strcmp(x->key, "typ") == 0) {
        take_number(x, &l->has_typ, &l->typ, to);
    } else if (strcmp(x->key, "max") == 0) {
        take_number(x, &l->has_max, &l->max, to);
    } else if (strcmp(x->key, "word") == 0 || strcmp(x->key, "list") == 0) {
        take_words(k, x, l, to);
    } else if (strcmp(x->key, "unit") == 0) {
        l->unit = x->value;
    } else if (strcmp(x->key, "source") == 0) {
        l->source = x->value[0] != '\0' ? x->value : NULL;
    } else if (strcmp(x->key, "note") == 0) {
        take_text(x, &l->note, to);
    } else if (strcmp(x->key, "confidence") == 0) {
        take_text(x, &l->confidence, to);
        if (!list_has("high medium low", x->value, strlen(x->value)))
            problem(to, x->line, "[%s] confidence is high, medium or low", x->section);
    } else {
        problem(to, x->line, "unknown key \"%s\" in [%s]", x->key, x->section);
    }
}

/* What can be said only when the whole section has been read. */
static void check_value(const struct profile_key *k, const struct limit *l, struct problems *to)
{
    bool any = l->has_min || l->has_typ || l->has_max;
    if (k->form == PROFILE_NUMBER && !any)
        problem(to, l->place, "[%s] holds no min, typ or max", l->key);
    if (k->form != PROFILE_NUMBER && any)
        problem(to, l->place, "[%s] does not take min, typ or max", l->key);
    if (k->form != PROFILE_NUMBER && l->word == NULL)
        problem(to, l->place, "[%s] holds no %s", l->key,
                k->form == PROFILE_WORD ? "word" : "list");
    if (strcmp(l->unit, k->unit) != 0)
        problem(to, l->place, "[%s] is in \"%s\", not in \"%s\"", l->key, k->unit, l->unit);
    if ((l->has_min && l->has_max && l->min > l->max) ||
        (l->has_min && l->has_typ && l->min > l->typ) ||
        (l->has_typ && l->has_max && l->typ > l->max))
        problem(to, l->place, "[%s] min, typ and max are out of order", l->key);
    if (l->source == NULL)
        problem(to, l->place, "[%s] has no source", l->key);
}

static void take_lines(struct profile *p, const struct ini_entry *x, struct problems *to)
{
    const char *at = x->value;
    for (size_t n; (n = next_word(&at)) > 0; at += n) {
        char name[16];
        snprintf(name, sizeof name, "%.*s", n < sizeof name ? (int)n : 0, at);
        enum line line = line_by_name(name);
        if (line == LINE_NONE)
            problem(to, x->line, "\"%.*s\" is no line", n > 100 ? 100 : (int)n, at);
        else if (p->lines & LINE_BIT(line))
            problem(to, x->line, "%s stands twice in lines", line_name(line));
        else
            p->lines |= LINE_BIT(line);
    }
}

static void take_head(struct profile *p, const struct ini_entry *x, struct problems *to)
{
    if (strcmp(x->key, "title") == 0)
        take_text(x, &p->title, to);
    else if (strcmp(x->key, "note") == 0)
        take_text(x, &p->note, to);
    else if (strcmp(x->key, "lines") == 0 && p->kind != PROFILE_CABLE)
        take_lines(p, x, to);
    else if (strcmp(x->key, "kind") != 0)
        problem(to, x->line, "unknown key \"%s\" in [profile]", x->key);
    else if (strcmp(x->value, profile_kind_word(p->kind)) != 0)
        problem(to, x->line, "this is the profile of a %s, and a %s was looked for", x->value,
                profile_kind_word(p->kind));
}

static void check_whole(const struct profile *p, struct problems *to)
{
    if (ini_file_get(&p->ini, "profile", "kind") == NULL)
        problem(to, 1, "[profile] has no kind");
    if (p->title == NULL)
        problem(to, 1, "[profile] has no title");
    if (p->kind != PROFILE_CABLE && p->lines == 0)
        problem(to, 1, "[profile] has no lines");
    size_t count;
    const struct profile_key *k = profile_keys(p->kind, &count);
    for (size_t i = 0; i < count; i++)
        if (k[i].required && profile_limit(p, k[i].key) == NULL)
            problem(to, 1, "[%s] is missing", k[i].key);
}

/* All entries of one section, the first being the section's own line. Returns how many there
 * are. */
static size_t take_section(struct profile *p, const struct ini_entry *x, size_t left,
                           struct problems *to)
{
    size_t n = 1;
    while (n < left && x[n].key != NULL)
        n++;
    bool head = strcmp(x->section, "profile") == 0;
    if (head || (p->kind == PROFILE_CABLE && is_cable_section(x->section))) {
        for (size_t i = 1; i < n; i++)
            head ? take_head(p, &x[i], to) : cable_take(p, &x[i], to);
        return n;
    }
    const struct profile_key *k = find_key(p->kind, x->section);
    if (k == NULL) {
        problem(to, x->line, "unknown section [%s]", x->section);
        return n;
    }
    struct limit *l = &p->limit[p->limits++];
    *l = (struct limit){.key = k->key, .unit = "", .place = x->line};
    for (size_t i = 1; i < n; i++)
        take_value(k, &x[i], l, to);
    check_value(k, l, to);
    return n;
}

enum err profile_build(enum profile_kind kind, const char *name, struct ini_file *ini,
                       struct profile **out, struct problems *to)
{
    struct profile *p = calloc(1, sizeof *p);
    if (p == NULL) {
        ini_file_release(ini);
        return ERR_MEMORY;
    }
    p->kind = kind;
    p->ini = *ini;
    *ini = (struct ini_file){0};
    p->name = strdup(name);
    p->limit = calloc(p->ini.count + 1, sizeof *p->limit);
    if (p->name == NULL || p->limit == NULL) {
        profile_free(p);
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < p->ini.count;)
        i += take_section(p, &p->ini.entry[i], p->ini.count - i, to);
    if (kind == PROFILE_CABLE)
        cable_finish(p, to);
    check_whole(p, to);
    *out = p;
    return ERR_OK;
}
