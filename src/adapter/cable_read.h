/* What is wrong with a cable, from what hung together on the walk (cable_walk.h). */
#ifndef WHICHEND_ADAPTER_CABLE_READ_H
#define WHICHEND_ADAPTER_CABLE_READ_H

#include "adapter/cable_walk.h"

enum cable_fault_kind {
    /* of the whole */
    CABLE_NOTHING,       /* no conductor arrives: not plugged in */
    CABLE_REVERSED,      /* every signal pin of both plugs sits on ground, or see below */
    CABLE_OFF_BY_ROW,    /* those of one plug sit on ground, those of the other on nothing */
    CABLE_OFF_BY_PAIR,   /* conductors arrive `shift` pins away */
    CABLE_TWIST_MISSING, /* straight where the profile has a twist */
    CABLE_TWIST_FOUND,   /* pins first..last turned over where the profile has no twist */
    CABLE_TWIST_PLACE,   /* turned over, but not those of the profile */
    /* of conductors */
    CABLE_OPEN,
    CABLE_GROUNDED,
    CABLE_JOINED, /* touches another */
    CABLE_SWAPPED,
    CABLE_MISPLACED, /* arrives at drive pin `other` */
    CABLE_PIN_DEAD,  /* the adapter's own pin does not follow itself: not tested */
};

struct cable_fault {
    enum cable_fault_kind kind;
    bool at_times;             /* it comes and goes */
    unsigned pin, far;         /* the conductor: machine's and drive's pin; 0: none */
    unsigned other, other_far; /* the other one */
    unsigned first, last;      /* twist found: machine's pins */
    int shift;
    bool by_arrival;   /* reversed, off by a row: grounds are apart, conductors arrive so */
    int plug;          /* that sits wrongly: 0, 1; -1: one of them */
    uint32_t seen, of; /* at times: looks in which it was so */
};

#define CABLE_FAULTS_MAX 128

struct cable_reading {
    struct cable_fault fault[CABLE_FAULTS_MAX];
    size_t faults; /* 0: every conductor of the plan carries, and touches no other */
    bool sound[CABLE_PINS_MAX + 1];  /* by machine's pin */
    uint8_t far[CABLE_PINS_MAX + 1]; /* where each conductor is taken to lead, faults of the
                                        whole considered */
};

void cable_read(const struct cable_plan *plan, const struct cable_seen *seen,
                struct cable_reading *out);

#endif
