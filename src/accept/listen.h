/* A second pass over a capture, for what a survey does not keep: every step with what TRK00
 * said before it, every select with when the outputs followed, starts of the motor, and turns
 * that follow one another at speed.
 */
#ifndef WHICHEND_ACCEPT_LISTEN_H
#define WHICHEND_ACCEPT_LISTEN_H

#include "base/line.h"
#include "capture/capture.h"
#include "profile/profile.h"

struct step_seen {
    int64_t ns;       /* of the edge on which the head moves */
    int8_t direction; /* +1 inward, -1 outward, 0 DIR not recorded */
    bool selected;
    enum level track0; /* before it, where the head has been for long enough; else unknown */
};

/* MOTOR on, from a standstill. */
#define START_FALLS 40
struct start_seen {
    int64_t on_ns;
    int64_t ready_ns;             /* -1: READY did not come, or is not recorded */
    int64_t fall_ns[START_FALLS]; /* of the first index pulses behind it */
    int falls;
};

struct listen {
    struct step_seen *step;
    size_t steps, step_cap;
    enum level track0_last; /* at the end, likewise */
    struct start_seen *start;
    size_t starts, start_cap;
    /* from one turn to the next, at speed and with nothing that could hide a pulse */
    double turn_to_turn_percent; /* worst; negative: no two turns in a row */
    int64_t *turn_ns;            /* turns at speed, each much like the one before it */
    size_t turns, turn_cap;
    /* index pulses at speed that nothing cut: how many, sum and sum of squares of their widths
     */
    double widths, width_us, width_square;
    int32_t falls_motor_off;        /* index pulses when the motor had been off for long */
    double head_load_v[RAIL_COUNT]; /* lowest within 300 ms of HLOAD; 0: not seen */
    /* outputs behind select */
    int32_t selects;        /* seen to be followed by an output */
    int32_t selects_silent; /* by none */
    int64_t follow_ns;      /* worst */
    enum line follow_line;
    line_set unselected; /* outputs of the drive seen active while none is selected */
    bool truncated;
};

/* Reads c to its end. ERR_FORMAT where it is damaged. */
enum err listen_run(struct capture *c, const struct profile *drive, volatile const int *stop,
                    struct listen *out, struct err_msg *e);
void listen_release(struct listen *l);

#endif
