/* Time, the bus, and the parts on it. One thread of control: the machine's program runs, and
 * whenever it waits the world goes on, event by event. */
#ifndef WHICHEND_SIM_WORLD_H
#define WHICHEND_SIM_WORLD_H

#include "base/units.h"
#include "sim/drive.h"
#include "sim/machine.h"
#include "sim/nets.h"
#include "sim/play.h"
#include "sim/spec.h"
#include "sim/tap.h"

#define NEVER        INT64_MAX
#define PORTS_MAX    (6 * LINE_COUNT)
#define GLITCHES_MAX 16

enum port_kind {
    PORT_MACHINE,
    PORT_DRIVE,
    PORT_OTHER_DRIVE,
    PORT_TAP_MACHINE,
    PORT_TAP_DRIVE,
    PORT_GUEST
};

struct port {
    enum port_kind kind;
    enum line line;
    int net;
};

/* Somebody else on the bus, beside a party or in its place: an adapter. */
struct guest {
    void *ctx;
    bool for_machine, for_drive; /* stands in the place of that party */
    bool at_drive_end;           /* listens there */
    void (*input)(void *ctx, enum line line, bool low);
    int64_t (*next)(void *ctx); /* time of its next event, or NEVER */
    void (*event)(void *ctx);
    void (*hold)(void *ctx); /* time has come to hold_at and may not go on */
};

struct glitch {
    int64_t from, until;
    int net;
    bool high, begun;
};

struct world {
    int64_t now, end; /* no session runs past `end` */
    struct spec spec;
    struct nets nets;
    struct port port[PORTS_MAX]; /* sorted by net */
    int ports;
    int first_port[NETS_MAX + 1];
    struct disk disk, other_disk;
    struct drive drive, other;
    bool has_other;
    bool no_drive; /* a guest stands in its place */
    struct machine machine;
    struct tap tap[2];
    struct glitch glitch[GLITCHES_MAX];
    int glitches;
    int rising[NETS_MAX]; /* nets that were let go and have not risen yet */
    int risings;
    int64_t bounce_at; /* ground shift while the motor starts, or NEVER */
    struct rng rng;    /* of faults on the bus */
    bool ringing, no_ground, weak_low;
    const struct guest *guest; /* NULL: nobody */
    int64_t hold_at;
    bool silent;                 /* before time begins: parts are set up and nobody is told */
    int64_t flux_ns, flux_until; /* RDATA is recorded until then */
    enum err err;                /* first failure of a part: memory or the sink */
};

/* Pull a line low, or let it go, at a party's own header. */
void sim_world_pull(struct world *w, enum party party, enum line line, bool low);
/* Let time go on to t; everything due up to t has happened. */
void sim_world_run(struct world *w, int64_t t);
/* To the next event, but not past t. */
void sim_world_step(struct world *w, int64_t t);
/* Record RDATA from now on for the window that the options give. */
void sim_world_open_flux(struct world *w);

#endif
