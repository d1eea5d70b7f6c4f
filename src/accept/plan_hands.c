/* What a person does with the disk. The spindle stands while hands are at it. */
#include "accept/plan_private.h"

#include <stdio.h>

#define SHOW_MS    300
#define SHOW_TURNS 3

static enum err show(struct run *r, enum hand_job job, struct err_msg *e)
{
    static const char *const name[HAND_JOBS] = {"protected", "open", "no-disk", "disk-again"};
    char block[24];
    (void)snprintf(block, sizeof block, "%s", name[job]);
    TRY(block_begin(r, block, r->b->lines & ~LINE_BIT(LINE_RDATA), e));
    TRY(run_select(r, true, e));
    TRY(run_wait(r, SHOW_MS, e));
    TRY(run_motor(r, true, e));
    TRY(job == HAND_OUT ? run_wait(r, r->start_ms, e) : run_spin_up(r, e));
    TRY(run_wait(r, SHOW_TURNS * r->turn_ms, e));
    if (job == HAND_IN && r->at >= 0) { /* a step tells the drive that its change was seen */
        TRY(run_seek_settled(r, r->at > 0 ? r->at - 1 : 1, e));
        TRY(run_wait(r, SHOW_MS, e));
    }
    struct adapter_status st;
    TRY(session_status(r->s, &st, e));
    bool protected = (st.levels & WIRE_BIT(WIRE_WPROT)) == 0;
    if (job == HAND_PROTECT || job == HAND_OPEN)
        r->wprot_right[job == HAND_OPEN] = protected == (job == HAND_PROTECT);
    return block_end(r, e);
}

static enum err no_write(struct run *r)
{
    (void)snprintf(r->out->write_why, sizeof r->out->write_why,
                   "the scratch disk was not put in");
    return ERR_OK;
}

enum err block_hands(struct run *r, struct err_msg *e)
{
    const struct accept_bench *b = r->b;
    for (int job = 0; b->hand != NULL && job < HAND_JOBS; job++) {
        bool done = false;
        TRY(run_motor(r, false, e));
        TRY(run_select(r, false, e));
        TRY(b->hand(b->hand_ctx, (enum hand_job)job, &done, e));
        r->out->shown[job] = done;
        if (done)
            TRY(show(r, (enum hand_job)job, e));
        if (job == HAND_OPEN && b->scratch != NULL)
            TRY(done ? block_write(r, e) : no_write(r));
    }
    return ERR_OK;
}
