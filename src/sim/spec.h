/* One bench made definite: profiles, seed and faults turned into the numbers that the parts run
 * on. */
#ifndef WHICHEND_SIM_SPEC_H
#define WHICHEND_SIM_SPEC_H

#include "sim/disk.h"
#include "sim/fault.h"
#include "sim/nets.h"
#include "sim/sim.h"

struct drive_spec {
    line_set lines;
    int last_cylinder;            /* inner stop */
    double speed;                 /* of nominal */
    double nominal_rpm, low_rpm;  /* low_rpm 0: one speed */
    double wow, wow_ninth, drift; /* shares of speed */
    double hunting;               /* slow swings of an unsteady spindle */
    double slip;                  /* disk behind rotor */
    bool motor_line, rotor_index, gate_ready, gate_seek, two_rails;
    bool density_acts, density_low_is_low;
    bool step_leading, spins_empty;
    int64_t start_ns, index_width_ns, step_min_ns, settle_ns, trk00_ns, pulse_ns, recovery_ns;
    enum line select;
    double jitter_ns, peak_shift_ns;
    double amplitude[2]; /* of the heads; 1 is healthy, 0 dead */
    bool noisy_when_empty;
    double sheds_s;
    int start_cylinder;
};

enum chip { CHIP_WD177X, CHIP_WD179X, CHIP_UPD765, CHIP_82077, CHIPS };

struct machine_spec {
    enum chip chip;
    line_set lines;
    enum line motor, select; /* as named at its plug; LINE_NONE: no motor line */
    int restore_limit, restores;
    int64_t step_ns, step_pulse_ns, dir_setup_ns, settle_ns, spin_ns, motor_off_ns,
        host_limit_ns;
    int spin_pulses, motor_off_pulses, search_pulses;
    bool waits_ready, polls, hangs, compares_head, uses_dskchg;
    int tries;
    double capture_range,
        free_run; /* shares of the cell; free_run not 0: the separator does not follow */
    int64_t write_pulse_ns, write_first_ns;
    double pull_ohm;
};

#define TARGETS 3

struct spec {
    struct fault fault[FAULTS_MAX];
    int faults;
    uint64_t seed;
    unsigned asked;
    const struct profile *cable;
    struct drive_spec drive;
    struct machine_spec machine;
    struct disk_format format; /* what the machine expects */
    bool high_density;         /* DENSITY for it */
    bool density_low_is_low;
    int target[TARGETS];
};

bool sim_spec_has(const struct spec *s, enum fault_kind kind);
bool sim_spec_has_line(const struct spec *s, enum fault_kind kind, enum line line);

/* Fill s, and make the disk that lies in the drive. ERR_USAGE for a fault that these parts
 * cannot have. */
enum err sim_spec_make(struct spec *s, struct disk *disk, const struct sim_options *o,
                       struct err_msg *e);

#endif
