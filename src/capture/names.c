#include "capture/names.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Names kept for one line. A signal can be taken away by hand once for each line, so that a
 * true conflict is still seen among this many. */
#define SAME_MAX    (2 * (size_t)NAME_TARGETS_MAX)
#define SHOWN_MAX   12
#define SHOWN_BYTES 32

struct candidate {
    char *path;
    uint32_t signal;
};

/* Names that the rule takes for one line or rail, each signal once. */
struct same {
    struct candidate *item;
    size_t count;
    size_t cap;
};

/* What an entry of the map has found so far. */
struct found {
    char *path;
    char *rival; /* another signal that answers to the name as well */
    uint32_t signal;
    bool whole;    /* the entry names the whole path, which beats the end of one */
    bool unusable; /* seen, but as something that cannot be a line */
};

struct names {
    const char *file;
    const struct line_map *map;
    size_t map_count;
    struct found *found; /* one for each entry of the map */
    struct same same[NAME_TARGETS_MAX];
    char shown[SHOWN_MAX][SHOWN_BYTES];
    size_t mappable; /* names that could be mapped */
};

enum err names_new(const char *file, const struct line_map *map, struct names **out,
                   struct err_msg *e)
{
    struct names *n = calloc(1, sizeof *n);
    if (n == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", file);
    n->file = file;
    n->map = map;
    n->map_count = map != NULL ? map->count : 0;
    n->found = calloc(n->map_count + 1, sizeof *n->found);
    if (n->found == NULL) {
        free(n);
        return err_set(e, ERR_MEMORY, "%s: out of memory", file);
    }
    *out = n;
    return ERR_OK;
}

void names_free(struct names *n)
{
    if (n == NULL)
        return;
    for (size_t i = 0; i < n->map_count; i++) {
        free(n->found[i].path);
        free(n->found[i].rival);
    }
    for (size_t i = 0; i < NAME_TARGETS_MAX; i++) {
        for (size_t k = 0; k < n->same[i].count; k++)
            free(n->same[i].item[k].path);
        free(n->same[i].item);
    }
    free(n->found);
    free(n);
}

/* Length without a bit range at the end. */
static size_t without_range(const char *s, size_t len)
{
    if (len == 0 || s[len - 1] != ']')
        return len;
    size_t i = len - 1;
    while (i > 0 && s[i] != '[')
        i--;
    return i > 0 ? i : len;
}

/* path ends in `want`, at the border of a scope. */
static bool ends_in(const char *path, size_t len, const char *want, size_t want_len,
                    bool *whole)
{
    if (want_len > len || memcmp(path + len - want_len, want, want_len) != 0)
        return false;
    *whole = want_len == len;
    return *whole || path[len - want_len - 1] == '.';
}

static bool map_names(const char *want, const char *path, bool *whole)
{
    size_t len = strlen(path);
    size_t want_len = strlen(want);
    return ends_in(path, len, want, want_len, whole) ||
           ends_in(path, without_range(path, len), want, want_len, whole);
}

static bool copy_text(char **to, const char *from)
{
    char *copy = strdup(from);
    if (copy == NULL)
        return false;
    free(*to);
    *to = copy;
    return true;
}

static bool kind_fits(enum name_kind kind, enum line line)
{
    return kind == NAME_ANY || kind == (line != LINE_NONE ? NAME_BIT : NAME_REAL);
}

static bool offer_to_map(struct names *n, size_t i, const char *path, enum name_kind kind,
                         uint32_t signal)
{
    const struct line_map_entry *m = &n->map->entry[i];
    struct found *f = &n->found[i];
    bool whole = false;
    if (!map_names(m->name, path, &whole))
        return true;
    if (!kind_fits(kind, m->line)) {
        f->unusable = true;
        return true;
    }
    if (f->path != NULL && !(whole && !f->whole)) {
        bool rival = f->signal != signal && f->whole == whole;
        return !rival || f->rival != NULL || copy_text(&f->rival, path);
    }
    free(f->rival);
    f->rival = NULL;
    f->signal = signal;
    f->whole = whole;
    return copy_text(&f->path, path);
}

static enum err offer_to_rule(struct names *n, const char *path, size_t name_at,
                              enum name_kind kind, uint32_t signal)
{
    const char *name = path + name_at;
    name += *name == '\\'; /* an escaped identifier */
    enum line line = line_by_variable(name, strlen(name));
    enum rail rail = line != LINE_NONE ? RAIL_NONE : rail_by_name(name);
    if ((line == LINE_NONE && rail == RAIL_NONE) || !kind_fits(kind, line))
        return ERR_OK;
    struct same *s = &n->same[line != LINE_NONE ? (size_t)line : LINE_COUNT + (size_t)rail];
    if (s->count == SAME_MAX)
        return ERR_OK;
    for (size_t i = 0; i < s->count; i++)
        if (s->item[i].signal == signal)
            return ERR_OK;
    void *items = s->item;
    TRY(array_grow(&items, &s->cap, s->count + 1, sizeof *s->item, SAME_MAX));
    s->item = items;
    struct candidate c = {.path = strdup(path), .signal = signal};
    if (c.path == NULL)
        return ERR_MEMORY;
    s->item[s->count++] = c;
    return ERR_OK;
}

enum err names_add(struct names *n, const char *path, size_t name_at, enum name_kind kind,
                   uint32_t signal, struct err_msg *e)
{
    if (kind != NAME_WIDE) {
        if (n->mappable < SHOWN_MAX)
            snprintf(n->shown[n->mappable], SHOWN_BYTES, "%s", path + name_at);
        n->mappable++;
    }
    bool room = true;
    for (size_t i = 0; i < n->map_count && room; i++)
        room = offer_to_map(n, i, path, kind, signal);
    if (!room || offer_to_rule(n, path, name_at, kind, signal) != ERR_OK)
        return err_set(e, ERR_MEMORY, "%s: out of memory", n->file);
    return ERR_OK;
}

/* "D0, D1, D2 and 5 more" */
static void list_names(const struct names *n, char *to, size_t room)
{
    size_t shown = n->mappable < SHOWN_MAX ? n->mappable : SHOWN_MAX;
    size_t used = 0;
    to[0] = '\0';
    for (size_t i = 0; i < shown && used < room; i++)
        used +=
            (size_t)snprintf(to + used, room - used, "%s%s", i > 0 ? ", " : "", n->shown[i]);
    if (n->mappable > shown && used < room)
        snprintf(to + used, room - used, " and %zu more", n->mappable - shown);
}

static enum err check_found(const struct names *n, size_t i, const char *what,
                            struct err_msg *e)
{
    const struct line_map_entry *m = &n->map->entry[i];
    const struct found *f = &n->found[i];
    const char *target = map_target_name(m);
    if (f->path == NULL && f->unusable)
        return map_error(n->map, m->place, e, "%s=%s: in %s that is no %s", target, m->name,
                         n->file, m->line != LINE_NONE ? "one-bit variable" : "real variable");
    if (f->path == NULL) {
        char list[SHOWN_MAX * (SHOWN_BYTES + 2) / 2];
        list_names(n, list, sizeof list);
        return map_error(n->map, m->place, e, "%s=%s: %s has no %s %s; it has %s", target,
                         m->name, n->file, what, m->name, list[0] != '\0' ? list : "none");
    }
    if (f->rival != NULL)
        return map_error(n->map, m->place, e,
                         "%s=%s: %s has two %ss of that name, %.100s and %.100s: "
                         "put the scope before the name",
                         target, m->name, n->file, what, f->path, f->rival);
    return ERR_OK;
}

static bool taken_by_hand(const struct names *n, uint32_t signal)
{
    for (size_t i = 0; i < n->map_count; i++)
        if (n->found[i].signal == signal)
            return true;
    return false;
}

static bool mapped_by_hand(const struct names *n, size_t slot)
{
    for (size_t i = 0; i < n->map_count; i++) {
        const struct line_map_entry *m = &n->map->entry[i];
        if (slot == (m->line != LINE_NONE ? (size_t)m->line : LINE_COUNT + (size_t)m->rail))
            return true;
    }
    return false;
}

/* The one signal that the rule gives a line, if any. */
static enum err pick_by_rule(const struct names *n, size_t slot, const char *what,
                             const struct candidate **pick, struct err_msg *e)
{
    *pick = NULL;
    if (mapped_by_hand(n, slot))
        return ERR_OK;
    const struct same *s = &n->same[slot];
    const char *target = slot < LINE_COUNT ? line_name((enum line)slot)
                                           : rail_name((enum rail)(slot - LINE_COUNT));
    for (size_t i = 0; i < s->count; i++) {
        const struct candidate *c = &s->item[i];
        if (taken_by_hand(n, c->signal))
            continue;
        if (*pick != NULL)
            return err_set(
                e, ERR_FORMAT,
                "%s: two %ss are %s: %.120s and %.120s; choose one with --line %s=NAME, or "
                "under [lines] in a case",
                n->file, what, target, (*pick)->path, c->path, target);
        *pick = c;
    }
    return ERR_OK;
}

static enum err no_line(const struct names *n, const char *what, struct err_msg *e)
{
    char list[SHOWN_MAX * (SHOWN_BYTES + 2) / 2];
    list_names(n, list, sizeof list);
    if (list[0] == '\0')
        return err_set(e, ERR_FORMAT,
                       "%s: names no line of the drive bus, and has no %s that could be "
                       "one",
                       n->file, what);
    return err_set(
        e, ERR_FORMAT,
        "%s: names no line of the drive bus; it has %s: say which is which with --line "
        "RDATA=%s, or under [lines] in a case",
        n->file, list, n->shown[0]);
}

static void take(struct name_targets *t, uint32_t signal, enum line line, enum rail rail,
                 bool active_high)
{
    uint8_t before = 0;
    for (size_t i = 0; i < t->count; i++)
        if (t->item[i].signal == signal)
            before = (uint8_t)(i + 1);
    t->signals += before == 0;
    t->item[t->count++] = (struct name_target){signal, line, rail, active_high, before};
    if (line != LINE_NONE)
        t->lines |= LINE_BIT(line);
    else
        t->rails |= 1u << rail;
}

enum err names_resolve(const struct names *n, const char *what, struct name_targets *out,
                       struct err_msg *e)
{
    struct name_targets t = {.count = 0};
    for (size_t i = 0; i < n->map_count; i++) {
        const struct line_map_entry *m = &n->map->entry[i];
        TRY(check_found(n, i, what, e));
        take(&t, n->found[i].signal, m->line, m->rail, m->active_high);
    }
    for (size_t slot = 0; slot < NAME_TARGETS_MAX; slot++) {
        const struct candidate *pick = NULL;
        TRY(pick_by_rule(n, slot, what, &pick, e));
        if (pick == NULL)
            continue;
        bool is_line = slot < LINE_COUNT;
        take(&t, pick->signal, is_line ? (enum line)slot : LINE_NONE,
             is_line ? RAIL_NONE : (enum rail)(slot - LINE_COUNT), false);
    }
    if (t.count == 0)
        return no_line(n, what, e);
    *out = t;
    return ERR_OK;
}
