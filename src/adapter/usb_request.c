#include "adapter/usb_private.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#define CONFIRM_TRIES   5
#define CONFIRM_WAIT_MS 20

/* One transfer that a caller waits for. Everything is asynchronous: the synchronous calls of
 * libusb before 1.0.27 do not mix safely with an event thread. */
struct request {
    struct usb_link *usb;
    struct libusb_transfer *transfer;
    uint8_t *buffer;
    bool done;
};

static void LIBUSB_CALL request_done(struct libusb_transfer *transfer)
{
    struct request *r = transfer->user_data;
    pthread_mutex_lock(&r->usb->lock);
    r->done = true;
    pthread_cond_broadcast(&r->usb->changed);
    pthread_mutex_unlock(&r->usb->lock);
}

enum link_result usb_submit_result(struct usb_link *u, int code)
{
    if (code == LIBUSB_ERROR_NO_DEVICE) {
        u->gone = true;
        return LINK_GONE;
    }
    u->no_memory = code == LIBUSB_ERROR_NO_MEM;
    return code == LIBUSB_ERROR_PIPE ? LINK_STALLED : LINK_FAILED;
}

enum link_result usb_say(struct usb_link *u, enum link_result r, const char *what,
                         struct err_msg *e)
{
    if (r == LINK_GONE)
        err_set(e, ERR_ADAPTER, "%s: %s: the adapter was unplugged, or reset itself", u->name,
                what);
    else if (r == LINK_FAILED && u->no_memory)
        err_set(e, ERR_ADAPTER,
                "%s: %s: the system has no memory left for USB transfers "
                "(/sys/module/usbcore/parameters/usbfs_memory_mb)",
                u->name, what);
    else if (r != LINK_OK)
        err_set(e, ERR_ADAPTER, "%s: %s: %s", u->name, what, link_result_text(r));
    return r;
}

/* Submit, and wait for the callback: it always comes, at the latest after the time-out. */
static enum link_result run(struct request *r)
{
    struct usb_link *u = r->usb;
    enum link_result result = LINK_OK;
    pthread_mutex_lock(&u->lock);
    int code = u->gone ? LIBUSB_ERROR_NO_DEVICE : libusb_submit_transfer(r->transfer);
    if (code == 0)
        while (!r->done)
            pthread_cond_wait(&u->changed, &u->lock);
    else
        result = usb_submit_result(u, code);
    pthread_mutex_unlock(&u->lock);
    if (code != 0)
        return result;
    switch (r->transfer->status) {
    case LIBUSB_TRANSFER_COMPLETED:
        return LINK_OK;
    case LIBUSB_TRANSFER_TIMED_OUT:
    case LIBUSB_TRANSFER_CANCELLED:
        return LINK_TIMEOUT;
    case LIBUSB_TRANSFER_STALL:
        return LINK_STALLED;
    case LIBUSB_TRANSFER_OVERFLOW:
        return LINK_BABBLE;
    case LIBUSB_TRANSFER_NO_DEVICE:
        pthread_mutex_lock(&u->lock);
        u->gone = true;
        pthread_mutex_unlock(&u->lock);
        return LINK_GONE;
    case LIBUSB_TRANSFER_ERROR:
        break;
    }
    return LINK_FAILED;
}

static bool request_new(struct usb_link *u, size_t bytes, struct request *r)
{
    *r = (struct request){.usb = u, .transfer = libusb_alloc_transfer(0)};
    r->buffer = calloc(1, bytes);
    if (r->transfer != NULL && r->buffer != NULL)
        return true;
    libusb_free_transfer(r->transfer);
    free(r->buffer);
    return false;
}

static void request_free(struct request *r)
{
    libusb_free_transfer(r->transfer);
    free(r->buffer);
}

/* data goes out, or comes in up to len; *got tells how much came in. */
static enum link_result control(struct usb_link *u, uint8_t type, uint8_t request,
                                uint16_t value, uint16_t index, void *in, const void *out,
                                size_t len, size_t *got, struct err_msg *e)
{
    struct request r;
    if (!request_new(u, LIBUSB_CONTROL_SETUP_SIZE + len, &r)) {
        err_set(e, ERR_MEMORY, "%s: out of memory", u->name);
        return LINK_FAILED;
    }
    libusb_fill_control_setup(r.buffer, type, request, value, index, (uint16_t)len);
    if (out != NULL && len > 0)
        memcpy(r.buffer + LIBUSB_CONTROL_SETUP_SIZE, out, len);
    libusb_fill_control_transfer(r.transfer, u->handle, r.buffer, request_done, &r,
                                 USB_CONTROL_MS);
    enum link_result result = run(&r);
    if (result == LINK_OK && in != NULL) {
        *got = (size_t)r.transfer->actual_length;
        memcpy(in, libusb_control_transfer_get_data(r.transfer), *got);
    }
    request_free(&r);
    return result;
}

