/* One pass over a capture: everything that `measure` prints and that findings are drawn from.
 *
 * The control lines go to the bus tracker; RDATA falls are cut into visits (one place of the
 * head, selected, motor on, not writing) and decoded visit by visit, so memory does not grow
 * with the capture.
 */
#ifndef WHICHEND_EVIDENCE_SURVEY_H
#define WHICHEND_EVIDENCE_SURVEY_H

#include "bus/bus.h"
#include "capture/capture.h"
#include "profile/profile.h"
#include "signal/signal.h"
#include "signal/speed.h"

/* One stretch of flux at one place of the head. */
struct visit {
    int64_t start_ns, end_ns;
    bool cylinder_known;           /* by the lines */
    int32_t cylinder;              /* by the lines */
    int8_t side;                   /* by the lines; -1 SIDE not recorded */
    bool selected, motor, settled; /* as the lines tell; true where the line is not recorded */
    int64_t
        since_motor_ns; /* from MOTOR going on to the visit's start; -1 not in this capture */
    int64_t transitions;
    int64_t
        silent_ns; /* time without transitions (gaps over 100 us) while RDATA was recorded */
    struct flux_quality quality;
    int32_t ids_good, ids_bad;
    int32_t data_good, data_damaged, data_absent; /* fields that the end did not cut */
    int32_t id_cylinder;                          /* of most good identifiers; -1 none */
    int32_t id_side;                              /* likewise */
    int32_t id_cylinders; /* different cylinders among good identifiers */
    bool after_write;     /* the same place was written before in this capture */
};

struct track_sector {
    uint8_t cylinder, side, sector, size_code; /* as its identifier says */
    bool id_good;                              /* some identifier's check bytes agreed */
    enum field_state data;                     /* best */
    bool deleted;
    bool twice;         /* more than one identifier like it in a turn: its turns are not put
                           together, nothing tells which of them is meant */
    int32_t seen, good; /* contract: readable identifiers, data fields good */
    int32_t changed;    /* of a repaired field: cells that differ from its surest turn */
    double odds_false;  /* of a repaired field: that its check bytes agree by chance */
    enum encoding encoding;
};

struct track {
    int32_t cylinder, side; /* by the lines, or by identifiers where those lack */
    double revolutions;
    struct track_sector *sector; /* by position after the first seen */
    size_t sector_count;
    struct flux_quality quality; /* of its longest visit */
};

struct supply_stats {
    bool recorded;
    double min_v, mean_v, max_v;
    double min_motor_v; /* lowest within 500 ms of MOTOR becoming active; 0 if none */
};

/* Limits of the drive's profile that figures are shown beside. */
enum figure_limit_of {
    LIMIT_SPEED,
    LIMIT_ISV,
    LIMIT_MARGIN,
    LIMIT_ASYMMETRY,
    FIGURE_LIMITS,
};
struct figure_limit {
    bool has_min, has_max;
    double min, max;
    const char *unit;
    char source[120];
};

/* What a line of the spectrum of speed may come from, as the drive's profile has it. */
#define CAUSES_MAX 4
struct speed_causes {
    char text[CAUSES_MAX][120], source[CAUSES_MAX][120];
    size_t count;
};

/* Speed inside the turn, over the visits that held whole turns. */
struct speed_figures {
    int32_t visits;                /* looked at; 0: none held a turn of a clock */
    struct speed_variation middle; /* of the visits' figures; lines that a third of them show */
    struct speed_causes cause[SPEED_LINES_MAX]; /* of middle.line */
    double worst_isv;                           /* of all visits */
    int32_t worst_cylinder, worst_side;
};

/* The disk against the index, where both were seen in the same visits. */
struct slip_figures {
    int32_t visits;            /* 0: not measured */
    double percent, u_percent; /* the disk behind the index; uncertainty (95 %) */
};

/* Rotation by the bit clock, if the disk was written at the rated speed. */
struct clock_speed {
    double rpm, uncertainty_rpm; /* rpm 0: not known; uncertainty: the writer's own error */
};

