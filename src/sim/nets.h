/* The copper: header pins, plugs, conductors and grounds, joined into nets; who pulls each net
 * low and how fast it rises when let go. */
#ifndef WHICHEND_SIM_NETS_H
#define WHICHEND_SIM_NETS_H

#include "base/err.h"
#include "base/line.h"
#include "profile/profile.h"
#include "sim/fault.h"
#include "sim/rng.h"

#include <stdbool.h>
#include <stdint.h>

#define PINS_MAX 64
#define NETS_MAX 160
#define NET_NONE (-1)

/* Who is on the bus. */
enum party { PARTY_MACHINE, PARTY_DRIVE, PARTY_OTHER_DRIVE, PARTY_NOISE, PARTIES };

struct net {
    bool grounded;
    double siemens; /* all pull-ups together */
    int64_t rise_ns;
    int holders[PARTIES]; /* drivers of each party that pull it low */
    unsigned low_by;      /* bit per party with at least one */
    bool lifted;          /* a low that does not reach the threshold */
    bool low;             /* level as seen */
    int64_t rise_at;      /* pending rise, or INT64_MAX */
    bool listed;          /* among the nets that may rise */
};

struct nets {
    struct net net[NETS_MAX];
    int count;
    int machine[LINE_COUNT]; /* net of a line at the machine's header, or NET_NONE */
    int drive[LINE_COUNT];
};

struct nets_options {
    const struct profile *cable;
    const struct fault *fault;
    int faults;
    line_set machine_lines, drive_lines; /* that have a receiver or driver there */
    double machine_pull_ohm, drive_pull_ohm;
    int machine_tap_ohm, drive_tap_ohm; /* 0: none */
    bool grounds_apart;                 /* the headers' ground pins are not joined */
};

/* ERR_USAGE for a fault that this cable cannot have. */
enum err sim_nets_build(struct nets *n, const struct nets_options *o, struct rng *r,
                        struct err_msg *e);

/* One pull-up more (siemens) at a net, or one less (negative). */
void sim_nets_load(struct nets *n, int net, double siemens);

/* A cable between two sockets and nothing else: which header pins are joined. */
struct pin_groups {
    int group[2][PINS_MAX]; /* by pin, from 1, of the machine's and the drive's plug */
    int ground;             /* the group of the sockets' ground */
};
/* o: cable and faults are used. */
enum err sim_nets_pins(struct pin_groups *g, const struct nets_options *o, struct rng *r,
                       struct err_msg *e);

/* true where a and b are next to one another on the signal row of the cable. */
bool sim_nets_neighbours(const struct profile *cable, enum line a, enum line b);

#endif
