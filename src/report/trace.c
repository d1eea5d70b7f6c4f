#include "report/trace.h"

#include <math.h>
#include <string.h>

#define HALF (TRACE_COLUMNS / 2)

static void line_halve(struct trace_line *l)
{
    for (size_t i = 0; i < HALF; i++) {
        l->seen[i] = l->seen[2 * i] | l->seen[2 * i + 1];
    }
    memset(l->seen + HALF, 0, HALF);
    l->at /= 2;
}

static void rail_point(struct trace_rail *r, int64_t column, int32_t mv)
{
    bool seen = r->seen[column];
    r->low_mv[column] = seen && r->low_mv[column] < mv ? r->low_mv[column] : mv;
    r->high_mv[column] = seen && r->high_mv[column] > mv ? r->high_mv[column] : mv;
    r->seen[column] = true;
}

static void rail_halve(struct trace_rail *r)
{
    struct trace_rail to = {.started = r->started, .mv = r->mv, .at = r->at / 2};
    for (int64_t i = 0; i < TRACE_COLUMNS; i++) {
        if (r->seen[i]) {
            rail_point(&to, i / 2, r->low_mv[i]);
            rail_point(&to, i / 2, r->high_mv[i]);
        }
    }
    *r = to;
}

/* The column of a tick; columns are put together until it fits. */
static int64_t column_of(struct trace *t, int64_t tick)
{
    while ((tick - t->start_tick) >> t->shift >= TRACE_COLUMNS) {
        for (int l = 0; l < LINE_COUNT; l++) {
            line_halve(&t->line[l]);
        }
        for (int r = 0; r < RAIL_COUNT; r++) {
            rail_halve(&t->rail[r]);
        }
        t->shift++;
    }
    return (tick - t->start_tick) >> t->shift;
}

/* The level in force goes on up to a column, it included. */
static void line_hold(struct trace_line *l, int64_t column)
{
    for (; l->started && l->at <= column; l->at++) {
        l->seen[l->at] |= (uint8_t)(1u << l->level);
    }
    l->at = column;
}

static void line_edge(struct trace_line *l, int64_t column, enum level level)
{
    line_hold(l, column);
    l->started = true;
    l->level = level;
    l->seen[column] |= (uint8_t)(1u << level);
}

static void rail_hold(struct trace_rail *r, int64_t column)
{
    for (; r->started && r->at <= column; r->at++) {
        rail_point(r, r->at, r->mv);
    }
    r->at = column;
}

static void fall(struct trace *t, int64_t tick)
{
    if (t->last_fall >= 0) {
        double bin = (double)(tick - t->last_fall) * tick_ns(t->tick) / TRACE_BIN_NS;
        t->interval[bin < TRACE_BINS - 1 ? (size_t)lround(bin) : TRACE_BINS - 1]++;
        t->intervals++;
    }
    t->last_fall = tick;
}

static void edge(struct trace *t, int64_t tick, enum line line, enum level level)
{
    struct trace_line *l = &t->line[line];
    bool writes = t->line[LINE_WGATE].started && t->line[LINE_WGATE].level == LEVEL_LOW;
    bool was_high = l->started && l->level == LEVEL_HIGH;
    if ((line == LINE_RDATA && (level == LEVEL_UNKNOWN || writes)) ||
        (line == LINE_WGATE && level == LEVEL_LOW)) {
        t->last_fall = -1; /* an interval ends here, and none begins */
    } else if (line == LINE_RDATA && level == LEVEL_LOW && was_high) {
        fall(t, tick);
    }
    line_edge(l, column_of(t, tick), level);
}

static void begin(struct trace *t, const struct capture_info *info, const struct chunk *c)
{
    t->tick = info->tick;
    t->last_fall = -1;
    if (c->count > 0 || c->rail_count > 0) {
        int64_t edge_at = c->count > 0 ? edge_tick(c, 0) : INT64_MAX;
        int64_t rail_at = c->rail_count > 0 ? c->rail[0].tick : INT64_MAX;
        t->start_tick = edge_at < rail_at ? edge_at : rail_at;
        t->started = true;
    }
}

void trace_chunk(struct trace *t, const struct capture_info *info, const struct chunk *c)
{
    if (!t->started) {
        begin(t, info, c);
    }
    for (size_t i = 0; i < c->count; i++) {
        edge(t, edge_tick(c, i), edge_line(c->edge[i]), edge_level(c->edge[i]));
    }
    for (size_t i = 0; i < c->rail_count; i++) {
        struct trace_rail *r = &t->rail[c->rail[i].rail];
        int64_t column = column_of(t, c->rail[i].tick);
        rail_hold(r, column);
        r->started = true;
        r->mv = c->rail[i].millivolt;
        rail_point(r, column, r->mv);
    }
    if (t->started && c->last) {
        int64_t end = c->end_tick > t->start_tick ? c->end_tick : t->start_tick;
        int64_t column = column_of(t, end);
        t->end_tick = end;
        for (int l = 0; l < LINE_COUNT; l++) {
            line_hold(&t->line[l], column);
        }
        for (int r = 0; r < RAIL_COUNT; r++) {
            rail_hold(&t->rail[r], column);
        }
    }
}

size_t trace_columns(const struct trace *t)
{
    return t->started ? (size_t)((t->end_tick - t->start_tick) >> t->shift) + 1 : 0;
}

double trace_column_s(const struct trace *t)
{
    return ldexp(tick_ns(t->tick) * 1e-9, t->shift);
}