/* From an index pulse to the first identifier behind it. */
struct gap_figures {
    int32_t count; /* 0: none */
    double mean_us, sd_us, min_us, max_us;
};

/* Where a sector was read, as it is known before the end of the capture tells the cylinder: see
 * survey_place(). */
struct survey_spot {
    int32_t epoch;                /* raw place by the lines (bus.h) */
    int32_t side;                 /* by the lines; -1 not recorded */
    int32_t id_cylinder, id_side; /* of most identifiers around; -1 none */
};

/* Raw places that no TRK00 fixed and identifiers did. */
struct survey_guess {
    int32_t epoch, offset; /* cylinder = raw place + offset, in the epoch of this raw place */
};

/* Told of what is decoded while the survey runs; see survey_options. */
struct survey_listener {
    void *ctx;
    /* One identifier with its data field: bytes, and quality where damaged, are there during
     * the call. */
    enum err (*sector)(void *ctx, const struct survey_spot *spot,
                       const struct sector_read *read);
    /* The head writes there: what was read before may no longer stand. */
    enum err (*written)(void *ctx, int32_t epoch, int32_t side);
};

/* What the flux is like in one part of the turn, the index at its start. */
#define ANGLE_PARTS 16
struct angle_figures {
    int64_t transitions, shorter, longer; /* intervals that the code cannot have */
    double jitter_percent;                /* of a cell */
};

/* Figures of one place of the head, all its visits together. */
struct place_figures {
    int32_t cylinder, side;
    struct flux_quality quality;
    int64_t shorter, longer;
    struct gap_figures first_id;
};

struct survey {
    struct capture_info info;
    double seconds;
    double sample_ns;  /* sampling interval: as the file says or as the edges show; tick if
                          unknown */
    bool sample_known; /* false: too few edges to tell, sample_ns is the tick */
    int64_t edges;
    struct rotation rotation;
    struct rotation
        rotation_flux; /* from repeating sectors or the bit clock, when both can be had */
    struct index_stats index;
    bool index_recorded;
    struct bus_story story;
    struct flux_quality flux; /* over all visits, weighted by transitions */
    bool flux_recorded;       /* RDATA recorded at some time */
    bool flux_usable;         /* sampled fast enough for its pulses (bench practice 13) */
    struct visit *visit;
    size_t visit_count;
    struct track *track; /* by cylinder, then side */
    size_t track_count;
    struct speed_figures speed;
    struct slip_figures slip;
    struct figure_limit limit[FIGURE_LIMITS];
    struct clock_speed clock_speed;
    struct gap_figures first_id;
    struct angle_figures angle[2][ANGLE_PARTS]; /* by side */
    bool angle_known;                           /* index pulses say where a turn begins */
    struct place_figures *place;                /* by cylinder, then side */
    size_t place_count;
    struct survey_guess *guess;
    size_t guess_count;
    struct supply_stats supply[RAIL_COUNT];
    char **warning;
    size_t warning_count;
};

struct survey_options {
    const struct profile *drive, *controller;  /* may be NULL; borrowed during the call */
    struct tap_edges *edges_out;               /* filled too, if not NULL */
    const struct survey_listener *listener;    /* may be NULL; with one, damaged fields are the
                                                  listener's to put together */
    void (*progress)(void *ctx, double share); /* may be NULL */
    void *progress_ctx;
    volatile const int *stop; /* nonzero: ERR_INTERRUPTED; may be NULL */
    /* sees every chunk before it is surveyed; may be NULL */
    void (*watch)(void *ctx, const struct capture_info *info, const struct chunk *c);
    void *watch_ctx;
};

/* Reads c to its end. ERR_FORMAT where the capture is damaged. */
enum err survey_run(struct capture *c, const struct survey_options *o, struct survey *out,
                    struct err_msg *e);
void survey_release(struct survey *s);

/* The cylinder and side of a spot, by the lines or, where those do not tell, by identifiers;
 * false where nothing does. After survey_run(). */
bool survey_place(const struct survey *s, const struct survey_spot *spot, int32_t *cylinder,
                  int32_t *side);

#endif
