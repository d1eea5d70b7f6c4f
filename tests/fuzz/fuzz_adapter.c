/* What an adapter may send, and what a host may ask of one: any bytes as a stream of frames, as
 * they are and with every check put right; as replies to REQ_IDENTIFY and REQ_STATUS; and as
 * requests and blocks to the device core, whose outputs must stay within its rules. */
#include "adapter/device.h"
#include "adapter/session.h"
#include "adapter/wire.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool holds)
{
    if (!holds)
        abort();
}

/* ---- a stream ---- */

struct heard {
    uint64_t tick;
    uint64_t edges;
};

static void in_order(struct heard *h, uint64_t tick)
{
    must(tick >= h->tick);
    h->tick = tick;
}

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct heard *h = ctx;
    (void)e;
    must((unsigned)line < LINE_COUNT && (level == LEVEL_LOW || level == LEVEL_HIGH));
    in_order(h, tick);
    h->edges++;
    return ERR_OK;
}

static enum err on_lost(void *ctx, const struct frame_loss *loss, struct err_msg *e)
{
    (void)e;
    in_order(ctx, loss->from);
    in_order(ctx, loss->to);
    return ERR_OK;
}

static enum err on_rails(void *ctx, uint64_t tick, const int32_t mv[WIRE_RAILS],
                         struct err_msg *e)
{
    (void)mv;
    (void)e;
    in_order(ctx, tick);
    return ERR_OK;
}

static void feed(const uint8_t *data, size_t size, size_t step)
{
    struct heard h = {0};
    struct frame_parser p;
    struct err_msg e = {0};
    const struct frame_sink sink = {&h, on_edge, on_lost, on_rails, NULL};
    enum err err = ERR_OK;
    frame_begin(&p, &sink, size > 20 ? data[20] : 0, 10);
    for (size_t at = 0; at < size && err == ERR_OK; at += step)
        err = frame_feed(&p, data + at, size - at < step ? size - at : step, &e);
    must(err == ERR_OK || (err == ERR_ADAPTER && e.text[0] != '\0'));
    if (err == ERR_OK)
        must(frame_end(&p, &e) == ERR_OK);
}

/* A fuzzer never guesses a check word, and what lies behind it must hold too. */
static void feed_checked(const uint8_t *data, size_t size)
{
    uint8_t *copy = malloc(size + 1);
    if (copy == NULL)
        return;
    memcpy(copy, data, size);
    for (size_t at = 0; at + PROTO_FRAME_MIN <= size;) {
        uint8_t *f = copy + at;
        size_t len = get_u16(f + 2);
        if (len < PROTO_FRAME_MIN || len > PROTO_FRAME_MAX || len > size - at)
            break;
        f[0] = PROTO_SYNC0;
        f[1] = PROTO_SYNC1;
        put_u32(f + len - 4, wire_crc32(0, f, len - 4));
        at += len;
    }
    feed(copy, size, size > 0 ? size : 1);
    free(copy);
}

/* ---- replies ---- */

static void reply(const uint8_t *data, size_t size)
{
    struct adapter_caps caps;
    struct adapter_status status;
    struct err_msg e = {0};
    if (caps_read(data, size, &caps, &e) == ERR_OK)
        must(caps.tick_hz >= 1000000 && caps.lines_in != 0 && caps.major == PROTO_MAJOR);
    else
        must(e.text[0] != '\0');
    e = (struct err_msg){0};
    if (status_read(data, size, &status, &e) == ERR_OK)
        must(role_word(status.role) != NULL || status.role == WIRE_ROLE_NONE);
    uint8_t good[CAP_BYTES] = PROTO_MAGIC;
    if (size < CAP_BYTES)
        return;
    memcpy(good + CAP_MAGIC + PROTO_MAGIC_BYTES, data + PROTO_MAGIC_BYTES,
           CAP_BYTES - PROTO_MAGIC_BYTES);
    put_u16(good + CAP_MAJOR, PROTO_MAJOR);
    e = (struct err_msg){0};
    if (caps_read(good, sizeof good, &caps, &e) != ERR_OK)
        must(e.text[0] != '\0');
}

/* ---- requests ---- */

struct hardware {
    uint64_t tick;
    uint32_t driven, foreign;
};

