/* Captures in memory with made flux on RDATA, and what a survey of them says. */
#ifndef WHICHEND_TESTS_FLUX_CAPTURE_H
#define WHICHEND_TESTS_FLUX_CAPTURE_H

#include "base/buf.h"
#include "evidence/survey.h"
#include "unit/flux_make.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>

#include <cmocka.h>

#define EVENTS_TEXT_MAX ((size_t)64 << 20)
#define EVENTS_START_NS 10000000 /* quiet until here */
#define READ_PULSE_NS   500
#define INDEX_PULSE_NS  3000000

/* Lines by their VCD letter. */
static const struct {
    char letter;
    const char *name, *rest; /* level before the first event */
} events_line[] = {{'r', "RDATA", "1"}, {'i', "INDEX", "1"}, {'s', "STEP", "1"},
                   {'d', "DIR", "0"},   {'t', "TRK00", "0"}, {'h', "SIDE", "1"},
                   {'w', "WGATE", "1"}};

struct events {
    struct event {
        int64_t ns;
        char level, letter;
    } * event;
    size_t count, cap;
};

static inline void events_add(struct events *e, int64_t ns, char letter, char level)
{
    if (e->count == e->cap) {
        e->cap = e->cap == 0 ? 4096 : 2 * e->cap;
        e->event = realloc(e->event, e->cap * sizeof *e->event);
        assert_non_null(e->event);
    }
    e->event[e->count++] = (struct event){ns, level, letter};
}
static inline void events_pulse(struct events *e, int64_t ns, char letter, int64_t width_ns)
{
    events_add(e, ns, letter, '0');
    events_add(e, ns + width_ns, letter, '1');
}
/* Read pulses from a time on; returns when the last one ends. */
static inline int64_t events_flux(struct events *e, const struct flux_made *f, int64_t from_ns)
{
    int64_t ps = 0;
    for (size_t i = 0; i <= f->count; i++) {
        events_pulse(e, from_ns + (ps + 500) / 1000, 'r', READ_PULSE_NS);
        ps += i < f->count ? f->interval_ps[i] : 0;
    }
    return from_ns + ps / 1000 + READ_PULSE_NS;
}
static inline void events_index(struct events *e, double from_ns, double turn_ns, int count)
{
    for (int i = 0; i < count; i++) {
        events_pulse(e, llround(from_ns + i * turn_ns), 'i', INDEX_PULSE_NS);
    }
}

/* One step at a time; returns when the head has settled. */
static inline int64_t events_step(struct events *e, int64_t ns, bool inward)
{
    events_add(e, ns, 'd', inward ? '0' : '1');
    events_pulse(e, ns + 10000, 's', 10000);
    return ns + 20000000;
}

static inline int compare_event(const void *a, const void *b)
{
    int64_t x = ((const struct event *)a)->ns;
    int64_t y = ((const struct event *)b)->ns;
    return (x > y) - (x < y);
}

/* VCD text in ns. lines: letters of those that are recorded. */
static inline void events_text(struct events *e, const char *lines, struct buf *out)
{
    buf_init(out, EVENTS_TEXT_MAX);
    qsort(e->event, e->count, sizeof *e->event, compare_event);
    enum err code = buf_str(out, "$timescale 1 ns $end\n");
    for (size_t i = 0; i < sizeof events_line / sizeof events_line[0]; i++) {
        if (strchr(lines, events_line[i].letter) != NULL) {
            code = code == ERR_OK ? buf_printf(out, "$var wire 1 %c %s $end\n",
                                               events_line[i].letter, events_line[i].name)
                                  : code;
        }
    }
    code = code == ERR_OK ? buf_str(out, "$enddefinitions $end\n#0\n") : code;
    for (size_t i = 0; i < sizeof events_line / sizeof events_line[0]; i++) {
        if (strchr(lines, events_line[i].letter) != NULL) {
            code = code == ERR_OK
                       ? buf_printf(out, "%s%c\n", events_line[i].rest, events_line[i].letter)
                       : code;
        }
    }
    for (size_t i = 0; code == ERR_OK && i < e->count; i++) {
        code = buf_printf(out, "#%lld\n%c%c\n", (long long)e->event[i].ns, e->event[i].level,
                          e->event[i].letter);
    }
    assert_int_equal(code, ERR_OK);
}

/* The events are let go; the survey is yours, survey_done(). drive: NULL where it is not known.
 */
static inline struct survey *events_survey_with(struct events *e, const char *lines,
                                                const struct profile *drive)
{
    struct survey *s = calloc(1, sizeof *s);
    const struct survey_options o = {.drive = drive};
    struct err_msg m = {0};
    struct capture *c = NULL;
    struct buf text;
    assert_non_null(s);
    events_text(e, lines, &text);
    assert_int_equal(capture_open_memory("text", text.data, text.len, NULL, &c, &m), ERR_OK);
    assert_int_equal(survey_run(c, &o, s, &m), ERR_OK);
    capture_close(c);
    buf_release(&text);
    free(e->event);
    return s;
}
static inline struct survey *events_survey(struct events *e, const char *lines)
{
    return events_survey_with(e, lines, NULL);
}
static inline void survey_done(struct survey *s)
{
    survey_release(s);
    free(s);
}

#endif
