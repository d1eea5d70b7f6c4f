/* A recorder on the bus: leads, a sampling clock of its own, a window for RDATA. */
#ifndef WHICHEND_SIM_TAP_H
#define WHICHEND_SIM_TAP_H

#include "base/line.h"
#include "base/units.h"
#include "sim/play.h"

struct tap {
    struct sim_tap_info info;
    int index;
    line_set open_leads;
    int64_t offset_ns, drift_ppb; /* of its clock */
    int64_t last_sample;
    int64_t last_tick;
    enum level pending[LINE_COUNT]; /* at last_sample */
    enum level written[LINE_COUNT];
    line_set touched; /* lines that changed at last_sample */
    line_set told;    /* lines whose state at the start has been written */
    bool flux_open;
    enum level rdata; /* true level, for when the window opens */
    const struct sim_sink *sink;
};

/* All calls in rising time. */
enum err sim_tap_start(struct tap *t, const bool low[LINE_COUNT]);
enum err sim_tap_edge(struct tap *t, int64_t now_ns, enum line line, enum level level);
enum err sim_tap_flux_window(struct tap *t, int64_t now_ns, bool open);
enum err sim_tap_finish(struct tap *t, int64_t now_ns, int64_t *end_tick);

#endif
