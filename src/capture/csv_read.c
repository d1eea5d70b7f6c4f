#include "capture/decimal.h"
#include "capture/names.h"
#include "capture/reader.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Times are told in seconds: picoseconds are finer than any clock that samples a bus. */
#define CSV_TICK_FS        1000
#define CSV_TICK_PLACES    12
#define COLUMNS_MAX        4096
#define NAME_BYTES         1024
#define RAIL_MILLIVOLT_MAX 2000000

struct csv {
    struct window *w; /* borrowed */
    char separator;
    char mark; /* of decimals; the comma too where it does not separate */
    size_t columns;
    struct name_targets targets;
    uint8_t target[COLUMNS_MAX]; /* of each column, 1-based; 0: not read */
    bool started;
    int64_t shift; /* taken off all times, where the first is before 0 */
};

struct field {
    const char *at;
    size_t len;
};

static void csv_close(void *state)
{
    free(state);
}

/* ERR_FORMAT with line and column; column 0: none to name. */
static enum err csv_error(struct csv *c, size_t column, struct err_msg *e, const char *why,
                          struct field f)
{
    uint64_t place = c->w->offset + c->w->pos;
    char where[40] = "";
    if (column > 0)
        snprintf(where, sizeof where, " column %zu:", column);
    unsigned long long line = (unsigned long long)source_line_at(c->w->src, place);
    int shown = f.len < 40 ? (int)f.len : 40;
    if (f.at == NULL)
        return err_set(e, ERR_FORMAT, "%s:%llu:%s %s", source_name(c->w->src), line, where,
                       why);
    return err_set(e, ERR_FORMAT, "%s:%llu:%s \"%.*s\" %s", source_name(c->w->src), line, where,
                   shown, f.at, why);
}

/* The line at the window's place without its end; false at the end of the input. */
static enum err get_line(struct csv *c, struct field *line, bool *got, struct err_msg *e)
{
    struct window *w = c->w;
    if (w->pos == w->stop)
        TRY(window_fill(w, e));
    *got = w->pos < w->stop;
    *line = (struct field){"", 0};
    if (!*got)
        return ERR_OK;
    const char *at = (const char *)w->data + w->pos;
    const char *end = memchr(at, '\n', w->stop - w->pos);
    line->at = at;
    line->len = (size_t)(end - at);
    return ERR_OK;
}

static void next_line(struct csv *c, struct field line)
{
    c->w->pos += line.len + 1;
}

static struct field trimmed(struct field f)
{
    while (f.len > 0 && isspace((unsigned char)f.at[0])) {
        f.at++;
        f.len--;
    }
    while (f.len > 0 && isspace((unsigned char)f.at[f.len - 1]))
        f.len--;
    if (f.len >= 2 && (f.at[0] == '"' || f.at[0] == '\'') && f.at[f.len - 1] == f.at[0])
        f = (struct field){f.at + 1, f.len - 2};
    return f;
}

/* Cut the next field off the line; separators between double quotes belong to it. */
static struct field next_field(struct field *rest, char separator, bool *more)
{
    size_t i = 0;
    bool quoted = false;
    for (; i < rest->len && (quoted || rest->at[i] != separator); i++)
        quoted = quoted != (rest->at[i] == '"');
    struct field f = {rest->at, i};
    *more = i < rest->len;
    rest->at += i + *more;
    rest->len -= i + *more;
    return trimmed(f);
}

static bool empty_line(struct field line)
{
    return trimmed(line).len == 0;
}

static char separator_of(struct field header)
{
    if (memchr(header.at, '\t', header.len) != NULL)
        return '\t';
    return memchr(header.at, ';', header.len) != NULL ? ';' : ',';
}

/* "time (ms)" would be read a thousand times too long: only seconds will do. */
static bool unit_is_seconds(struct field time)
{
    static const char *const SECONDS[] = {"s", "sec", "second", "seconds"};
    size_t open = 0;
    while (open < time.len && time.at[open] != '(' && time.at[open] != '[')
        open++;
    if (open == time.len)
        return true;
    size_t start = ++open;
    while (open < time.len && time.at[open] != ')' && time.at[open] != ']')
        open++;
    for (size_t i = 0; i < sizeof SECONDS / sizeof SECONDS[0]; i++)
        if (strlen(SECONDS[i]) == open - start &&
            strncasecmp(SECONDS[i], time.at + start, open - start) == 0)
            return true;
    return false;
}

