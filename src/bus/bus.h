/* Control lines to a story: what the machine asked, how the drive answered.
 *
 * Fed edge by edge in time order with times in ns; holds only summaries, each with a ceiling.
 * All lines at one tap on one clock. Levels are as on the cable (low is active).
 */
#ifndef WHICHEND_BUS_BUS_H
#define WHICHEND_BUS_BUS_H

#include "base/err.h"
#include "base/line.h"
#include "profile/profile.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum line_state {
    LINE_NOT_RECORDED,
    LINE_NEVER_ACTIVE,
    LINE_ALWAYS_ACTIVE,
    LINE_TOGGLES,
    LINE_ERRATIC, /* its shortest pulses are too many to be the line's own signal */
};

struct line_stats {
    enum line_state state;
    int64_t edges;           /* recorded level changes (not to or from "not recorded") */
    int64_t falls;           /* high to low */
    int64_t low_ns, high_ns; /* recorded time at each level */
    int64_t unknown_ns;
    int64_t glitches;        /* pulses of either level shorter than the line's glitch width */
    int64_t shortest_low_ns; /* 0 if none */
    int64_t shortest_high_ns;
    int64_t median_low_ns; /* over the first 4096 pulses; 0 if none */
    int64_t
        falls_selected; /* falls while some unit's select was active (or no select recorded) */
    int64_t falls_unselected; /* falls while selects were recorded and all inactive, 2 us after
                                 release */
    int64_t low_selected_ns, selected_ns; /* recorded time while selected: low, total */
    int64_t low_unselected_ns, unselected_ns;
    enum level first, last;
};

/* A run of STEP pulses with one direction, none further apart than the burst limit (100 ms). */
struct seek {
    int64_t start_ns, end_ns; /* first and last pulse */
    int32_t steps;
    int8_t direction; /* +1 inward, -1 outward, 0 DIR not recorded */
    bool selected;
    int64_t min_interval_ns;  /* 0 for one step */
    int64_t min_dir_setup_ns; /* -1 if DIR did not change before it */
    enum level trk00_before,
        trk00_after;            /* after: at the next seek or 20 ms later, whichever is first */
    int32_t trk00_step;         /* pulses until TRK00 became active; -1 if it did not */
    int32_t trk00_release_step; /* pulses until TRK00 became inactive; -1 if it did not */
    int64_t trk00_late_ns;      /* from the step to the last change of TRK00 it made; -1 none */
};

enum access_kind {
    ACCESS_SPIN_UP, /* MOTOR active to first step or read */
    ACCESS_RESTORE, /* outward steps that make TRK00 active, or end at a limit */
    ACCESS_SEEK,
    ACCESS_READ, /* selected, turning, still: a stretch of at least 20 ms without STEP or WGATE
                  */
    ACCESS_WRITE,
    ACCESS_IDLE,
};

enum access_end {
    ACCESS_DONE,
    ACCESS_LIMIT,   /* restore: a step limit was reached without TRK00 */
    ACCESS_OPEN,    /* still going when the capture ended */
    ACCESS_STOPPED, /* deselected or motor dropped */
};

struct access {
    enum access_kind kind;
    enum access_end end;
    int64_t start_ns, end_ns;
    int32_t steps;        /* restore and seek; signed, inward positive */
    int32_t index_pulses; /* seen at this tap within it */
    int8_t unit;          /* select number, -1 not recorded, -2 none selected */
    int32_t place;        /* head position at its start: see bus_cylinder() */
    int8_t side;          /* 0, 1; -1 not recorded */
};

/* Two lines that move together. What a healthy bus does is left out: outputs that select gates,
 * latch lines that the machine switches in one go (select, motor, side and the like), and lines
 * of fewer than 4 edges.
 */
struct line_pair {
    enum line a, b;
    int64_t both; /* edges of one within 200 ns of an edge of the same sense of the other */
    int64_t edges_a, edges_b;
    bool same;      /* all but 2 % of both lines' edges coincide */
    bool wired_and; /* not same, but one line's lows are always seen on the other as well */
};

