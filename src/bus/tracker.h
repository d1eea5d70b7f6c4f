/* Inside of the bus tracker: one struct, worked on by one file a subject. Private to src/bus.
 */
#ifndef WHICHEND_BUS_TRACKER_H
#define WHICHEND_BUS_TRACKER_H

#include "base/units.h"
#include "bus/bus.h"

/* Ceilings. */
#define SEEKS_MAX    65536
#define ACCESSES_MAX 65536
#define EPOCHS_MAX   4096
#define WIDTHS_MAX   4096

/* A seek's pulses lie no further apart; a pause of many of its own intervals ends it sooner. */
#define BURST_NS       (100 * NS_PER_MS)
#define BURST_TIMES    8
#define STILL_NS       (20 * NS_PER_MS)
#define GATED_NS       (2 * NS_PER_US)   /* drive outputs follow select within this */
#define TRK00_STEADY   (100 * NS_PER_US) /* TRK00 must hold a level this long to be believed */
#define RETRY_NS       (60 * NS_PER_MS)  /* staying less at a place is no attempt to read it */
#define PAIR_WINDOW_NS 200
#define PAIR_EDGES_MIN 4
#define NEVER          INT64_MAX

enum { UNITS = 4, HEAD_ANONYMOUS = UNITS, HEADS };

struct line_track {
    enum level level, before; /* before: the level before the last change */
    bool whole;               /* the present level began with a seen edge */
    int64_t since_ns;
    int64_t booked_ns; /* time at levels is summed up to here */
    int64_t glitch_ns;
    int64_t low_pulses; /* whole ones */
    uint32_t *width_ns; /* the first low widths, for the median */
    size_t width_count, width_cap;
};

struct head {
    bool used;
    bool lost;             /* its epoch began by losing the place, and nothing happened since */
    int32_t epoch, steps;  /* steps counted since the epoch's start, inward positive */
    int8_t last_direction; /* of its last step in this epoch; 0 none */
};

/* A moment at which something begins. */
struct moment {
    int64_t ns;
    int32_t index_pulses, place;
    int8_t side, unit;
};

struct open_seek {
    bool open, after_taken;
    struct seek s;
    unsigned mask; /* selects active at its pulses */
    struct moment start, last;
    struct moment off,
        change; /* first and latest change of select or motor since the last pulse */
    bool changed;
    bool ready;          /* selected, motor on at the last pulse */
    bool cylinder_known; /* when trk00_after was taken */
    int32_t cylinder;
    int64_t after_ns;
    int64_t after_due_ns, close_due_ns;
};

enum segment_kind { SEGMENT_NONE, SEGMENT_IDLE, SEGMENT_SPIN_UP, SEGMENT_STILL, SEGMENT_WRITE };

struct segment {
    enum segment_kind kind;
    struct moment start;
    int64_t spin_due_ns;
};

/* Edges of the last moments, to see what moves together. */
enum { RECENT_MAX = 16 };
struct recent_edge {
    int64_t ns;
    enum line line;
    enum level level;
    bool gated;
    line_set matched;
};
struct pair_track {
    struct recent_edge recent[RECENT_MAX];
    int first, count;
    int64_t both[LINE_COUNT][LINE_COUNT]; /* a < b */
    int64_t gated[LINE_COUNT];            /* edges of a drive output that follow a select */
};

enum timing_item {
    TIME_STEP_INTERVAL,
    TIME_STEP_REVERSE,
    TIME_STEP_WIDTH,
    TIME_DIR_SETUP,
    TIME_DIR_HOLD,
    TIME_SETTLE,
    TIME_TRK00,
    TIME_INDEX_WIDTH,
    TIME_ERASE,
    TIME_GATE_DATA,
    TIME_READ_WIDTH,
    TIME_WRITE_WIDTH,
    TIME_ITEMS
};
struct timing_limit {
    const struct limit *limit; /* NULL: none */
    int64_t min_ns, max_ns;    /* slack included; 0 and NEVER where there is none */
    int64_t worst_low_ns, worst_high_ns, count, broken;
};

struct bus_tracker {
    const struct profile *drive, *controller;
    line_set recorded;
    struct bus_story s;
    size_t seek_cap, access_cap, epoch_cap;
    bool started;
    int64_t now_ns, due_ns;
    struct line_track line[LINE_COUNT];

    unsigned select_mask; /* selects active */
    bool selected;        /* some select active, or none recorded now */
    int64_t select_since_ns;
    bool motor;           /* some motor line active, or none recorded now */
    int64_t motor_low_ns; /* since when one is active; -1 */
    bool motor_seen_on;   /* MOTOR went on within the capture */

    struct bus_place place;
    uint64_t serial;
    int64_t settle_ns, settle_due_ns;
    struct head head[HEADS];

