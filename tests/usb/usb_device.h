/* A USB device as its bus sees it: the border between the models of tests/usb and what carries
 * them (bus.h). */
#ifndef WHICHEND_TESTS_USB_DEVICE_H
#define WHICHEND_TESTS_USB_DEVICE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DEVICE_EP_IN  0x81
#define DEVICE_EP_OUT 0x02

/* What a model answers. */
struct usb_model {
    /* One control request that is not a standard one; data holds what goes out, or takes what
     * comes in. The bytes that went, or -EPIPE: stalled; -EAGAIN: no answer, now or ever. */
    int (*control)(void *state, const uint8_t setup[8], uint8_t *data);
    /* The next packet of the bulk IN endpoint: its bytes, 0 included; or -EAGAIN: nothing yet;
     * -EPIPE: halted; -EOVERFLOW: it sent too much; -EPROTO: garbled on the wire. */
    int (*in)(void *state, uint8_t *packet, size_t room);
    /* One packet for the bulk OUT endpoint; its bytes, or as above. */
    int (*out)(void *state, const uint8_t *packet, size_t len);
    /* Those below may be NULL. */
    void (*clear_halt)(void *state, uint8_t endpoint);
    /* Bus reset, or the configuration set anew. */
    void (*reset)(void *state);
    /* Time goes by: real microseconds, on a clock that never goes back. */
    void (*advance)(void *state, int64_t real_us);
    bool (*gone)(const void *state); /* pulled out: nothing answers any more */
};

struct usb_device {
    const struct usb_model *model;
    void *state;
    size_t packet; /* bytes of the largest bulk packet */
    const char *serial;
};

/* ---- what a bus asks of it ---- */

/* Standard requests are answered for the model. */
int usb_device_control(const struct usb_device *d, const uint8_t setup[8], uint8_t *data);
/* A bulk transfer, packet by packet, from *done on, which goes up by what went. The transfer's
 * status, 0 or a negative errno; IN also -EAGAIN: the rest has to wait. */
int usb_device_in(const struct usb_device *d, uint8_t *data, size_t len, size_t *done);
int usb_device_out(const struct usb_device *d, const uint8_t *data, size_t len, size_t *done);
void usb_device_clear_halt(const struct usb_device *d, uint8_t endpoint);
void usb_device_reset(const struct usb_device *d);
void usb_device_advance(const struct usb_device *d, int64_t real_us);
bool usb_device_gone(const struct usb_device *d);
/* Real time, for usb_device_advance. */
int64_t usb_device_now_us(void);

#define DESCRIPTORS_BYTES 64

/* Device descriptor and configuration behind it; their bytes. */
size_t usb_device_descriptors(const struct usb_device *d, uint8_t bytes[DESCRIPTORS_BYTES]);

#endif
