/* One drive: receivers, spindle, positioner, heads, write circuits, drivers. */
#ifndef WHICHEND_SIM_DRIVE_H
#define WHICHEND_SIM_DRIVE_H

#include "base/line.h"
#include "sim/disk.h"
#include "sim/nets.h"
#include "sim/rng.h"
#include "sim/spec.h"

#include <stdbool.h>
#include <stdint.h>

struct world;

#define PULSES_MAX  8
#define WRITTEN_MAX (1u << 18)

/* Where rotor and disk stand. Angles are unwrapped, in ns of a turn at nominal speed; speed is
 * constant within a slice. */
struct spindle {
    double speed;                 /* of the rotor, nominal is 1 */
    double trim;                  /* what somebody at the trimmer adds to it */
    double rotor, disk;           /* at slice_start */
    double rotor_rate, disk_rate; /* in this slice */
    int64_t slice_start, slice_end;
    double wander;     /* slow drift */
    double hunt_phase; /* turns, of an unsteady servo */
    double wow_phase;
    int64_t slip_until; /* the hub lets go */
    double slip_now;
};

struct index_sensor {
    int64_t at;   /* of the next edge, NEVER while it lies beyond this slice */
    double next;  /* angle of the next edge */
    bool covered; /* a hole or mark is under it */
    bool skip;    /* this pulse is not seen (weak sensor) */
    int hole;     /* next hole */
    int seen;     /* pulses since the motor started */
};

struct head {
    struct track *track;
    bool off_track;
    size_t next;                  /* next transition of the track */
    int64_t transition_at;        /* when it passes, NEVER while beyond this slice */
    double turn_base;             /* unwrapped angle of its turn's start */
    int64_t noise_at;             /* next noise pulse where nothing is read */
    int64_t pulse_at[PULSES_MAX]; /* RDATA edges still to come: fall times */
    int pulses;
    int64_t rise_at; /* end of the pulse now on the line, or NEVER */
    int64_t last_pulse;
    double dirt; /* slow change of a dirty head's amplitude */
};

struct writer {
    bool gate; /* WGATE reaches it: no reading meanwhile */
    bool on;   /* and it writes */
    struct track *track;
    double from; /* angle where it began */
    double *pos;
    size_t count, cap;
};

struct drive {
    struct world *w;
    enum party party;
    const struct drive_spec *spec;
    struct disk *disk;
    struct rng rng, noise;
    line_set active; /* inputs as its logic sees them */
    line_set pulled; /* outputs it pulls low */
    bool powered;
    bool selected, motor, ready, changed, trk00;
    int cylinder;
    int64_t last_step_at, step_fell_at;
    /* still to come, or NEVER: TRK00 follows the head, the head has settled, reading again
     * after a write, the supply drops, the supply is back */
    int64_t trk00_at, settled_at, read_ok_at, reset_at, reset_end;
    struct spindle spindle;
    struct index_sensor index;
    struct head head;
    struct writer writer;
};

void sim_drive_start(struct drive *d, struct world *w, enum party party,
                     const struct drive_spec *spec, struct disk *disk, uint64_t seed);
/* A line at its header changed. */
void sim_drive_input(struct drive *d, enum line line, bool low);
/* Time of its next event, and that event. */
int64_t sim_drive_next(const struct drive *d);
void sim_drive_event(struct drive *d);
void sim_drive_release(struct drive *d);

/* For the parts below. */
bool sim_drive_has(const struct drive *d, enum fault_kind kind); /* of the suspect drive only */
void sim_drive_outputs(struct drive *d);
void sim_drive_rdata(struct drive *d);                    /* that line alone: it changes most */
double sim_drive_angle(const struct drive *d, int64_t t); /* of the disk */

void sim_spindle_slice(struct drive *d);
void sim_index_event(struct drive *d);
void sim_index_restart(struct drive *d);

bool sim_head_reads(const struct drive *d);
void sim_head_plan(struct drive *d); /* when the next transition passes, in a new slice */
void sim_head_sync(struct drive *d); /* after anything that changes what lies under the head */
int64_t sim_head_next(const struct drive *d);
void sim_head_event(struct drive *d);
void sim_head_write_gate(struct drive *d, bool on);
void sim_head_write_pulse(struct drive *d);

#endif
