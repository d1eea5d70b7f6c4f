/* Shared by the files of the USB link: finding, requests, stream. */
#ifndef WHICHEND_ADAPTER_USB_PRIVATE_H
#define WHICHEND_ADAPTER_USB_PRIVATE_H

#include "adapter/link.h"
#include "base/err.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <libusb-1.0/libusb.h>

#define USB_TRANSFERS      16     /* in flight: 0.3 s of HD flux while nobody runs */
#define USB_TRANSFER_BYTES 16384u /* beyond this nothing is gained */
#define USB_CONTROL_MS     1000
#define USB_SERIAL_BYTES   64

/* One interface that has the class triple. */
struct usb_found {
    libusb_device *device; /* referenced */
    uint8_t interface;
    uint8_t ep_in, ep_out;
    uint16_t packet_in;            /* bytes of the largest IN packet */
    char serial[USB_SERIAL_BYTES]; /* printable; "BUS-ADDRESS" where the device has none */
    libusb_device_handle *handle;  /* NULL while open_error tells why */
    int open_error;                /* of libusb_open */
    bool claimed;
    bool stranger; /* has the triple, but does not answer as an adapter */
};

#define USB_FOUND_MAX 32

struct usb_list {
    struct usb_found found[USB_FOUND_MAX];
    size_t n;
};

/* Every interface with the triple, opened where that is allowed. usb_list_free closes what is
 * still open. */
enum err usb_list_fill(libusb_context *context, struct usb_list *list, struct err_msg *e);
void usb_list_free(struct usb_list *list);

/* Claims it and asks REQ_IDENTIFY for the magic; else ERR_ADAPTER, and `stranger` where it is
 * not for another program's sake. */
enum err usb_found_claim(struct usb_found *found, struct err_msg *e);
/* Why libusb_open failed and what to do about it. */
enum err usb_open_failed(const struct usb_found *found, struct err_msg *e);

struct usb_link;

struct usb_slot {
    struct usb_link *usb;
    struct libusb_transfer *transfer;
    uint8_t *buffer;
    bool flying;
};

struct usb_link {
    libusb_context *context;
    libusb_device_handle *handle;
    libusb_device *device;
    uint8_t interface, ep_in, ep_out;
    size_t transfer_bytes; /* a multiple of the packet size: else a packet could not fit */
    char name[96];

    pthread_t thread;
    bool threaded;
    atomic_bool stop;
    libusb_hotplug_callback_handle left; /* tells of an unplugging while nothing is in flight */
    bool hotplug;

    pthread_mutex_t lock;   /* guards all that follows */
    pthread_cond_t changed; /* CLOCK_MONOTONIC */
    bool gone;
    bool no_memory;          /* the system refused a transfer for want of memory */
    bool running;            /* the stream's transfers are wanted */
    enum link_result broken; /* why none is in flight any more; LINK_OK: nothing broke */
    struct usb_slot slots[USB_TRANSFERS];
    size_t flying;
    uint8_t *queue;
    size_t head, fill;
    size_t borrowed; /* bytes at head that the reader still looks at */
};

/* ---- usb_request.c ---- */
enum link_result usb_control_in(void *state, uint8_t request, uint16_t value, void *data,
                                size_t room, size_t *got, struct err_msg *e);
enum link_result usb_control_out(void *state, uint8_t request, uint16_t value, const void *data,
                                 size_t len, struct err_msg *e);
enum link_result usb_write(void *state, int timeout_ms, const void *data, size_t len,
                           struct err_msg *e);
/* After a transfer error: is the device still there? Sets u->gone where it is not. */
bool usb_still_there(struct usb_link *u);
/* What a submit's error code means; sets u->gone. Call it with the lock held. */
enum link_result usb_submit_result(struct usb_link *u, int code);
/* A halted endpoint runs again; false where the device refuses or is gone. */
bool usb_unhalt(struct usb_link *u, uint8_t endpoint);
/* Notes the reason for a result in e and hands the result on. */
enum link_result usb_say(struct usb_link *u, enum link_result r, const char *what,
                         struct err_msg *e);

/* ---- usb_stream.c ---- */
enum err usb_stream_new(struct usb_link *u, struct err_msg *e);
void usb_stream_free(struct usb_link *u);
enum link_result usb_stream_start(void *state, struct err_msg *e);
enum link_result usb_read(void *state, int timeout_ms, const uint8_t **bytes, size_t *len,
                          struct err_msg *e);
void usb_stream_stop(void *state);
void usb_pause(void *state, int ms);

/* Wait for `changed` until an instant of usb_now_ms; false when it has passed. Lock held. */
bool usb_wait_until(struct usb_link *u, int64_t until_ms);
int64_t usb_now_ms(void *state);

#endif
