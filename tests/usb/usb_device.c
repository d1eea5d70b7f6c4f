#include "usb_device.h"

#include "adapter/protocol.h"

#include <errno.h>
#include <string.h>

/* The test number of pid.codes, never to be on a device that is passed on. The program does not
 * look at it. */
#define TEST_VENDOR  0x1209
#define TEST_PRODUCT 0x0001

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

int usb_device_standard(struct usb_device *d, const uint8_t setup[8], uint8_t *data)
{
    const int room = setup[6] | setup[7] << 8;
    int n = -EPIPE;
    if ((setup[0] & 0x60) != 0)
        return -ENOSYS; /* class or vendor */
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
        d->reset(d->state);
        return 0;
    case CLEAR_FEATURE:
        if ((setup[0] & 0x1f) == 2 && setup[2] == 0)
            d->clear_halt(d->state, setup[4]);
        return 0;
    case SET_FEATURE:
    case SET_INTERFACE:
        return 0;
    }
    return n < room ? n : room;
}
