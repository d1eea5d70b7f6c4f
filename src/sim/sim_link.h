/* A simulated adapter on a simulated bus, in process (link.h): the device core of src/adapter
 * over the simulator's machine, cable, drive and disk. Its time goes on only while the host
 * waits, and runs as fast as the computer does. Same options: same bytes.
 */
#ifndef WHICHEND_SIM_SIM_LINK_H
#define WHICHEND_SIM_SIM_LINK_H

#include "adapter/link.h"
#include "sim/sim.h"

/* The faults of `spec`, with commas between: at most two that rehearse knows, and any of
 * sim_link_faults. options: machine, drive, cable, seed, asked and drive_end (where an adapter
 * in role inline listens) are used; what they point to is borrowed until close. ERR_USAGE for a
 * fault that nobody knows, or that these parts cannot have. */
enum err sim_link_open(const char *spec, const struct sim_options *options, struct link *out,
                       struct err_msg *e);

/* What a person's hands do to the disk in the simulated drive, meanwhile. ERR_INTERNAL where
 * the link is none of these. It stays so when the role is taken anew. */
enum sim_disk_job { SIM_DISK_PROTECT, SIM_DISK_OPEN, SIM_DISK_OUT, SIM_DISK_IN };
enum err sim_link_disk(struct link *link, enum sim_disk_job job);

/* Faults of the adapter itself, its leads and its connection, with what each does; static. LINE
 * and PAIR stand for a line's name and two joined by '+'. */
struct sim_link_fault_name {
    const char *name;
    const char *text;
};
size_t sim_link_faults(const struct sim_link_fault_name **out);

#endif
