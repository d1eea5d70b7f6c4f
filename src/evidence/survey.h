/* One pass over a capture: everything that `measure` prints and that findings are drawn from.
 *
 * The control lines go to the bus tracker; RDATA falls are cut into visits (one place of the
 * head, selected, motor on, not writing) and decoded visit by visit, so memory does not grow
 * with the capture.
 */
#ifndef WHICHEND_EVIDENCE_SURVEY_H
#define WHICHEND_EVIDENCE_SURVEY_H

#include "bus/bus.h"
#include "capture/capture.h"
#include "profile/profile.h"
#include "signal/signal.h"

/* One stretch of flux at one place of the head. */
struct visit {
    int64_t start_ns, end_ns;
    bool cylinder_known;           /* by the lines */
    int32_t cylinder;              /* by the lines */
    int8_t side;                   /* by the lines; -1 SIDE not recorded */
    bool selected, motor, settled; /* as the lines tell; true where the line is not recorded */
    int64_t transitions;
    int64_t
        silent_ns; /* time without transitions (gaps over 100 us) while RDATA was recorded */
    struct flux_quality quality;
    int32_t ids_good, ids_bad;
    int32_t data_good, data_damaged, data_absent; /* fields that the end did not cut */
    int32_t id_cylinder;                          /* of most good identifiers; -1 none */
    int32_t id_side;                              /* likewise */
    int32_t id_cylinders; /* different cylinders among good identifiers */
    bool after_write;     /* the same place was written before in this capture */
};

struct track_sector {
    uint8_t cylinder, side, sector, size_code; /* as its identifier says */
    bool id_good;                              /* some identifier's check bytes agreed */
    enum field_state data;                     /* best */
    bool deleted;
    int32_t seen, good; /* contract: readable identifiers, data fields good */
    enum encoding encoding;
};

struct track {
    int32_t cylinder, side; /* by the lines, or by identifiers where those lack */
    double revolutions;
    struct track_sector *sector; /* by position after the first seen */
    size_t sector_count;
    struct flux_quality quality; /* of its longest visit */
};

struct supply_stats {
    bool recorded;
    double min_v, mean_v, max_v;
    double min_motor_v; /* lowest within 500 ms of MOTOR becoming active; 0 if none */
};

struct survey {
    struct capture_info info;
    double seconds;
    double sample_ns;  /* sampling interval: as the file says or as the edges show; tick if
                          unknown */
    bool sample_known; /* false: too few edges to tell, sample_ns is the tick */
    int64_t edges;
    struct rotation rotation;
    struct rotation
        rotation_flux; /* from repeating sectors or the bit clock, when both can be had */
    struct index_stats index;
    bool index_recorded;
    struct bus_story story;
    struct flux_quality flux; /* over all visits, weighted by transitions */
    bool flux_recorded;       /* RDATA recorded at some time */
    bool flux_usable;         /* sampled fast enough for its pulses (bench practice 13) */
    struct visit *visit;
    size_t visit_count;
    struct track *track; /* by cylinder, then side */
    size_t track_count;
    struct supply_stats supply[RAIL_COUNT];
    char **warning;
    size_t warning_count;
};

struct survey_options {
    const struct profile *drive, *controller;  /* may be NULL; borrowed during the call */
    struct tap_edges *edges_out;               /* filled too, if not NULL */
    void (*progress)(void *ctx, double share); /* may be NULL */
    void *progress_ctx;
    volatile const int *stop; /* nonzero: ERR_INTERRUPTED; may be NULL */
};

/* Reads c to its end. ERR_FORMAT where the capture is damaged. */
enum err survey_run(struct capture *c, const struct survey_options *o, struct survey *out,
                    struct err_msg *e);
void survey_release(struct survey *s);

#endif
