#include "mock_private.h"

#include <errno.h>
#include <linux/usbdevice_fs.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <termios.h>

static void urb_free(struct urb u)
{
    g_object_unref(u.buffer);
    g_object_unref(u.urb);
}

static struct urb take_first(struct urb_list *list, size_t i)
{
    struct urb u = list->at[i];
    list->n--;
    memmove(&list->at[i], &list->at[i + 1], (list->n - i) * sizeof u);
    return u;
}

static void clear(struct urb_list *list)
{
    while (list->n > 0)
        urb_free(take_first(list, list->n - 1));
}

static struct usbdevfs_urb *fields(struct urb u)
{
    return (struct usbdevfs_urb *)(void *)u.urb->data;
}

/* libusb waits until the node can be written: that is usbfs's word for "something is finished".
 */
static void show_finished(struct port *p)
{
    bool wanted = p->done.n > 0;
    if (p->slave >= 0 && wanted != p->open_for_output)
        tcflow(p->slave, wanted ? TCOON : TCOOFF);
    p->open_for_output = wanted;
}

static void finish(struct port *p, struct urb u, int status)
{
    fields(u)->status = status;
    if (p->done.n == URBS_MAX)
        abort(); /* submit bounds their number */
    p->done.at[p->done.n++] = u;
}

/* Fill waiting IN urbs as far as the device has packets. */
void mock_run_in(struct port *p)
{
    while (p->in.n > 0) {
        struct urb u = p->in.at[0];
        struct usbdevfs_urb *urb = fields(u);
        size_t done = (size_t)urb->actual_length;
        int status =
            usb_device_in(p->device, u.buffer->data, (size_t)urb->buffer_length, &done);
        urb->actual_length = (int)done;
        if (status == -EAGAIN)
            break;
        bool halted = status == -EPIPE; /* then all that wait end the same way */
        do
            finish(p, take_first(&p->in, 0), status);
        while (halted && p->in.n > 0);
    }
    show_finished(p);
}

static void run_control(struct port *p, struct urb u)
{
    struct usbdevfs_urb *urb = fields(u);
    int n = usb_device_control(p->device, u.buffer->data, u.buffer->data + 8);
    if (n == -EAGAIN) {
        p->stuck.at[p->stuck.n++] = u;
        return;
    }
    urb->actual_length = n > 0 ? n : 0;
    finish(p, u, n < 0 ? n : 0);
}

static void run_out(struct port *p, struct urb u)
{
    struct usbdevfs_urb *urb = fields(u);
    size_t done = 0;
    int status = usb_device_out(p->device, u.buffer->data, (size_t)urb->buffer_length, &done);
    urb->actual_length = (int)done;
    finish(p, u, status);
}

static int submit(struct port *p, UMockdevIoctlData *arg)
{
    if (!p->present)
        return ENODEV;
    if (p->in.n + p->done.n + p->stuck.n >= URBS_MAX)
        return ENOMEM;
    struct urb u = {.urb =
                        umockdev_ioctl_data_resolve(arg, 0, sizeof(struct usbdevfs_urb), NULL)};
    if (u.urb == NULL)
        return EFAULT;
    struct usbdevfs_urb *urb = fields(u);
    u.buffer = umockdev_ioctl_data_resolve(u.urb, offsetof(struct usbdevfs_urb, buffer),
                                           (size_t)urb->buffer_length, NULL);
    if (u.buffer == NULL) {
        g_object_unref(u.urb);
        return EFAULT;
    }
    urb->actual_length = 0;
    if (urb->type == USBDEVFS_URB_TYPE_CONTROL)
        run_control(p, u);
    else if (urb->type == USBDEVFS_URB_TYPE_BULK && urb->endpoint == DEVICE_EP_IN)
        p->in.at[p->in.n++] = u;
    else if (urb->type == USBDEVFS_URB_TYPE_BULK && urb->endpoint == DEVICE_EP_OUT)
        run_out(p, u);
    else
        finish(p, u, -ENOENT);
    mock_run_in(p);
    return 0;
}

static int discard(struct port *p, UMockdevIoctlData *arg)
{
    unsigned long wanted;
    memcpy(&wanted, arg->data, sizeof wanted);
    struct urb_list *const waiting[] = {&p->in, &p->stuck};
    for (size_t k = 0; k < 2; k++)
        for (size_t i = 0; i < waiting[k]->n; i++)
            if (waiting[k]->at[i].urb->client_addr == wanted) {
                finish(p, take_first(waiting[k], i), -ENOENT);
                show_finished(p);
                return 0;
            }
    return EINVAL; /* finished already */
}

