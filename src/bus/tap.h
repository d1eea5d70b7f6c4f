/* Inside of the comparison of two taps. Private to src/bus. */
#ifndef WHICHEND_BUS_TAP_H
#define WHICHEND_BUS_TAP_H

#include "base/units.h"
#include "bus/bus.h"

#define TAP_EDGES_MAX   200000 /* a line */
#define TAP_WINDOWS_MAX 1000000
#define TAP_WINDOW_NS   NS_PER_MS
#define TAP_DRIFT_MAX   200e-6
#define TAP_PROPAGATION (1 * NS_PER_US)

struct tap_edge {
    int64_t ns;
    enum level level; /* from here */
};
/* Edges of a busy line in one window of the tap's own clock. */
struct tap_window {
    int64_t index; /* ns / TAP_WINDOW_NS */
    int64_t edges;
};

struct tap_track {
    struct tap_edge *edge; /* true edges, between recorded levels; not of RDATA and WDATA */
    size_t count, cap;
    struct tap_window *window; /* RDATA and WDATA only; windows without edges are left out */
    size_t window_count, window_cap;
    int64_t change_ns, lows, lows_ns; /* whole active pulses, and their time in all */
    struct tap_edge
        *state; /* where the line begins and ceases to be recorded, with its level */
    size_t state_count, state_cap;
    enum level level;
    int64_t moves; /* true edges, kept or not */
};

struct tap_edges {
    bool any;
    int64_t start_ns, end_ns;
    int64_t sample_ns; /* an edge may have come that much sooner; 0 unknown */
    struct tap_track line[LINE_COUNT];
};

/* Drive-end time of a machine-end time and back. */
struct tap_clock {
    int64_t anchor_ns; /* machine-end time at which offset_ns holds */
    int64_t offset_ns;
    double drift; /* what the drive end's clock gains on the machine end's, per ns */
};
int64_t tap_to_drive(const struct tap_clock *c, int64_t machine_ns);
int64_t tap_to_machine(const struct tap_clock *c, int64_t drive_ns);

static inline bool tap_is_busy(enum line line)
{
    return line == LINE_RDATA || line == LINE_WDATA;
}
/* First edge at or after ns. */
size_t tap_lower(const struct tap_edge *edge, size_t count, int64_t ns);
/* The edge to `level` nearest to ns within window_ns; count where there is none. */
size_t tap_nearest(const struct tap_track *t, int64_t ns, enum level level, int64_t window_ns);
/* Recorded without a break from .. to. */
bool tap_recorded(const struct tap_track *t, int64_t from, int64_t to);
/* Level at ns; LEVEL_UNKNOWN where not recorded. Not for RDATA and WDATA between their edges.
 */
enum level tap_level(const struct tap_track *t, int64_t ns);

/* A line that moves at both taps. */
struct tap_common {
    const struct tap_track *m, *d;
};
struct tap_fit {
    bool good;
    struct tap_clock clock;
    int64_t residual_ns, tolerance_ns, matched;
};
/* d: the drive end's tap, for its span. */
enum err tap_align(const struct tap_edges *d, const struct tap_common *common, size_t count,
                   bool same_clock, struct tap_fit *out);

#endif
