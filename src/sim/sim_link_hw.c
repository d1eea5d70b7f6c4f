/* The hardware layer of the device core (adapter/device.h) over the simulated bus. */
#include "sim/sim_link_private.h"

#include <string.h>

#define PULL_UP_SIEMENS 1e-3 /* 1 kohm */
#define PULSE_NS        200
#define WIRE_RATE       1.0e6 /* bytes a second that full-speed bulk really carries */
#define WIRE_CREDIT     16384.0
#define TRIM_FROM       -0.03
#define TRIM_A_SECOND   0.005
#define TRIM_BEGINS_S   5.0

unsigned sim_link_place(const struct sim_link *s, unsigned line)
{
    for (int i = 0; i < s->faults.count; i++) {
        const struct link_fault *f = &s->faults.fault[i];
        if (f->kind == LINK_FAULT_LEAD_SWAPPED && f->a == (enum line)line)
            return (unsigned)f->b;
        if (f->kind == LINK_FAULT_LEAD_SWAPPED && f->b == (enum line)line)
            return (unsigned)f->a;
    }
    return line;
}

bool sim_link_lead_open(const struct sim_link *s, unsigned line)
{
    struct fault f;
    for (int i = 0; i < s->faults.bus_count; i++)
        if (sim_fault_parse(s->faults.bus[i], &f, NULL) == ERR_OK &&
            f.kind == FAULT_LEAD_OPEN && f.a == (enum line)line)
            return true;
    return false;
}

bool sim_link_pulls(const struct sim_link *s, unsigned line)
{
    enum line l = (enum line)line;
    if (sim_link_has(&s->faults, LINK_FAULT_OUTPUT_DEAD, l))
        return false;
    return (s->driven & WIRE_BIT(line)) != 0 ||
           sim_link_has(&s->faults, LINK_FAULT_OUTPUT_STUCK, l) ||
           sim_link_has(&s->faults, LINK_FAULT_LEAD_SHORT, l);
}

/* A pin may bear several names; its lead goes by one. */
static int net_of(const struct sim_link *s, unsigned line)
{
    if (!(s->leads & LINE_BIT(line)))
        return NET_NONE;
    const struct nets *n = &s->world->nets;
    unsigned at = sim_link_place(s, line);
    return s->guest.at_drive_end ? n->drive[at] : n->machine[at];
}

static bool reads_high(const struct sim_link *s, unsigned line, bool low)
{
    if (sim_link_has(&s->faults, LINK_FAULT_INPUT_STUCK, (enum line)line))
        return false;
    return !low || sim_link_lead_open(s, line) ||
           sim_link_has(&s->faults, LINK_FAULT_INPUT_DEAD, (enum line)line);
}

uint32_t sim_link_levels(const struct sim_link *s)
{
    uint32_t high = 0;
    if (s->device.role == WIRE_ROLE_LOOP)
        return sim_link_loop_levels(s);
    for (unsigned l = 0; l < WIRE_LINES; l++) {
        int net = s->world != NULL ? net_of(s, l) : NET_NONE;
        bool low = net != NET_NONE && s->world->nets.net[net].low;
        if (reads_high(s, l, low))
            high |= WIRE_BIT(l);
    }
    return high;
}

void sim_link_apply(struct sim_link *s)
{
    for (unsigned l = 0; s->world != NULL && l < WIRE_LINES; l++) {
        bool low =
            sim_link_pulls(s, l) && !sim_link_lead_open(s, l) && net_of(s, l) != NET_NONE;
        bool was = (s->pulled & WIRE_BIT(l)) != 0;
        if (low == was)
            continue;
        s->pulled ^= WIRE_BIT(l);
        sim_world_pull(s->world, s->party, (enum line)sim_link_place(s, l), low);
    }
}

static void hw_outputs(void *ctx, uint32_t driven)
{
    struct sim_link *s = ctx;
    s->driven = driven;
    if (driven == 0)
        s->pulses = s->pulse_low ? 1 : 0;
    sim_link_apply(s);
}

static void hw_pull_ups(void *ctx, bool on)
{
    struct sim_link *s = ctx;
    if (on == s->pull_ups)
        return;
    s->pull_ups = on;
    for (unsigned l = 0; s->world != NULL && l < WIRE_LINES; l++)
        if (!line_from_machine((enum line)l))
            sim_nets_load(&s->world->nets, net_of(s, l),
                          on ? PULL_UP_SIEMENS : -PULL_UP_SIEMENS);
}

static uint32_t hw_levels(void *ctx)
{
    return sim_link_levels(ctx);
}

static uint64_t hw_ticks(void *ctx)
{
    const struct sim_link *s = ctx;
    return sim_link_ticks(s, sim_link_now(s));
}

static bool has_fault(const struct sim_link *s, enum fault_kind kind)
{
    struct fault f;
    for (int i = 0; i < s->faults.bus_count; i++)
        if (sim_fault_parse(s->faults.bus[i], &f, NULL) == ERR_OK && f.kind == kind)
            return true;
    return false;
}

static int32_t hw_rail_mv(void *ctx, unsigned rail)
{
    const struct sim_link *s = ctx;
    bool turning = s->world != NULL && !s->world->no_drive && s->world->drive.motor;
    bool sags = turning && has_fault(s, FAULT_SUPPLY_SAGS);
    if (rail == WIRE_V5)
        return has_fault(s, FAULT_5V_MISSING) ? 130 : sags ? 4310 : turning ? 4980 : 5030;
    if (rail == WIRE_V12)
        return has_fault(s, FAULT_12V_MISSING) ? 90 : sags ? 9800 : turning ? 11900 : 12080;
    return WIRE_NO_METER;
}

