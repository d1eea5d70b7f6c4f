/* The machine: receivers, drivers, the controller chip's commands, and the program that uses
 * them. */
#ifndef WHICHEND_SIM_MACHINE_H
#define WHICHEND_SIM_MACHINE_H

#include "sim/separator.h"
#include "sim/spec.h"

#include <stdbool.h>
#include <stdint.h>

struct world;
struct sim_result;

enum status {
    ST_OK,
    ST_NOT_FOUND,  /* no such identifier within the chip's limit */
    ST_CHECK,      /* check bytes */
    ST_WRONG_DATA, /* check bytes agree, contents are not what was stored there */
    ST_NOT_READY,
    ST_PROTECTED,
    ST_NO_TRACK0,
    ST_TIMEOUT, /* the program lost patience and reset the chip */
    ST_BROKEN,  /* the chip lost its supply or clock on the way */
    ST_HUNG,    /* waits for ever */
    ST_CUT,     /* end of the recording */
};

struct machine {
    struct world *w;
    const struct machine_spec *spec;
    struct rng rng;
    line_set pulled, sees;
    int index_count;
    int64_t index_last;
    struct separator separator;
    bool reading;
    int cylinder; /* where it believes the head is */
    bool motor_on;
    int64_t break_at, break_end; /* a contact opens and closes again, or NEVER */
    bool broken;
    int64_t steps_given;
    int placed_cylinder, placed_side; /* of the last flux window */
};

void sim_machine_start(struct machine *m, struct world *w, uint64_t seed);
/* Nobody is there: a guest stands in its place. */
void sim_machine_absent(struct machine *m, struct world *w);
void sim_machine_input(struct machine *m, enum line line, bool low);
int64_t sim_machine_next(const struct machine *m);
void sim_machine_event(struct machine *m);
/* The whole session. */
void sim_machine_session(struct machine *m, struct sim_result *out);

/* Below the session: lines, waiting, and one command each. */
void sim_machine_pull(struct machine *m, enum line line, bool active);
bool sim_machine_sees(const struct machine *m, enum line line);
enum status sim_machine_wait(struct machine *m, int64_t ns);
/* Until `pulses` more index pulses; ST_HUNG or ST_TIMEOUT where they stop coming. */
enum status sim_machine_wait_index(struct machine *m, int pulses);
enum status sim_chip_restore(struct machine *m);
enum status sim_chip_seek(struct machine *m, int cylinder);
enum status sim_chip_read(struct machine *m, int side, int sector, uint8_t *data);
enum status sim_chip_write(struct machine *m, int side, int sector, const uint8_t *data);
enum status sim_chip_format(struct machine *m, int side);

#endif
