/* The device core on a bench of its own: hardware made of a few variables, a drive that only
 * moves its head and turns, and others who may pull lines. A tick is a microsecond. Whatever a
 * host asks, this sees what the outputs really did. */
#ifndef WHICHEND_TESTS_DEVICE_BENCH_H
#define WHICHEND_TESTS_DEVICE_BENCH_H

#include "adapter/device.h"
#include "adapter/items.h"
#include "adapter/wire.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define BENCH_LAST 79 /* cylinders of the drive */
#define BENCH_LOG  4096

struct bench_change {
    uint64_t at;
    uint32_t driven;
};

struct bench {
    struct device d;
    struct device_config c;
    uint8_t queue[16384], play[8192];
    uint64_t now;
    uint32_t driven;  /* as the core asked */
    uint32_t dead;    /* outputs that never pull */
    uint32_t foreign; /* pulled low by others */
    uint32_t told;    /* levels that the core was told of */
    bool pull_ups;
    int32_t v5;
    /* the drive: unit 0 */
    int head;
    bool track0_dead, track0_stuck, protect, turns;
    bool index_low;
    uint64_t index_at;
    /* what happened */
    unsigned steps;
    uint64_t last_step, least_gap;
    int innermost;
    uint64_t pulses, first_pulse, last_pulse;
    struct bench_change log[BENCH_LOG];
    size_t changes;
    uint64_t pins_low[2];
    uint8_t pin_voltage[PIN_LEVELS_BYTES]; /* seen with everything let go */
    uint64_t pins_held_high[2];            /* pulled pins that do not follow */
    bool host_gone;                        /* no signs of life from bench_run */
};

static uint32_t bench_levels(const struct bench *b)
{
    uint32_t low = (b->driven & ~b->dead) | b->foreign;
    if (low & WIRE_BIT(WIRE_SELECT0)) {
        if ((b->head == 0 && !b->track0_dead) || b->track0_stuck)
            low |= WIRE_BIT(WIRE_TRK00);
        if (b->protect)
            low |= WIRE_BIT(WIRE_WPROT);
        if (b->index_low)
            low |= WIRE_BIT(WIRE_INDEX);
    }
    return WIRE_ALL & ~low;
}

/* The drive steps as STEP rises, while it is selected. */
static void bench_step(struct bench *b)
{
    bool inward = (bench_levels(b) & WIRE_BIT(WIRE_DIR)) == 0;
    if (b->steps > 0 && b->now - b->last_step < b->least_gap)
        b->least_gap = b->now - b->last_step;
    b->steps++;
    b->last_step = b->now;
    if ((bench_levels(b) & WIRE_BIT(WIRE_SELECT0)) != 0)
        return;
    b->head += inward ? 1 : b->head > 0 ? -1 : 0;
    b->innermost = b->head > b->innermost ? b->head : b->innermost;
}

static void bench_outputs(void *ctx, uint32_t driven)
{
    struct bench *b = ctx;
    uint32_t before = b->driven;
    b->driven = driven;
    if (driven != before) {
        assert_true(b->changes < BENCH_LOG);
        b->log[b->changes++] = (struct bench_change){b->now, driven};
    }
    if ((before & ~driven) & WIRE_BIT(WIRE_STEP))
        bench_step(b);
}
static void bench_pull_ups(void *ctx, bool on)
{
    struct bench *b = ctx;
    b->pull_ups = on;
}
static uint32_t bench_hw_levels(void *ctx)
{
    return bench_levels(ctx);
}
static uint64_t bench_ticks(void *ctx)
{
    const struct bench *b = ctx;
    return b->now;
}
static int32_t bench_rail(void *ctx, unsigned rail)
{
    const struct bench *b = ctx;
    return rail == WIRE_V5 ? b->v5 : WIRE_NO_METER;
}
static size_t bench_send(void *ctx, const uint8_t *bytes, size_t len)
{
    (void)ctx;
    (void)bytes;
    return len;
}
/* Pulses are counted when they are asked for; what is dropped of them is the hardware's. */
static void bench_no_pulses(void *ctx)
{
    (void)ctx;
}

static void bench_pulse(void *ctx, uint64_t tick)
{
    struct bench *b = ctx;
    if (b->pulses++ == 0)
        b->first_pulse = tick;
    assert_true(tick >= b->last_pulse);
    b->last_pulse = tick;
}
static void bench_pin(void *ctx, unsigned plug, unsigned pin, bool low)
{
    struct bench *b = ctx;
    uint64_t bit = (uint64_t)1 << (pin - 1);
    b->pins_low[plug] = low ? b->pins_low[plug] | bit : b->pins_low[plug] & ~bit;
}
static void bench_pin_levels(void *ctx, bool floating, uint8_t out[PIN_LEVELS_BYTES])
{
    const struct bench *b = ctx;
    for (unsigned plug = 0; plug < 2; plug++)
        put_u64(out + 8 * (size_t)plug, ~b->pins_low[plug] | b->pins_held_high[plug]);
    if (floating)
        memcpy(out, b->pin_voltage, PIN_LEVELS_BYTES);
}

static const struct device_hw BENCH_HW = {
    bench_outputs, bench_pull_ups, bench_hw_levels, bench_ticks, bench_rail,
    bench_send,    bench_pulse,    bench_no_pulses, bench_pin,   bench_pin_levels};