static enum err check_time_column(struct csv *c, struct field f, struct err_msg *e)
{
    int64_t number;
    if (decimal_scaled(f.at, f.len, 0, c->mark, &number) != DECIMAL_NONE)
        return csv_error(c, 1, e, "stands where a header row must name the lines", f);
    if (line_by_variable(f.at, f.len) != LINE_NONE)
        return csv_error(c, 1, e, "stands where the time must be, in seconds", f);
    if (!unit_is_seconds(f))
        return csv_error(c, 1, e, "is the time, but seconds are needed", f);
    return ERR_OK;
}

/* The first column is the time, each other one a name. */
static enum err read_column(struct csv *c, struct field f, struct names *names,
                            struct err_msg *e)
{
    char name[NAME_BYTES];
    if (c->columns == COLUMNS_MAX)
        return csv_error(c, 0, e, "too many columns", (struct field){NULL, 0});
    size_t column = c->columns++;
    if (column == 0)
        return check_time_column(c, f, e);
    snprintf(name, sizeof name, "%.*s", f.len < NAME_BYTES ? (int)f.len : NAME_BYTES, f.at);
    return names_add(names, name, 0, NAME_ANY, (uint32_t)column, e);
}

static enum err read_columns(struct csv *c, struct field line, struct names *names,
                             struct err_msg *e)
{
    struct field rest = line;
    bool more = true;
    while (more) {
        struct field f = next_field(&rest, c->separator, &more);
        if (!more && f.len == 0 && c->columns > 0)
            break; /* a separator behind the last name */
        TRY(read_column(c, f, names, e));
    }
    return ERR_OK;
}

/* The first line that is neither empty nor a comment. */
static enum err find_header(struct csv *c, struct field *line, struct err_msg *e)
{
    bool got = false;
    for (;;) {
        TRY(get_line(c, line, &got, e));
        if (!got)
            return err_set(e, ERR_FORMAT, "%s: no header row", source_name(c->w->src));
        if (!empty_line(*line) && line->at[0] != '#' && line->at[0] != ';')
            return ERR_OK;
        next_line(c, *line);
    }
}

static enum err read_header(struct csv *c, const struct line_map *map,
                            struct capture_info *info, struct err_msg *e)
{
    struct field line = {"", 0};
    TRY(find_header(c, &line, e));
    c->separator = separator_of(line);
    c->mark = c->separator == ',' ? '.' : ',';
    struct names *names = NULL;
    TRY(names_new(source_name(c->w->src), map, &names, e));
    enum err err = read_columns(c, line, names, e);
    if (err == ERR_OK)
        err = names_resolve(names, "column", &c->targets, e);
    names_free(names);
    TRY(err);
    next_line(c, line);
    for (size_t i = 0; i < c->targets.count; i++)
        c->target[c->targets.item[i].signal] = (uint8_t)(i + 1);
    info->lines = c->targets.lines;
    info->rails = c->targets.rails;
    info->ignored = c->columns - 1 - c->targets.signals;
    info->tick = (struct tick){CSV_TICK_FS, 1};
    snprintf(info->detail, sizeof info->detail, "CSV");
    return ERR_OK;
}

