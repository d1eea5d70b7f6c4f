/* What tests ask of the simulator, unless they say otherwise: a read, both taps on one clock.
 */
#ifndef TEST_SIM_OPTIONS_H
#define TEST_SIM_OPTIONS_H

#include "profile_parts.h"
#include "sim/sim.h"

static inline struct sim_options options_of(const struct parts *p, const char *fault,
                                            uint64_t seed)
{
    return (struct sim_options){.fault = {fault, NULL},
                                .seed = seed,
                                .machine = p->machine,
                                .drive = p->drive,
                                .cable = p->cable,
                                .asked = ASKED_READ,
                                .machine_end = true,
                                .drive_end = true,
                                .both_one_clock = true,
                                .known_good_disk = true,
                                .pull_up_ohm = 2200};
}

#endif
