/* How fast the drive can be stepped, and whether it loses steps over many seeks. */
#include "accept/plan_private.h"

#include <stdio.h>

#define ROUNDS     3
#define SEEKS      1000
#define SEEKS_FEW  100
#define CHECK_EACH 20 /* seeks between two looks at track 0 */

/* Seeks of all lengths, always the same ones: a plain generator (Park and Miller, 1988). */
static int32_t next_number(int32_t *state)
{
    *state = (int32_t)((int64_t)*state * 48271 % 2147483647);
    return *state;
}

/* Over the whole stroke and back, and over half of it: the longest trains are the hardest. */
static enum err strokes(struct run *r, bool *follows, struct err_msg *e)
{
    *follows = true;
    for (int i = 0; i < ROUNDS && *follows && !r->lost; i++) {
        TRY(run_seek_settled(r, i == 1 ? r->last / 2 : r->last, e));
        if (!r->lost)
            TRY(run_return(r, follows, e));
    }
    *follows = *follows && !r->lost;
    return ERR_OK;
}

static enum err try_rate(struct run *r, uint32_t step_us, bool *follows, struct err_msg *e)
{
    char name[24];
    (void)snprintf(name, sizeof name, "rate-%uus", step_us);
    *follows = false;
    TRY(run_start(r, step_us, e)); /* the adapter takes limits once a role */
    TRY(block_begin(r, name, r->b->lines & ~LINE_BIT(LINE_RDATA), e));
    TRY(run_spin_up(r, e));
    TRY(run_restore(r, e));
    if (!r->lost)
        TRY(strokes(r, follows, e));
    return block_end(r, e);
}

/* Track 0 was found at twice the limit: that much it follows. */
enum err block_rate(struct run *r, struct err_msg *e)
{
    static const uint32_t percent[] = {100, 130, 160};
    bool follows = false;
    for (size_t i = 0; i < sizeof percent / sizeof percent[0] && !follows; i++) {
        uint32_t step_us = r->b->limits.step_us / 100 * percent[i];
        TRY(try_rate(r, step_us, &follows, e));
        if (follows)
            r->step_us = step_us;
    }
    r->out->rest[0] = '\0';
    if (follows)
        return ERR_OK;
    TRY(run_start(r, r->step_us, e));
    TRY(block_begin(r, "again", r->b->lines & ~LINE_BIT(LINE_RDATA), e));
    TRY(run_spin_up(r, e));
    return block_end(r, e);
}

enum err block_slip(struct run *r, struct err_msg *e)
{
    int seeks = r->b->quick ? SEEKS_FEW : SEEKS;
    int32_t number = 20011;
    bool exact = true;
    TRY(block_begin(r, "seeks", r->b->lines & ~LINE_BIT(LINE_RDATA), e));
    TRY(run_restore(r, e));
    for (int i = 1; i <= seeks && !r->lost; i++) {
        int to = 1 + next_number(&number) % r->last;
        TRY(run_seek(r, to, e));
        exact = r->at == to;
        if (i % CHECK_EACH == 0 && !r->lost)
            TRY(run_return(r, &exact, e));
        if (!exact && !r->lost) /* where the head is must be known before it goes on */
            TRY(run_restore(r, e));
    }
    return block_end(r, e);
}
