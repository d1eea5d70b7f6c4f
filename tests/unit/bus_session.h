/* An invented session on the bus as one list of edges, to be listened to at two taps. */
#ifndef TEST_BUS_SESSION_H
#define TEST_BUS_SESSION_H

#include "bus_wires.h"

#define SESSION_EDGES 20000

struct session_edge {
    int64_t ns;
    enum line line;
    enum level level;
};
struct session {
    struct session_edge edge[SESSION_EDGES];
    size_t count;
    int64_t now_ns;
    uint32_t seed;
};

/* How a tap hears it: drive-end clocks, sampling, what is missing. */
struct ear {
    int64_t offset_ns;
    double drift;
    int64_t sample_ns; /* 0: none */
    line_set dead;     /* stays high */
    line_set unheard;  /* not recorded */
};

static inline uint32_t session_random(struct session *s)
{
    s->seed = s->seed * 1664525u + 1013904223u;
    return s->seed >> 8;
}

static inline void session_add(struct session *s, int64_t wait_ns, enum line line,
                               enum level level)
{
    s->now_ns += wait_ns;
    assert_true(s->count < SESSION_EDGES);
    s->edge[s->count++] = (struct session_edge){s->now_ns, line, level};
}

static inline void session_steps(struct session *s, int steps)
{
    for (int i = 0; i < steps; i++) {
        session_add(s, 3 * MS, LINE_STEP, LOW);
        session_add(s, 4 * US, LINE_STEP, HIGH);
    }
}

/* Turns of 200 ms that waver by some 50 us each, as a drive's do. */
static inline void session_turns(struct session *s, int turns)
{
    for (int i = 0; i < turns; i++) {
        session_add(s, 196 * MS + session_random(s) % 50000, LINE_INDEX, LOW);
        session_add(s, 4 * MS, LINE_INDEX, HIGH);
    }
}

/* Software on the machine takes its own, never equal, times between commands. */
static inline void session_pause(struct session *s)
{
    s->now_ns += session_random(s) % (30 * MS);
}

static inline void session_make(struct session *s, int accesses)
{
    *s = (struct session){.seed = 7};
    for (int i = 0; i < LINE_COUNT; i++) {
        session_add(s, 0, (enum line)i, HIGH);
    }
    session_add(s, 100 * MS, LINE_SELECT0, LOW);
    session_add(s, MS, LINE_MOTOR, LOW);
    session_turns(s, 4);
    session_steps(s, 9);
    session_add(s, 2 * MS, LINE_TRK00, LOW);
    for (int i = 0; i < accesses; i++) {
        session_pause(s);
        session_add(s, MS, LINE_DIR, LOW);
        session_steps(s, 5 + (int)(session_random(s) % 20));
        session_add(s, 2 * MS, LINE_TRK00, HIGH);
        session_turns(s, 1 + (int)(session_random(s) % 3));
        session_add(s, MS, LINE_SIDE, LOW);
        for (int k = 0; k < 300; k++) {
            session_add(s, 4 * US, LINE_RDATA, LOW);
            session_add(s, 400, LINE_RDATA, HIGH);
        }
        session_turns(s, 2);
        session_add(s, MS, LINE_SIDE, HIGH);
        session_add(s, 0, LINE_DIR, HIGH);
        session_steps(s, 5 + (int)(session_random(s) % 20));
        session_add(s, 2 * MS, LINE_TRK00, LOW);
    }
}

static inline int64_t ear_time(const struct ear *e, int64_t ns)
{
    int64_t t = ns + e->offset_ns + (int64_t)(e->drift * (double)ns);
    return e->sample_ns > 0 ? (t + e->sample_ns - 1) / e->sample_ns * e->sample_ns : t;
}

/* to_pin: the line's name at this tap, or NULL for the same. */
static inline struct tap_edges *session_hear(const struct session *s, const struct ear *e,
                                             enum line (*name)(enum line))
{
    struct tap_edges *t = NULL;
    assert_int_equal(tap_edges_new(&t), ERR_OK);
    for (size_t i = 0; i < s->count; i++) {
        enum line line = s->edge[i].line;
        if ((e->unheard & BIT(line)) != 0 ||
            ((e->dead & BIT(line)) != 0 && s->edge[i].level == LOW)) {
            continue;
        }
        enum line named = name != NULL ? name(line) : line;
        if (named != LINE_NONE) {
            assert_int_equal(
                tap_edges_add(t, ear_time(e, s->edge[i].ns), named, s->edge[i].level), ERR_OK);
        }
    }
    assert_int_equal(tap_edges_end(t, ear_time(e, s->now_ns + 100 * MS)), ERR_OK);
    return t;
}

static inline const struct tap_line *tap_of(const struct tap_compare *c, enum line machine_line)
{
    for (size_t i = 0; i < c->line_count; i++) {
        if (c->line[i].machine_line == machine_line) {
            return &c->line[i];
        }
    }
    return NULL;
}

#endif
