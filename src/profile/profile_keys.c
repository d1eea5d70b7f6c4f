/* The keys of each kind of profile: help, checks and reading use these tables. */
#include "profile/profile.h"

#define NUMBER(k, u, m)                                                                        \
    {                                                                                          \
        k, PROFILE_NUMBER, u, NULL, false, m                                                   \
    }
#define REQUIRED(k, u, m)                                                                      \
    {                                                                                          \
        k, PROFILE_NUMBER, u, NULL, true, m                                                    \
    }
#define WORD(k, w, m)                                                                          \
    {                                                                                          \
        k, PROFILE_WORD, "", w, false, m                                                       \
    }
#define LIST(k, w, m)                                                                          \
    {                                                                                          \
        k, PROFILE_LIST, "", w, false, m                                                       \
    }
#define YES_NO(k, m) WORD(k, "yes no", m)

// clang-format off
static const struct profile_key DRIVE_KEYS[] = {
    /* what it is */
    REQUIRED("cylinders", "cylinders", "cylinders that the drive is made for, counted from 0"),
    REQUIRED("sides", "sides", "heads"),
    REQUIRED("track_density_tpi", "tpi", "tracks to the inch"),
    LIST("encodings", "FM MFM", "codes that it is meant for"),
    REQUIRED("data_rate_kbps", "kbit/s", "data rates of its formats; typ is the one that the class is named for"),
    NUMBER("bit_density_bpi", "bpi", "recording density on the innermost track"),
    NUMBER("track_bytes", "bytes", "unformatted capacity of a track"),
    NUMBER("media_oersted", "oersted", "coercivity of the disks that it writes well"),
    WORD("spindle", "direct belt either", "how the motor turns the disk"),
    WORD("hub", "metal-hub cone drive-pin", "how the disk is held: metal hub on a magnet, cone that centres a hole, pins"),
    YES_NO("has_motor_line", "no where the spindle turns from power-on or with the door"),
    /* rotation and index */
    NUMBER("speed_rpm", "rpm", "maker's limits; absent where the speed follows the cylinder"),
    NUMBER("speed_accept_rpm", "rpm", "shop's limits after repair, mean of ten turns and more"),
    NUMBER("speed_low_rpm", "rpm", "maker's limits of the lower speed of a dual-speed drive"),
    NUMBER("speed_change_ms", "ms", "from a change of speed to the new speed"),
    NUMBER("isv_percent", "percent", "instantaneous speed variation, plus or minus"),
    NUMBER("turn_jitter_percent", "percent", "change of period from turn to turn, peak"),
    /* where a line of the spectrum of speed may come from; the note says what to look at */
    NUMBER("spectrum_disk", "1/turn", "swings a turn that disk and hub make"),
    NUMBER("spectrum_belt", "1/turn", "swings a turn that a belt makes"),
    NUMBER("spectrum_pulley", "1/turn", "swings a turn that the motor's pulley makes, where a belt turns the disk"),
    NUMBER("spectrum_motor", "1/turn", "swings a turn that the poles of the motor on the spindle make"),
    NUMBER("spectrum_servo", "Hz", "swings that the control of the speed makes"),
    NUMBER("start_ms", "ms", "motor on to speed or READY"),
    NUMBER("ready_drop_ms", "ms", "motor off to READY false"),
    NUMBER("index_width_us", "us", "INDEX low"),
    NUMBER("index_burst_us", "us", "INDEX to the burst on an alignment disk"),
    LIST("index_gate", "select ready seek-complete", "INDEX comes only while these hold"),
    NUMBER("index_gate_ms", "ms", "last STEP to seek-complete, where that gates INDEX and RDATA"),
    NUMBER("hub_slip_percent", "percent", "disk behind the spindle, where a mark on the rotor makes the index"),
    WORD("index_origin", "hole rotor", "a hole in the disk, or a mark on the motor's rotor, which proves the motor only"),
    /* head position */
    WORD("step_edge", "leading trailing either", "edge of the STEP pulse on which the head moves"),
    NUMBER("step_width_us", "us", "STEP low"),
    NUMBER("step_interval_ms", "ms", "STEP to STEP, same direction; min is the fastest it follows"),
    NUMBER("step_reverse_ms", "ms", "STEP to STEP where the direction turns round"),
    NUMBER("dir_setup_us", "us", "DIR stable before STEP"),
    NUMBER("dir_hold_us", "us", "DIR stable after STEP"),
    NUMBER("settle_ms", "ms", "last STEP to valid data"),
    NUMBER("head_load_ms", "ms", "head load or select to valid data, drives with a head solenoid"),
    NUMBER("trk00_valid_ms", "ms", "STEP to TRK00 valid"),
    NUMBER("trk00_sensor_cylinder", "cylinders", "where the track 0 sensor changes over, coming outward"),
    NUMBER("overtravel_cylinders", "cylinders", "reachable past the last nominal one; not guaranteed"),
    /* lines */
    NUMBER("select_valid_us", "us", "SELECT low to valid outputs"),
    NUMBER("side_valid_us", "us", "SIDE to valid RDATA"),
    LIST("outputs_gated", "select", "outputs are driven only while this holds"),
    WORD("outputs", "open-collector three-state either", "output stage"),
    NUMBER("sink_ma", "mA", "what an output can hold low"),
    NUMBER("pull_up_ohm", "ohm", "pull-up at the machine that suits the outputs"),
    WORD("pin34", "ready dskchg either none", "what pin 34 of the 34-way plug bears; either: as made or strapped, or open"),
    WORD("head_loaded_by", "hload select motor none", "what lets the head down on the disk"),
    WORD("spindle_power", "rails mains", "what turns the spindle: the supply rails, or mains"),
    WORD("pin2", "density speed low-current head-load dskchg none strap", "what pin 2 bears"),
    LIST("ready_needs", "disk speed index door", "READY low needs these"),
    WORD("dskchg_clears", "step none", "what clears DSKCHG once a disk is in"),
    WORD("density_low", "low-density high-density low-speed strap unused", "what DENSITY low asks for"),
    WORD("hdout_low", "low-density high-density", "what HDOUT low says of the disk"),
    WORD("protect_when", "hole-open notch-covered notch-open shutter-open", "the disk's sign that makes WPROT low"),
    /* reading and writing */
    NUMBER("read_pulse_ns", "ns", "RDATA low"),
    NUMBER("write_pulse_ns", "ns", "WDATA low"),
    NUMBER("write_first_us", "us", "WGATE low to the first WDATA pulse"),
    NUMBER("precomp_ns", "ns", "write precompensation that the machine should give"),
    NUMBER("erase_delay_us", "us", "after WGATE high: no step, side change, deselect or motor off"),
    NUMBER("write_recovery_us", "us", "WGATE high to valid RDATA"),
    NUMBER("window_margin_ns", "ns", "window margin with a phase-locked separator; min is what is promised"),
    NUMBER("asymmetry_ns", "ns", "read asymmetry, innermost track of even transitions"),
    /* supply */
    NUMBER("v5_v", "V", "+5 V at the drive"),
    NUMBER("v12_v", "V", "+12 V at the drive"),
    NUMBER("v24_v", "V", "+24 V at the drive"),
    NUMBER("v5_ripple_mv", "mV", "ripple on +5 V, peak to peak"),
    NUMBER("v12_ripple_mv", "mV", "ripple on +12 V, peak to peak"),
    NUMBER("i5_start_a", "A", "+5 V current while the spindle starts"),
    NUMBER("i5_run_a", "A", "+5 V current while reading"),
    NUMBER("i5_idle_a", "A", "+5 V current, deselected, motor off"),
    NUMBER("i12_start_a", "A", "+12 V current while the spindle starts"),
    NUMBER("i12_run_a", "A", "+12 V current while reading"),
    NUMBER("i24_run_a", "A", "+24 V current while reading"),
    NUMBER("cable_length_m", "m", "longest cable"),
    /* alignment; needs an alignment disk to measure */
    NUMBER("radial_um", "um", "off-track limit, plus or minus"),
    NUMBER("azimuth_arcmin", "arcmin", "azimuth limit"),
    NUMBER("hysteresis_um", "um", "positioning, inward against outward"),
    NUMBER("lobe_ratio", "ratio", "cat-eye lobes, smaller to larger"),
};