    int64_t step_fall_ns; /* of the pulse under way; -1 none, or not to be counted */
    int64_t step_ns;      /* trailing edge of the last pulse */
    int8_t step_direction;
    bool step_any;
    int32_t out_run, in_run; /* steps in a row without, with TRK00 */
    bool in_pending;         /* an inward step whose TRK00 was not looked at */
    int64_t dir_change_ns;   /* -1 never */
    int32_t limit_steps, last_cylinder;
    int64_t spin_up_ns;

    enum level trk00; /* believed */
    bool trk00_pending;
    int64_t trk00_ns; /* of the change that waits */

    int32_t index_pulses;
    int64_t index_fall_ns;
    int64_t gate_fall_ns, gate_rise_ns; /* -1 none */
    bool gate_data_seen;

    struct open_seek seek;
    struct segment segment;
    struct pair_track pairs;
    struct timing_limit timing[2][TIME_ITEMS]; /* drive, controller */
};

/* profile_min and friends with a NULL profile allowed */
double limit_min(const struct profile *p, const char *key, double fallback);
double limit_max(const struct profile *p, const char *key, double fallback);
int64_t bounded_ns(double ns); /* 0 to 1000 s */

/* lines.c */
void lines_start(struct bus_tracker *t);
bool selects_recorded(const struct bus_tracker *t);
/* Sums up the time of a line at its present level until ns. */
void line_book(struct bus_tracker *t, enum line line, int64_t ns);
enum err line_change(struct bus_tracker *t, enum line line, int64_t ns, enum level level);
void lines_finish(struct bus_tracker *t, int64_t ns);

/* head.c: the place of each unit's head */
enum err head_step(struct bus_tracker *t, int8_t direction);
/* TRK00 believed active: the count of the selected heads is fixed where that is sound. came: on
 * an edge. */
void head_trk00_active(struct bus_tracker *t, bool came);
enum err head_ready(struct bus_tracker *t); /* selected heads exist */
enum err head_lose(struct bus_tracker *t,
                   int heads); /* places unknown from here, of the first heads */
bool head_cylinder(const struct bus_tracker *t, int32_t *out);
enum err place_update(struct bus_tracker *t, int64_t ns);

/* steps.c: STEP pulses, TRK00 and the seeks made of them */
enum err step_edge(struct bus_tracker *t, int64_t ns, enum level level);
enum err trk00_edge(struct bus_tracker *t, int64_t ns, enum level level);
/* Believes a TRK00 change that has waited for longer than select needs. */
enum err trk00_resolve(struct bus_tracker *t, int64_t ns);
/* Select is about to go off: outputs are looked at while they still mean something. */
enum err steps_deselect(struct bus_tracker *t, int64_t ns);

/* seeks.c */
/* Ends a seek that the coming pulse does not belong to. */
enum err seek_before_pulse(struct bus_tracker *t, int64_t ns, int8_t direction);
enum err seek_pulse(struct bus_tracker *t, int64_t ns, int8_t direction,
                    const struct moment *before);
void seek_trk00(struct bus_tracker *t, enum level level);
void seek_take_after(struct bus_tracker *t, int64_t ns);
enum err seek_due(struct bus_tracker *t, int64_t at); /* what time alone does to a seek */
enum err seek_close(struct bus_tracker *t, int64_t ns, bool at_end);
void seek_note_change(struct bus_tracker *t, int64_t ns);
void steps_judge_inward(struct bus_tracker *t);

/* access.c */
struct moment moment_now(const struct bus_tracker *t, int64_t ns);
enum err access_add(struct bus_tracker *t, enum access_kind kind, enum access_end end,
                    const struct moment *start, int64_t end_ns, int32_t index_pulses,
                    int32_t steps);
/* select, motor or WGATE changed, or a seek ended at `start`: the segment that fits begins. */
enum err segment_update(struct bus_tracker *t, const struct moment *start);
/* The stretch after a seek that is over, with what select and motor did since. */
enum err segment_after_seek(struct bus_tracker *t);
enum err segment_step(struct bus_tracker *t,
                      int64_t ns); /* a pulse: the head is no longer still */
enum err segment_motor(struct bus_tracker *t, int64_t ns); /* MOTOR went on */
enum err segment_finish(struct bus_tracker *t, int64_t ns);
enum err accesses_finish(struct bus_tracker *t);

/* pairs.c */
void pair_edge(struct bus_tracker *t, enum line line, int64_t ns, enum level level);
enum err pairs_finish(struct bus_tracker *t);

/* timing.c */
void timing_start(struct bus_tracker *t);
void timing_seen(struct bus_tracker *t, enum timing_item item, int64_t ns);
/* Something that the erase heads forbid for a while after WGATE. */
void timing_erase(struct bus_tracker *t, int64_t ns);
enum err timing_finish(struct bus_tracker *t);

#endif
