/* Fault names of the catalogue, taken apart. */
#ifndef WHICHEND_SIM_FAULT_H
#define WHICHEND_SIM_FAULT_H

#include "base/err.h"
#include "base/line.h"

#include <stdbool.h>
#include <stddef.h>

enum fault_kind {
    FAULT_NONE,
    /* with a line */
    FAULT_CABLE_OPEN,
    FAULT_CABLE_SHORT,
    FAULT_CABLE_JOIN, /* lines a and b */
    FAULT_CABLE_SWAP, /* lines a and b: of the simulated adapter's cable alone */
    FAULT_PORT_DEAD,
    FAULT_PORT_STUCK,
    FAULT_LATCH_DEAD,
    FAULT_LATCH_STUCK,
    FAULT_DRIVER_DEAD,
    FAULT_DRIVER_STUCK,
    FAULT_CHIP_LINE_DEAD,
    FAULT_CHIP_LINE_STUCK,
    FAULT_RECEIVER_DEAD,
    FAULT_RECEIVER_STUCK,
    FAULT_PULL_UP_LINE_MISSING,
    FAULT_DRIVE_LINE_DEAD,
    FAULT_DRIVE_LINE_STUCK,
    FAULT_LEAD_OPEN,
    /* without */
    FAULT_PULL_UPS_MISSING,
    FAULT_PLUG_REVERSED,
    FAULT_PLUG_OFF_BY_PAIR,
    FAULT_PLUG_OFF_BY_ROW,
    FAULT_UNPLUGGED,
    FAULT_TWIST_MISSING,
    FAULT_TWIST_WRONG,
    FAULT_GROUND_OPEN,
    FAULT_NO_LOCK,
    FAULT_CHIP_DEAD,
    FAULT_SOCKET_CONTACT,
    FAULT_MOTOR_DEAD,
    FAULT_SPEED_FAST,
    FAULT_SPEED_SLOW,
    FAULT_SPEED_UNSTEADY,
    FAULT_HUB_SLIPS,
    FAULT_INDEX_DEAD,
    FAULT_INDEX_WEAK,
    FAULT_TRACK0_DEAD,
    FAULT_TRACK0_STUCK,
    FAULT_STEPPER_STUCK,
    FAULT_STEPPER_SLIPS,
    FAULT_HEAD_DEAD,
    FAULT_HEAD_WEAK,
    FAULT_HEAD_DIRTY,
    FAULT_HEAD1_DEAD,
    FAULT_WPROT_STUCK,
    FAULT_WRITE_DEAD,
    FAULT_LOGIC_DEAD,
    FAULT_DISK_ABSENT,
    FAULT_DISK_BLANK,
    FAULT_DISK_WORN,
    FAULT_DENSITY_WRONG,
    FAULT_5V_MISSING,
    FAULT_12V_MISSING,
    FAULT_SUPPLY_SAGS,
    FAULT_SAMPLED_TOO_SLOWLY,
    FAULT_STRAP_WRONG,
    FAULT_TERMINATOR_MISSING,
    FAULT_TERMINATOR_DOUBLE,
    FAULT_SELECT_SHARED,
    FAULT_TRACK_DENSITY,
    FAULT_HARD_SECTORED,
    FAULT_UPSIDE_DOWN,
    FAULT_PROFILE_WRONG,
};

struct fault {
    enum fault_kind kind;
    enum line a, b; /* LINE_NONE where the fault has none */
};

#define FAULTS_MAX 2

/* Take a name apart. ERR_USAGE for a name that the simulator does not know. */
enum err sim_fault_parse(const char *name, struct fault *out, struct err_msg *e);

#endif
