/* Faults put in on purpose between a device and its bus, told in words: "stall=65536
 * lie=magic". They come from the command line of usb_bench, or from the program under test
 * itself with the request REQ_FAULTS, which no adapter has. N counts bytes of bulk IN since the
 * words were told.
 *
 *   unplug=N          pulled out after N bytes
 *   unplug-request=R  pulled out when control request R comes
 *   unplug-out=N      pulled out after N bytes of bulk OUT
 *   stall=N           the IN endpoint halts once after N bytes
 *   stall-out=N       the OUT endpoint halts once after N bytes
 *   babble=N          one packet is longer than there was room for
 *   error=N           one packet is garbled on the wire, and lost
 *   flip=N            one bit of byte N turns over
 *   repeat=N          the packet that holds byte N comes twice
 *   silence=N         nothing more comes after N bytes
 *   mute=R            request R is never answered
 *   lie=WORD          the capability reply lies: magic, major, short, tick, length, zero
 */
#ifndef WHICHEND_TESTS_FAULTS_H
#define WHICHEND_TESTS_FAULTS_H

#include "usb_device.h"

#define REQ_FAULTS 0xf0

struct faults;

/* The device with faults around it; inner stays the caller's. */
struct faults *faults_new(struct usb_device *inner);
/* Replaces what was told before; false: a word that is not known. */
bool faults_tell(struct faults *f, const char *words);
struct usb_device *faults_device(struct faults *f);
void faults_free(struct faults *f);

#endif