static const struct profile_key CONTROLLER_KEYS[] = {
    /* seeking */
    REQUIRED("step_limit", "steps", "steps that a restore gives before it gives up"),
    NUMBER("step_interval_ms", "ms", "STEP to STEP; min and max of what can be programmed"),
    NUMBER("step_width_us", "us", "STEP low"),
    NUMBER("dir_setup_us", "us", "DIR stable before STEP"),
    NUMBER("dir_hold_us", "us", "DIR stable after STEP"),
    NUMBER("settle_ms", "ms", "wait for the head before verify or read"),
    NUMBER("head_load_ms", "ms", "wait after head load"),
    YES_NO("second_recalibrate", "a second restore may be needed, and is no sign of a fault"),
    YES_NO("restore_before_read", "the machine restores before its first read"),
    /* rotation */
    NUMBER("spinup_index_pulses", "pulses", "index pulses waited after motor on"),
    NUMBER("motor_off_index_pulses", "pulses", "idle index pulses until motor off"),
    NUMBER("head_unload_index_pulses", "pulses", "idle index pulses until the head is let go"),
    NUMBER("search_index_pulses", "pulses", "index pulses until a search for an identifier gives up"),
    NUMBER("index_width_min_us", "us", "shortest INDEX that is counted"),
    NUMBER("speed_tolerance_percent", "percent", "speed error that the separator follows, plus or minus"),
    YES_NO("hangs_without_index", "limits are counted in index pulses, so without INDEX a command never ends"),
    NUMBER("no_index_timer_share", "ratio", "share of makings that end by a timer all the same"),
    /* what the machine asks of the drive */
    YES_NO("waits_ready", "reads and writes wait for READY, or are refused without it"),
    YES_NO("uses_dskchg", "the machine looks at DSKCHG"),
    YES_NO("polls_units", "idle, it selects all units in turn"),
    WORD("motor_control", "level latched", "MOTOR follows a level, or is latched in the drive at its select"),
    WORD("select_from", "chip port latch", "where SELECT comes from"),
    WORD("side_from", "chip port latch", "where SIDE comes from"),
    WORD("motor_from", "chip port latch", "where MOTOR comes from"),
    WORD("step_from", "chip port latch", "where STEP and DIR come from"),
    NUMBER("spinup_ms", "ms", "wait of the machine's software after motor on"),
    NUMBER("motor_off_ms", "ms", "idle time until the machine's software switches the motor off"),
    NUMBER("retries", "times", "times that the machine's software tries again"),
    NUMBER("command_limit_ms", "ms", "longest time that a command of a sound subsystem takes"),
    /* data */
    LIST("encodings", "FM MFM", "codes that it reads and writes"),
    {"data_rates", PROFILE_LIST, "kbit/s", NULL, false, "data rates that it can be set to"},
    NUMBER("read_pulse_ns", "ns", "RDATA low that it accepts"),
    NUMBER("write_pulse_ns", "ns", "WDATA low that it gives"),
    NUMBER("wgate_to_wdata_us", "us", "WGATE low to its first WDATA pulse"),
    NUMBER("wgate_off_us", "us", "last WDATA pulse to WGATE high"),
    NUMBER("precomp_ns", "ns", "write precompensation that it can give"),
    WORD("separator", "inside outside", "where data and clock are told apart"),
    NUMBER("sink_ma", "mA", "what its drive-side outputs can hold low"),
};

