/* Edges to numbers: rotation, index, bit clock, FM and MFM cells, sectors, quality of the read
 * signal.
 *
 * Index and rotation work on positions in ns. Flux is held as intervals in ps, 4 bytes a
 * transition: finer than any tap samples, so nothing is lost in rounding.
 */
#ifndef WHICHEND_SIGNAL_SIGNAL_H
#define WHICHEND_SIGNAL_SIGNAL_H

#include "base/err.h"
#include "profile/profile.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- rotation
 * -------------------------------------------------------------------------------- */

struct index_pulse {
    int64_t fall_ns, rise_ns; /* rise_ns: -1 when the recording ended within it */
};

#define TURNS_KEPT_MAX 4096

struct index_stats {
    int32_t pulses;  /* after joining edges that come back within the lock-out */
    int32_t bounced; /* edges joined */
    int32_t missing, extra;
    int32_t sector_holes; /* pulses a turn beside the index, 0 for soft-sectored */
    double width_us, width_sd_us;
};

enum rotation_from { ROTATION_NONE, ROTATION_INDEX, ROTATION_SECTORS, ROTATION_FLUX };

struct rotation {
    enum rotation_from from;
    int32_t revolutions;               /* whole turns at speed, at most the ceiling */
    int64_t period_ns[TURNS_KEPT_MAX]; /* revolutions of them */
    double rpm, rpm_sd;
    double uncertainty_rpm; /* of the mean: one standard deviation */
    double spread_percent;  /* turn to turn, peak to peak over mean, of turns at speed */
    double isv_percent;     /* speed variation inside a turn, peak; negative: not measured */
    double spin_up_ms; /* motor on to the first turn within 2 % of the final speed; negative:
                          not measured, as where a gap hides the start */
};

/* Pulses in time order. nominal_rpm 0: unknown (looks for 300 and 360). motor_on_ns -1:
 * unknown. Turns behind a start count as at speed from the first that has settled within 0.5 %.
 * A stretch with motor off, or deselected where the drive gates
 * INDEX, is handed in as a gap: gap_ns holds count pairs start, end; no turn spans one. */
enum err rotation_from_index(const struct index_pulse *pulse, size_t count,
                             const int64_t *gap_ns, size_t gap_count, double nominal_rpm,
                             int64_t motor_on_ns, struct rotation *out_rotation,
                             struct index_stats *out_index);

/* ---- flux ------------------------------------------------------------------------------- */

/* One stretch of flux read at one place of the head without a break in the recording. */
struct flux {
    int64_t start_ns;            /* of the first transition */
    const uint32_t *interval_ps; /* from each transition to the next; borrowed */
    size_t count;                /* of intervals */
};

enum encoding { ENC_NONE, ENC_FM, ENC_MFM, ENC_MIXED, ENC_REGULAR_OTHER, ENC_UNSTEADY };
const char *encoding_name(enum encoding e); /* the contract's words */

enum field_state { FIELD_ABSENT, FIELD_DAMAGED, FIELD_REPAIRED, FIELD_GOOD };
const char *field_state_name(enum field_state s);

/* One identifier as read once, with the data field behind it. */
struct sector_read {
    int64_t id_ns;   /* time of its mark */
    int64_t data_ns; /* time of the data mark; -1 none */
    int64_t end_ns;  /* end of its last field */
    uint8_t cylinder, side, sector;
    uint8_t size_code; /* 0 to 6: a larger one counts by its low two bits; of a bad identifier
                          that of the last good one */
    uint8_t mark;      /* data mark byte: FB, F8, ... */
    bool id_good;
    enum field_state data;
    bool cut; /* the stretch ended within the data field, or before its mark could come: data is
                 FIELD_ABSENT, neither good nor damaged */
    bool deleted; /* mark F8 */
    uint32_t
        forced; /* of a good field whose bytes are kept: transitions that the code's rules
                   put into another cell than the nearest, or that break them all the same */
    enum encoding encoding;
    uint8_t *bytes;  /* data bytes when kept, else NULL; 128 << size_code of them */
    int8_t *quality; /* of a damaged field's cells when kept, else NULL: above 0 a transition in
                        it, below 0 none, further from 0 surer; see signal/repair.h */
    size_t cells;    /* of them: MFM from the mark byte, FM from the first data byte, through
                        the check bytes */
};

struct flux_quality {
    size_t transitions;
    enum encoding encoding;
    int32_t data_rate; /* bit/s, nominal, found by itself: MFM 250000, 300000, 500000, 1000000;
                          FM 125000, 150000, 250000, 500000; 0 none */
    double cell_ns;    /* channel cell (half a data bit in MFM and FM); 0 with no clock found */
    double cell_sd_percent; /* slow variation of the tracked cell */
    double jitter_ns; /* deviation of a transition from its cell's centre, sampling removed */
    double margin_percent,
        margin_ns;        /* at 1e-6 errors, early and late together; 0: none left */
    double asymmetry_ns;  /* difference of neighbouring intervals in an even pattern */
    double peak_shift_ns; /* mean shift of a transition away from its nearer neighbour */
    /* uncertainties at 95 % */
    double jitter_u_ns, margin_u_percent, asymmetry_u_ns, peak_shift_u_ns;
    double margin_beyond; /* powers of ten that the margin was carried on beyond what so many
                             transitions show */
    double short_share;   /* transitions nearer than 1.5 cells (MFM), 0.5 (FM) */
    double long_share;    /* further than 4.5 cells (MFM), 2.5 (FM) */
    int32_t interval_ratio[8]; /* in cells, ascending; 0 ends */
};

struct flux_read {
    struct flux_quality quality;
    struct sector_read *sector; /* in time order, good and bad identifiers */
    size_t sector_count;
    size_t lone_data_marks; /* data marks with no identifier before them */
    size_t index_marks;     /* C2 C2 C2 FC, or FC with clock D7 */
};

struct flux_options {
    double sample_ns;  /* sampling interval to take out of the jitter; 0 none */
    int32_t data_rate; /* 0: find it */
    bool keep_bytes;
    bool keep_quality; /* of the cells of damaged fields */
};

/* Find clock and code, decode all marks, measure quality. Any input is legal; noise gives
 * ENC_UNSTEADY with no sectors. ERR_MEMORY only. */
enum err flux_decode(const struct flux *f, const struct flux_options *o, struct flux_read *out);
void flux_read_release(struct flux_read *r);

/* Turn time from sectors that come round again within one stretch: pairs of equal identifiers
 * one turn apart (150 to 230 ms). Returns how many were written, at most max. */
size_t rotation_from_sectors(const struct flux_read *r, int64_t *period_ns, size_t max);

/* The marks and check bytes themselves, for tests and the simulator's readers. */
uint16_t crc16_update(uint16_t crc, const uint8_t *bytes,
                      size_t len); /* x16+x12+x5+1, MSB first */

#endif
