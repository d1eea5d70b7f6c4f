/* A USB device as its bus sees it: the border between the models of tests/usb and what carries
 * them (bus.h). */
#ifndef WHICHEND_TESTS_USB_DEVICE_H
#define WHICHEND_TESTS_USB_DEVICE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DEVICE_EP_IN  0x81
#define DEVICE_EP_OUT 0x02

struct usb_device {
    void *state;
    /* One control request; data holds what goes out, or takes what comes in. The bytes that
     * went, or -EPIPE: stalled; -EAGAIN: no answer, now or ever. */
    int (*control)(void *state, const uint8_t setup[8], uint8_t *data);
    /* The next packet of the bulk IN endpoint: its bytes, 0 included; or -EAGAIN: nothing yet;
     * -EPIPE: halted; -EOVERFLOW: it sent too much; -EPROTO: garbled on the wire. */
    int (*in)(void *state, uint8_t *packet, size_t room);
    /* One packet for the bulk OUT endpoint; its bytes, or as above. */
    int (*out)(void *state, const uint8_t *packet, size_t len);
    void (*clear_halt)(void *state, uint8_t endpoint);
    /* Bus reset, or the configuration set anew. */
    void (*reset)(void *state);
    /* Time goes by: real microseconds, on a clock that never goes back. */
    void (*advance)(void *state, int64_t real_us);
    bool (*gone)(const void *state); /* pulled out: nothing answers any more */
    size_t packet;                   /* bytes of the largest bulk packet */
    const char *serial;
};

/* ---- standard descriptors ---- */

#define DESCRIPTORS_BYTES 64

/* Device descriptor and configuration behind it; their bytes. */
size_t usb_device_descriptors(const struct usb_device *d, uint8_t bytes[DESCRIPTORS_BYTES]);

/* Answers the standard requests to the device; -ENOSYS: not one of them. */
int usb_device_standard(struct usb_device *d, const uint8_t setup[8], uint8_t *data);

#endif
