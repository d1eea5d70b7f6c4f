#include "bus.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

/* The messages that follow once a device is attached: kernel documentation, "USB/IP protocol"
 * (usb/usbip_protocol.rst). Numbers are big endian. */
enum message { CMD_SUBMIT = 1, CMD_UNLINK = 2, RET_SUBMIT = 3, RET_UNLINK = 4 };
enum { HEAD_BYTES = 48, HEAD_SETUP = 40 };
enum word { W_COMMAND, W_SEQUENCE, W_DEVICE, W_IN, W_ENDPOINT, W_5, W_LENGTH, W_WORDS = 12 };

#define ATTACH       "/sys/devices/platform/vhci_hcd.0/attach"
#define PORTS_MAX    4
#define URBS_MAX     64
#define PACKET_MAX   1024
#define TRANSFER_MAX (1 << 20)
#define SPEED_FULL   2
#define SPEED_HIGH   3
#define APPEAR_TRIES 500
#define UNLINKED     (-ECONNRESET)

struct urb {
    uint32_t sequence;
    size_t length, done;
    uint8_t *buffer; /* owned */
};

struct port {
    struct bus *bus;
    struct usb_device *device;
    struct bus_options options;
    size_t index;
    int socket; /* our end; -1: not plugged in */
    pthread_t reader;
    bool reading;
    int64_t gone_us;
    struct urb in[URBS_MAX];
    size_t n;
};

struct bus {
    struct port ports[PORTS_MAX];
    size_t n;
    pthread_mutex_t lock;
    pthread_t thread;
    bool running;
    atomic_bool stop;
};

static int64_t now_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

static bool get(int fd, void *data, size_t n)
{
    for (size_t at = 0; at < n;) {
        ssize_t r = recv(fd, (uint8_t *)data + at, n - at, 0);
        if (r <= 0)
            return false;
        at += (size_t)r;
    }
    return true;
}

static void put(int fd, const void *data, size_t n)
{
    for (size_t at = 0; at < n;) {
        ssize_t r = send(fd, (const uint8_t *)data + at, n - at, MSG_NOSIGNAL);
        if (r <= 0)
            return; /* pulled out meanwhile */
        at += (size_t)r;
    }
}

static void reply(struct port *p, enum message kind, uint32_t sequence, int status,
                  size_t length)
{
    uint32_t words[W_WORDS] = {0};
    words[W_COMMAND] = htonl(kind);
    words[W_SEQUENCE] = htonl(sequence);
    words[W_5] = htonl((uint32_t)status);
    words[W_LENGTH] = htonl((uint32_t)length);
    if (kind == RET_SUBMIT)
        words[8] = 0xffffffffu; /* packets: not isochronous */
    put(p->socket, words, sizeof words);
}

static void finish_in(struct port *p, size_t i, int status)
{
    struct urb u = p->in[i];
    p->n--;
    memmove(&p->in[i], &p->in[i + 1], (p->n - i) * sizeof u);
    reply(p, RET_SUBMIT, u.sequence, status, u.done);
    put(p->socket, u.buffer, u.done);
    free(u.buffer);
}

/* Fill waiting IN transfers as far as the device has packets. */
static void run_in(struct port *p)
{
    uint8_t packet[PACKET_MAX];
    while (p->n > 0) {
        struct urb *u = &p->in[0];
        int n = p->device->in(p->device->state, packet, p->device->packet);
        if (n == -EAGAIN)
            return;
        if (n >= 0) {
            size_t room = u->length - u->done;
            size_t fits = (size_t)n < room ? (size_t)n : room;
            memcpy(u->buffer + u->done, packet, fits);
            u->done += fits;
            if (fits == (size_t)n && (size_t)n == p->device->packet && u->done < u->length)
                continue;
            n = fits < (size_t)n ? -EOVERFLOW : 0;
        }
        bool halted = n == -EPIPE; /* then all that wait end the same way */
        do
            finish_in(p, 0, n);
        while (halted && p->n > 0);
    }
}