/* A line's timing held against a limit, drive's or controller's; 1 % of slack for clocks. One
 * entry a limit that the profile holds and the capture exercised. */
struct timing_check {
    enum line line;
    const char *what;    /* profile key, such as "step_interval_ms"; static */
    double worst, limit; /* in the key's unit; worst seen */
    bool below_min, above_max;
    int64_t count, broken; /* cases seen, cases outside */
    const char *source;    /* of the limit; borrowed from the profile */
};

/* A stretch during which the head's place, side, unit and the drive's readiness to be read did
 * not change. */
struct bus_place {
    int64_t since_ns;
    int32_t epoch_cylinder; /* raw: resolve with bus_cylinder(); see bus_same_epoch() */
    int8_t side;            /* 0 or 1; -1 SIDE not recorded */
    int8_t unit;            /* -1: no select recorded; -2: none selected */
    bool motor;             /* MOTOR active (or not recorded) */
    bool writing;           /* WGATE active */
    bool settled;           /* the profile's settle time has passed since the last step */
};

/* A run of places counted without a break. A break: steps of unknown direction, or STEP not
 * recorded for a while. Each unit has epochs of its own. */
struct bus_epoch {
    bool known;     /* TRK00 fixed it */
    int32_t offset; /* cylinder = counted steps + offset */
};

struct bus_story {
    int64_t start_ns, end_ns; /* first edge fed; end as given to finish */
    struct line_stats line[LINE_COUNT];
    struct seek *seek;
    size_t seek_count;
    struct access *access;
    size_t access_count;
    struct line_pair *pair; /* pairs with both > 0 that are same or wired_and */
    size_t pair_count;
    struct timing_check *timing;
    size_t timing_count;
    struct bus_epoch *epoch;
    size_t epoch_count;
    /* head; only pulses made while a select is active (or none recorded) move it */
    bool place_known; /* TRK00 was seen to become active on a step, or active at the start */
    int32_t steps_in, steps_out;       /* all STEP pulses by DIR, selected or not */
    int32_t steps_unselected;          /* of those, made while no select was active */
    int32_t longest_out_without_trk00; /* most outward steps in a row with TRK00 recorded and
                                          inactive, selected or not: what the machine tried */
    int32_t longest_in_with_trk00; /* most inward steps in a row with TRK00 still active after
                                      them */
    int32_t trk00_at_other_place;  /* seeks with TRK00 active at tracked cylinder 3 or more */
    int32_t trk00_missing_at_zero; /* seeks with TRK00 inactive at tracked cylinder 0 */
    int32_t restores, restores_failed;
    int32_t retries;         /* times the head moved away and came back to what it just read */
    int32_t step_limit_seen; /* steps of the longest failed restore */
    /* gates and activity */
    int32_t write_gates; /* WGATE pulses */
    int64_t write_gate_ns, longest_write_gate_ns;
    int64_t write_pulses_in_gate, write_pulses_outside_gate; /* WDATA falls */
    int64_t motor_ns, selected_ns; /* active time; 0 if never or not recorded */
    int64_t motor_on_ns;  /* first time MOTOR was active (start_ns: from the start); -1 */
    int64_t select_on_ns; /* first time a select was active; -1 */
    int64_t first_step_ns, last_activity_ns; /* any machine-to-drive edge; -1 none */
    int64_t first_index_ns;                  /* first INDEX fall after MOTOR; -1 */
    int32_t index_before_first_step; /* INDEX pulses between MOTOR going on and the first step
                                 (or the end); -1: MOTOR was not seen to go on, or no INDEX */
    int32_t units_used;              /* bit per unit selected */
    bool truncated;                  /* a ceiling was met; counts stand, lists are cut */
};

struct bus_tracker;

