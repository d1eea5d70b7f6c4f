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

/* A bus of the real kernel: its virtual host controller speaks to the devices through sockets.
 * The messages that follow once a device is attached: kernel documentation, "USB/IP protocol"
 * (usb/usbip_protocol.rst). Numbers are big endian, the 8 bytes of setup as they are. */
enum message { CMD_SUBMIT = 1, CMD_UNLINK = 2, RET_SUBMIT = 3, RET_UNLINK = 4 };
enum word {
    W_COMMAND,
    W_SEQUENCE,
    W_DEVICE,
    W_IN,
    W_ENDPOINT,
    W_FLAGS,  /* CMD_SUBMIT; in replies the status; in CMD_UNLINK which sequence */
    W_LENGTH, /* in replies: of what went */
    W_PACKETS = 8,
    W_SETUP = 10,
    WORDS = 12
};
#define NOT_ISOCHRONOUS 0xffffffffu

#define CONTROLLER   "/sys/devices/platform/vhci_hcd.0"
#define DEVICE_ID    65538 /* bus 1, device 2, of a computer that is not there */
#define PORTS_MAX    4
#define URBS_MAX     64
#define TRANSFER_MAX (1 << 20)
#define CONTROL_MAX  512 /* descriptors may be longer than what was asked for */
#define SPEED_FULL   2   /* enum usb_device_speed of the kernel */
#define SPEED_HIGH   3
#define APPEAR_TRIES 500
#define STEP_US      4000

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
    int64_t looked_us, time_us; /* real, and the device's; see pass_time */
    int64_t gone_us;
    struct urb in[URBS_MAX]; /* waiting, oldest first */
    size_t n;
};

struct bus {
    struct port ports[PORTS_MAX];
    size_t n;
    pthread_mutex_t lock; /* devices, and what waits for them */
    pthread_t thread;
    bool running;
    atomic_bool stop;
};

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
    uint32_t words[WORDS] = {0};
    words[W_COMMAND] = htonl(kind);
    words[W_SEQUENCE] = htonl(sequence);
    words[W_FLAGS] = htonl((uint32_t)status);
    words[W_LENGTH] = htonl((uint32_t)length);
    if (kind == RET_SUBMIT)
        words[W_PACKETS] = NOT_ISOCHRONOUS;
    put(p->socket, words, sizeof words);
}

/* ---- transfers; the lock is held ---- */

static struct urb take(struct port *p, size_t i)
{
    struct urb u = p->in[i];
    p->n--;
    memmove(&p->in[i], &p->in[i + 1], (p->n - i) * sizeof u);
    return u;
}

static void finish_in(struct port *p, size_t i, int status)
{
    struct urb u = take(p, i);
    reply(p, RET_SUBMIT, u.sequence, status, u.done);
    put(p->socket, u.buffer, u.done);
    free(u.buffer);
}

/* Fill waiting IN transfers as far as the device has packets. */
static void run_in(struct port *p)
{
    while (p->n > 0) {
        struct urb *u = &p->in[0];
        int status = usb_device_in(p->device, u->buffer, u->length, &u->done);
        if (status == -EAGAIN)
            return;
        bool halted = status == -EPIPE; /* then all that wait end the same way */
        do
            finish_in(p, 0, status);
        while (halted && p->n > 0);
    }
}

static void run_control(struct port *p, const uint32_t *words, uint8_t *data)
{
    int n = usb_device_control(p->device, (const uint8_t *)&words[W_SETUP], data);
    if (n == -EAGAIN)
        return; /* never answered; the kernel takes it back */
    reply(p, RET_SUBMIT, ntohl(words[W_SEQUENCE]), n < 0 ? n : 0, n > 0 ? (size_t)n : 0);
    if (words[W_IN] != 0 && n > 0)
        put(p->socket, data, (size_t)n);
}

static void run_out(struct port *p, uint32_t sequence, const uint8_t *data, size_t length)
{
    size_t done = 0;
    int status = usb_device_out(p->device, data, length, &done);
    reply(p, RET_SUBMIT, sequence, status, done);
}

/* Keeps data where it returns true. */
static bool submit(struct port *p, const uint32_t *words, uint8_t *data, size_t length)
{
    uint32_t sequence = ntohl(words[W_SEQUENCE]);
    if (words[W_ENDPOINT] == 0) {
        run_control(p, words, data);
    } else if (words[W_IN] == 0) {
        run_out(p, sequence, data, length);
    } else if (p->n == URBS_MAX) {
        reply(p, RET_SUBMIT, sequence, -ENOMEM, 0);
    } else {
        p->in[p->n++] = (struct urb){.sequence = sequence, .length = length, .buffer = data};
        run_in(p);
        return true;
    }
    return false;
}

