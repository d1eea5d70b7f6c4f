#include "adapter/usb_link.h"
#include "adapter/usb_private.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* What the reader is handed at once: it must come round to its signs of life in between,
 * however much has piled up. */
#define READ_MOST 65536u

int64_t usb_now_ms(void *state)
{
    (void)state;
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

bool usb_wait_until(struct usb_link *u, int64_t until_ms)
{
    struct timespec until = {.tv_sec = until_ms / 1000,
                             .tv_nsec = (long)(until_ms % 1000) * 1000000L};
    return pthread_cond_timedwait(&u->changed, &u->lock, &until) == 0;
}

/* Append to the queue; room was kept when the transfer was submitted. */
static void append(struct usb_link *u, const uint8_t *bytes, size_t n)
{
    assert(n <= USB_QUEUE_BYTES - u->fill);
    size_t at = (u->head + u->fill) % USB_QUEUE_BYTES;
    size_t first = n < USB_QUEUE_BYTES - at ? n : USB_QUEUE_BYTES - at;
    memcpy(u->queue + at, bytes, first);
    memcpy(u->queue, bytes + first, n - first);
    u->fill += n;
}

/* The first thing that went wrong stands; from then on nothing is submitted. */
static void broke(struct usb_link *u, enum link_result r)
{
    if (u->broken == LINK_OK)
        u->broken = r;
}

static void submit(struct usb_link *u, struct usb_slot *slot)
{
    int code = libusb_submit_transfer(slot->transfer);
    if (code != 0) {
        /* Some in flight are enough: the system may have memory for so many and no more. */
        if (code != LIBUSB_ERROR_NO_MEM || u->flying == 0)
            broke(u, usb_submit_result(u, code));
        return;
    }
    slot->flying = true;
    u->flying++;
}

/* Ask for as much as the queue is sure to have room for. */
static void refill(struct usb_link *u)
{
    for (size_t i = 0; i < USB_TRANSFERS; i++) {
        if (!u->running || u->gone || u->broken != LINK_OK)
            return;
        if (USB_QUEUE_BYTES - u->fill < (u->flying + 1) * u->transfer_bytes)
            return; /* the reader is late: the adapter's buffer takes over */
        if (!u->slots[i].flying)
            submit(u, &u->slots[i]);
    }
}

static enum link_result status_result(enum libusb_transfer_status status)
{
    switch (status) {
    case LIBUSB_TRANSFER_COMPLETED:
    case LIBUSB_TRANSFER_CANCELLED:
    case LIBUSB_TRANSFER_TIMED_OUT:
        return LINK_OK;
    case LIBUSB_TRANSFER_STALL:
        return LINK_STALLED;
    case LIBUSB_TRANSFER_OVERFLOW:
        return LINK_BABBLE;
    case LIBUSB_TRANSFER_NO_DEVICE:
        return LINK_GONE;
    case LIBUSB_TRANSFER_ERROR:
        break;
    }
    return LINK_FAILED;
}

static void LIBUSB_CALL stream_done(struct libusb_transfer *transfer)
{
    struct usb_slot *slot = transfer->user_data;
    struct usb_link *u = slot->usb;
    pthread_mutex_lock(&u->lock);
    slot->flying = false;
    u->flying--;
    /* Whatever ended it, what has come in is good. */
    if (transfer->actual_length > 0)
        append(u, slot->buffer, (size_t)transfer->actual_length);
    enum link_result r = status_result(transfer->status);
    if (r == LINK_GONE)
        u->gone = true;
    if (r != LINK_OK)
        broke(u, r);
    /* This slot alone: transfers complete, and are asked for again, in one order. */
    if (u->running && !u->gone && u->broken == LINK_OK &&
        USB_QUEUE_BYTES - u->fill >= (u->flying + 1) * u->transfer_bytes)
        submit(u, slot);
    pthread_cond_broadcast(&u->changed);
    pthread_mutex_unlock(&u->lock);
}

/* Take all transfers back and wait for every callback: the buffers are the kernel's until then.
 * It hands each back, of a device that is gone too. */
static void take_back(struct usb_link *u)
{
    for (size_t i = 0; i < USB_TRANSFERS; i++)
        if (u->slots[i].flying)
            libusb_cancel_transfer(u->slots[i].transfer); /* NOT_FOUND: just done */
    while (u->flying > 0)
        pthread_cond_wait(&u->changed, &u->lock);
}

static void return_borrowed(struct usb_link *u)
{
    u->head = (u->head + u->borrowed) % USB_QUEUE_BYTES;
    u->fill -= u->borrowed;
    u->borrowed = 0;
    refill(u);
}

enum err usb_stream_new(struct usb_link *u, struct err_msg *e)
{
    u->queue = malloc(USB_QUEUE_BYTES);
    bool whole = u->queue != NULL;
    for (size_t i = 0; i < USB_TRANSFERS; i++) {
        struct usb_slot *slot = &u->slots[i];
        slot->usb = u;
        slot->transfer = libusb_alloc_transfer(0);
        slot->buffer = calloc(1, u->transfer_bytes);
        if (slot->transfer == NULL || slot->buffer == NULL) {
            whole = false;
            continue;
        }
        /* No time-out: every clock would start at the submit, and the last one would run out
         * though nothing is wrong. */
        libusb_fill_bulk_transfer(slot->transfer, u->handle, u->ep_in, slot->buffer,
                                  (int)u->transfer_bytes, stream_done, slot, 0);
    }
    return whole ? ERR_OK : err_set(e, ERR_MEMORY, "%s: out of memory", u->name);
}

void usb_stream_free(struct usb_link *u)
{
    for (size_t i = 0; i < USB_TRANSFERS; i++) {
        libusb_free_transfer(u->slots[i].transfer);
        free(u->slots[i].buffer);
    }
    free(u->queue);
}

enum link_result usb_stream_start(void *state, struct err_msg *e)
{
    struct usb_link *u = state;
    usb_stream_stop(u);
    pthread_mutex_lock(&u->lock);
    u->head = u->fill = u->borrowed = 0;
    u->broken = LINK_OK;
    u->running = true;
    refill(u);
    enum link_result r = u->gone ? LINK_GONE : u->broken;
    pthread_mutex_unlock(&u->lock);
    return usb_say(u, r, "starting the stream", e);
}

void usb_stream_stop(void *state)
{
    struct usb_link *u = state;
    pthread_mutex_lock(&u->lock);
    u->running = false;
    take_back(u);
    pthread_mutex_unlock(&u->lock);
}

/* All bytes are read and the stream is broken: find out whether the device is there, and get it
 * going again. */
static enum link_result mend(struct usb_link *u, struct err_msg *e)
{
    enum link_result r = u->gone ? LINK_GONE : u->broken;
    pthread_mutex_unlock(&u->lock);
    if (r != LINK_GONE && !usb_unhalt(u, u->ep_in) && !usb_still_there(u))
        r = LINK_GONE;
    if (r == LINK_FAILED && !usb_still_there(u))
        r = LINK_GONE;
    pthread_mutex_lock(&u->lock);
    if (r != LINK_GONE) {
        u->broken = LINK_OK;
        refill(u);
    }
    return usb_say(u, r, "reading the stream", e);
}

enum link_result usb_read(void *state, int timeout_ms, const uint8_t **bytes, size_t *len,
                          struct err_msg *e)
{
    struct usb_link *u = state;
    int64_t until = usb_now_ms(u) + timeout_ms;
    enum link_result r = LINK_OK;
    pthread_mutex_lock(&u->lock);
    return_borrowed(u);
    bool time_left = timeout_ms > 0;
    while (u->fill == 0 && r == LINK_OK) {
        if (u->broken != LINK_OK || u->gone) {
            take_back(u); /* may bring bytes */
            if (u->fill == 0)
                r = mend(u, e);
        } else if (!time_left) {
            r = LINK_TIMEOUT;
        } else {
            time_left = usb_wait_until(u, until);
        }
    }
    if (r == LINK_OK) {
        size_t straight = USB_QUEUE_BYTES - u->head;
        u->borrowed = u->fill < straight ? u->fill : straight;
        if (u->borrowed > READ_MOST)
            u->borrowed = READ_MOST;
        *bytes = u->queue + u->head;
        *len = u->borrowed;
    }
    pthread_mutex_unlock(&u->lock);
    return r;
}

void usb_pause(void *state, int ms)
{
    struct usb_link *u = state;
    int64_t until = usb_now_ms(u) + ms;
    pthread_mutex_lock(&u->lock);
    return_borrowed(u);
    while (usb_wait_until(u, until)) {
    }
    pthread_mutex_unlock(&u->lock);
}
