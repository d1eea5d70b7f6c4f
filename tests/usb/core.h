/* An adapter as it would be built: the device core of src/adapter over a bus that real time
 * drives. Outside it a machine holds SELECT0 and MOTOR and reads HD flux; as a machine it has
 * that drive for itself: 80 cylinders, unit 0, up to speed after 0.3 s.
 *
 * Flux begins anew with each REQ_START, and every fall of RDATA is where core_flux_next says:
 * what was recorded can be held against it to the tick.
 */
#ifndef WHICHEND_TESTS_CORE_H
#define WHICHEND_TESTS_CORE_H

#include "usb_device.h"

#define CORE_TICK_HZ 48000000u

struct core;

/* Its time goes by slow times as slowly as real time, for hosts that are emulated; 1: as it. */
struct core *core_new(const char *serial, size_t packet, int slow);
struct usb_device *core_device(struct core *c);
/* Falls of RDATA that the core was told of in the last stream, up to its last frame. */
uint64_t core_sent(const struct core *c);
void core_free(struct core *c);

/* Ticks to the next fall: 2, 3 or 4 us as MFM at 500 kbit/s has them, and a little jitter.
 * Begin with *state = CORE_FLUX_SEED. */
#define CORE_FLUX_SEED 1u
static inline uint32_t core_flux_next(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    uint32_t kind = *state >> 28;
    uint32_t cells = kind < 8 ? 96 : kind < 13 ? 144 : 192;
    return cells - 4 + (*state >> 20 & 7);
}

#endif
