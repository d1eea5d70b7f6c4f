/* Between the files of the device core. Freestanding. */
#ifndef WHICHEND_ADAPTER_DEVICE_PRIVATE_H
#define WHICHEND_ADAPTER_DEVICE_PRIVATE_H

#include "adapter/device.h"

static inline uint64_t device_us(const struct device *d, uint64_t us)
{
    return us * d->config->tick_hz / 1000000u;
}
static inline uint64_t device_ms(const struct device *d, uint64_t ms)
{
    return ms * d->config->tick_hz / 1000u;
}

/* Let everything go and say why; the role is lost, the stream goes on. WGATE goes at once; what
 * must not change in the erase delay behind it (select, motor, side, head load) follows then.
 */
void device_release(struct device *d, enum release why);
/* Set the outputs to what role, motion, writing and playing want now. */
void device_drive(struct device *d);
/* Nobody else has moved or held a line that this role drives, for as long as it takes. */
bool device_bus_free(const struct device *d, uint64_t now);

/* device_stream.c */
void device_stream_start(struct device *d, uint8_t number, uint32_t lines);
void device_stream_stop(struct device *d, bool at_once);
void device_stream_edge(struct device *d, uint64_t tick, unsigned line, bool high);
void device_stream_mark(struct device *d, enum mark kind, uint32_t value);
void device_stream_poll(struct device *d, uint64_t now);

/* device_motion.c */
enum refusal device_step(struct device *d, bool outward, uint16_t steps);
void device_motion_edge(struct device *d, uint64_t tick, unsigned line, bool high);
void device_motion_poll(struct device *d, uint64_t now);
/* Lines that stepping pulls low now. */
uint32_t device_motion_lines(const struct device *d);

/* device_write.c */
enum refusal device_arm_one(struct device *d, const uint8_t *name, size_t len);
enum refusal device_arm_two(struct device *d, uint32_t answer);
void device_disarm(struct device *d);
bool device_armed_one(const struct device *d, uint64_t now);
bool device_armed_two(const struct device *d, uint64_t now);
enum refusal device_write(struct device *d, bool at_index, uint32_t gate_us);
/* The gate opens, or a write that waits for INDEX is given up. */
/* Disarmed; a gate that is open is shut. */
void device_write_stop(struct device *d);
void device_write_edge(struct device *d, uint64_t tick, unsigned line, bool high);
void device_write_poll(struct device *d, uint64_t now);
/* WGATE is active or was within the erase delay: nothing else may change. */
bool device_erasing(const struct device *d, uint64_t now);

/* device_play.c */
enum refusal device_play_start(struct device *d);
void device_play_stop(struct device *d);
/* Pulses are handed to the hardware so long before their time. */
#define DEVICE_AHEAD_MS 2
void device_play_clear(struct device *d);
/* As a drive: what is played is not under the head any more. */
void device_play_hush(struct device *d);
void device_play_poll(struct device *d, uint64_t now);
/* Hand the pulse at play.tick to the hardware. */
void device_play_pulse(struct device *d);
uint64_t device_play_next(const struct device *d);
/* The next item: ticks after the one before, and whether it is a pulse or a level of INDEX. */
struct play_item {
    uint32_t delta;
    bool pulse, high;
};
bool device_play_take(struct device *d, struct play_item *out);

#endif
