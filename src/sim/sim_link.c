#include "sim/sim_link.h"

#include "adapter/wire.h"
#include "sim/sim_link_private.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define REQUEST_NS     (200 * NS_PER_US)
#define STEP_NS        (4 * NS_PER_MS)
#define TROUBLE_NS     NS_PER_S /* into the stream, faults of the connection come */
#define TROUBLE_FRAMES 40

static bool own(const struct sim_link *s, enum link_fault_kind kind)
{
    return sim_link_has(&s->faults, kind, LINE_NONE);
}

static enum link_result gone(struct err_msg *e)
{
    err_set(e, ERR_ADAPTER, "the adapter was unplugged");
    return LINK_GONE;
}

static void core_in(struct sim_link *s)
{
    sim_link_advance(s, REQUEST_NS);
    s->in_core = true;
}

static void core_out(struct sim_link *s)
{
    s->in_core = false;
    sim_link_drain(s);
}

static enum link_result control_in(void *state, uint8_t request, uint16_t value, void *data,
                                   size_t room, size_t *got, struct err_msg *e)
{
    struct sim_link *s = state;
    uint8_t *p = data;
    if (s->gone)
        return gone(e);
    core_in(s);
    int n = device_control_in(&s->device, request, value, p, room);
    core_out(s);
    if (n < 0) {
        err_set(e, ERR_ADAPTER, "the adapter refused the request");
        return LINK_REFUSED;
    }
    *got = (size_t)n;
    if (request == REQ_IDENTIFY && n >= CAP_BYTES) {
        if (own(s, LINK_FAULT_VERSION))
            put_u16(p + CAP_MAJOR, PROTO_MAJOR + 1);
        if (own(s, LINK_FAULT_LIES))
            put_u32(p + CAP_TICK_HZ, 0);
    }
    return LINK_OK;
}

/* A role puts the plug where it belongs before the core hears of it. */
static enum link_result connect_for(struct sim_link *s, uint16_t value, struct err_msg *e)
{
    unsigned role = value & 0xff;
    s->in_core = true;
    (void)device_control_out(&s->device, REQ_RELEASE, 0, NULL, 0);
    s->in_core = false;
    if (role < WIRE_ROLES && sim_link_connect(s, (enum wire_role)role, e) != ERR_OK)
        return LINK_FAILED;
    return LINK_OK;
}

static enum link_result control_out(void *state, uint8_t request, uint16_t value,
                                    const void *data, size_t len, struct err_msg *e)
{
    struct sim_link *s = state;
    if (s->gone)
        return gone(e);
    if (request == REQ_ROLE && connect_for(s, value, e) != LINK_OK)
        return LINK_FAILED;
    core_in(s);
    int n = device_control_out(&s->device, request, value, data, len);
    core_out(s);
    if (n == 0)
        return LINK_OK;
    err_set(e, ERR_ADAPTER, "the adapter refused the request");
    return LINK_REFUSED;
}

static enum link_result stream_start(void *state, struct err_msg *e)
{
    struct sim_link *s = state;
    if (s->gone)
        return gone(e);
    s->wired = 0;
    s->streaming = true;
    s->stream_ns = sim_link_now(s);
    return LINK_OK;
}

static void stream_stop(void *state)
{
    struct sim_link *s = state;
    s->streaming = false;
    s->wired = 0;
}

/* Whole frames from the wire into handed, as the faults of the connection have them. */
static size_t hand_out(struct sim_link *s)
{
    size_t at = 0;
    size_t out = 0;
    while (s->wired - at >= 4) {
        size_t len = get_u16(s->wire + at + 2);
        if (len > s->wired - at || out + 2 * len > sizeof s->handed)
            break;
        bool trouble = ++s->handed_frames % TROUBLE_FRAMES == 0;
        memcpy(s->handed + out, s->wire + at, len);
        if (trouble && own(s, LINK_FAULT_DAMAGED))
            s->handed[out + len / 2] ^= 0x10;
        out += len;
        if (trouble && own(s, LINK_FAULT_REPEATED)) {
            memcpy(s->handed + out, s->wire + at, len);
            out += len;
        }
        at += len;
    }
    s->wired -= at;
    memmove(s->wire, s->wire + at, s->wired);
    return out;
}

/* Faults that come once, a while into the stream. */
static enum link_result troubles(struct sim_link *s, struct err_msg *e)
{
    if (sim_link_now(s) - s->stream_ns < TROUBLE_NS)
        return LINK_OK;
    bool later = own(s, LINK_FAULT_UNPLUGGED_LATER) &&
                 sim_link_now(s) > (int64_t)(4 + s->options.seed * 7919 % 30) * NS_PER_S;
    if (own(s, LINK_FAULT_UNPLUGGED) || later) {
        s->gone = true;
        device_bus_event(&s->device);
        return gone(e);
    }
    if (own(s, LINK_FAULT_STALLED) && !s->stalled) {
        s->stalled = true;
        sim_link_advance(s, 20 * NS_PER_MS); /* what comes meanwhile is gone */
        s->wired = 0;
        err_set(e, ERR_ADAPTER, "the adapter halted its stream");
        return LINK_STALLED;
    }
    if (own(s, LINK_FAULT_HOST_STALLED) && !s->host_stalled) {
        s->host_stalled = true;
        sim_link_advance(s, 2 * NS_PER_S);
    }
    return LINK_OK;
}

