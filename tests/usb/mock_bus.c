#include "mock_private.h"

#include <fcntl.h>
#include <ftw.h>
#include <pty.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

/* ---- plugging in and out ---- */

static int open_entry(const char *path, const struct stat *what, int kind, struct FTW *ftw)
{
    (void)ftw;
    if (kind == FTW_D || kind == FTW_DP || S_ISSOCK(what->st_mode))
        chmod(path, 0777);
    return 0;
}

static void open_to_all(UMockdevTestbed *testbed)
{
    char *root = umockdev_testbed_get_root_dir(testbed);
    nftw(root, open_entry, 16, FTW_PHYS);
    g_free(root);
}

/* The node becomes a link to a pty: a plain file would always be writable, and could not be
 * hung up. */
static bool make_node(struct port *p)
{
    struct termios raw;
    char *root = umockdev_testbed_get_root_dir(p->bus->testbed);
    char name[64], node[256];
    snprintf(node, sizeof node, "%s%s", root, p->node);
    g_free(root);
    if (openpty(&p->master, &p->slave, name, NULL, NULL) != 0)
        return false;
    cfmakeraw(&raw);
    raw.c_cflag |= CREAD | CS8;
    fcntl(p->master, F_SETFD, FD_CLOEXEC);
    fcntl(p->slave, F_SETFD, FD_CLOEXEC);
    p->open_for_output = true;
    /* A user who may not open the node must still reach the testbed, or the preloaded library
     * ends the program. */
    if (p->options.forbidden)
        open_to_all(p->bus->testbed);
    return tcsetattr(p->slave, TCSANOW, &raw) == 0 &&
           chmod(name, p->options.forbidden ? 0600 : 0666) == 0 && unlink(node) == 0 &&
           symlink(name, node) == 0;
}

/* What umockdev is told of a device: its text form, "umockdev" reference, "add_from_string". */
static bool describe(struct port *p)
{
    uint8_t descriptors[DESCRIPTORS_BYTES];
    size_t n = usb_device_descriptors(p->device, descriptors);
    char hex[2 * DESCRIPTORS_BYTES + 1], text[1024];
    for (size_t i = 0; i < n; i++)
        snprintf(hex + 2 * i, 3, "%02X", descriptors[i]);
    snprintf(text, sizeof text,
             "P: %s\nN: bus/usb/001/%03u\nE: DEVNAME=%s\nE: SUBSYSTEM=usb\n"
             "E: DEVTYPE=usb_device\nE: BUSNUM=001\nE: DEVNUM=%03u\nA: busnum=1\\n\n"
             "A: devnum=%u\\n\nA: bConfigurationValue=1\\n\nA: speed=%s\\n\n"
             "H: descriptors=%s\n",
             p->path + strlen("/sys"), p->number, p->node, p->number, p->number,
             p->device->packet > 64 ? "480" : "12", hex);
    GError *error = NULL;
    if (umockdev_testbed_add_from_string(p->bus->testbed, text, &error))
        return true;
    fprintf(stderr, "usb_bench: %s\n", error->message);
    g_error_free(error);
    return false;
}

static bool plug_in(struct port *p)
{
    p->number = p->bus->next_number++;
    snprintf(p->node, sizeof p->node, "/dev/bus/usb/001/%03u", p->number);
    GError *error = NULL;
    /* Before the device is there, so that an open in answer to it finds the handler. */
    if (!umockdev_testbed_attach_ioctl(p->bus->testbed, p->node, p->handler, &error)) {
        fprintf(stderr, "usb_bench: %s\n", error->message);
        g_error_free(error);
        return false;
    }
    p->present = true;
    return describe(p) && make_node(p);
}

/* Everything in flight ends, and the node hangs up. Lock held. */
static void pull_out(struct port *p)
{
    p->present = false;
    p->gone_us = usb_device_now_us();
    mock_end_all(p);
    close(p->master);
    close(p->slave);
    p->master = p->slave = -1;
}

/* Calls that may wait for the bus's own thread are made without the lock. */
static void tell_removed(struct port *p)
{
    umockdev_testbed_uevent(p->bus->testbed, p->path, "remove");
}

static void replug(struct port *p)
{
    umockdev_testbed_detach_ioctl(p->bus->testbed, p->node, NULL);
    umockdev_testbed_remove_device(p->bus->testbed, p->path);
    usb_device_reset(p->device);
    if (!plug_in(p))
        abort();
    umockdev_testbed_uevent(p->bus->testbed, p->path, "add");
}

static void tick(struct port *p)
{
    pthread_mutex_lock(&p->bus->lock);
    bool leaves = false;
    if (p->present) {
        usb_device_advance(p->device, usb_device_now_us());
        mock_run_in(p);
        leaves = usb_device_gone(p->device);
        if (leaves)
            pull_out(p);
    }
    bool returns = !p->present && !leaves && p->options.replug_ms > 0 &&
                   usb_device_now_us() - p->gone_us > p->options.replug_ms * 1000L;
    pthread_mutex_unlock(&p->bus->lock);
    if (leaves)
        tell_removed(p);
    if (returns)
        replug(p);
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
    bus->testbed = umockdev_testbed_new();
    bus->next_number = 2;
    return bus;
}

bool bus_add(struct bus *bus, struct usb_device *device, struct bus_options options)
{
    if (bus->n == PORTS_MAX)
        return false;
    struct port *p = &bus->ports[bus->n];
    *p = (struct port){.bus = bus, .device = device, .options = options};
    snprintf(p->path, sizeof p->path, "/sys/devices/usb1/1-%zu", bus->n + 1);
    p->handler = umockdev_ioctl_base_new();
    g_signal_connect(p->handler, "handle-ioctl", G_CALLBACK(mock_on_ioctl), p);
    g_signal_connect(p->handler, "client-vanished", G_CALLBACK(mock_on_vanished), p);
    bus->n++;
    return plug_in(p);
}

bool bus_run(struct bus *bus)
{
    bus->running = pthread_create(&bus->thread, NULL, run, bus) == 0;
    return bus->running;
}

void bus_free(struct bus *bus)
{
    atomic_store(&bus->stop, true);
    if (bus->running)
        pthread_join(bus->thread, NULL);
    for (size_t i = 0; i < bus->n; i++) {
        struct port *p = &bus->ports[i];
        umockdev_testbed_detach_ioctl(bus->testbed, p->node, NULL);
        mock_forget(p);
        g_object_unref(p->handler);
        if (p->master >= 0) {
            close(p->master);
            close(p->slave);
        }
    }
    g_object_unref(bus->testbed);
    pthread_mutex_destroy(&bus->lock);
    free(bus);
}