static void run_control(struct port *p, uint32_t sequence, bool in, const uint8_t *setup,
                        uint8_t *data)
{
    int n = usb_device_standard(p->device, setup, data);
    if (n == -ENOSYS)
        n = p->device->control(p->device->state, setup, data);
    if (n == -EAGAIN)
        return; /* never answered; the kernel takes it back */
    reply(p, RET_SUBMIT, sequence, n < 0 ? n : 0, n > 0 ? (size_t)n : 0);
    if (in && n > 0)
        put(p->socket, data, (size_t)n);
}

static void run_out(struct port *p, uint32_t sequence, const uint8_t *data, size_t length)
{
    size_t done = 0;
    int status = 0;
    while (done < length && status == 0) {
        size_t left = length - done;
        size_t n = left < p->device->packet ? left : p->device->packet;
        int r = p->device->out(p->device->state, data + done, n);
        if (r < 0)
            status = r;
        else
            done += n;
    }
    reply(p, RET_SUBMIT, sequence, status, done);
}

/* Lock held; data is handed over where it returns true. */
static bool submit(struct port *p, const uint32_t *words, const uint8_t *head, uint8_t *data,
                   size_t length)
{
    uint32_t sequence = ntohl(words[W_SEQUENCE]);
    bool in = ntohl(words[W_IN]) != 0;
    switch (ntohl(words[W_ENDPOINT])) {
    case 0:
        run_control(p, sequence, in, head + HEAD_SETUP, data);
        return false;
    case DEVICE_EP_OUT:
        run_out(p, sequence, data, length);
        return false;
    default:
        if (p->n == URBS_MAX) {
            reply(p, RET_SUBMIT, sequence, -ENOMEM, 0);
            return false;
        }
        p->in[p->n++] = (struct urb){.sequence = sequence, .length = length, .buffer = data};
        run_in(p);
        return true;
    }
}

/* What has come in already must not be lost: it is handed up first, as if just finished. */
static void unlink_urb(struct port *p, const uint32_t *words)
{
    uint32_t wanted = ntohl(words[W_5]);
    int status = UNLINKED;
    for (size_t i = 0; i < p->n; i++)
        if (p->in[i].sequence == wanted) {
            if (p->in[i].done > 0) {
                finish_in(p, i, 0);
                status = 0;
                break;
            }
            free(p->in[i].buffer);
            p->n--;
            memmove(&p->in[i], &p->in[i + 1], (p->n - i) * sizeof p->in[0]);
            break;
        }
    reply(p, RET_UNLINK, ntohl(words[W_SEQUENCE]), status, 0);
}

static bool serve_one(struct port *p, int fd)
{
    uint32_t words[W_WORDS];
    uint8_t head[HEAD_BYTES];
    if (!get(fd, words, sizeof words))
        return false;
    memcpy(head, words, sizeof head);
    if (ntohl(words[W_COMMAND]) == CMD_UNLINK) {
        pthread_mutex_lock(&p->bus->lock);
        unlink_urb(p, words);
        pthread_mutex_unlock(&p->bus->lock);
        return true;
    }
    size_t length = ntohl(words[W_LENGTH]);
    if (ntohl(words[W_COMMAND]) != CMD_SUBMIT || length > TRANSFER_MAX)
        return false;
    uint8_t *data = calloc(1, length + 512); /* control replies know their own length */
    if (data == NULL)
        return false;
    bool whole = ntohl(words[W_IN]) != 0 || get(fd, data, length);
    pthread_mutex_lock(&p->bus->lock);
    if (!whole || !submit(p, words, head, data, length))
        free(data);
    pthread_mutex_unlock(&p->bus->lock);
    return whole;
}

static void *serve(void *arg)
{
    struct port *p = arg;
    int fd = p->socket;
    while (serve_one(p, fd)) {
    }
    return NULL;
}