/* Tell the core of every line that changed meanwhile. */
static inline void bench_settle(struct bench *b)
{
    for (;;) {
        uint32_t changed = b->told ^ bench_levels(b);
        if (changed == 0)
            return;
        unsigned line = 0;
        while ((changed >> line & 1u) == 0)
            line++;
        b->told ^= WIRE_BIT(line);
        device_edge(&b->d, b->now, line, (b->told & WIRE_BIT(line)) != 0);
    }
}

/* Everything on the adapter, as a bench would have it: the write link closed. */
static inline struct bench *bench_new(void)
{
    struct bench *b = calloc(1, sizeof *b);
    assert_non_null(b);
    b->c = (struct device_config){.lines_in = WIRE_ALL,
                                  .lines_out = WIRE_ALL,
                                  .roles = (1u << WIRE_ROLES) - 2u,
                                  .tick_hz = 1000000,
                                  .rails = WIRE_BIT(WIRE_V5),
                                  .watchdog_ms = PROTO_WATCHDOG_MS,
                                  .pulse_ticks = 1,
                                  .flags = CAPF_WIDTHS | CAPF_PULL_UPS | CAPF_WRITE_LINK |
                                           CAPF_PINS_FLOAT,
                                  .pins = {34, 34},
                                  .queue = b->queue,
                                  .queue_bytes = sizeof b->queue,
                                  .play = b->play,
                                  .play_bytes = sizeof b->play};
    b->v5 = 5000;
    b->head = 20;
    b->turns = true;
    b->least_gap = UINT64_MAX;
    b->index_at = 100000;
    b->told = bench_levels(b);
    device_init(&b->d, &BENCH_HW, b, &b->c);
    return b;
}

static inline void bench_index(struct bench *b)
{
    while (b->turns && b->index_at <= b->now) {
        b->index_low = !b->index_low;
        b->index_at += b->index_low ? 3000 : 197000;
    }
}

/* What the host asks: 0, or why it was refused. */
static inline enum refusal bench_ask(struct bench *b, uint8_t request, uint16_t value,
                                     const void *data, size_t len)
{
    int r = device_control_out(&b->d, request, value, data, len);
    bench_settle(b);
    return r == 0 ? REFUSE_NOTHING : b->d.refusal;
}

/* So many microseconds; the core is polled as its header asks for. */
static inline void bench_run(struct bench *b, uint64_t us)
{
    uint64_t until = b->now + us;
    while (b->now < until) {
        uint64_t next = b->now / 1000 * 1000 + 1000;
        uint64_t due = device_next(&b->d);
        next = due > b->now && due < next ? due : next;
        next = b->turns && b->index_at > b->now && b->index_at < next ? b->index_at : next;
        b->now = next < until ? next : until;
        bench_index(b);
        bench_settle(b);
        if (!b->host_gone && b->now % 100000 == 0)
            (void)bench_ask(b, REQ_ALIVE, 0, NULL, 0);
        device_poll(&b->d);
        bench_settle(b);
    }
}
static inline void bench_ms(struct bench *b, uint64_t ms)
{
    bench_run(b, 1000 * ms);
}

static inline enum refusal bench_drive(struct bench *b, uint32_t mask, uint32_t active)
{
    uint8_t p[8];
    put_u32(p, mask);
    put_u32(p + 4, active);
    return bench_ask(b, REQ_DRIVE, 0, p, sizeof p);
}
static inline enum refusal bench_steps(struct bench *b, bool outward, uint16_t steps)
{
    uint8_t p[2];
    put_u16(p, steps);
    return bench_ask(b, REQ_STEP, outward, p, sizeof p);
}

/* Times as a drive would have them; invented. */
static inline enum refusal bench_limits(struct bench *b, uint16_t last, uint32_t step_us)
{
    uint8_t p[LIMITS_BYTES];
    put_u16(p + LIMITS_LAST_CYLINDER, last);
    put_u32(p + LIMITS_STEP_US, step_us);
    put_u32(p + LIMITS_TURN_US, step_us + 1000);
    put_u16(p + LIMITS_STEP_LOW_US, 10);
    put_u32(p + LIMITS_SETTLE_US, 15000);
    put_u32(p + LIMITS_ERASE_US, 1000);
    put_u32(p + LIMITS_GATE_US, 220000);
    return bench_ask(b, REQ_LIMITS, 0, p, sizeof p);
}

#define BENCH_ON (WIRE_BIT(WIRE_SELECT0) | WIRE_BIT(WIRE_MOTOR))

/* As a machine, listened, unit 0 selected and turning. */
static inline struct bench *bench_as_machine(void)
{
    struct bench *b = bench_new();
    assert_int_equal(bench_ask(b, REQ_ROLE, WIRE_ROLE_AS_MACHINE, NULL, 0), REFUSE_NOTHING);
    assert_int_equal(bench_limits(b, BENCH_LAST, 3000), REFUSE_NOTHING);
    bench_ms(b, 2001);
    assert_int_equal(bench_drive(b, BENCH_ON, BENCH_ON), REFUSE_NOTHING);
    bench_ms(b, 10);
    return b;
}

/* And its head at a cylinder, known and settled. */
static inline struct bench *bench_at(uint16_t cylinder)
{
    struct bench *b = bench_as_machine();
    assert_int_equal(bench_steps(b, true, BENCH_LAST + LIMITS_OUTWARD_MORE), REFUSE_NOTHING);
    bench_ms(b, 300);
    assert_int_equal(b->head, 0);
    if (cylinder > 0)
        assert_int_equal(bench_steps(b, false, cylinder), REFUSE_NOTHING);
    bench_ms(b, 300);
    assert_int_equal(b->head, cylinder);
    return b;
}

#endif
