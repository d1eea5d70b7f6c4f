/* The machine's own data separator and field decoder: read pulses in, identifiers and data
 * fields out. */
#ifndef WHICHEND_SIM_SEPARATOR_H
#define WHICHEND_SIM_SEPARATOR_H

#include "sim/cells.h"

#include <stdbool.h>
#include <stdint.h>

enum field_state { FIELD_HUNT, FIELD_MARKS, FIELD_ID, FIELD_DATA };

struct sector_id {
    int cylinder, head, sector, size_code;
    bool good; /* check bytes agree */
};

struct separator {
    bool fm;
    double nominal_ns, cell_ns, range, free_run;
    double clock; /* centre of the cell of the last pulse */
    uint32_t shift;
    int bits;
    enum field_state state;
    uint8_t body[SECTOR_BYTES_MAX + 2];
    int got, want;
    uint16_t crc;
    /* news, cleared by whoever takes them */
    bool id_new, data_new;
    struct sector_id id;
    bool data_good;
    int data_len;
    int64_t field_end, data_mark_at;
};

void sim_separator_start(struct separator *s, bool fm, double cell_ns, double range,
                         double free_run, int64_t now);
void sim_separator_pulse(struct separator *s, int64_t t);

#endif
