#include "usb_device.h"

#include "adapter/protocol.h"

#include <errno.h>
#include <string.h>
#include <time.h>

/* The test number of pid.codes, never to be on a device that is passed on. The program does not
 * look at it. */
#define TEST_VENDOR  0x1209
#define TEST_PRODUCT 0x0001

#define PACKET_MAX 1024

enum { DEVICE_BYTES = 18, CONFIG_BYTES = 9 + 9 + 7 + 7 };

enum standard {
    GET_STATUS = 0,
    CLEAR_FEATURE = 1,
    SET_FEATURE = 3,
    GET_DESCRIPTOR = 6,
    GET_CONFIGURATION = 8,
    SET_CONFIGURATION = 9,
    SET_INTERFACE = 11
};

/* Layouts: USB 2.0 specification, chapter 9.6, tables 9-8, 9-10, 9-12, 9-13. */
size_t usb_device_descriptors(const struct usb_device *d, uint8_t bytes[DESCRIPTORS_BYTES])
{
    const uint8_t low = d->packet & 0xff, high = (uint8_t)(d->packet >> 8);
    const uint8_t all[DEVICE_BYTES + CONFIG_BYTES] = {
        18, 1, 0x00, 0x02, 0, 0, 0, 64, TEST_VENDOR & 0xff, TEST_VENDOR >> 8, TEST_PRODUCT, 0,
        0x00, 0x01, 1, 2, 3, 1,
        /* configuration: one interface, bus powered, 500 mA */
        9, 2, CONFIG_BYTES, 0, 1, 1, 0, 0x80, 250,
        /* interface 0 with two endpoints */
        9, 4, 0, 0, 2, PROTO_CLASS, PROTO_SUBCLASS, PROTO_PROTOCOL, 0, 7, 5, DEVICE_EP_IN, 2,
        low, high, 0, 7, 5, DEVICE_EP_OUT, 2, low, high, 0};
    memcpy(bytes, all, sizeof all);
    return sizeof all;
}

static int string_descriptor(const char *text, uint8_t *data)
{
    size_t n = strlen(text);
    data[0] = (uint8_t)(2 + 2 * n);
    data[1] = 3;
    for (size_t i = 0; i < n; i++) {
        data[2 + 2 * i] = (uint8_t)text[i];
        data[3 + 2 * i] = 0;
    }
    return data[0];
}

static int get_descriptor(const struct usb_device *d, uint8_t type, uint8_t index,
                          uint8_t *data)
{
    uint8_t all[DESCRIPTORS_BYTES];
    size_t n = usb_device_descriptors(d, all);
    switch (type) {
    case 1:
        memcpy(data, all, DEVICE_BYTES);
        return DEVICE_BYTES;
    case 2:
        memcpy(data, all + DEVICE_BYTES, n - DEVICE_BYTES);
        return (int)(n - DEVICE_BYTES);
    case 3:
        if (index == 0) { /* languages: English */
            memcpy(data, (const uint8_t[]){4, 3, 0x09, 0x04}, 4);
            return 4;
        }
        return string_descriptor(index == 3 ? d->serial : "adapter model", data);
    default:
        return -EPIPE;
    }
}

static int standard(const struct usb_device *d, const uint8_t setup[8], uint8_t *data)
{
    const int room = setup[6] | setup[7] << 8;
    int n = -EPIPE;
    switch ((enum standard)setup[1]) {
    case GET_STATUS:
        data[0] = data[1] = 0;
        n = 2;
        break;
    case GET_DESCRIPTOR: {
        uint8_t all[256];
        n = get_descriptor(d, setup[3], setup[2], all);
        if (n > 0)
            memcpy(data, all, (size_t)(n < room ? n : room));
        break;
    }
    case GET_CONFIGURATION:
        data[0] = 1;
        n = 1;
        break;
    case SET_CONFIGURATION:
        usb_device_reset(d);
        return 0;
    case CLEAR_FEATURE:
        if ((setup[0] & 0x1f) == 2 && setup[2] == 0)
            usb_device_clear_halt(d, setup[4]);
        return 0;
    case SET_FEATURE:
    case SET_INTERFACE:
        return 0;
    }
    return n < room ? n : room;
}

int usb_device_control(const struct usb_device *d, const uint8_t setup[8], uint8_t *data)
{
    bool of_the_standard = (setup[0] & 0x60) == 0; /* not of a class, nor a vendor's */
    return of_the_standard ? standard(d, setup, data)
                           : d->model->control(d->state, setup, data);
}

int usb_device_in(const struct usb_device *d, uint8_t *data, size_t len, size_t *done)
{
    uint8_t packet[PACKET_MAX];
    while (*done < len) {
        int n = d->model->in(d->state, packet, d->packet);
        if (n < 0)
            return n;
        size_t room = len - *done, fits = (size_t)n < room ? (size_t)n : room;
        memcpy(data + *done, packet, fits);
        *done += fits;
        if (fits < (size_t)n)
            return -EOVERFLOW;
        if ((size_t)n < d->packet)
            return 0; /* a short packet is the end */
    }
    return 0;
}

int usb_device_out(const struct usb_device *d, const uint8_t *data, size_t len, size_t *done)
{
    while (*done < len) {
        size_t left = len - *done, n = left < d->packet ? left : d->packet;
        int went = d->model->out(d->state, data + *done, n);
        if (went < 0)
            return went;
        *done += n;
    }
    return 0;
}

void usb_device_clear_halt(const struct usb_device *d, uint8_t endpoint)
{
    if (d->model->clear_halt != NULL)
        d->model->clear_halt(d->state, endpoint);
}

void usb_device_reset(const struct usb_device *d)
{
    if (d->model->reset != NULL)
        d->model->reset(d->state);
}

void usb_device_advance(const struct usb_device *d, int64_t real_us)
{
    if (d->model->advance != NULL)
        d->model->advance(d->state, real_us);
}

bool usb_device_gone(const struct usb_device *d)
{
    return d->model->gone != NULL && d->model->gone(d->state);
}

int64_t usb_device_now_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}
