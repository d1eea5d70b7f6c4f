#include "capture/capture.h"
#include "capture/line_map_private.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NAME_BYTES_MAX 1000
#define ENTRIES_MAX    (LINE_COUNT + RAIL_COUNT)

const char *map_target_name(const struct line_map_entry *m)
{
    return m->line != LINE_NONE ? line_name(m->line) : rail_name(m->rail);
}

enum err map_error(const struct line_map *m, int place, struct err_msg *e, const char *fmt, ...)
{
    char why[ERR_TEXT_MAX];
    va_list ap;
    va_start(ap, fmt);
    if (vsnprintf(why, sizeof why, fmt, ap) < 0)
        why[0] = '\0';
    va_end(ap);
    if (m->from == NULL)
        return err_set(e, ERR_USAGE, "--line %s", why);
    return err_set(e, ERR_FORMAT, "%s:%d: %s", m->from, place, why);
}

static const struct line_map_entry *map_find(const struct line_map *m, enum line line,
                                             enum rail rail)
{
    for (size_t i = 0; i < m->count; i++)
        if (m->entry[i].line == line && m->entry[i].rail == rail)
            return &m->entry[i];
    return NULL;
}

/* Cut ":high" off the spec and copy the name. */
static enum err map_read_spec(const struct line_map *m, struct line_map_entry *entry,
                              const char *line, const char *spec, struct err_msg *e)
{
    static const char HIGH[] = ":high";
    size_t len = strlen(spec);
    size_t tail = sizeof HIGH - 1;
    if (len >= tail && strcmp(spec + len - tail, HIGH) == 0) {
        entry->active_high = true;
        len -= tail;
    }
    if (entry->active_high && entry->rail != RAIL_NONE)
        return map_error(m, entry->place, e, "%s=%s: a supply rail has no active level", line,
                         spec);
    if (len == 0)
        return map_error(m, entry->place, e, "%s=%s: the name of the variable is missing", line,
                         spec);
    if (len > NAME_BYTES_MAX)
        return map_error(m, entry->place, e, "%s=...: a name of more than %d bytes", line,
                         NAME_BYTES_MAX);
    entry->name = strndup(spec, len);
    return entry->name != NULL ? ERR_OK : err_set(e, ERR_MEMORY, "out of memory");
}

enum err line_map_add(struct line_map *m, const char *line, const char *spec, int place,
                      struct err_msg *e)
{
    struct line_map_entry entry = {
        .line = line_by_name(line), .rail = rail_by_name(line), .place = place};
    if (entry.line == LINE_NONE && entry.rail == RAIL_NONE)
        return map_error(m, place, e, "%s=%s: there is no line %s", line, spec, line);
    const struct line_map_entry *before = map_find(m, entry.line, entry.rail);
    if (before != NULL)
        return map_error(m, place, e, "%s=%s: %s is already %s", line, spec,
                         map_target_name(before), before->name);
    TRY(map_read_spec(m, &entry, line, spec, e));

    void *entries = m->entry;
    size_t cap = m->count;
    enum err err =
        array_grow(&entries, &cap, m->count + 1, sizeof entry, 2 * (size_t)ENTRIES_MAX);
    if (err != ERR_OK) {
        free(entry.name);
        return err_set(e, err, "out of memory");
    }
    m->entry = entries;
    m->entry[m->count++] = entry;
    return ERR_OK;
}

void line_map_release(struct line_map *m)
{
    for (size_t i = 0; i < m->count; i++)
        free(m->entry[i].name);
    free(m->entry);
    m->entry = NULL;
    m->count = 0;
}
