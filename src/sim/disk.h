/* A disk: transitions by angle, track by track, made when first looked at, changed by writing.
 */
#ifndef WHICHEND_SIM_DISK_H
#define WHICHEND_SIM_DISK_H

#include "sim/cells.h"
#include "sim/rng.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DISK_CYLINDERS 96

/* Angles are in ns of a turn at the format's own speed, 0 <= pos < turn_ns. */
struct track {
    int32_t *pos; /* rising */
    size_t count;
    bool made;
    int32_t worn_from[3], worn_to[3]; /* damaged arcs; empty where to <= from */
};

struct disk {
    struct disk_format format;
    bool present, formatted, protected_, worn, upside_down;
    int sector_holes;         /* 0: soft-sectored */
    double writer_speed;      /* cells are this much longer than nominal (1.002) */
    int32_t first_ns;         /* index to the first byte */
    int head_steps_per_track; /* 2: a 40-track disk in an 80-track drive */
    struct disk_content content;
    int worn_cylinders[3];
    int worn_percent; /* of its tracks are damaged as well, each by its own lot */
    struct track track[DISK_CYLINDERS][2];
};

/* The track under a head, made if need be; NULL off the recorded area. off_track: the head lies
 * between two tracks. ERR_MEMORY sets *out NULL too. */
enum err sim_disk_track(struct disk *d, int head_cylinder, int side, struct track **out,
                        bool *off_track);
/* First transition at or after pos. */
size_t sim_track_find(const struct track *t, double pos);
/* Put `count` new transitions between two unwrapped angles (to > from) in place of what was
 * there. */
enum err sim_track_write(struct track *t, double turn_ns, double from, double to,
                         const double *pos, size_t count);
void sim_disk_release(struct disk *d);

#endif
