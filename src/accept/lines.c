/* How a value becomes a line: its limit, and on which side of it it lies. */
#include "accept/accept_private.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

struct accept_line *line_of(struct evidence *v, enum accept_item i)
{
    return &v->sheet->line[i];
}

#define SET_TEXT(line, fmt)                                                                    \
    do {                                                                                       \
        va_list ap;                                                                            \
        va_start(ap, fmt);                                                                     \
        (void)vsnprintf((line)->text, sizeof(line)->text, fmt, ap);                            \
        va_end(ap);                                                                            \
    } while (0)

void line_not_measured(struct evidence *v, enum accept_item i, const char *fmt, ...)
{
    struct accept_line *l = line_of(v, i);
    *l = (struct accept_line){.state = ACCEPT_NOT_MEASURED, .wanting = true};
    SET_TEXT(l, fmt);
}

void line_not_asked(struct evidence *v, enum accept_item i, const char *fmt, ...)
{
    struct accept_line *l = line_of(v, i);
    *l = (struct accept_line){.state = ACCEPT_NOT_MEASURED};
    SET_TEXT(l, fmt);
}

void line_absent(struct evidence *v, enum accept_item i)
{
    *line_of(v, i) = (struct accept_line){.state = ACCEPT_ABSENT};
}

void line_fail(struct evidence *v, enum accept_item i, const char *fmt, ...)
{
    struct accept_line *l = line_of(v, i);
    l->state = ACCEPT_FAIL;
    l->wanting = false;
    SET_TEXT(l, fmt);
}

void line_text(struct evidence *v, enum accept_item i, const char *fmt, ...)
{
    SET_TEXT(line_of(v, i), fmt);
}

void line_value(struct evidence *v, enum accept_item i, double value, double uncertainty)
{
    *line_of(v, i) = (struct accept_line){
        .state = ACCEPT_READING, .has_value = true, .value = value, .uncertainty = uncertainty};
}

/* Distance to the nearer limit; below 0 beyond it. */
static double room(const struct accept_limit *m, double value)
{
    double least = HUGE_VAL;
    if (m->has_min)
        least = fmin(least, value - m->min);
    if (m->has_max)
        least = fmin(least, m->max - value);
    return least;
}

static void hold(struct accept_line *l)
{
    double left = room(&l->limit, l->value);
    l->has_limit = true;
    l->state = left < 0 ? ACCEPT_FAIL : ACCEPT_PASS;
    l->close = fabs(left) < l->uncertainty;
    l->outside_shop = l->has_shop && left >= 0 && room(&l->shop, l->value) < 0;
}

static bool limit_of(const struct profile *drive, const char *key, struct accept_limit *out)
{
    const struct limit *p = profile_limit(drive, key);
    if (p == NULL || (!p->has_min && !p->has_max))
        return false;
    *out = (struct accept_limit){
        .has_min = p->has_min, .has_max = p->has_max, .min = p->min, .max = p->max};
    (void)snprintf(out->source, sizeof out->source, "%s", p->source);
    return true;
}

void line_limit(struct evidence *v, enum accept_item i, const char *key)
{
    struct accept_line *l = line_of(v, i);
    if (i == ACCEPT_SPEED)
        l->has_shop = limit_of(v->drive, "speed_accept_rpm", &l->shop);
    if (limit_of(v->drive, key, &l->limit))
        hold(l);
}

void line_at_most(struct evidence *v, enum accept_item i, double most, const char *source)
{
    struct accept_line *l = line_of(v, i);
    l->limit = (struct accept_limit){.has_max = true, .max = most};
    (void)snprintf(l->limit.source, sizeof l->limit.source, "%s", source);
    hold(l);
}

void line_upto(struct evidence *v, enum accept_item i, const char *key)
{
    const struct limit *p = profile_limit(v->drive, key);
    if (p == NULL)
        return;
    line_at_most(v, i, p->has_max ? p->max : p->has_typ ? p->typ : p->min, p->source);
}

bool line_failed(const struct evidence *v, enum accept_item i)
{
    return v->sheet->line[i].state == ACCEPT_FAIL;
}
