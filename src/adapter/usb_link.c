#include "adapter/usb_link.h"

#include "adapter/usb_private.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void *handle_events(void *arg)
{
    struct usb_link *u = arg;
    while (!atomic_load(&u->stop)) {
        struct timeval limit = {.tv_sec = 1};
        libusb_handle_events_timeout_completed(u->context, &limit, NULL);
    }
    return NULL;
}

static int LIBUSB_CALL device_left(libusb_context *context, libusb_device *device,
                                   libusb_hotplug_event event, void *arg)
{
    (void)context;
    (void)event;
    struct usb_link *u = arg;
    if (device != u->device)
        return 0;
    pthread_mutex_lock(&u->lock);
    u->gone = true;
    pthread_cond_broadcast(&u->changed);
    pthread_mutex_unlock(&u->lock);
    return 0;
}

static void usb_close(void *state)
{
    struct usb_link *u = state;
    usb_stream_stop(u);
    if (u->hotplug)
        libusb_hotplug_deregister_callback(u->context, u->left);
    if (u->threaded) {
        atomic_store(&u->stop, true);
        libusb_interrupt_event_handler(u->context);
        pthread_join(u->thread, NULL);
    }
    usb_stream_free(u); /* transfers go before the handle that they name */
    if (u->handle != NULL) {
        libusb_release_interface(u->handle, u->interface); /* fails where it is gone already */
        libusb_close(u->handle);
    }
    if (u->device != NULL)
        libusb_unref_device(u->device);
    if (u->context != NULL)
        libusb_exit(u->context);
    pthread_cond_destroy(&u->changed);
    pthread_mutex_destroy(&u->lock);
    free(u);
}

static const struct link_ops usb_ops = {
    .control_in = usb_control_in,
    .control_out = usb_control_out,
    .stream_start = usb_stream_start,
    .read = usb_read,
    .stream_stop = usb_stream_stop,
    .write = usb_write,
    .pause = usb_pause,
    .now_ms = usb_now_ms,
    .close = usb_close,
};

/* Hand a claimed device to the link; the list forgets it. */
static void take(struct usb_link *u, struct usb_found *found)
{
    u->handle = found->handle;
    u->device = found->device;
    found->handle = NULL;
    found->device = NULL;
    u->interface = found->interface;
    u->ep_in = found->ep_in;
    u->ep_out = found->ep_out;
    u->transfer_bytes = USB_TRANSFER_BYTES - USB_TRANSFER_BYTES % found->packet_in;
    snprintf(u->name, sizeof u->name, "usb:%s", found->serial);
}

/* "usb:A, usb:B", as much as there is room for. */
static void list_names(const struct usb_list *list, char *names, size_t room)
{
    size_t used = 0;
    names[0] = '\0';
    for (size_t i = 0; i < list->n; i++) {
        int n = snprintf(names + used, room - used, "%susb:%s", i > 0 ? ", " : "",
                         list->found[i].serial);
        if (n < 0 || (size_t)n >= room - used)
            return;
        used += (size_t)n;
    }
}

static void drop(struct usb_list *list, size_t i)
{
    if (list->found[i].handle != NULL)
        libusb_close(list->found[i].handle);
    libusb_unref_device(list->found[i].device);
    list->n--;
    memmove(&list->found[i], &list->found[i + 1], (list->n - i) * sizeof list->found[0]);
}

/* Keep those with the serial number that was asked for. */
static enum err keep_serial(struct usb_list *list, const char *serial, struct err_msg *e)
{
    size_t same = 0;
    const struct usb_found *closed = NULL; /* its serial number cannot be read */
    for (size_t i = 0; i < list->n; i++) {
        same += strcmp(list->found[i].serial, serial) == 0;
        if (list->found[i].handle == NULL)
            closed = &list->found[i];
    }
    if (same == 0 && closed != NULL)
        return usb_open_failed(closed, e);
    if (same == 0) {
        char names[256];
        list_names(list, names, sizeof names);
        return err_set(e, ERR_ADAPTER, "no adapter usb:%s is plugged in; there is %s", serial,
                       names);
    }
    for (size_t i = list->n; i-- > 0;)
        if (strcmp(list->found[i].serial, serial) != 0)
            drop(list, i);
    return ERR_OK;
}

/* The one device that is meant, claimed. With several to choose from the person must say: the
 * wrong one may be on a machine that is to be left alone. */
