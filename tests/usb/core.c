#include "core.h"

#include "adapter/device.h"
#include "adapter/wire.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#define TICKS_A_US (CORE_TICK_HZ / 1000000u)
#define TICKS_A_MS (CORE_TICK_HZ / 1000u)
#define MS(n)      ((uint64_t)(n)*TICKS_A_MS)
#define NEVER      UINT64_MAX
#define PULSE      10 /* ticks that RDATA is low */
#define FIFO_BYTES 4096
#define PLAYED_MAX 4096
#define LATE_MS    5000 /* a bus that was not looked at for longer: time stood still */

struct core {
    struct usb_device device;
    struct device core;
    struct device_config config;
    uint8_t queue[128 << 10], play[32 << 10];
    uint64_t tick;
    int slow;
    int64_t real_us; /* of the last look */
    uint64_t poll_at;
    uint32_t driven, told;
    /* the drive */
    bool turning;
    uint64_t turns_at, index_at;
    bool index_low;
    int head;
    /* read data */
    uint32_t flux;
    uint64_t fall_at, rise_at; /* NEVER: none to come */
    bool low, played;
    uint64_t sent;
    uint64_t pulse[PLAYED_MAX]; /* as a drive: pulses to come */
    size_t pulse_head, pulses;
    /* the wire */
    uint8_t fifo[FIFO_BYTES];
    size_t fill;
    bool flush;
    uint8_t block[PROTO_FRAME_MAX];
    size_t block_fill;
    bool out_halted;
};

/* ---- the bus ---- */

static bool alone(const struct core *c) /* nobody else works the drive */
{
    return c->core.role == WIRE_ROLE_AS_MACHINE;
}

static uint32_t low_lines(const struct core *c)
{
    uint32_t low = c->driven;
    if (!alone(c))
        low |= WIRE_BIT(WIRE_SELECT0) | WIRE_BIT(WIRE_MOTOR);
    if (c->low)
        low |= WIRE_BIT(WIRE_RDATA);
    if (c->core.role == WIRE_ROLE_AS_DRIVE || !(low & WIRE_BIT(WIRE_SELECT0)))
        return low;
    if (c->index_low)
        low |= WIRE_BIT(WIRE_INDEX);
    if (c->head == 0)
        low |= WIRE_BIT(WIRE_TRK00);
    return low;
}

static bool reads(const struct core *c)
{
    uint32_t low = low_lines(c);
    return c->core.role != WIRE_ROLE_AS_DRIVE && c->turning && c->tick >= c->turns_at &&
           (low & WIRE_BIT(WIRE_SELECT0)) != 0;
}

static void hw_outputs(void *ctx, uint32_t driven)
{
    struct core *c = ctx;
    uint32_t before = c->driven;
    c->driven = driven;
    if (driven == 0)
        c->pulses = 0;
    if ((before & ~driven) & WIRE_BIT(WIRE_STEP))
        c->head += low_lines(c) & WIRE_BIT(WIRE_DIR) ? 1 : c->head > 0 ? -1 : 0;
}
static void hw_pull_ups(void *ctx, bool on)
{
    (void)ctx;
    (void)on;
}
static uint32_t hw_levels(void *ctx)
{
    return WIRE_ALL & ~low_lines(ctx);
}
static uint64_t hw_ticks(void *ctx)
{
    const struct core *c = ctx;
    return c->tick;
}
static int32_t hw_rail(void *ctx, unsigned rail)
{
    (void)ctx;
    return rail == WIRE_V5 ? 5010 : rail == WIRE_V12 ? 12040 : WIRE_NO_METER;
}
static size_t hw_send(void *ctx, const uint8_t *bytes, size_t len)
{
    struct core *c = ctx;
    size_t n = FIFO_BYTES - c->fill < len ? FIFO_BYTES - c->fill : len;
    memcpy(c->fifo + c->fill, bytes, n);
    c->fill += n;
    return n;
}
static void hw_pulse(void *ctx, uint64_t tick)
{
    struct core *c = ctx;
    if (c->pulses < PLAYED_MAX)
        c->pulse[(c->pulse_head + c->pulses++) % PLAYED_MAX] = tick;
}
static void hw_pin(void *ctx, unsigned plug, unsigned pin, bool low)
{
    (void)ctx;
    (void)plug;
    (void)pin;
    (void)low;
}
static void hw_pin_levels(void *ctx, bool floating, uint8_t out[PIN_LEVELS_BYTES])
{
    (void)ctx;
    (void)floating;
    memset(out, 0, PIN_LEVELS_BYTES);
}
static void hw_no_pulses(void *ctx)
{
    struct core *c = ctx;
    c->pulses = 0;
}
static const struct device_hw HW = {.outputs = hw_outputs,
                                    .pull_ups = hw_pull_ups,
                                    .levels = hw_levels,
                                    .ticks = hw_ticks,
                                    .rail_mv = hw_rail,
                                    .send = hw_send,
                                    .pulse = hw_pulse,
                                    .no_pulses = hw_no_pulses,
                                    .pin = hw_pin,
                                    .pin_levels = hw_pin_levels};