static enum err csv_open(struct window *w, const struct line_map *map,
                         struct capture_info *info, void **state, struct err_msg *e)
{
    struct csv *c = calloc(1, sizeof *c);
    if (c == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", source_name(w->src));
    c->w = w;
    window_set_unit(w, WINDOW_LINES);
    enum err err = read_header(c, map, info, e);
    if (err != ERR_OK) {
        csv_close(c);
        return err;
    }
    *state = c;
    return ERR_OK;
}

/* 0, 1, or a sign for what was not recorded; false where it is none of them. */
static bool level_of(struct field f, enum level *level)
{
    *level = LEVEL_UNKNOWN;
    if (f.len == 0)
        return true;
    if (f.len != 1)
        return false;
    if (f.at[0] == '0' || f.at[0] == '1')
        *level = f.at[0] == '0' ? LEVEL_LOW : LEVEL_HIGH;
    return strchr("01xXzZ-?", f.at[0]) != NULL;
}

/* A voltage was recorded here at all. */
static bool is_told(struct field f)
{
    return f.len > 1 ? strncasecmp(f.at, "nan", 3) != 0
                     : f.len == 1 && strchr("xXzZ-?", f.at[0]) == NULL;
}

static enum err read_cell(struct csv *c, struct build *b, size_t column, struct field f,
                          struct err_msg *e)
{
    for (uint8_t k = c->target[column]; k != 0; k = c->targets.item[k - 1].next) {
        const struct name_target *t = &c->targets.item[k - 1];
        enum level level;
        int64_t millivolt = 0;
        if (t->line != LINE_NONE) {
            if (!level_of(f, &level))
                return csv_error(c, column + 1, e, "is no level: 0, 1 or x", f);
            if (t->active_high && level != LEVEL_UNKNOWN)
                level = level == LEVEL_LOW ? LEVEL_HIGH : LEVEL_LOW;
            build_edge(b, t->line, level);
        } else if (is_told(f)) {
            if (decimal_scaled(f.at, f.len, 3, c->mark, &millivolt) != DECIMAL_OK ||
                millivolt > RAIL_MILLIVOLT_MAX || millivolt < -RAIL_MILLIVOLT_MAX)
                return csv_error(c, column + 1, e, "is no voltage", f);
            build_rail(b, t->rail, (int32_t)millivolt);
        }
    }
    return ERR_OK;
}

/* Go on to the row's time. *full: the chunk must end first. */
static enum err read_time(struct csv *c, struct build *b, struct field f, bool *full,
                          struct err_msg *e)
{
    int64_t tick = 0;
    enum decimal_result result = decimal_scaled(f.at, f.len, CSV_TICK_PLACES, c->mark, &tick);
    if (result == DECIMAL_NONE)
        return csv_error(c, 1, e, "is no time in seconds", f);
    if (result == DECIMAL_RANGE)
        return csv_error(c, 1, e, "is a time beyond 2^63-1 ps", f);
    if (!c->started && tick < 0)
        c->shift = tick;
    c->started = true;
    if (!add_i64(tick, -c->shift, &tick))
        return csv_error(c, 1, e, "is a time beyond 2^63-1 ps after the first", f);
    if (tick < b->now)
        return csv_error(c, 1, e, "is earlier than the row before: time runs backwards", f);
    *full = !build_advance(b, tick);
    return ERR_OK;
}

static enum err read_row(struct csv *c, struct build *b, struct field line, bool *full,
                         struct err_msg *e)
{
    struct field rest = line;
    bool more = true;
    TRY(read_time(c, b, next_field(&rest, c->separator, &more), full, e));
    if (*full)
        return ERR_OK;
    size_t column = 1;
    for (; more && column < c->columns; column++)
        TRY(read_cell(c, b, column, next_field(&rest, c->separator, &more), e));
    if (column < c->columns)
        return csv_error(c, 0, e, "the row has fewer columns than the header",
                         (struct field){NULL, 0});
    if (more && trimmed(rest).len > 0)
        return csv_error(c, 0, e, "the row has more columns than the header",
                         (struct field){NULL, 0});
    return ERR_OK;
}

static enum err csv_fill(void *state, struct build *b, struct err_msg *e)
{
    struct csv *c = state;
    while (!build_full(b)) {
        struct field line = {"", 0};
        bool got = false;
        bool full = false;
        TRY(get_line(c, &line, &got, e));
        if (!got) {
            b->last = true;
            return ERR_OK;
        }
        if (!empty_line(line))
            TRY(read_row(c, b, line, &full, e));
        if (full)
            return ERR_OK;
        next_line(c, line);
    }
    return ERR_OK;
}

const struct reader CSV_READER = {csv_open, csv_fill, csv_close};
