/* A bus with models of adapters on it. The program under test runs as it is shipped. There are
 * two, and the same cases are tried on both:
 *
 *   mock_bus.c  only this process and the programs that it starts can see it: the testbed of
 *               umockdev stands between libusb's calls and the kernel, and answers the ioctls
 *               of usbfs
 *   vhci_bus.c  the running kernel's own, on its virtual host controller: for the guest of
 *               guest.sh. It has no driver, busy and forbidden
 */
#ifndef WHICHEND_TESTS_BUS_H
#define WHICHEND_TESTS_BUS_H

#include "usb_device.h"

struct bus;

struct bus_options {
    bool driver;    /* a kernel driver holds the interface, and lets it go when asked */
    bool busy;      /* another program holds it */
    bool forbidden; /* the node is for root alone */
    int replug_ms;  /* after it is gone, it comes back so much later; 0: never */
};

struct bus *bus_new(void);
/* At the bus's next port. The device's calls are made from the bus's threads, one at a time. */
bool bus_add(struct bus *bus, struct usb_device *device, struct bus_options options);
/* Let time go by for the devices, from now on; when it returns they can be found. */
bool bus_run(struct bus *bus);
void bus_free(struct bus *bus);

#endif