static enum err choose(struct usb_list *list, const char *serial, struct err_msg *e)
{
    if (list->n == 0)
        return err_set(e, ERR_ADAPTER,
                       "no adapter is plugged in: no USB device has an adapter's interface");
    if (serial != NULL)
        TRY(keep_serial(list, serial, e));
    struct err_msg why = {0};
    for (size_t i = list->n; i-- > 0;)
        if (list->found[i].handle != NULL && usb_found_claim(&list->found[i], &why) != ERR_OK &&
            list->found[i].stranger)
            drop(list, i);
    if (list->n == 0)
        return err_set(e, ERR_ADAPTER, "%s", why.text);
    if (list->n > 1) {
        char names[256];
        list_names(list, names, sizeof names);
        return err_set(e, ERR_ADAPTER,
                       "%zu adapters are plugged in: %s; choose one with --adapter usb:SERIAL",
                       list->n, names);
    }
    if (list->found[0].handle == NULL)
        return usb_open_failed(&list->found[0], e);
    return list->found[0].claimed ? ERR_OK : usb_found_claim(&list->found[0], e);
}

static enum err open_device(struct usb_link *u, const char *serial, struct err_msg *e)
{
    int code = libusb_init(&u->context);
    if (code != 0) {
        u->context = NULL;
        return err_set(e, ERR_ADAPTER, "USB is not available here: %s", libusb_strerror(code));
    }
    libusb_set_option(u->context, LIBUSB_OPTION_LOG_LEVEL, LIBUSB_LOG_LEVEL_NONE);
    struct usb_list list;
    TRY(usb_list_fill(u->context, &list, e));
    enum err err = choose(&list, serial, e);
    if (err == ERR_OK)
        take(u, &list.found[0]);
    usb_list_free(&list);
    return err;
}

static enum err start_thread(struct usb_link *u, struct err_msg *e)
{
    if (libusb_has_capability(LIBUSB_CAP_HAS_HOTPLUG) != 0)
        u->hotplug = libusb_hotplug_register_callback(
                         u->context, LIBUSB_HOTPLUG_EVENT_DEVICE_LEFT, 0,
                         LIBUSB_HOTPLUG_MATCH_ANY, LIBUSB_HOTPLUG_MATCH_ANY,
                         LIBUSB_HOTPLUG_MATCH_ANY, device_left, u, &u->left) == 0;
    /* Signals are for the main thread: a stop asked for must wake the one that records. */
    sigset_t all, before;
    sigfillset(&all);
    pthread_sigmask(SIG_SETMASK, &all, &before);
    u->threaded = pthread_create(&u->thread, NULL, handle_events, u) == 0;
    pthread_sigmask(SIG_SETMASK, &before, NULL);
    if (!u->threaded)
        return err_set(e, ERR_MEMORY, "%s: no thread for USB events", u->name);
    return ERR_OK;
}

static enum err make_lock(struct usb_link *u, struct err_msg *e)
{
    pthread_condattr_t steady;
    if (pthread_condattr_init(&steady) != 0)
        return err_set(e, ERR_MEMORY, "USB: out of memory");
    bool made = pthread_condattr_setclock(&steady, CLOCK_MONOTONIC) == 0 &&
                pthread_cond_init(&u->changed, &steady) == 0;
    pthread_condattr_destroy(&steady);
    if (!made)
        return err_set(e, ERR_MEMORY, "USB: out of memory");
    if (pthread_mutex_init(&u->lock, NULL) != 0) {
        pthread_cond_destroy(&u->changed);
        return err_set(e, ERR_MEMORY, "USB: out of memory");
    }
    return ERR_OK;
}

enum err usb_link_open(const char *serial, struct link *out, struct err_msg *e)
{
    struct usb_link *u = calloc(1, sizeof *u);
    if (u == NULL)
        return err_set(e, ERR_MEMORY, "USB: out of memory");
    enum err err = make_lock(u, e);
    if (err != ERR_OK) {
        free(u);
        return err;
    }
    err = open_device(u, serial, e);
    if (err == ERR_OK)
        err = usb_stream_new(u, e);
    if (err == ERR_OK)
        err = start_thread(u, e);
    if (err != ERR_OK) {
        usb_close(u);
        return err;
    }
    *out = (struct link){.ops = &usb_ops, .state = u};
    snprintf(out->name, sizeof out->name, "%s", u->name);
    return ERR_OK;
}