static enum link_result sim_read(void *state, int timeout_ms, const uint8_t **bytes,
                                 size_t *len, struct err_msg *e)
{
    struct sim_link *s = state;
    int64_t until = sim_link_now(s) + (int64_t)timeout_ms * NS_PER_MS;
    *len = 0;
    if (s->gone)
        return gone(e);
    enum link_result r = troubles(s, e);
    while (r == LINK_OK && *len == 0 && sim_link_now(s) < until) {
        sim_link_advance(s, STEP_NS);
        *len = s->streaming ? hand_out(s) : 0;
    }
    *bytes = s->handed;
    if (r != LINK_OK)
        return r;
    return *len > 0 ? LINK_OK : LINK_TIMEOUT;
}

/* One block; the rest of what was sent is the next. */
static enum link_result write_block(struct sim_link *s, int64_t until, const uint8_t *block,
                                    size_t len, struct err_msg *e)
{
    while (!device_block_room(&s->device)) {
        if (sim_link_now(s) >= until)
            return LINK_TIMEOUT;
        sim_link_advance(s, NS_PER_MS);
    }
    s->in_core = true;
    bool taken = device_block(&s->device, block, len);
    core_out(s);
    if (taken)
        return LINK_OK;
    err_set(e, ERR_ADAPTER, "the adapter did not take a block of pulses");
    return LINK_STALLED;
}

static enum link_result sim_write(void *state, int timeout_ms, const void *data, size_t len,
                                  struct err_msg *e)
{
    struct sim_link *s = state;
    int64_t until = sim_link_now(s) + (int64_t)timeout_ms * NS_PER_MS;
    if (s->gone)
        return gone(e);
    const uint8_t *p = data;
    while (len > 0) {
        size_t n = len >= PROTO_BLOCK_MIN ? get_u16(p + 2) : len;
        n = n >= PROTO_BLOCK_MIN && n < len ? n : len;
        enum link_result r = write_block(s, until, p, n, e);
        if (r != LINK_OK)
            return r;
        p += n;
        len -= n;
    }
    return LINK_OK;
}

static void sim_pause(void *state, int ms)
{
    sim_link_advance(state, (int64_t)ms * NS_PER_MS);
}

static int64_t sim_now_ms(void *state)
{
    return sim_link_now(state) / NS_PER_MS;
}

static void sim_close(void *state)
{
    struct sim_link *s = state;
    sim_link_disconnect(s);
    free(s->faults.text);
    free(s);
}

static const struct link_ops ops = {control_in, control_out, stream_start,
                                    sim_read,   stream_stop, sim_write,
                                    sim_pause,  sim_now_ms,  sim_close};

const struct link_ops *sim_link_ops(void)
{
    return &ops;
}

static void configure(struct sim_link *s)
{
    struct fault f;
    for (int i = 0; i < s->faults.bus_count; i++)
        if (sim_fault_parse(s->faults.bus[i], &f, NULL) == ERR_OK)
            s->slow = s->slow || f.kind == FAULT_SAMPLED_TOO_SLOWLY;
    uint32_t roles = (1u << WIRE_ROLES) - 2u;
    s->config = (struct device_config){
        .lines_in = WIRE_ALL,
        .lines_out = WIRE_ALL,
        .roles = roles,
        .tick_hz = s->slow ? 1000000u : SIM_TICK_HZ,
        .rails = WIRE_BIT(WIRE_V5) | WIRE_BIT(WIRE_V12),
        .watchdog_ms = PROTO_WATCHDOG_MS,
        .pulse_ticks = 10,
        .flags = (uint16_t)(CAPF_WIDTHS | CAPF_PINS_FLOAT |
                            (own(s, LINK_FAULT_NO_PULL_UPS) ? 0 : CAPF_PULL_UPS) |
                            (own(s, LINK_FAULT_GROUNDS_APART) ? CAPF_GROUNDS_APART : 0) |
                            (own(s, LINK_FAULT_WRITE_LINK) ? CAPF_WRITE_LINK : 0)),
        .pins = {(uint8_t)cable_pins(s->options.cable),
                 (uint8_t)cable_drive_pins(s->options.cable)},
        .queue = s->queue,
        .queue_bytes = sizeof s->queue,
        .play = s->play_queue,
        .play_bytes = sizeof s->play_queue,
    };
}

enum err sim_link_open(const char *spec, const struct sim_options *options, struct link *out,
                       struct err_msg *e)
{
    if (options->machine == NULL || options->drive == NULL || options->cable == NULL)
        return err_set(e, ERR_USAGE, "a machine, a drive and a cable are needed");
    struct sim_link *s = calloc(1, sizeof *s);
    if (s == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    s->options = *options;
    enum err err = sim_link_faults_parse(spec, &s->faults, e);
    if (err != ERR_OK) {
        free(s->faults.text);
        free(s);
        return err;
    }
    configure(s);
    device_init(&s->device, &SIM_LINK_HW, s, &s->config);
    *out = (struct link){.ops = &ops, .state = s};
    (void)snprintf(out->name, sizeof out->name, "sim:%s", spec);
    return ERR_OK;
}
