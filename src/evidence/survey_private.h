/* Parts of one survey, private to survey*.c: grid of the sampling, index pulses, supply,
 * visits, tracks. */
#ifndef WHICHEND_EVIDENCE_SURVEY_PRIVATE_H
#define WHICHEND_EVIDENCE_SURVEY_PRIVATE_H

#include "base/buf.h"
#include "evidence/survey.h"
#include "signal/repair.h"

struct survey_run;

#define GRID_SLOTS         4096
#define GRID_DIFFERENT_MAX 3000

/* Spacings of neighbouring edges and how often each came, from which the sampling interval is
 * found. */
struct spacing {
    int64_t ticks, count;
};
struct grid {
    int64_t last_tick; /* -1: none yet */
    bool found;        /* the interval is settled: no more spacings are taken */
    int64_t rdata;     /* spacings that end at an edge of RDATA */
    size_t different;
    struct spacing slot[GRID_SLOTS]; /* by hash; count 0: free */
    struct spacing sorted[GRID_DIFFERENT_MAX];
};
void grid_edge(struct grid *g, int64_t tick, bool rdata);

enum grid_word {
    GRID_OPEN,  /* too few edges to tell */
    GRID_NONE,  /* times do not lie on a grid coarser than the tick */
    GRID_FOUND, /* *out_ticks */
};
enum grid_word grid_find(struct grid *g, double *out_ticks);

/* Times at which no index pulse can be seen. Whether a drive that is not ready, or whose head
 * moves, holds them back shows only at the end: no turn ends for those. */
enum gap_kind {
    GAP_MOTOR_OFF,
    GAP_DESELECTED,
    GAP_NOT_RECORDED,
    GAP_NOT_READY,
    GAP_STEPPING,
    GAP_KINDS
};

struct gap_list {
    int64_t *ns; /* pairs start, end */
    size_t count, cap;
    bool open;
};
/* Pairs start, end in order, none touching another. */
struct spans {
    int64_t *ns;
    size_t count;
};

/* Index pulses, and the stretches in which none can be expected. */
struct index_gather {
    struct index_pulse *pulse;
    size_t count, cap;
    enum level level;
    struct gap_list gap[GAP_KINDS];
    bool any_gate; /* the drive is not known: READY and STEP may gate, how long is not told */
    int64_t seek_gate_ns; /* from the last STEP to seek-complete; 0: INDEX is not gated by it */
    bool full;
};
void index_begin(struct index_gather *g, const struct profile *drive);
enum err index_edge(struct index_gather *g, int64_t ns, enum level level);
/* State of one kind of gap from `ns` on. */
enum err index_gap(struct index_gather *g, enum gap_kind kind, bool is_gap, int64_t ns);
/* An edge of STEP. */
enum err index_step(struct index_gather *g, int64_t ns);
/* The gaps that no turn may span. */
enum err index_gaps(struct survey_run *r, struct spans *out);
/* Mend the pulses that a gate of the drive cut. *out_hidden: those that rotation_from_index()
 * will call missing but that such a gate hid. */
enum err index_mend(struct survey_run *r, double rated_rpm, const struct spans *hard,
                    int32_t *out_hidden);
void index_gather_release(struct index_gather *g);

/* Turns found from sectors that came round again. */
struct sector_turns {
    int64_t period_ns[TURNS_KEPT_MAX];
    size_t count;
    double pairs, pair_sum, pair_square; /* of the pairs of identifiers behind them */
    int64_t *id_ns;                      /* of good identifiers, in time order */
    size_t ids, id_cap;
};
void sector_turns_add(struct sector_turns *t, const struct flux_read *r, int64_t start_ns,
                      int64_t end_ns);

/* Keep the times of good identifiers; as many as there is room for. */
void identifiers_add(struct sector_turns *t, const struct flux_read *read);

/* One flux quality from many, each weighed by its transitions. */
#define QUALITY_CLASSES 12
struct quality_sum {
    struct {
        enum encoding encoding;
        int32_t data_rate;
        double weight, cell_ns, cell_sd, jitter_sq, margin_percent, margin_ns, asymmetry_ns,
            shift_ns;
        double jitter_u, margin_u, asymmetry_u, shift_u, beyond;
        double short_share, long_share;
        size_t heaviest;
        int32_t interval_ratio[8];
    } part[QUALITY_CLASSES];
    size_t parts;
};
void quality_add(struct quality_sum *sum, const struct flux_quality *q);
/* transitions: what the result shall say of them. */
struct flux_quality quality_mean(const struct quality_sum *sum, size_t transitions);

/* Flux gathered beside the visits for the figures that need the bit clock by angle: the first
 * turns of each visit. */
struct figures_gather {
    bool began;
    int64_t visit_ns; /* start of the visit at hand, by which it is known again */
    int side;
    uint32_t *interval; /* ticks */
    size_t count, cap;
    int64_t first_ns, last_tick;
    bool full;
    size_t visits;
    size_t turns_seen; /* of sector_turns, before this visit */
    struct kept_curve {
        struct speed_curve curve;
        int64_t visit_ns;
    } * kept;
    size_t kept_count, kept_cap;
    double jitter_sq[2][ANGLE_PARTS];
    double slips, slip_sum, slip_square, slip_turns;
};
/* A transition of the visit that is open. */
enum err figures_fall(struct survey_run *r, int64_t tick, int64_t ns);
/* The falls among edges taken at once: see survey_reads(). */
enum err figures_reads(struct survey_run *r, const struct chunk *c, size_t i);
/* Behind rotation_finish() and tracks_finish(). */
enum err figures_finish(struct survey_run *r);
void figures_release(struct survey_run *r);
/* figures_finish() from what was kept of the visits. */
enum err speed_figures_find(struct survey_run *r);
/* What the drive's profile says to the figures: limits, and causes of lines. */
void figures_profile(const struct profile *drive, struct survey *s);

