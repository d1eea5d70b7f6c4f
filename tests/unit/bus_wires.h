/* Hand-made bus traffic, all of it invented: a machine that drives the lines, a drive that
 * answers, both as simple as the tests of src/bus need. Times in ns.
 */
#ifndef TEST_BUS_WIRES_H
#define TEST_BUS_WIRES_H

#include "base/units.h"
#include "bus/bus.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define LOW  LEVEL_LOW
#define HIGH LEVEL_HIGH
#define MS   NS_PER_MS
#define US   NS_PER_US

#define BIT LINE_BIT
#define USUAL_LINES                                                                            \
    (BIT(LINE_SELECT0) | BIT(LINE_MOTOR) | BIT(LINE_DIR) | BIT(LINE_STEP) | BIT(LINE_SIDE) |   \
     BIT(LINE_WGATE) | BIT(LINE_WDATA) | BIT(LINE_INDEX) | BIT(LINE_TRK00) | BIT(LINE_WPROT) | \
     BIT(LINE_RDATA) | BIT(LINE_READY))

struct wires {
    struct bus_tracker *tracker;
    struct tap_edges *tap; /* fed too, if not NULL */
    line_set lines;
    int64_t now_ns;
    int cylinder;    /* where the head really is */
    bool trk00_dead; /* the sensor never answers */
    bool stuck;      /* the head does not move */
};

static inline void wires_set(struct wires *w, enum line line, enum level level)
{
    if ((w->lines & BIT(line)) != 0) {
        assert_int_equal(bus_tracker_edge(w->tracker, w->now_ns, line, level), ERR_OK);
    }
}

static inline void wires_wait(struct wires *w, int64_t ns)
{
    w->now_ns += ns;
}

/* All lines recorded and inactive from time 0. */
static inline void wires_open(struct wires *w, line_set lines, int cylinder,
                              const struct profile *drive, const struct profile *controller)
{
    *w = (struct wires){.lines = lines, .cylinder = cylinder};
    assert_int_equal(bus_tracker_new(drive, controller, lines, &w->tracker), ERR_OK);
    for (int i = 0; i < LINE_COUNT; i++) {
        wires_set(w, (enum line)i, HIGH);
    }
}

static inline void wires_trk00(struct wires *w)
{
    wires_set(w, LINE_TRK00, w->cylinder == 0 && !w->trk00_dead ? LOW : HIGH);
}

static inline void wires_select(struct wires *w, enum level level)
{
    wires_set(w, LINE_SELECT0, level);
    wires_wait(w, 300);
    if (level == LOW) {
        wires_trk00(w);
    } else {
        wires_set(w, LINE_TRK00, HIGH);
    }
    wires_wait(w, 10 * US);
}

static inline void wires_pulse(struct wires *w, enum line line, int64_t low_ns)
{
    wires_set(w, line, LOW);
    wires_wait(w, low_ns);
    wires_set(w, line, HIGH);
}

/* Steps 3 ms apart, TRK00 answering after 1.9 ms; DIR set 24 us before. */
static inline void wires_seek(struct wires *w, int steps)
{
    int direction = steps > 0 ? 1 : -1;
    wires_set(w, LINE_DIR, steps > 0 ? LOW : HIGH);
    wires_wait(w, 24 * US);
    for (int i = 0; i != steps; i += direction) {
        wires_pulse(w, LINE_STEP, 4 * US);
        if (!w->stuck && (direction > 0 || w->cylinder > 0)) {
            w->cylinder += direction;
        }
        wires_wait(w, 1900 * US);
        wires_trk00(w);
        wires_wait(w, 1096 * US);
    }
}

/* Outward until TRK00 answers, at most `limit` steps. */
static inline void wires_restore(struct wires *w, int limit)
{
    for (int i = 0; i < limit && (w->cylinder > 0 || w->trk00_dead); i++) {
        wires_seek(w, -1);
    }
}

/* Index pulses of 3 ms every 200 ms for a while. */
static inline void wires_turn(struct wires *w, int turns)
{
    for (int i = 0; i < turns; i++) {
        wires_wait(w, 197 * MS);
        wires_pulse(w, LINE_INDEX, 3 * MS);
    }
}

static inline void wires_close(struct wires *w, struct bus_story *out)
{
    assert_int_equal(bus_tracker_finish(w->tracker, w->now_ns, out), ERR_OK);
    bus_tracker_free(w->tracker);
    w->tracker = NULL;
}

/* The cylinder where the lines say the head is now; -1 unknown. Closes nothing: ask after
 * wires_close. */
static inline int wires_cylinder(const struct bus_story *s, int32_t raw)
{
    int32_t cylinder = -1;
    return bus_cylinder(s, raw, &cylinder) ? cylinder : -1;
}

static inline int32_t wires_raw(const struct wires *w)
{
    uint64_t serial = 0;
    return bus_tracker_place(w->tracker, &serial)->epoch_cylinder;
}

#endif
