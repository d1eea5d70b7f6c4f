#include "adapter/protocol.h"
#include "adapter/usb_private.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The endpoints of an interface that has the triple; false where it is not one of ours. */
static bool match_interface(const struct libusb_interface_descriptor *d,
                            struct usb_found *found)
{
    if (d->bInterfaceClass != PROTO_CLASS || d->bInterfaceSubClass != PROTO_SUBCLASS ||
        d->bInterfaceProtocol != PROTO_PROTOCOL || d->bAlternateSetting != 0)
        return false;
    size_t in = 0, out = 0;
    for (size_t i = 0; i < d->bNumEndpoints; i++) {
        const struct libusb_endpoint_descriptor *ep = &d->endpoint[i];
        if ((ep->bmAttributes & LIBUSB_TRANSFER_TYPE_MASK) != LIBUSB_TRANSFER_TYPE_BULK)
            continue;
        if ((ep->bEndpointAddress & LIBUSB_ENDPOINT_IN) != 0) {
            in++;
            found->ep_in = ep->bEndpointAddress;
            found->packet_in = ep->wMaxPacketSize & 0x7ff;
        } else {
            out++;
            found->ep_out = ep->bEndpointAddress;
        }
    }
    found->interface = d->bInterfaceNumber;
    return in == 1 && out == 1 && found->packet_in > 0 && found->packet_in <= 1024;
}

static bool match_device(libusb_device *device, struct usb_found *found)
{
    struct libusb_config_descriptor *config = NULL;
    if (libusb_get_active_config_descriptor(device, &config) != 0)
        return false; /* not configured, or descriptors that nobody can read */
    bool match = false;
    for (size_t i = 0; i < config->bNumInterfaces && !match; i++) {
        const struct libusb_interface *interface = &config->interface[i];
        for (int k = 0; k < interface->num_altsetting && !match; k++)
            match = match_interface(&interface->altsetting[k], found);
    }
    libusb_free_config_descriptor(config);
    return match;
}

/* The serial number is the device's own text: only what can be printed and typed is kept. */
static void read_serial(struct usb_found *found)
{
    struct libusb_device_descriptor d;
    unsigned char text[USB_SERIAL_BYTES];
    int n = 0;
    if (found->handle != NULL && libusb_get_device_descriptor(found->device, &d) == 0 &&
        d.iSerialNumber != 0)
        n = libusb_get_string_descriptor_ascii(found->handle, d.iSerialNumber, text,
                                               sizeof text);
    size_t used = 0;
    for (int i = 0; i < n && used + 1 < sizeof found->serial; i++) {
        if (text[i] == '\0')
            break;
        found->serial[used++] = text[i] > ' ' && text[i] < 0x7f ? (char)text[i] : '?';
    }
    found->serial[used] = '\0';
    if (used == 0)
        snprintf(found->serial, sizeof found->serial, "%u-%u",
                 libusb_get_bus_number(found->device),
                 libusb_get_device_address(found->device));
}

static int by_serial(const void *a, const void *b)
{
    const struct usb_found *left = a, *right = b;
    return strcmp(left->serial, right->serial);
}

enum err usb_list_fill(libusb_context *context, struct usb_list *list, struct err_msg *e)
{
    libusb_device **devices = NULL;
    ssize_t n = libusb_get_device_list(context, &devices);
    if (n < 0)
        return err_set(e, n == LIBUSB_ERROR_NO_MEM ? ERR_MEMORY : ERR_ADAPTER,
                       "USB: the devices cannot be listed: %s", libusb_strerror((int)n));
    *list = (struct usb_list){0};
    for (ssize_t i = 0; i < n && list->n < USB_FOUND_MAX; i++) {
        struct usb_found *found = &list->found[list->n];
        *found = (struct usb_found){0};
        if (!match_device(devices[i], found))
            continue;
        found->device = libusb_ref_device(devices[i]);
        found->open_error = libusb_open(found->device, &found->handle);
        if (found->open_error != 0)
            found->handle = NULL;
        read_serial(found);
        list->n++;
    }
    libusb_free_device_list(devices, 1);
    qsort(list->found, list->n, sizeof list->found[0], by_serial); /* the same at every run */
    return ERR_OK;
}

void usb_list_free(struct usb_list *list)
{
    for (size_t i = 0; i < list->n; i++) {
        if (list->found[i].handle != NULL)
            libusb_close(list->found[i].handle);
        if (list->found[i].device != NULL)
            libusb_unref_device(list->found[i].device);
    }
    *list = (struct usb_list){0};
}

enum err usb_open_failed(const struct usb_found *found, struct err_msg *e)
{
    unsigned bus = libusb_get_bus_number(found->device);
    unsigned address = libusb_get_device_address(found->device);
    switch (found->open_error) {
    case LIBUSB_ERROR_ACCESS:
        return err_set(e, ERR_ADAPTER,
                       "usb:%s: no permission for /dev/bus/usb/%03u/%03u: copy the rule %s to "
                       "/etc/udev/rules.d, be a member of group plugdev (or log in at this "
                       "machine), run 'udevadm control --reload' and 'udevadm trigger', then "
                       "unplug the adapter and plug it in again",
                       found->serial, bus, address, WHICHEND_UDEV_RULE);
    case LIBUSB_ERROR_NO_DEVICE:
        return err_set(e, ERR_ADAPTER, "usb:%s: unplugged while it was opened", found->serial);
    default:
        return err_set(e, ERR_ADAPTER, "usb:%s: /dev/bus/usb/%03u/%03u cannot be opened: %s",
                       found->serial, bus, address, libusb_strerror(found->open_error));
    }
}

enum err usb_found_claim(struct usb_found *found, struct err_msg *e)
{
    /* Where the system knows no kernel drivers to detach, there is none in the way. */
    libusb_set_auto_detach_kernel_driver(found->handle, 1);
    int code = libusb_claim_interface(found->handle, found->interface);
    found->claimed = code == 0;
    found->stranger = code != 0 && code != LIBUSB_ERROR_BUSY;
    if (code == LIBUSB_ERROR_BUSY)
        return err_set(e, ERR_ADAPTER,
                       "usb:%s: another program holds the adapter; end that one first",
                       found->serial);
    if (code != 0)
        return err_set(e, ERR_ADAPTER, "usb:%s: the interface cannot be claimed: %s",
                       found->serial, libusb_strerror(code));
    unsigned char reply[CAP_READ_MAX];
    code = libusb_control_transfer(
        found->handle,
        LIBUSB_ENDPOINT_IN | LIBUSB_REQUEST_TYPE_VENDOR | LIBUSB_RECIPIENT_INTERFACE,
        REQ_IDENTIFY, 0, found->interface, reply, sizeof reply, USB_CONTROL_MS);
    if (code >= PROTO_MAGIC_BYTES && memcmp(reply, PROTO_MAGIC, PROTO_MAGIC_BYTES) == 0)
        return ERR_OK;
    libusb_release_interface(found->handle, found->interface);
    found->claimed = false;
    found->stranger = true;
    if (code == LIBUSB_ERROR_NO_DEVICE)
        return err_set(e, ERR_ADAPTER, "usb:%s: unplugged while it was opened", found->serial);
    return err_set(e, ERR_ADAPTER,
                   "usb:%s: the device looks like an adapter but %s the capability request",
                   found->serial, code >= 0 ? "answers something else to" : "does not answer");
}
