#include "accept/drive_limits.h"

#define STEP_LOW_MORE_US 9 /* beyond the drive's least: controllers give 4 us and more */

struct adapter_limits drive_limits(const struct profile *d)
{
    double step_us = 1000 * profile_min(d, "step_interval_ms", 6);
    double turn_us = 1000 * profile_min(d, "step_reverse_ms", step_us / 1000);
    struct adapter_limits l = {
        .last_cylinder = (uint16_t)(profile_number(d, "cylinders", 80) - 1),
        .step_low_us = (uint16_t)(profile_min(d, "step_width_us", 1) + STEP_LOW_MORE_US),
        .step_us = (uint32_t)(step_us < LIMITS_STEP_US_MIN ? LIMITS_STEP_US_MIN : step_us),
        .settle_us = (uint32_t)(1000 * profile_max(d, "settle_ms", 15)),
        .erase_us = (uint32_t)profile_max(d, "erase_delay_us", 1200),
        .gate_us = (uint32_t)(1000 * drive_turn_ms(d) * 11 / 10)};
    l.turn_us = turn_us > l.step_us ? (uint32_t)turn_us : l.step_us;
    return l;
}

int drive_turn_ms(const struct profile *d)
{
    double slow = profile_number(d, "speed_low_rpm", 0);
    double rpm = slow > 0 ? slow : profile_number(d, "speed_rpm", 300);
    return (int)(60000 / (rpm < 100 ? 300 : rpm)) + 1;
}