/* Sectors by the place of the head; places are resolved to cylinders at the end. */
struct raw_sector {
    struct track_sector s;
    int32_t bad_seen;
    int64_t last_ns;      /* of a good identifier; INT64_MIN: none yet */
    struct field_sum sum; /* while no turn gave the field */
};
struct raw_track {
    struct survey_spot spot; /* once placed: cylinder and side */
    double seconds;
    struct raw_sector *sector;
    size_t count, cap;
    struct flux_quality quality;
};
struct track_store {
    struct raw_track *track;
    size_t count, cap;
    bool full;
    const struct survey_listener *listener;
    size_t sum_bytes; /* of all field sums */
    bool sums_full;   /* turns of some fields were not put together */
};
/* One more turn of a sector: put together with those before while none was good. */
enum err repair_turn(struct track_store *t, struct raw_sector *s, const struct sector_read *r);
/* The head writes there: turns before and after are not of one field. */
enum err repair_written(struct track_store *t, int32_t epoch, int32_t side);
/* No more turns come. */
void repair_end(struct track_store *t);
/* One decoded stretch: the sectors with from_ns <= id_ns < to_ns count, the others are
 * neighbours only. */
struct stretch_read {
    const struct flux_read *read;
    int64_t from_ns, to_ns;
    int32_t epoch;
    int32_t side;
    double seconds;
};
enum err tracks_add(struct track_store *t, const struct stretch_read *r);
/* Make out->track and resolve the place of each visit. turn_s: seconds a turn. */
enum err tracks_finish(struct track_store *t, struct survey *out, double turn_s,
                       bool *out_guessed);
void track_store_release(struct track_store *t);

/* The visit at hand: one place of the head, RDATA recorded throughout. */
struct visit_gather {
    bool rdata_known, open;
    enum level rdata;
    struct visit v; /* v.cylinder holds the raw place until the end */
    struct quality_sum quality;
    int32_t id_votes[256], side_votes[256];
    int64_t quiet_since_ns; /* last transition, or the visit's start */
    /* the stretch: intervals without a break over 4 ms */
    bool has_first;
    int64_t origin_tick, origin_ns; /* of the first transition */
    int64_t base_ps,
        last_ps; /* of interval[0]'s start, and the last transition, from the origin */
    uint32_t *interval;
    size_t count, cap;
    int64_t accept_from_ns;
    struct {
        bool any;
        int32_t epoch;
    } written[2][256]; /* raw places that were written, by side and low byte */
};

/* Edges taken at once: one, and whole blocks behind it; few, so that they stay near. */
#define READS_MAX 257
struct survey_run {
    const struct survey_options *o;
    struct survey *out;
    struct tick tick;
    struct tick_scale ns_scale, ps_scale;
    struct read_row row; /* of read pulses' edges that are taken at once */
    int32_t row_after_ns[READS_MAX];
    struct bus_tracker *tracker;
    uint64_t serial;
    struct bus_place place;
    bool started;
    int64_t start_ns, now_ns;
    enum level level[LINE_COUNT];
    struct grid grid;
    struct index_gather index;
    struct sector_turns turns;
    struct figures_gather figures;
    struct quality_sum flux;
    int64_t flux_transitions;
    struct visit_gather visit;
    size_t visit_cap;
    struct track_store tracks;
    /* supply */
    struct {
        bool seen;
        double volt, volt_seconds;
        int64_t since_ns, first_ns;
    } rail[RAIL_COUNT];
    int64_t motor_on_ns; /* -1 never */
    bool visits_full;
};

/* A level of RDATA. */
enum err visit_rdata(struct survey_run *r, int64_t tick, int64_t ns, enum level level);
/* The edges of RDATA of r->row, which stand in the chunk from edge i on. */
enum err visit_reads(struct survey_run *r, const struct chunk *c, size_t i);
/* Edges of RDATA in a row from edge i on, at once. *out_taken 0: it must be taken by itself. */
enum err survey_reads(struct survey_run *r, const struct chunk *c, size_t i, size_t *out_taken);
/* The place changed at `ns`: close the visit and begin another where it makes sense. */
enum err visit_move(struct survey_run *r, int64_t ns, const struct bus_place *place);
enum err visit_close(struct survey_run *r, int64_t ns);
void visit_gather_release(struct visit_gather *g);

/* Settle out->sample_ns once enough edges came, or at the end. */
void sampling_settle(struct survey_run *r, bool at_end);

void supply_sample(struct survey_run *r, enum rail rail, int64_t ns, double volt);
void supply_motor(struct survey_run *r, int64_t ns, bool on);
void supply_finish(struct survey_run *r, int64_t end_ns);

/* Choose where the rotation comes from; fills out->rotation, rotation_flux, index. */
enum err rotation_finish(struct survey_run *r);

enum err survey_warn(struct survey *s, const char *fmt, ...) PRINTF_LIKE(2, 3);

#endif
