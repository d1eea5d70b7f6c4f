/* Between the files of the simulated adapter. */
#ifndef WHICHEND_SIM_SIM_LINK_PRIVATE_H
#define WHICHEND_SIM_SIM_LINK_PRIVATE_H

#include "adapter/device.h"
#include "base/units.h"
#include "sim/nets.h"
#include "sim/play.h"
#include "sim/sim_link.h"
#include "sim/world.h"

#include <pthread.h>

#define SIM_TICK_HZ     48000000u
#define SIM_QUEUE_BYTES (128u << 10) /* what a small microcontroller has to spare */
#define SIM_PLAY_BYTES  (32u << 10)
#define SIM_WIRE_BYTES  (64u << 10) /* transfers in flight on the host's side */
#define SIM_PULSES      4096u
#define SIM_EDGES       512u

enum link_fault_kind {
    LINK_FAULT_OUTPUT_DEAD,
    LINK_FAULT_OUTPUT_STUCK,
    LINK_FAULT_INPUT_DEAD,
    LINK_FAULT_INPUT_STUCK,
    LINK_FAULT_LEAD_SWAPPED,
    LINK_FAULT_LEAD_SHORT,
    LINK_FAULT_LEAD_LOOSE,
    LINK_FAULT_CABLE_LOOSE,
    LINK_FAULT_CABLE_TOUCHES,
    LINK_FAULT_CABLE_SWAPPED,
    LINK_FAULT_VOLTAGE,
    LINK_FAULT_WRITE_LINK,
    LINK_FAULT_NO_PULL_UPS,
    LINK_FAULT_GROUNDS_APART,
    LINK_FAULT_UNPLUGGED,
    LINK_FAULT_UNPLUGGED_LATER,
    LINK_FAULT_DISK_SHEDS,
    LINK_FAULT_DAMAGED,
    LINK_FAULT_REPEATED,
    LINK_FAULT_STALLED,
    LINK_FAULT_VERSION,
    LINK_FAULT_LIES,
    LINK_FAULT_HOST_STALLED,
    LINK_FAULT_TRIMMER_TURNED,
    LINK_FAULT_DISK_PROTECTED,
    LINK_FAULT_START_SLOW,
    LINK_FAULT_SPEED_OFF,
    LINK_FAULT_SPEED_NEAR,
    LINK_FAULT_INDEX_WIDE,
    LINK_FAULT_STEPPER_SLOW,
    LINK_FAULT_SETTLE_LONG,
};

struct link_fault {
    enum link_fault_kind kind;
    enum line a, b; /* LINE_NONE where it has none */
};

#define LINK_FAULTS_MAX 4

struct sim_link_faults {
    char *text;                  /* names, cut apart; yours */
    const char *bus[FAULTS_MAX]; /* those of rehearse, into text */
    int bus_count;
    struct link_fault fault[LINK_FAULTS_MAX];
    int count;
};

/* ERR_USAGE. Release with free(text). */
enum err sim_link_faults_parse(const char *spec, struct sim_link_faults *out,
                               struct err_msg *e);
bool sim_link_has(const struct sim_link_faults *f, enum link_fault_kind kind, enum line line);

/* Machine's program and host take turns; only one of the two runs at a time. */
struct baton {
    pthread_t thread;
    pthread_mutex_t lock;
    pthread_cond_t turned;
    bool made, running, over; /* the thread is there; it has its turn; the program has ended */
    bool quit;
};

struct edge_seen {
    uint64_t tick;
    unsigned line;
    bool high;
};

struct sim_link {
    struct sim_options options;
    struct sim_link_faults faults;
    struct device device;
    struct device_config config;
    uint8_t queue[SIM_QUEUE_BYTES];
    uint8_t play_queue[SIM_PLAY_BYTES];
    /* time, and the bus where there is one */
    int64_t base_ns; /* device time when the present world began */
    int64_t now_ns;  /* device time while there is no world */
    struct guest guest;
    struct sim_play *play;
    struct world *world;
    struct baton baton;
    struct sim_sink sink;
    struct sim_result result;
    line_set leads; /* one a pin */
    enum party party;
    uint32_t driven; /* as the core asked */
    uint32_t pulled; /* on the bus */
    bool pull_ups;
    bool disk_touched; /* by sim_link_disk */
    bool disk_out, disk_protected;
    bool slow;        /* samples too seldom */
    uint32_t sampled; /* levels at the last sample */
    int64_t sample_at;
    int64_t poll_at;
    /* edges that wait until the core is done with what it does */
    struct edge_seen edge[SIM_EDGES];
    size_t edges;
    bool in_core;
    int64_t pulse[SIM_PULSES]; /* ns, rising */
    size_t pulse_head, pulses;
    bool pulse_low; /* the pulse at pulse_head has begun */
    /* both plugs, loop */
    struct pin_groups pins, pins_loose;
    bool has_pins;
    uint64_t pin_low[2]; /* bit per pin */
    /* the wire to the host */
    uint8_t wire[SIM_WIRE_BYTES];
    size_t wired;
    uint8_t handed[SIM_WIRE_BYTES];
    double credit; /* bytes that the bus can still carry */
    int64_t credit_at;
    int64_t stream_ns; /* when the stream began */
    bool streaming, gone, stalled, host_stalled;
    uint32_t handed_frames;
};

extern const struct device_hw SIM_LINK_HW;
/* sim_link.c; by them a link is known to be one of these. */
const struct link_ops *sim_link_ops(void);

/* sim_link_world.c */
/* The bus as it is once the adapter's plug sits where this role wants it. */
enum err sim_link_connect(struct sim_link *s, enum wire_role role, struct err_msg *e);
void sim_link_disconnect(struct sim_link *s);
/* Let time go on by so much. */
void sim_link_advance(struct sim_link *s, int64_t ns);
int64_t sim_link_now(const struct sim_link *s);
void sim_link_drain(struct sim_link *s);
int64_t sim_link_next(void *state);
void sim_link_event(void *state);

uint64_t sim_link_ticks(const struct sim_link *s, int64_t ns);

/* sim_link_hw.c */
/* Where a line's lead really sits: swapped leads. */
unsigned sim_link_place(const struct sim_link *s, unsigned line);
bool sim_link_lead_open(const struct sim_link *s, unsigned line);
/* The output pulls, by the core's wish or by a fault. */
bool sim_link_pulls(const struct sim_link *s, unsigned line);
uint32_t sim_link_levels(const struct sim_link *s);
void sim_link_input(void *state, enum line line, bool low);
/* Bring the bus in line with what the outputs do. */
void sim_link_apply(struct sim_link *s);

/* sim_link_bench.c */
/* Faults by which a drive misses its own limits. */
void sim_link_wear(struct sim_link *s);
/* What hands did to the disk so far, in a world that begins anew. */
void sim_link_disk_as_left(struct sim_link *s);

/* sim_link_baton.c */
enum err sim_link_baton_start(struct sim_link *s, struct err_msg *e);
/* Give the machine's program its turn until the world reaches hold_at, or the program ends. */
void sim_link_baton_run(struct sim_link *s);
void sim_link_baton_hold(void *state);
void sim_link_baton_stop(struct sim_link *s);

/* sim_link_pins.c */
enum err sim_link_pins_make(struct sim_link *s, struct err_msg *e);
void sim_link_pin(void *state, unsigned plug, unsigned pin, bool low);
void sim_link_pin_levels(void *state, bool floating, uint8_t out[PIN_LEVELS_BYTES]);
/* Levels of the leads in the loop plug. */
uint32_t sim_link_loop_levels(const struct sim_link *s);

#endif
