/* What the verbs that work an adapter share: opening it, the questions before it, the limits.
 */
#ifndef WHICHEND_CLI_ADAPTER_USE_H
#define WHICHEND_CLI_ADAPTER_USE_H

#include "adapter/session.h"
#include "cli/cli.h"
#include "sim/sim.h"

struct adapter_use {
    struct profile_path *path;
    struct profile *machine, *drive, *cable;
    struct sim_options sim;
    struct buf image; /* what a simulated disk holds */
    struct session session;
    bool simulated;
    unsigned unit;
};

/* --adapter, --machine, --drive, --cable, --seed, --asked, --unit, --tap, --image, --worn. Asks
 * whether the disk is out before anything is opened (bench practice: last in, first out).
 * `role_note`: what this role cannot do or needs, said before it. */
enum err adapter_use_open(const struct args *a, const char *role_note, struct adapter_use *u,
                          struct err_msg *e);
void adapter_use_close(struct adapter_use *u);

/* Lines that machine and drive carry, one name a pin, at one end of the cable. */
line_set adapter_use_lines(const struct adapter_use *u, bool drive_end);
/* What the drive's profile allows. */
struct adapter_limits adapter_use_limits(const struct adapter_use *u);
/* Outputs as bits of the protocol: of the unit, and of its motor line (0: none). */
uint32_t adapter_use_select(const struct adapter_use *u);
uint32_t adapter_use_motor(const struct adapter_use *u);
int64_t adapter_use_turn_ms(const struct adapter_use *u);

/* --list: what --adapter sim: can play. */
enum err adapter_list_faults(const struct args *a, struct buf *out);

/* Wait for the person's word; at a terminal alone, else ERR_OK at once. ERR_INTERRUPTED. */
enum err adapter_ask(const char *question, struct err_msg *e);
/* The same while a session is open: its signs of life go on, and its stream is read. */
enum err adapter_use_ask(struct adapter_use *u, const char *question, struct err_msg *e);

/* A question, and the next line of standard input, terminal or not, without its end; signs of
 * life go on. ERR_USAGE where there is no more input. */
enum err adapter_use_answer(struct adapter_use *u, const char *question, char *line,
                            size_t room, struct err_msg *e);

/* As a machine: listen, then select the unit and switch its motor on. */
enum err adapter_use_drive_on(struct adapter_use *u, struct err_msg *e);
/* Until the drive is up to speed. */
enum err adapter_use_spin_up(struct adapter_use *u, struct err_msg *e);
/* Track 0: one search and one more. ERR_ADAPTER where it is not found. */
enum err adapter_use_restore(struct adapter_use *u, struct err_msg *e);
/* From where restore or the last seek left the head. */
enum err adapter_use_seek(struct adapter_use *u, int from, int to, struct err_msg *e);
enum err adapter_use_side(struct adapter_use *u, int side, struct err_msg *e);

#endif
