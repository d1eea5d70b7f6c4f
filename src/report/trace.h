/* What a page draws of a capture's edges: levels by time, read intervals, supply rails. Fed
 * chunk by chunk; its size does not grow with the capture, whose length need not be known.
 *
 * Time is cut into at most TRACE_COLUMNS columns; where a capture outgrows them, neighbours are
 * put together and each column stands for twice the time. A column keeps which levels came in
 * it, or the lowest and highest voltage.
 */
#ifndef WHICHEND_REPORT_TRACE_H
#define WHICHEND_REPORT_TRACE_H

#include "capture/capture.h"

#define TRACE_COLUMNS 600
#define TRACE_BINS    4096
#define TRACE_BIN_NS  5

/* Bits of trace_line.seen. */
enum { SEEN_LOW = 1 << LEVEL_LOW, SEEN_HIGH = 1 << LEVEL_HIGH, SEEN_GAP = 1 << LEVEL_UNKNOWN };

struct trace_line {
    uint8_t seen[TRACE_COLUMNS]; /* 0: before its first value */
    bool started;
    enum level level; /* in force from column `at` on */
    int64_t at;
};

struct trace_rail {
    int32_t low_mv[TRACE_COLUMNS], high_mv[TRACE_COLUMNS];
    bool seen[TRACE_COLUMNS];
    bool started;
    int32_t mv; /* in force from column `at` on */
    int64_t at;
};

struct trace {
    bool started;
    struct tick tick;
    int64_t start_tick, end_tick;
    int shift; /* a column is 2^shift ticks */
    struct trace_line line[LINE_COUNT];
    struct trace_rail rail[RAIL_COUNT];
    /* from one fall of RDATA to the next, while WGATE is inactive or not recorded */
    int64_t
        interval[TRACE_BINS]; /* by TRACE_BIN_NS; the last one holds those that are longer */
    int64_t intervals;
    int64_t last_fall; /* -1 none */
};

/* Begin with a zeroed struct. */
void trace_chunk(struct trace *t, const struct capture_info *info, const struct chunk *c);
/* Columns in use, and the seconds that one stands for. */
size_t trace_columns(const struct trace *t);
double trace_column_s(const struct trace *t);

#endif
