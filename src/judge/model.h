/* The causal model: given what is broken, what would each tap have shown?
 *
 * A qualitative play of one session (power, select, motor, restore, seek, read, write, give up)
 * for one hypothesis and one choice of the things that nobody told (where the head stood,
 * whether the machine seeks inward, ...). It holds no table from symptom to fault, and shares
 * nothing with src/sim.
 */
#ifndef WHICHEND_JUDGE_MODEL_H
#define WHICHEND_JUDGE_MODEL_H

#include "evidence/told.h"

enum mode { MODE_OK, MODE_DEAD /* never active */, MODE_STUCK /* always active */ };
enum spin { SPIN_OK, SPIN_STILL, SPIN_FAST, SPIN_SLOW, SPIN_UNSTEADY };
enum plug { PLUG_OK, PLUG_REVERSED, PLUG_PAIR, PLUG_ROW, PLUG_UNPLUGGED };
enum twist { TWIST_OK, TWIST_MISSING, TWIST_MISPLACED /* on other conductors */ };
enum medium {
    MEDIUM_OK,
    MEDIUM_ABSENT,
    MEDIUM_BLANK,
    MEDIUM_WORN,
    MEDIUM_DENSITY,
    MEDIUM_TRACKS,
    MEDIUM_HARD_SECTORED,
    MEDIUM_UPSIDE_DOWN
};

/* What makes a fault come and go. */
enum {
    VARIES_PLUGS = 1, /* touching plugs or cable */
    VARIES_CHIPS = 2, /* touching chips in sockets */
    VARIES_DRIVE = 4, /* pressing on the drive or its board */
    VARIES_PANEL = 8, /* the machine's panel, or its case */
    VARIES_HEAT = 16,
    VARIES_PLACE = 32
};
#define VARIES_TOUCH (VARIES_PLUGS | VARIES_CHIPS | VARIES_DRIVE | VARIES_PANEL)
/* How far a fault reaches: this drive, this unit's select, every drive of the bus, one disk. */
enum reach { REACH_DRIVE, REACH_UNIT, REACH_BUS, REACH_DISK };

/* What the catalogue says of a fault beside its effect. */
struct traits {
    enum end end;
    enum reach reach;
    unsigned varies;                      /* VARIES_ */
    unsigned cured;                       /* kinds of work that cure it: repair_kind_bit() */
    unsigned short signs[TOLD_QUESTIONS]; /* answers, as bits, that a look at the part, or its
                                             history, gives */
};

/* What is broken. All zero: nothing. */
struct state {
    unsigned char conductor[SIG_COUNT];   /* enum mode: open is DEAD, grounded is STUCK */
    unsigned char machine_out[SIG_COUNT]; /* machine-to-drive signals */
    unsigned char machine_in[SIG_COUNT];  /* drive-to-machine signals */
    unsigned char drive_in[SIG_COUNT], drive_out[SIG_COUNT];
    bool lead_open[SIG_COUNT][3]; /* by enum tap */
    int join_a, join_b;           /* signals that touch; -1 none */
    enum plug plug;
    enum twist twist;
    bool grounds, separator, machine, pull_up, contact;
    enum spin spin;
    bool hub, index_dead, index_weak, track0_dead, track0_stuck, stepper_stuck, stepper_slips,
        outrun /* steps too fast for a sound drive */;
    bool head_dead, head_weak, head_side1, write_dead, drive;
    enum medium medium;
    bool no_5v, no_12v, sags;
    bool write_weak, buffer, fouled; /* write current; data path to memory; place or mounting */
    const struct traits *of[2];      /* of the one or two faults; NULL none */
    bool tap_slow, strap, terminator_missing, terminator_double, shared, profile;
};

/* What is known of the session from case and profiles. */
struct setting {
    unsigned asked;
    enum role role; /* inline: machine and drive themselves; else the adapter stands in for one
                       of them */
    bool has_ready, ready_sure /* its pin bears READY, and nothing else */, waits_ready,
        has_motor, two_sided, rotor_index;
    bool head_load;        /* the drive reads only with its head loaded by HLOAD */
    bool tap_pull_up;      /* some tap of this run has pull-ups */
    double no_index_timer; /* share of this chip's makings that end by a timer */
    bool disk_known_good, disk_blank, disk_none;
    unsigned after; /* the works done before it, as bits */
};

/* What nobody told of one run: each a yes or no with a chance of its own, and what the read
 * signal is like. */
enum {
    UNTOLD_AT_ZERO = 1,   /* the head stands at cylinder 0 */
    UNTOLD_SEEKS_IN = 2,  /* the machine steps inward */
    UNTOLD_SIDE_1 = 4,    /* the machine uses side 1 */
    UNTOLD_PROTECTED = 8, /* the disk is write protected */
    UNTOLD_GOES_ON =
        16, /* the machine goes on after a failed restore; told apart only where one fails */
    UNTOLD_LATE = 32, /* the fault sets in once the head has arrived; only where that differs */
    UNTOLD_WAITS = 64,   /* the machine waits for index pulses before its first step */
    UNTOLD_WRITES = 128, /* the machine comes to write; only where it was asked to */
    UNTOLD_POOR = 256,   /* read signal: poor, */
    UNTOLD_NOISE = 512,  /* noise, */
    UNTOLD_SILENT = 768, /* or nothing; else clean */
    UNTOLD_SIGNAL = 768,
    UNTOLD_PLUG = 1024, /* a plug that is off by a row is the machine's; only where one is */
    UNTOLD_COMBINATIONS = 2048
};

/* Apply one effect ("conductor INDEX open") to a state; line is what '*' stands for (signal,
 * and a second one for pairs). ERR_FORMAT for words it does not know. tap: for test leads. */
enum err state_apply(struct state *s, const char *effect, enum sig sig, enum sig sig2,
                     enum tap tap);
void state_init(struct state *s);

#endif
