/* Lines that machine and drive carry, and that a tap records. */
#ifndef WHICHEND_SIM_SPEC_LINES_H
#define WHICHEND_SIM_SPEC_LINES_H

#include "sim/sim.h"

void sim_spec_lines(const struct sim_options *o, line_set *machine, line_set *drive);
line_set sim_spec_tap_lines(const struct sim_options *o, line_set machine, line_set drive,
                            bool drive_end);

#endif