/* drive, controller, cable may be NULL (no limits then). Borrowed until finish or free. */
enum err bus_tracker_new(const struct profile *drive, const struct profile *controller,
                         line_set recorded, struct bus_tracker **out);
/* Times run from 0 to this (73 years): what lies ahead of an edge must be countable too. */
#define BUS_NS_MAX (INT64_MAX / 4)
/* One edge. Times never run back (ERR_INTERNAL), nor past BUS_NS_MAX (ERR_FORMAT). Cheap; RDATA
 * and WDATA edges may be fed too and are counted only. */
enum err bus_tracker_edge(struct bus_tracker *t, int64_t ns, enum line line, enum level level);
/* Edges of RDATA in a row, each turning it over. */
struct read_row {
    int64_t ns;              /* of the first */
    const int32_t *after_ns; /* of each, behind the first: 0, ... */
    size_t count;
    enum level first; /* that the first turns it to */
};
/* As if each had been given to bus_tracker_edge(), but fast. false: nothing was taken, and the
 * first must be given by itself. The place stays as it is. */
bool bus_tracker_reads(struct bus_tracker *t, const struct read_row *row);
/* The place after the last edge fed. A new value of serial means that any field but since_ns
 * changed. */
const struct bus_place *bus_tracker_place(const struct bus_tracker *t, uint64_t *serial);
/* Ends the story; the tracker is used up (free it). */
enum err bus_tracker_finish(struct bus_tracker *t, int64_t end_ns, struct bus_story *out);
void bus_tracker_free(struct bus_tracker *t);
void bus_story_release(struct bus_story *s);

/* The cylinder of a raw place; false while no TRK00 fixed it (before or after: the offset
 * counts back), or where the count runs below 0. */
bool bus_cylinder(const struct bus_story *s, int32_t epoch_cylinder, int32_t *out);
/* Raw places can be subtracted (a difference in cylinders) only where this is true. */
bool bus_same_epoch(int32_t epoch_cylinder_a, int32_t epoch_cylinder_b);

const char *line_state_name(enum line_state s); /* the contract's words */

/* Two taps. Edge lists of slow lines of each tap, made while streaming. */
struct tap_edges;
enum err tap_edges_new(struct tap_edges **out);
/* RDATA and WDATA are only counted, in windows of 1 ms; others are kept up to 200,000 edges a
 * line. */
enum err tap_edges_add(struct tap_edges *t, int64_t ns, enum line line, enum level level);
/* The recording went on until ns, though nothing moved: lines are compared up to there. */
enum err tap_edges_end(struct tap_edges *t, int64_t ns);
/* Its sampling interval, where known: edges of two taps match to one sample of each. */
void tap_edges_sampled(struct tap_edges *t, int64_t sample_ns);
void tap_edges_free(struct tap_edges *t);

enum tap_relation {
    TAP_NOT_COMPARED,  /* one of the two not recorded, nothing moved at either, or pulses too
                          short for a tap's sampling */
    TAP_SAME,          /* edges match */
    TAP_QUIET_MACHINE, /* moves at the drive end only */
    TAP_QUIET_DRIVE,   /* moves at the machine end only */
    TAP_DIFFER,        /* both move, edges do not match */
    TAP_LEVELS,        /* no edges at either, levels differ */
};
struct tap_line {
    enum line machine_line, drive_line;
    enum tap_relation relation;
    int64_t matched, only_machine, only_drive;
};
struct tap_compare {
    bool aligned;
    int64_t offset_ns; /* drive-end time = machine-end time + offset (+ drift) */
    double drift_ppm;
    int64_t residual_ns; /* median absolute mismatch of matched edges */
    int64_t common_edges;
    struct tap_line line[LINE_COUNT];
    size_t line_count;
};
/* Align by common edges and compare each line through the cable's map. same_clock: start at
 * offset 0 and trust it when it fits. */
enum err tap_compare(const struct tap_edges *machine_end, const struct tap_edges *drive_end,
                     const struct profile *cable, bool same_clock, struct tap_compare *out);

#endif
