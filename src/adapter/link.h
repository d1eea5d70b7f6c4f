/* A way to one adapter: what the host side works against. usb_link.c goes over USB, the
 * simulator's link (sim/sim_link.h) plays the device in process.
 *
 * A link moves bytes and knows no layout beyond the interface's class and its two endpoints. It
 * never throws stream bytes away: where the host does not read, it stops asking, so that the
 * device's own buffer fills and the loss is told by the device, with its place.
 *
 * Calls come from one thread. None is used again after LINK_GONE but `close`.
 */
#ifndef WHICHEND_ADAPTER_LINK_H
#define WHICHEND_ADAPTER_LINK_H

#include "base/err.h"

#include <stddef.h>
#include <stdint.h>

enum link_result {
    LINK_OK,
    LINK_REFUSED, /* the device stalled this control request; REQ_STATUS says why */
    LINK_TIMEOUT, /* nothing within the time; the link still stands */
    LINK_STALLED, /* a bulk endpoint was halted; it has been cleared, and bytes may be missing
                   */
    LINK_BABBLE,  /* the device sent more than was asked for; bytes are missing */
    LINK_GONE,    /* unplugged, or reset under us */
    LINK_FAILED,  /* anything else; the message says what */
};

struct link_ops {
    /* One control request to the interface. *got may be less than room. Every result but
     * LINK_OK and LINK_TIMEOUT of `read` leaves a reason in e. */
    enum link_result (*control_in)(void *state, uint8_t request, uint16_t value, void *data,
                                   size_t room, size_t *got, struct err_msg *e);
    enum link_result (*control_out)(void *state, uint8_t request, uint16_t value,
                                    const void *data, size_t len, struct err_msg *e);
    /* Begin to ask for stream bytes, several transfers in flight; called before REQ_START.
     * Bytes left over from before are dropped. */
    enum link_result (*stream_start)(void *state, struct err_msg *e);
    /* The next bytes in their order, borrowed until the next call of any kind. */
    enum link_result (*read)(void *state, int timeout_ms, const uint8_t **bytes, size_t *len,
                             struct err_msg *e);
    /* Take back the transfers; after REQ_STOP and the last frame, or at any time. */
    void (*stream_stop)(void *state);
    /* Bulk OUT, all of it or an error. */
    enum link_result (*write)(void *state, int timeout_ms, const void *data, size_t len,
                              struct err_msg *e);
    /* Let time go by without reading; the transport keeps what comes meanwhile as far as it has
     * room. The simulator's time goes on only in read, write, pause and control requests. */
    void (*pause)(void *state, int ms);
    /* The link's own steady clock. */
    int64_t (*now_ms)(void *state);
    void (*close)(void *state);
};

struct link {
    const struct link_ops *ops;
    void *state;
    char name[96]; /* for messages: "usb:SERIAL", "sim:none" */
};

/* Text for a result, for messages; never NULL. */
const char *link_result_text(enum link_result r);

/* ops->close; safe on a zeroed struct. */
void link_close(struct link *l);

#endif