static void hw_outputs(void *ctx, uint32_t driven)
{
    struct hardware *w = ctx;
    /* Nothing here ever answers a challenge, and the write link is open. */
    must((driven & (WIRE_BIT(WIRE_WGATE) | WIRE_BIT(WIRE_WDATA) | WIRE_BIT(WIRE_RDATA))) == 0);
    must((driven & WIRE_FROM_MACHINE) == 0 || (driven & WIRE_FROM_DRIVE) == 0);
    w->driven = driven;
}
static void hw_pull_ups(void *ctx, bool on)
{
    (void)ctx;
    (void)on;
}
static uint32_t hw_levels(void *ctx)
{
    const struct hardware *w = ctx;
    return WIRE_ALL & ~(w->driven | w->foreign);
}
static uint64_t hw_ticks(void *ctx)
{
    const struct hardware *w = ctx;
    return w->tick;
}
static int32_t hw_rail(void *ctx, unsigned rail)
{
    (void)ctx;
    return rail == WIRE_V5 ? 5000 : WIRE_NO_METER;
}
static size_t hw_send(void *ctx, const uint8_t *bytes, size_t len)
{
    (void)ctx;
    (void)bytes;
    return len / 2;
}
static void hw_pulse(void *ctx, uint64_t tick)
{
    const struct hardware *w = ctx;
    must(tick > w->tick);
}
static void hw_no_pulses(void *ctx)
{
    (void)ctx;
}
static void hw_pin(void *ctx, unsigned plug, unsigned pin, bool low)
{
    (void)ctx;
    must(plug < 2 && pin >= 1 && pin <= 34);
    (void)low;
}
static void hw_pin_levels(void *ctx, bool floating, uint8_t out[PIN_LEVELS_BYTES])
{
    (void)ctx;
    (void)floating;
    memset(out, 0, PIN_LEVELS_BYTES);
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

struct input {
    const uint8_t *at;
    size_t left;
};

static uint8_t next(struct input *in)
{
    if (in->left == 0)
        return 0;
    in->left--;
    return *in->at++;
}

static void let_time_go(struct device *d, struct hardware *w, unsigned ms)
{
    for (unsigned i = 0; i < ms; i++) {
        w->tick += 1000;
        device_poll(d);
        must(d->motion.cylinder <= 244 || d->role != WIRE_ROLE_AS_MACHINE);
    }
}

/* One byte says what happens, those behind it how. */
static void happen(struct device *d, struct hardware *w, struct input *in)
{
    uint8_t what = next(in);
    uint8_t bytes[PROTO_FRAME_MAX];
    size_t len = next(in);
    if (what < 0x40) {
        uint16_t value = next(in);
        value = (uint16_t)(value | next(in) << 8);
        for (size_t i = 0; i < len; i++)
            bytes[i] = next(in);
        (void)device_control_out(d, what, value, bytes, len % 33);
    } else if (what < 0x50) {
        (void)device_control_in(d, what & 0x1f, 0, bytes, 2 * len);
    } else if (what < 0x80) {
        unsigned line = what & 31;
        bool high = (w->foreign & WIRE_BIT(line)) != 0;
        w->foreign ^= line < WIRE_LINES ? WIRE_BIT(line) : 0;
        device_edge(d, w->tick, line, high);
    } else if (what < 0x90) {
        for (size_t i = 0; i < len; i++)
            bytes[PROTO_BLOCK_HEAD + i] = next(in);
        bytes[0] = PROTO_SYNC0;
        bytes[1] = PROTO_SYNC1;
        size_t all = PROTO_BLOCK_HEAD + len + PROTO_FRAME_CHECK;
        put_u16(bytes + 2, (uint32_t)all);
        put_u32(bytes + 4, d->play.sequence);
        put_u32(bytes + all - 4, wire_crc32(0, bytes, all - 4));
        (void)device_block(d, bytes, all);
    } else if (what < 0xa0) {
        device_bus_event(d);
        must(w->driven == 0);
    } else {
        let_time_go(d, w, what == 0xff ? 2100 : what & 15);
    }
}

static void requests(const uint8_t *data, size_t size)
{
    static uint8_t queue[4096];
    static uint8_t play[2048];
    const struct device_config c = {.lines_in = WIRE_ALL,
                                    .lines_out = WIRE_ALL,
                                    .roles = (1u << WIRE_ROLES) - 2u,
                                    .tick_hz = 1000000,
                                    .rails = WIRE_BIT(WIRE_V5),
                                    .watchdog_ms = PROTO_WATCHDOG_MS,
                                    .flags = CAPF_WIDTHS | CAPF_PULL_UPS | CAPF_PINS_FLOAT,
                                    .pins = {34, 34},
                                    .queue = queue,
                                    .queue_bytes = sizeof queue,
                                    .play = play,
                                    .play_bytes = sizeof play};
    struct hardware w = {.tick = 1};
    struct device *d = malloc(sizeof *d);
    struct input in = {data, size};
    if (d == NULL)
        return;
    device_init(d, &HW, &w, &c);
    for (int i = 0; in.left > 0 && i < 300; i++)
        happen(d, &w, &in);
    w.foreign = 0;
    let_time_go(d, &w, PROTO_WATCHDOG_MS + 10); /* and then nobody asks any more */
    must(w.driven == 0);
    free(d);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    feed(data, size, 7);
    feed(data, size, size > 0 ? size : 1);
    feed_checked(data, size);
    reply(data, size);
    requests(data, size);
    return 0;
}