/* Tell the core of every line that changed. */
static void settle(struct core *c)
{
    uint32_t changed;
    while ((changed = c->told ^ hw_levels(c)) != 0) {
        unsigned line = 0;
        while ((changed >> line & 1u) == 0)
            line++;
        c->told ^= WIRE_BIT(line);
        bool high = (c->told & WIRE_BIT(line)) != 0;
        c->sent += line == WIRE_RDATA && !high && c->core.stream.on;
        device_edge(&c->core, c->tick, line, high);
    }
}

/* ---- its time ---- */

static void spindle(struct core *c)
{
    bool motor = (low_lines(c) & WIRE_BIT(WIRE_MOTOR)) != 0;
    if (motor && !c->turning) {
        c->turns_at = c->tick + (alone(c) ? MS(300) : 0);
        c->index_at = c->turns_at + MS(1);
    }
    c->turning = motor;
    while (c->turning && c->index_at <= c->tick) {
        c->index_low = !c->index_low;
        c->index_at += c->index_low ? MS(3) : MS(197);
    }
}

/* Falls and rises are where the flux has them, whatever the drive does meanwhile. */
static void read_data(struct core *c)
{
    while (c->fall_at <= c->tick) {
        if (reads(c)) {
            c->low = true;
            c->rise_at = c->fall_at + PULSE;
        }
        c->fall_at += core_flux_next(&c->flux);
    }
    while (c->pulses > 0 && c->pulse[c->pulse_head] <= c->tick) {
        c->low = true;
        c->rise_at = c->pulse[c->pulse_head] + PULSE;
        c->pulse_head = (c->pulse_head + 1) % PLAYED_MAX;
        c->pulses--;
    }
}

static uint64_t least(uint64_t a, uint64_t b)
{
    return a < b ? a : b;
}

static uint64_t next_event(const struct core *c)
{
    uint64_t next = least(c->poll_at, device_next(&c->core));
    next = least(next, c->turning ? c->index_at : NEVER);
    next = least(next, c->pulses > 0 ? c->pulse[c->pulse_head] : NEVER);
    return least(least(next, c->fall_at), c->low ? c->rise_at : NEVER);
}

static void run_to(struct core *c, uint64_t until)
{
    uint64_t next;
    while ((next = next_event(c)) <= until) {
        if (next > c->tick)
            c->tick = next;
        if (c->low && c->rise_at <= c->tick)
            c->low = false;
        settle(c);
        spindle(c);
        read_data(c);
        settle(c);
        if (c->poll_at <= c->tick || device_next(&c->core) <= c->tick) {
            device_poll(&c->core);
            settle(c);
        }
        if (c->poll_at <= c->tick)
            c->poll_at = c->tick + MS(1);
    }
    c->tick = until;
}

static void advance(void *state, int64_t real_us)
{
    struct core *c = state;
    int64_t passed = c->real_us == 0 ? 0 : real_us - c->real_us;
    c->real_us = real_us;
    if (passed > LATE_MS * 1000)
        passed = LATE_MS * 1000;
    run_to(c, c->tick + (uint64_t)(passed / c->slow) * TICKS_A_US);
    c->flush = true;
}

