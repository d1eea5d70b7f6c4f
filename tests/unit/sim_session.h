/* A simulated session held in memory: edges of both taps by line. For the tests of the
 * simulator. */
#ifndef TEST_SIM_SESSION_H
#define TEST_SIM_SESSION_H

#include "base/buf.h"
#include "sim/play.h"
#include "sim_options.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

struct seen_edge {
    int64_t ns;
    enum level level;
};

struct seen_line {
    struct seen_edge *edge;
    size_t count, cap;
};

struct session {
    struct seen_line line[TAPS][LINE_COUNT];
    struct sim_tap_info info[TAPS];
    struct sim_result result;
    uint64_t hash;
};

static inline enum err keep_edge(void *ctx, int tap, int64_t tick, enum line line,
                                 enum level level)
{
    struct session *s = ctx;
    struct seen_line *l = &s->line[tap][line];
    int64_t ns = 0;
    if (!ticks_to_ns(tick, s->info[tap].tick, &ns))
        return ERR_INTERNAL;
    TRY(array_grow((void **)&l->edge, &l->cap, l->count + 1, sizeof *l->edge, 1u << 24));
    l->edge[l->count++] = (struct seen_edge){ns, level};
    s->hash = (s->hash ^ (uint64_t)tick ^ ((uint64_t)line << 56) ^ ((uint64_t)level << 48)) *
              UINT64_C(0x100000001B3);
    return ERR_OK;
}

static inline void run_session(const struct sim_options *o, struct session *s)
{
    struct err_msg e = {0};
    struct sim_play *p = NULL;
    struct sim_sink sink = {s, keep_edge};
    *s = (struct session){.hash = UINT64_C(0xCBF29CE484222325)};
    if (sim_play_open(o, &p, &e) != ERR_OK)
        fail_msg("%s", e.text);
    for (int tap = 0; tap < TAPS; tap++)
        sim_play_info(p, tap, &s->info[tap]);
    assert_int_equal(sim_play_run(p, &sink, &s->result, &e), ERR_OK);
    sim_play_close(p);
}

static inline void free_session(struct session *s)
{
    for (int tap = 0; tap < TAPS; tap++) {
        for (int i = 0; i < LINE_COUNT; i++)
            free(s->line[tap][i].edge);
    }
}

/* Changes from high to low. */
static inline size_t falls(const struct session *s, int tap, enum line line)
{
    const struct seen_line *l = &s->line[tap][line];
    size_t n = 0;
    for (size_t i = 1; i < l->count; i++)
        n += l->edge[i].level == LEVEL_LOW && l->edge[i - 1].level == LEVEL_HIGH;
    return n;
}

static inline enum level first_level(const struct session *s, int tap, enum line line)
{
    assert_true(s->line[tap][line].count > 0);
    return s->line[tap][line].edge[0].level;
}

/* ns that a line was low. */
static inline int64_t low_ns(const struct session *s, int tap, enum line line)
{
    const struct seen_line *l = &s->line[tap][line];
    int64_t end = s->result.seconds_ns;
    int64_t sum = 0;
    for (size_t i = 0; i < l->count; i++) {
        int64_t to = i + 1 < l->count ? l->edge[i + 1].ns : end;
        sum += l->edge[i].level == LEVEL_LOW ? to - l->edge[i].ns : 0;
    }
    return sum;
}

/* Times between falling edges: how many lie within low..high. */
static inline size_t periods_within(const struct session *s, int tap, enum line line,
                                    int64_t low, int64_t high, size_t *all)
{
    const struct seen_line *l = &s->line[tap][line];
    int64_t last = -1;
    size_t n = 0;
    *all = 0;
    for (size_t i = 1; i < l->count; i++) {
        if (l->edge[i].level != LEVEL_LOW || l->edge[i - 1].level != LEVEL_HIGH)
            continue;
        if (last >= 0) {
            ++*all;
            n += l->edge[i].ns - last >= low && l->edge[i].ns - last <= high;
        }
        last = l->edge[i].ns;
    }
    return n;
}

#endif