static const struct profile_key CABLE_KEYS[] = {
    YES_NO("twist", "conductors cross between the plugs"),
    NUMBER("key_pin", "pin", "pin that is left out so that the plug goes on one way only"),
    NUMBER("length_m", "m", "longest cable of this kind in use"),
    WORD("terminator", "drive machine both none", "where the lines from the machine end on pull-ups"),
    YES_NO("carries_supply", "supply rails run beside the signals: meter each pin first"),
    YES_NO("logic_inside", "something between the plugs is more than a conductor"),
    YES_NO("motor_carried", "a motor line goes through"),
};
// clang-format on

const struct profile_key *profile_keys(enum profile_kind kind, size_t *count)
{
    switch (kind) {
    case PROFILE_DRIVE:
        *count = sizeof DRIVE_KEYS / sizeof DRIVE_KEYS[0];
        return DRIVE_KEYS;
    case PROFILE_CONTROLLER:
        *count = sizeof CONTROLLER_KEYS / sizeof CONTROLLER_KEYS[0];
        return CONTROLLER_KEYS;
    case PROFILE_CABLE:
    case PROFILE_KINDS:
        break;
    }
    *count = sizeof CABLE_KEYS / sizeof CABLE_KEYS[0];
    return CABLE_KEYS;
}

const char *profile_kind_word(enum profile_kind kind)
{
    static const char *const WORDS[PROFILE_KINDS] = {"drive", "controller", "cable"};
    return (size_t)kind < PROFILE_KINDS ? WORDS[kind] : "?";
}
