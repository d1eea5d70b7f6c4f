/* The way to an adapter over USB, with libusb-1.0 (link.h).
 *
 * An adapter is found by the class triple of its interface and by its answer to REQ_IDENTIFY;
 * vendor and product numbers are not looked at. A thread of the link's own handles USB events;
 * the calls of link.h still come from one thread.
 *
 * Stream: transfers in flight fill a bounded queue. Where the reader does not keep up, no more
 * transfers are asked for, the adapter's own buffer fills, and the adapter tells what was lost.
 * Bytes that came before a stall, an unplugging or a babble are handed out before it is
 * reported.
 */
#ifndef WHICHEND_ADAPTER_USB_LINK_H
#define WHICHEND_ADAPTER_USB_LINK_H

#include "adapter/link.h"
#include "base/err.h"

/* Bytes kept for a reader that is late: 5 s of HD flux. */
#define USB_QUEUE_BYTES ((size_t)4 << 20)

/* Open the adapter with this serial number, or, with NULL, the only one that is plugged in. One
 * without a serial number goes by "BUS-ADDRESS" in its place. ERR_ADAPTER with what to do about
 * it: none there, more than one, no permission, held by another program, not an adapter. */
enum err usb_link_open(const char *serial, struct link *out, struct err_msg *e);

#endif
