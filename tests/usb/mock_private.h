/* Shared by mock_bus.c (plugging in and out, time) and mock_ioctl.c (what usbfs answers). */
#ifndef WHICHEND_TESTS_MOCK_PRIVATE_H
#define WHICHEND_TESTS_MOCK_PRIVATE_H

#include "bus.h"

#include <pthread.h>
#include <stdatomic.h>
#include <umockdev.h>

#define PORTS_MAX 4
#define URBS_MAX  64

struct urb {
    UMockdevIoctlData *urb, *buffer; /* in the program's memory; owned */
};

/* Submitted or finished, oldest first. */
struct urb_list {
    struct urb at[URBS_MAX];
    size_t n;
};

struct port {
    struct bus *bus;
    struct usb_device *device;
    struct bus_options options;
    unsigned number;         /* device number on the bus; another after each plugging in */
    char node[64], path[64]; /* path: its folder below /sys */
    UMockdevIoctlBase *handler;
    UMockdevIoctlClient *client; /* whoever has the node open now; referenced. NULL: nobody */
    int master,
        slave; /* a pty stands in for the node: it can be made "not writable" and hung up */
    bool open_for_output;
    bool present, detached;
    int64_t gone_us;
    struct urb_list in, done;
    struct urb_list stuck; /* control requests that get no answer, until they are taken back */
};

struct bus {
    UMockdevTestbed *testbed;
    struct port ports[PORTS_MAX];
    size_t n;
    unsigned next_number;
    pthread_mutex_t lock;
    pthread_t thread;
    bool running;
    atomic_bool stop;
};

/* Handlers of a port's signals; user is the port. */
gboolean mock_on_ioctl(UMockdevIoctlBase *handler, UMockdevIoctlClient *client, gpointer user);
void mock_on_vanished(UMockdevIoctlBase *handler, UMockdevIoctlClient *client, gpointer user);

/* Lock held: fill waiting IN transfers; end everything that waits; forget everything. */
void mock_run_in(struct port *p);
void mock_end_all(struct port *p);
void mock_forget(struct port *p);

#endif