static bool plug_in(struct port *p)
{
    int ends[2];
    char text[64];
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0)
        return false;
    p->socket = ends[0];
    p->reading = pthread_create(&p->reader, NULL, serve, p) == 0;
    int n = snprintf(text, sizeof text, "%zu %d %zu %d", p->index, ends[1], 65538 + p->index,
                     p->device->packet > 64 ? SPEED_HIGH : SPEED_FULL);
    int attach = open(ATTACH, O_WRONLY | O_CLOEXEC);
    bool done = attach >= 0 && write(attach, text, (size_t)n) == n;
    if (!done)
        perror(ATTACH);
    if (attach >= 0)
        close(attach);
    close(ends[1]);
    return done && p->reading;
}

static void pull_out(struct port *p)
{
    pthread_mutex_lock(&p->bus->lock);
    shutdown(p->socket, SHUT_RDWR);
    pthread_mutex_unlock(&p->bus->lock);
    pthread_join(p->reader, NULL);
    pthread_mutex_lock(&p->bus->lock);
    p->reading = false;
    close(p->socket);
    p->socket = -1;
    while (p->n > 0)
        free(p->in[--p->n].buffer);
    p->gone_us = now_us();
    pthread_mutex_unlock(&p->bus->lock);
}

static void tick(struct port *p)
{
    bool leaves = false, returns;
    pthread_mutex_lock(&p->bus->lock);
    if (p->socket >= 0) {
        p->device->advance(p->device->state, now_us());
        run_in(p);
        leaves = p->device->gone(p->device->state);
    }
    returns = p->socket < 0 && p->options.replug_ms > 0 &&
              now_us() - p->gone_us > p->options.replug_ms * 1000L;
    pthread_mutex_unlock(&p->bus->lock);
    if (leaves)
        pull_out(p);
    if (returns) {
        p->device->reset(p->device->state);
        if (!plug_in(p))
            p->gone_us = now_us(); /* the controller's port is not free yet */
    }
}

static void *run(void *arg)
{
    struct bus *bus = arg;
    while (!atomic_load(&bus->stop)) {
        for (size_t i = 0; i < bus->n; i++)
            tick(&bus->ports[i]);
        nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
    }
    return NULL;
}

struct bus *bus_new(void)
{
    struct bus *bus = calloc(1, sizeof *bus);
    if (bus == NULL || pthread_mutex_init(&bus->lock, NULL) != 0)
        abort();
    return bus;
}

bool bus_add(struct bus *bus, struct usb_device *device, struct bus_options options)
{
    if (bus->n == PORTS_MAX)
        return false;
    struct port *p = &bus->ports[bus->n];
    *p = (struct port){.bus = bus, .device = device, .options = options, .index = bus->n};
    bus->n++;
    return plug_in(p);
}

/* The kernel configures the devices in its own time. */
static bool appeared(size_t wanted)
{
    for (int i = 0; i < APPEAR_TRIES; i++) {
        size_t found = 0;
        for (size_t k = 1; k <= PORTS_MAX; k++) {
            char path[96];
            snprintf(path, sizeof path, "/sys/bus/usb/devices/1-%zu:1.0/bInterfaceClass", k);
            found += access(path, F_OK) == 0;
        }
        if (found >= wanted)
            return true;
        nanosleep(&(struct timespec){.tv_nsec = 20000000}, NULL);
    }
    return false;
}

bool bus_run(struct bus *bus)
{
    bus->running = pthread_create(&bus->thread, NULL, run, bus) == 0;
    return bus->running && appeared(bus->n);
}

void bus_free(struct bus *bus)
{
    atomic_store(&bus->stop, true);
    if (bus->running)
        pthread_join(bus->thread, NULL);
    for (size_t i = 0; i < bus->n; i++)
        if (bus->ports[i].socket >= 0)
            pull_out(&bus->ports[i]);
    pthread_mutex_destroy(&bus->lock);
    free(bus);
}