/* What has come in already must not be lost: it is handed up first, as if just finished. */
static void unlink_urb(struct port *p, const uint32_t *words)
{
    int status = -ECONNRESET;
    size_t i = 0;
    while (i < p->n && p->in[i].sequence != ntohl(words[W_FLAGS]))
        i++;
    if (i < p->n && p->in[i].done > 0) {
        finish_in(p, i, 0);
        status = 0;
    } else if (i < p->n) {
        free(take(p, i).buffer);
    }
    reply(p, RET_UNLINK, ntohl(words[W_SEQUENCE]), status, 0);
}

/* ---- the kernel's messages; a thread for each device that is plugged in ---- */

static bool serve_submit(struct port *p, const uint32_t *words)
{
    size_t length = ntohl(words[W_LENGTH]);
    if (length > TRANSFER_MAX)
        return false;
    uint8_t *data = calloc(1, length + CONTROL_MAX);
    bool whole = data != NULL && (words[W_IN] != 0 || get(p->socket, data, length));
    pthread_mutex_lock(&p->bus->lock);
    if (!whole || !submit(p, words, data, length))
        free(data);
    pthread_mutex_unlock(&p->bus->lock);
    return whole;
}

static void *serve(void *arg)
{
    struct port *p = arg;
    uint32_t words[WORDS];
    bool well = true;
    while (well && get(p->socket, words, sizeof words)) {
        if (ntohl(words[W_COMMAND]) == CMD_UNLINK) {
            pthread_mutex_lock(&p->bus->lock);
            unlink_urb(p, words);
            pthread_mutex_unlock(&p->bus->lock);
        } else {
            well = ntohl(words[W_COMMAND]) == CMD_SUBMIT && serve_submit(p, words);
        }
    }
    return NULL;
}

/* ---- plugging in and out ---- */

/* The kernel gets the other end of the socket; false: the controller's port is not free. */
static bool attach(const struct port *p, int end)
{
    int fd = open(CONTROLLER "/attach", O_WRONLY | O_CLOEXEC);
    if (fd < 0)
        return false;
    int speed = p->device->packet > 64 ? SPEED_HIGH : SPEED_FULL;
    bool done = dprintf(fd, "%zu %d %zu %d", p->index, end, DEVICE_ID + p->index, speed) > 0;
    close(fd);
    return done;
}

static bool plug_in(struct port *p)
{
    int ends[2];
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0)
        return false;
    p->socket = ends[0];
    bool done = attach(p, ends[1]) && pthread_create(&p->reader, NULL, serve, p) == 0;
    close(ends[1]);
    if (!done) {
        close(ends[0]);
        p->socket = -1;
    }
    return done;
}

/* Lock not held: the reader may wait for it. */
static void pull_out(struct port *p)
{
    shutdown(p->socket, SHUT_RDWR);
    pthread_join(p->reader, NULL);
    close(p->socket);
    p->socket = -1;
    p->gone_us = usb_device_now_us();
    while (p->n > 0)
        free(take(p, 0).buffer);
}

/* An emulated computer has too little time at times: then it stands still for the device too,
 * which goes on step by step, so that whoever asks it meanwhile gets an answer. */
static void pass_time(struct port *p)
{
    int64_t now = usb_device_now_us(), passed = now - p->looked_us;
    p->looked_us = now;
    p->time_us += passed < STEP_US ? passed : STEP_US;
    usb_device_advance(p->device, p->time_us);
}

static void tick(struct port *p)
{
    bool leaves = false;
    if (p->socket >= 0) {
        pthread_mutex_lock(&p->bus->lock);
        pass_time(p);
        run_in(p);
        leaves = usb_device_gone(p->device);
        pthread_mutex_unlock(&p->bus->lock);
    } else if (p->options.replug_ms > 0 &&
               usb_device_now_us() - p->gone_us > p->options.replug_ms * 1000L) {
        usb_device_reset(p->device);
        if (!plug_in(p))
            p->gone_us = usb_device_now_us(); /* once more, later */
    }
    if (leaves)
        pull_out(p);
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

struct bus *bus_new(void)
{
    struct bus *bus = calloc(1, sizeof *bus);
    if (bus == NULL || pthread_mutex_init(&bus->lock, NULL) != 0)
        abort();
    return bus;
}

bool bus_add(struct bus *bus, struct usb_device *device, struct bus_options options)
{
    /* Those of the real kernel cannot be had for the asking. */
    if (bus->n == PORTS_MAX || options.driver || options.busy || options.forbidden)
        return false;
    struct port *p = &bus->ports[bus->n];
    *p = (struct port){.bus = bus, .device = device, .options = options, .index = bus->n};
    bus->n++;
    if (!plug_in(p))
        perror(CONTROLLER);
    return p->socket >= 0;
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
