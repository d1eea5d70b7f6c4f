/* The run between its blocks. */
#ifndef WHICHEND_ACCEPT_PLAN_PRIVATE_H
#define WHICHEND_ACCEPT_PLAN_PRIVATE_H

#include "accept/plan.h"
#include "adapter/recorder.h"

struct run {
    const struct accept_bench *b;
    struct session *s;
    struct accept_run *out;
    struct recorder recorder;
    int turn_ms, settle_ms, start_ms;
    int last; /* cylinder */
    int sides;
    int at;              /* cylinder by counting; -1 not known */
    bool lost;           /* the adapter let go: the drive did not answer steps as it must */
    bool no_index;       /* none came while the spindle should turn: nobody waits for it */
    uint32_t step_us;    /* shortest time from STEP to STEP that it was seen to follow */
    bool wprot_right[2]; /* WPROT as it had to be: with a protected disk, with an open one */
    /* in this block */
    uint64_t falls;                 /* of INDEX */
    uint64_t fall_tick, turn_ticks; /* its last, and the turn before it; 0: none */
    bool steady;                    /* the last two turns took the same time */
    uint32_t steps;                 /* STEP pulses */
    uint8_t index, step;            /* levels */
};

/* A capture of these lines begins; its name is the block's. */
enum err block_begin(struct run *r, const char *name, line_set lines, struct err_msg *e);
enum err block_end(struct run *r, struct err_msg *e);

/* Time goes on; the file is kept up to date. ERR_INTERRUPTED. */
enum err run_wait(struct run *r, int ms, struct err_msg *e);
/* So many whole turns, or as long as they should take twice over. */
enum err run_turns(struct run *r, int turns, struct err_msg *e);
/* Until two turns take the same time, or for so long that they never will. */
enum err run_spin_up(struct run *r, struct err_msg *e);
enum err run_motor(struct run *r, bool on, struct err_msg *e);
enum err run_select(struct run *r, bool on, struct err_msg *e);
enum err run_side(struct run *r, int side, struct err_msg *e);
/* The role anew, with this time from STEP to STEP, and two seconds of listening. */
enum err run_role(struct run *r, uint32_t step_us, struct err_msg *e);
/* The same, and the drive selected and its motor on: run_spin_up comes next, in a block. */
enum err run_start(struct run *r, uint32_t step_us, struct err_msg *e);
/* Look for track 0. Where it does not come r->lost is set. */
enum err run_restore(struct run *r, struct err_msg *e);
/* To a cylinder, by way of track 0 where the head's place is not known. r->at is another one
 * where TRK00 came on the way; r->lost where the adapter let go. */
enum err run_seek(struct run *r, int cylinder, struct err_msg *e);
/* The same, and settled. */
enum err run_seek_settled(struct run *r, int cylinder, struct err_msg *e);
/* Out to track 0 by counted steps. *exact: TRK00 came with the last of them and not before. */
enum err run_return(struct run *r, bool *exact, struct err_msg *e);

/* plan_write.c: a scratch disk is in, and the write-protect sensor showed both ways. */
enum err block_write(struct run *r, struct err_msg *e);
/* plan_hands.c: what a person does with the disk, and what WPROT, READY and DSKCHG say to it.
 */
enum err block_hands(struct run *r, struct err_msg *e);
/* Blocks of plan_steps.c: the fastest rate it follows, seeks without end, and back. */
enum err block_rate(struct run *r, struct err_msg *e);
enum err block_slip(struct run *r, struct err_msg *e);

#endif
