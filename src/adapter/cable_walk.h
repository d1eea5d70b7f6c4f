/* A cable with both plugs on the adapter: one pin after another is pulled low, and which others
 * follow says what hangs together.
 *
 * The walk may be repeated while somebody moves the cable: what hangs together only at times is
 * counted apart. What is wrong with the cable is read from the counts in cable_read.h.
 */
#ifndef WHICHEND_ADAPTER_CABLE_WALK_H
#define WHICHEND_ADAPTER_CABLE_WALK_H

#include "adapter/session.h"

#define CABLE_PINS_MAX 64
#define CABLE_NODES    (2 * CABLE_PINS_MAX)

/* The cable as it should be, from its profile. Plug 0 is the machine's, plug 1 the drive's;
 * pins count from 1. */
struct cable_plan {
    unsigned pins[2];
    uint8_t far[CABLE_PINS_MAX + 1];  /* drive's pin of each machine's pin; 0: none */
    bool carried[CABLE_PINS_MAX + 1]; /* that conductor is needed */
    bool ground[2][CABLE_PINS_MAX + 1];
    bool apart;   /* the adapter's ground pins are not wired together */
    bool twisted; /* some conductors change places on purpose */
};

/* How often the pins were seen low. */
struct cable_seen {
    uint32_t passes;
    uint32_t idle[CABLE_NODES];             /* while nothing was pulled */
    uint32_t low[CABLE_NODES][CABLE_NODES]; /* [pulled][follows] */
};

static inline unsigned cable_node(unsigned plug, unsigned pin)
{
    return plug * CABLE_PINS_MAX + pin - 1;
}

/* Grounds that are wired together cannot be pulled one by one. */
static inline bool cable_is_walked(const struct cable_plan *plan, unsigned plug, unsigned pin)
{
    return plan->apart || !plan->ground[plug][pin];
}

/* Walk once over the pins of both plugs, in role both-plugs; adds to *seen. The
 * adapter's plugs must have the plan's number of pins: ERR_ADAPTER. */
enum err cable_walk(struct session *s, const struct cable_plan *plan, struct cable_seen *seen,
                    struct err_msg *e);

#endif
