/* A whole subsystem in time, with faults: machine, cable, drive, disk, and the taps on the
 * cable.
 *
 * Quantitative and in ns; shares nothing with the judge's model. Same options and seed: same
 * bytes.
 */
#ifndef WHICHEND_SIM_SIM_H
#define WHICHEND_SIM_SIM_H

#include "base/asked.h"
#include "base/err.h"
#include "base/line.h"
#include "profile/profile.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct sim_options {
    const char *fault[2]; /* names of the catalogue; NULL none */
    uint64_t seed;
    const struct profile *machine, *drive, *cable;
    unsigned asked;              /* ASKED_ bits */
    bool machine_end, drive_end; /* taps to write */
    bool both_one_clock;         /* false: the second tap has its own clock, offset and drift */
    bool known_good_disk;        /* what case.ini says of the disk */
    int pull_up_ohm;             /* of the taps */
    double flux_seconds;         /* RDATA recorded for at most this long a read, the rest "not
                                    recorded"; 0: all */
    bool wec;                    /* .wec instead of .vcd.gz */
    const uint8_t
        *image;         /* what the disk holds, by cylinder, side, sector; NULL: by the seed */
    size_t image_bytes; /* borrowed while the simulation lasts */
    int worn_percent;   /* of the disk's tracks are damaged, beside any fault */
    double sheds_s;     /* the read signal halves in so long, as the heads foul; 0: never */
};

/* Every fault it can play, one name each, sorted; static. */
size_t sim_faults(const char *const **out);

/* Play a session and write a whole case (case.ini and one capture a tap) into folder, which
 * must not exist or be empty. ERR_USAGE for a fault it does not know or that cannot be with
 * these profiles (says why). */
enum err sim_rehearse(const struct sim_options *o, const char *folder, struct err_msg *e);

#endif