static int reap(struct port *p, UMockdevIoctlClient *client, UMockdevIoctlData *arg)
{
    if (p->done.n == 0)
        return p->present ? EAGAIN : ENODEV;
    UMockdevIoctlData *where = umockdev_ioctl_data_resolve(arg, 0, sizeof(void *), NULL);
    if (where == NULL)
        return EFAULT;
    struct urb u = take_first(&p->done, 0);
    umockdev_ioctl_data_set_ptr(where, 0, u.urb);
    umockdev_ioctl_client_complete(client, 0, 0);
    urb_free(u);
    g_object_unref(where);
    show_finished(p);
    return -1;
}

static int claim(struct port *p, bool detach)
{
    if (p->options.busy || (p->options.driver && !p->detached && !detach))
        return EBUSY;
    p->detached = true;
    return 0;
}

static int capabilities(UMockdevIoctlData *arg)
{
    UMockdevIoctlData *word = umockdev_ioctl_data_resolve(arg, 0, sizeof(uint32_t), NULL);
    if (word == NULL)
        return EFAULT;
    const uint32_t can = USBDEVFS_CAP_BULK_SCATTER_GATHER | USBDEVFS_CAP_BULK_CONTINUATION |
                         USBDEVFS_CAP_NO_PACKET_SIZE_LIM | USBDEVFS_CAP_ZERO_PACKET |
                         USBDEVFS_CAP_REAP_AFTER_DISCONNECT;
    memcpy(word->data, &can, sizeof can);
    g_object_unref(word);
    return 0;
}

static int clear_halt(struct port *p, UMockdevIoctlData *arg)
{
    if (!p->present)
        return ENODEV;
    UMockdevIoctlData *word = umockdev_ioctl_data_resolve(arg, 0, sizeof(uint32_t), NULL);
    if (word == NULL)
        return EFAULT;
    usb_device_clear_halt(p->device, word->data[0]);
    g_object_unref(word);
    return 0;
}

/* 0 or an errno; -1: answered already; -2: not known. */
static int answer(struct port *p, UMockdevIoctlClient *client)
{
    UMockdevIoctlData *arg = umockdev_ioctl_client_get_arg(client);
    int r = -2;
    switch (umockdev_ioctl_client_get_request(client)) {
    case USBDEVFS_GET_CAPABILITIES:
        r = capabilities(arg);
        break;
    case USBDEVFS_CLAIMINTERFACE:
        r = claim(p, false);
        break;
    case USBDEVFS_DISCONNECT_CLAIM:
        r = claim(p, true);
        break;
    case USBDEVFS_GETDRIVER:
        r = ENODATA;
        break;
    case USBDEVFS_RELEASEINTERFACE:
    case USBDEVFS_SETINTERFACE:
    case USBDEVFS_IOCTL: /* the kernel's driver back again */
        r = p->present ? 0 : ENODEV;
        break;
    case USBDEVFS_CLEAR_HALT:
        r = clear_halt(p, arg);
        break;
    case USBDEVFS_SUBMITURB:
        r = submit(p, arg);
        break;
    case USBDEVFS_DISCARDURB:
        r = discard(p, arg);
        break;
    case USBDEVFS_REAPURB:
    case USBDEVFS_REAPURBNDELAY:
        r = reap(p, client, arg);
        break;
    default:
        break;
    }
    return r;
}

/* One program at a time. One that was killed may leave without a word: what it submitted lies
 * in memory that is no more, and its successor must not be handed it. */
static void meet(struct port *p, UMockdevIoctlClient *client)
{
    if (p->client == client)
        return;
    mock_forget(p);
    p->detached = false;
    p->client = g_object_ref(client);
}

gboolean mock_on_ioctl(UMockdevIoctlBase *handler, UMockdevIoctlClient *client, gpointer user)
{
    (void)handler;
    struct port *p = user;
    pthread_mutex_lock(&p->bus->lock);
    meet(p, client);
    int r = answer(p, client);
    if (r >= 0)
        umockdev_ioctl_client_complete(client, r == 0 ? 0 : -1, r);
    pthread_mutex_unlock(&p->bus->lock);
    return r != -2;
}

void mock_end_all(struct port *p)
{
    struct urb_list *const waiting[] = {&p->in, &p->stuck};
    for (size_t k = 0; k < 2; k++)
        while (waiting[k]->n > 0)
            finish(p, take_first(waiting[k], 0), -ESHUTDOWN);
    show_finished(p);
}

void mock_forget(struct port *p)
{
    clear(&p->in);
    clear(&p->stuck);
    clear(&p->done);
    if (p->client != NULL)
        g_object_unref(p->client);
    p->client = NULL;
}

/* The program closed the node, or ended: its transfers end with it. */
void mock_on_vanished(UMockdevIoctlBase *handler, UMockdevIoctlClient *client, gpointer user)
{
    (void)handler;
    struct port *p = user;
    pthread_mutex_lock(&p->bus->lock);
    if (p->client == client) {
        mock_forget(p);
        p->detached = false;
        show_finished(p);
    }
    pthread_mutex_unlock(&p->bus->lock);
}