static size_t hw_send(void *ctx, const uint8_t *bytes, size_t len)
{
    struct sim_link *s = ctx;
    int64_t now = sim_link_now(s);
    s->credit += (double)(now - s->credit_at) * 1e-9 * WIRE_RATE;
    s->credit_at = now;
    if (s->credit > WIRE_CREDIT)
        s->credit = WIRE_CREDIT;
    size_t room = SIM_WIRE_BYTES - s->wired;
    size_t n = (size_t)s->credit;
    n = n < room ? n : room;
    n = n < len ? n : len;
    memcpy(s->wire + s->wired, bytes, n);
    s->wired += n;
    s->credit -= (double)n;
    return n;
}

static void hw_pulse(void *ctx, uint64_t tick)
{
    struct sim_link *s = ctx;
    if (s->pulses == SIM_PULSES)
        return;
    uint64_t mhz = s->config.tick_hz / 1000000u;
    int64_t ns = (int64_t)(tick / mhz * 1000 + tick % mhz * 1000 / mhz);
    s->pulse[(s->pulse_head + s->pulses++) % SIM_PULSES] = ns;
}

static void hw_no_pulses(void *ctx)
{
    struct sim_link *s = ctx;
    s->pulses = s->pulse_low ? 1 : 0;
}

const struct device_hw SIM_LINK_HW = {
    .outputs = hw_outputs,
    .pull_ups = hw_pull_ups,
    .levels = hw_levels,
    .ticks = hw_ticks,
    .rail_mv = hw_rail_mv,
    .send = hw_send,
    .pulse = hw_pulse,
    .no_pulses = hw_no_pulses,
    .pin = sim_link_pin,
    .pin_levels = sim_link_pin_levels,
};

/* ---- the world tells of an edge ---- */

static void see(struct sim_link *s, unsigned line, bool high)
{
    if (s->edges == SIM_EDGES)
        return; /* more at one instant than a bus of 27 lines can do */
    s->edge[s->edges++] = (struct edge_seen){sim_link_ticks(s, sim_link_now(s)), line, high};
}

void sim_link_input(void *state, enum line line, bool low)
{
    struct sim_link *s = state;
    unsigned own = sim_link_place(s, (unsigned)line);
    if (s->slow || !(s->leads & LINE_BIT(own)))
        return; /* it looks at its next sample */
    see(s, own, reads_high(s, own, low));
    if (!s->in_core)
        sim_link_drain(s);
}

void sim_link_drain(struct sim_link *s)
{
    s->in_core = true;
    for (size_t i = 0; i < s->edges; i++) /* the core may cause more on its way */
        device_edge(&s->device, s->edge[i].tick, s->edge[i].line, s->edge[i].high);
    s->edges = 0;
    s->in_core = false;
}

/* ---- its timers ---- */

static int64_t pulse_at(const struct sim_link *s)
{
    if (s->pulses == 0)
        return NEVER;
    return s->pulse[s->pulse_head] + (s->pulse_low ? PULSE_NS : 0) - s->base_ns;
}

int64_t sim_link_next(void *state)
{
    const struct sim_link *s = state;
    int64_t next = s->poll_at;
    uint64_t tick = device_next(&s->device);
    if (tick < (uint64_t)INT64_MAX / 1000) {
        uint64_t mhz = s->config.tick_hz / 1000000u;
        int64_t ns = (int64_t)((tick * 1000 + mhz - 1) / mhz) - s->base_ns;
        next = ns < next ? ns : next;
    }
    next = pulse_at(s) < next ? pulse_at(s) : next;
    return s->slow && s->sample_at < next ? s->sample_at : next;
}

static void pulse_event(struct sim_link *s)
{
    enum line line = s->device.role == WIRE_ROLE_AS_DRIVE ? LINE_RDATA : LINE_WDATA;
    s->pulse_low = !s->pulse_low;
    sim_world_pull(s->world, s->party, (enum line)sim_link_place(s, (unsigned)line),
                   s->pulse_low);
    if (s->pulse_low)
        return;
    s->pulse_head = (s->pulse_head + 1) % SIM_PULSES;
    s->pulses--;
}

static void sample(struct sim_link *s)
{
    uint32_t levels = sim_link_levels(s);
    for (unsigned l = 0; l < WIRE_LINES; l++)
        if ((levels ^ s->sampled) & WIRE_BIT(l))
            see(s, l, (levels & WIRE_BIT(l)) != 0);
    s->sampled = levels;
    s->sample_at = s->world->now + NS_PER_US;
    sim_link_drain(s);
}

/* Somebody listens, waits for the motor, and then turns the screw slowly. */
static void turn_trimmer(struct sim_link *s, int64_t now)
{
    double trim = TRIM_FROM + TRIM_A_SECOND * ((double)now / 1e9 - TRIM_BEGINS_S);
    trim = trim < TRIM_FROM ? TRIM_FROM : trim > 0 ? 0 : trim;
    if (sim_link_has(&s->faults, LINK_FAULT_TRIMMER_TURNED, LINE_NONE))
        s->world->drive.spindle.trim = trim;
}

void sim_link_event(void *state)
{
    struct sim_link *s = state;
    int64_t now = s->world->now;
    turn_trimmer(s, now);
    while (pulse_at(s) <= now)
        pulse_event(s);
    if (s->slow && s->sample_at <= now)
        sample(s);
    s->in_core = true;
    device_poll(&s->device);
    s->in_core = false;
    sim_link_drain(s);
    if (s->poll_at <= now)
        s->poll_at = now + NS_PER_MS;
}
