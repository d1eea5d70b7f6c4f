#include "plain.h"

#include "adapter/protocol.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#define BYTES_A_GO 32768 /* as fast as they are taken, but others have their turn */

struct plain {
    struct usb_device device;
    bool running;
    uint32_t rate;
    uint64_t total, sent, allowed;
    int64_t start_us, now_us;
    size_t this_go;
    uint32_t out_bytes, out_sum;
};

static uint64_t number(const uint8_t *b, size_t n)
{
    uint64_t v = 0;
    for (size_t i = n; i-- > 0;)
        v = v << 8 | b[i];
    return v;
}

static void put32(uint8_t *b, uint32_t v)
{
    for (int i = 0; i < 4; i++)
        b[i] = (uint8_t)(v >> 8 * i);
}

static int identify(uint8_t *data, int room)
{
    uint8_t reply[CAP_BYTES] = {0};
    memcpy(reply, PROTO_MAGIC, PROTO_MAGIC_BYTES);
    reply[CAP_MAJOR] = PROTO_MAJOR;
    reply[CAP_LENGTH] = CAP_BYTES;
    put32(reply + CAP_TICK_HZ, 48000000);
    int n = room < CAP_BYTES ? room : CAP_BYTES;
    memcpy(data, reply, (size_t)n);
    return n;
}

static int control(void *state, const uint8_t setup[8], uint8_t *data)
{
    struct plain *p = state;
    const int len = setup[6] | setup[7] << 8;
    switch (setup[1]) {
    case REQ_IDENTIFY:
        return identify(data, len);
    case REQ_START:
        if (len != 12)
            return -EPIPE;
        p->rate = (uint32_t)number(data, 4);
        p->total = number(data + 4, 8);
        p->sent = p->allowed = 0;
        p->start_us = p->now_us;
        p->running = true;
        return len;
    case REQ_STOP:
        p->running = false;
        return len;
    case REQ_STATUS:
        if (len < 12)
            return -EPIPE;
        put32(data, p->out_bytes);
        put32(data + 4, p->out_sum);
        put32(data + 8, (uint32_t)p->sent);
        return 12;
    default:
        return -EPIPE;
    }
}

static int in(void *state, uint8_t *packet, size_t room)
{
    struct plain *p = state;
    if (!p->running)
        return -EAGAIN;
    const uint64_t left = p->total - p->sent;
    uint64_t n = left < room ? left : room;
    if (p->rate > 0 && p->sent + n > p->allowed)
        return -EAGAIN;
    if (p->rate == 0 && (p->this_go += room) > BYTES_A_GO) {
        p->this_go = 0;
        return -EAGAIN;
    }
    for (size_t i = 0; i < n; i++)
        packet[i] = plain_byte(p->sent + i);
    p->sent += n;
    if (n < room)
        p->running = false; /* the short packet was the end */
    return (int)n;
}

static int out(void *state, const uint8_t *packet, size_t len)
{
    struct plain *p = state;
    for (size_t i = 0; i < len; i++)
        p->out_sum += packet[i];
    p->out_bytes += (uint32_t)len;
    return (int)len;
}

static void reset(void *state)
{
    struct plain *p = state;
    p->running = false;
    p->out_bytes = p->out_sum = 0;
}

static void advance(void *state, int64_t real_us)
{
    struct plain *p = state;
    p->now_us = real_us;
    p->allowed = (uint64_t)(real_us - p->start_us) * p->rate / 1000000;
    p->this_go = 0;
}

static const struct usb_model MODEL = {
    .control = control, .in = in, .out = out, .reset = reset, .advance = advance};

struct plain *plain_new(const char *serial, size_t packet)
{
    struct plain *p = calloc(1, sizeof *p);
    if (p == NULL)
        abort();
    p->device =
        (struct usb_device){.model = &MODEL, .state = p, .packet = packet, .serial = serial};
    return p;
}

struct usb_device *plain_device(struct plain *p)
{
    return &p->device;
}

void plain_free(struct plain *p)
{
    free(p);
}
