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
    int at;         /* cylinder by counting; -1 not known */
    bool stopped;   /* no further block makes sense */
    double share;   /* of the whole run */
    uint64_t falls; /* of INDEX in this block */
    uint8_t index;  /* its level */
};

/* A capture of these lines begins; its name is the block's. */
enum err block_begin(struct run *r, const char *name, line_set lines, struct err_msg *e);
enum err block_end(struct run *r, struct err_msg *e);

/* Time goes on; the file is kept up to date. ERR_INTERRUPTED. */
enum err run_wait(struct run *r, int ms, struct err_msg *e);
/* So many whole turns, or as long as they should take twice over. */
enum err run_turns(struct run *r, int turns, struct err_msg *e);
enum err run_motor(struct run *r, bool on, struct err_msg *e);
enum err run_select(struct run *r, bool on, struct err_msg *e);
enum err run_side(struct run *r, int side, struct err_msg *e);
/* The role anew, with this time from STEP to STEP, and two seconds of listening. */
enum err run_role(struct run *r, uint32_t step_us, struct err_msg *e);
/* Look for track 0; r->at is 0, or -1 where it did not come. After that the role is lost. */
enum err run_restore(struct run *r, struct err_msg *e);
/* To a cylinder, settled. r->at must be known. */
enum err run_seek(struct run *r, int cylinder, struct err_msg *e);

#endif