bool usb_still_there(struct usb_link *u)
{
    uint8_t status[2];
    size_t got;
    enum link_result r = LINK_FAILED;
    /* A plug being pulled shows as errors of several kinds before the kernel says so. */
    for (int i = 0; i < CONFIRM_TRIES && r != LINK_OK && r != LINK_GONE; i++) {
        if (i > 0)
            nanosleep(&(struct timespec){.tv_nsec = CONFIRM_WAIT_MS * 1000000L}, NULL);
        r = control(u,
                    LIBUSB_ENDPOINT_IN | LIBUSB_REQUEST_TYPE_STANDARD | LIBUSB_RECIPIENT_DEVICE,
                    LIBUSB_REQUEST_GET_STATUS, 0, 0, status, NULL, sizeof status, &got, NULL);
    }
    if (r == LINK_OK)
        return true;
    pthread_mutex_lock(&u->lock);
    u->gone = true;
    pthread_mutex_unlock(&u->lock);
    return false;
}

static enum link_result vendor(struct usb_link *u, uint8_t direction, uint8_t request,
                               uint16_t value, void *in, const void *out, size_t len,
                               size_t *got, struct err_msg *e)
{
    if (len > UINT16_MAX) {
        err_set(e, ERR_INTERNAL, "%s: a control request of %zu bytes", u->name, len);
        return LINK_FAILED;
    }
    enum link_result r =
        control(u, direction | LIBUSB_REQUEST_TYPE_VENDOR | LIBUSB_RECIPIENT_INTERFACE, request,
                value, u->interface, in, out, len, got, e);
    if (r ==
        LINK_STALLED) /* on the control pipe a stall is the answer "no", and clears itself */
        r = LINK_REFUSED;
    if (r == LINK_FAILED && !usb_still_there(u))
        r = LINK_GONE;
    return usb_say(u, r, "control request", e);
}

enum link_result usb_control_in(void *state, uint8_t request, uint16_t value, void *data,
                                size_t room, size_t *got, struct err_msg *e)
{
    return vendor(state, LIBUSB_ENDPOINT_IN, request, value, data, NULL, room, got, e);
}

enum link_result usb_control_out(void *state, uint8_t request, uint16_t value, const void *data,
                                 size_t len, struct err_msg *e)
{
    return vendor(state, LIBUSB_ENDPOINT_OUT, request, value, NULL, data, len, NULL, e);
}

bool usb_unhalt(struct usb_link *u, uint8_t endpoint)
{
    int code = libusb_clear_halt(u->handle, endpoint);
    if (code == LIBUSB_ERROR_NO_DEVICE) {
        pthread_mutex_lock(&u->lock);
        u->gone = true;
        pthread_mutex_unlock(&u->lock);
    }
    return code == 0;
}

enum link_result usb_write(void *state, int timeout_ms, const void *data, size_t len,
                           struct err_msg *e)
{
    struct usb_link *u = state;
    struct request r;
    if (len == 0)
        return LINK_OK;
    if (len > INT32_MAX || !request_new(u, len, &r)) {
        err_set(e, ERR_MEMORY, "%s: out of memory", u->name);
        return LINK_FAILED;
    }
    memcpy(r.buffer, data, len);
    /* 0 would be no time-out at all. */
    libusb_fill_bulk_transfer(r.transfer, u->handle, u->ep_out, r.buffer, (int)len,
                              request_done, &r, timeout_ms > 0 ? (unsigned)timeout_ms : 1);
    enum link_result result = run(&r);
    if (result == LINK_OK && (size_t)r.transfer->actual_length != len)
        result = LINK_FAILED;
    request_free(&r);
    if (result == LINK_STALLED && !usb_unhalt(u, u->ep_out))
        result = usb_still_there(u) ? LINK_FAILED : LINK_GONE;
    if (result == LINK_FAILED && !usb_still_there(u))
        result = LINK_GONE;
    return usb_say(u, result, "sending data", e);
}