/* ---- the wire ---- */

static int control(void *state, const uint8_t setup[8], uint8_t *data)
{
    struct core *c = state;
    uint16_t value = get_u16(setup + 2);
    size_t len = get_u16(setup + 6);
    if ((setup[0] & 0x80) != 0) {
        int n = device_control_in(&c->core, setup[1], value, data, len);
        return n < 0 ? -EPIPE : n;
    }
    int n = device_control_out(&c->core, setup[1], value, data, len);
    if (n == 0 && setup[1] == REQ_START) {
        c->sent = 0;
        c->flux = CORE_FLUX_SEED;
        c->fall_at = c->tick + core_flux_next(&c->flux);
        c->fill = 0; /* what a program before this one left */
    }
    settle(c);
    return n < 0 ? -EPIPE : (int)len;
}

static int in(void *state, uint8_t *packet, size_t room)
{
    struct core *c = state;
    if (c->fill < room && c->core.stream.queued > 0)
        device_poll(&c->core); /* the endpoint has room again */
    if (c->fill == 0 || (c->fill < room && !c->flush))
        return -EAGAIN;
    size_t n = c->fill < room ? c->fill : room;
    c->flush = c->flush && n == room;
    memcpy(packet, c->fifo, n);
    c->fill -= n;
    memmove(c->fifo, c->fifo + n, c->fill);
    return (int)n;
}

static int out(void *state, const uint8_t *packet, size_t len)
{
    struct core *c = state;
    if (c->out_halted)
        return -EPIPE;
    for (size_t i = 0; i < len; i++) {
        c->block[c->block_fill++] = packet[i];
        size_t whole = c->block_fill >= 4 ? get_u16(c->block + 2) : PROTO_FRAME_MAX;
        if (c->block_fill < whole && c->block_fill < PROTO_FRAME_MAX)
            continue;
        bool taken = device_block(&c->core, c->block, c->block_fill);
        c->block_fill = 0;
        if (!taken) {
            c->out_halted = true;
            return -EPIPE;
        }
    }
    return (int)len;
}

static void clear_halt(void *state, uint8_t endpoint)
{
    struct core *c = state;
    if (endpoint == DEVICE_EP_OUT) {
        c->out_halted = false;
        c->block_fill = 0;
    }
}

static void reset(void *state)
{
    struct core *c = state;
    device_bus_event(&c->core);
    c->fill = c->block_fill = 0;
    settle(c);
}

static const struct usb_model MODEL = {.control = control,
                                       .in = in,
                                       .out = out,
                                       .clear_halt = clear_halt,
                                       .reset = reset,
                                       .advance = advance};

struct core *core_new(const char *serial, size_t packet, int slow)
{
    struct core *c = calloc(1, sizeof *c);
    if (c == NULL)
        abort();
    c->config = (struct device_config){.lines_in = WIRE_ALL,
                                       .lines_out = WIRE_ALL,
                                       .roles = (1u << WIRE_ROLES) - 2u,
                                       .tick_hz = CORE_TICK_HZ,
                                       .rails = WIRE_BIT(WIRE_V5) | WIRE_BIT(WIRE_V12),
                                       .watchdog_ms = PROTO_WATCHDOG_MS,
                                       .pulse_ticks = PULSE,
                                       .flags = CAPF_WIDTHS | CAPF_PULL_UPS | CAPF_PINS_FLOAT,
                                       .pins = {34, 34},
                                       .queue = c->queue,
                                       .queue_bytes = sizeof c->queue,
                                       .play = c->play,
                                       .play_bytes = sizeof c->play};
    c->slow = slow;
    c->tick = 1;
    c->head = 12;
    c->fall_at = NEVER;
    c->told = WIRE_ALL & ~low_lines(c);
    device_init(&c->core, &HW, c, &c->config);
    c->device =
        (struct usb_device){.model = &MODEL, .state = c, .packet = packet, .serial = serial};
    return c;
}

struct usb_device *core_device(struct core *c)
{
    return &c->device;
}

uint64_t core_sent(const struct core *c)
{
    return c->sent;
}

void core_free(struct core *c)
{
    free(c);
}
