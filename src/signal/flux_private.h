/* Stages of the flux decoder: code and cell, clock, cells, marks, fields, quality. */
#ifndef WHICHEND_SIGNAL_FLUX_PRIVATE_H
#define WHICHEND_SIGNAL_FLUX_PRIVATE_H

#include "signal/signal.h"

#define STEPS_NAMED 8 /* lengths of intervals that are told apart, in cells */

/* What the intervals say of the recording, before any clock runs. */
struct code {
    enum encoding encoding; /* FM, MFM or REGULAR_OTHER; UNSTEADY: no clock in it */
    double cell_ps;         /* channel cell: MFM uses 2, 3 and 4 of them, FM 1 and 2 */
    int step_min, step_max; /* cells from transition to transition */
    double step_mean;
    double share[STEPS_NAMED + 1]; /* of intervals of 1.. cells */
};

/* Find the cell and the code from intervals spread over the stretch. */
void code_find(const struct flux *f, struct code *out);
/* The same cell seen as the other code: FM with no whole clock may be MFM without three-cell
 * intervals and the other way round. */
struct code code_as_mfm(const struct code *c);
struct code code_as_fm(const struct code *c);
/* Nominal data rate of FM or MFM with that cell, 0 for other codes. */
int32_t code_data_rate(enum encoding encoding, double cell_ps);
/* Cell at a data rate: half a data bit in FM and MFM alike. */
double code_cell_ps(int32_t data_rate);

/* Transitions on the grid of a tracked clock. Transition i lies dev[i] off the centre of its
 * cell and step[i] cells before transition i + 1. */
#define DEV_ONE 16384 /* one cell */
struct cells {
    const struct flux *flux;
    struct code code;
    size_t count;      /* of intervals; one more transition */
    uint8_t *step;     /* STEP_MAX: that or more */
    int16_t *dev;      /* in 1 / DEV_ONE of a cell */
    float *local_rate; /* cells a ps, one for every LOCAL_SPAN intervals */
};
#define LOCAL_SPAN 128
#define STEP_MAX   250

/* Variance that the tracked clock adds to a transition's deviation, as a part of that variance.
 */
#define CLOCK_NOISE 0.016

enum err cells_recover(const struct flux *f, const struct code *code, struct cells *out);
void cells_release(struct cells *c);

/* Speed along the stretch from intervals alone, robust against any phase. */
void local_rate_find(struct cells *c);

/* Where the code's limits are broken, put transitions into the likeliest cells that keep them.
 */
void cells_constrain(struct cells *c);
/* Transitions moved by whole cells, so that they can be moved back. */
#define SHIFTS_LOGGED 4096
struct shift_log {
    size_t count;
    struct shift {
        size_t at;
        int8_t by;
    } shift[SHIFTS_LOGGED];
};
/* The same with the code's rule of phase, which a mark makes known: transition `from` lies in
 * cell `cell` of its byte (odd cells hold data); for `span` cells onward, or until the log is
 * full: so much is wrong in noise only. */
void cells_constrain_phase(struct cells *c, size_t from, int cell, int64_t span,
                           struct shift_log *out);
void cells_shift_back(struct cells *c, const struct shift_log *log);

/* A mark: sync bytes, or an FM mark byte, that cannot be data. */
struct mark {
    size_t at;       /* its last transition */
    int cell;        /* cell of that transition, counted from the first cell behind the mark */
    int64_t cells;   /* cells from the start of the stretch to it */
    int64_t time_ps; /* from the first transition, to its cell's centre */
    uint8_t fm_byte; /* FM: the mark byte itself */
};

/* Position of a scan for marks over the cells. */
struct mark_scan {
    size_t at;
    int64_t cells, time_ps;
    uint64_t recent;
};
/* The next mark; false at the end. */
bool mark_next(const struct cells *c, struct mark_scan *s, struct mark *out);

/* A transition and its cell, counted from the first cell behind a mark. */
struct place {
    size_t at;
    int64_t cell;
};
/* Bytes behind a mark. Returns how many whole ones the stretch holds, at most n; out_end: the
 * last transition within them. */
size_t bytes_behind(const struct cells *c, const struct mark *m, size_t n, uint8_t *out,
                    struct place *out_end);

/* Quality of n cells behind a mark, QUALITY_MAX at most either way. */
#define QUALITY_MAX 16
void quality_behind(const struct cells *c, const struct mark *m, size_t n, int8_t *out);

/* Registers of the check bytes: before FM's mark byte, and after MFM's three A1. Source:
 * ISO/ECMA formats; MFM's sync bytes count. */
#define CRC_START    0xFFFF
#define CRC_AFTER_A1 0xCDB4

/* Transitions of one field, in which the clock is sure. */
struct span {
    size_t from, to;
};

struct field_list {
    struct sector_read *sector;
    size_t count, cap;
    size_t lone_data_marks, index_marks;
};
struct span_list {
    struct span *span;
    size_t count, cap;
};
/* Add what one code's marks lead to. */
enum err fields_find(struct cells *c, const struct flux_options *o, struct field_list *fields,
                     struct span_list *spans);

/* Quality of the cells inside the spans; where there are none, of all steady parts.
 * share_steady: part of the stretch in which a clock was found. */
enum err quality_measure(const struct cells *c, const struct span_list *spans, double sample_ns,
                         struct flux_quality *out, double *share_steady);

#endif
