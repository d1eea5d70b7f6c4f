/* The run of an acceptance test over an adapter (role as-machine): block by block, each
 * recorded as a capture of its own, which accept_captures reads afterwards.
 *
 * A drive that does not do what a block needs ends that block, not the run: what was not seen
 * is not measured. Only the adapter's own failure is an error.
 */
#ifndef WHICHEND_ACCEPT_PLAN_H
#define WHICHEND_ACCEPT_PLAN_H

#include "accept/accept.h"
#include "adapter/session.h"
#include "base/line.h"

struct accept_bench {
    struct session *session; /* open, no role yet */
    const struct profile *drive;
    struct adapter_limits limits; /* of the drive's profile */
    uint32_t select, motor, load; /* outputs by WIRE_BIT; 0: none */
    line_set lines;               /* that the plug carries */
    bool quick;
    int warm_minutes;    /* of running between two looks; 0: none */
    const char *scratch; /* name of the disk that HAND_OPEN puts in, to write on; NULL: no */
    const char *folder;  /* where the captures go; it is there */
    /* Ask a person. *done false: nobody there, or not wanted. NULL: nobody. */
    enum err (*hand)(void *ctx, enum hand_job job, bool *done, struct err_msg *e);
    void *hand_ctx;
    /* The person types the name of a recorded disk back. NULL: nobody to do so. */
    enum err (*type_back)(void *ctx, const char *name, char *out, size_t room,
                          struct err_msg *e);
    void (*progress)(void *ctx, const char *what, double share); /* may be NULL */
    void *progress_ctx;
    volatile const int *stop;
};

struct accept_run {
    char path[ACCEPT_CAPTURES_MAX][256]; /* captures, in order */
    size_t count;
    bool pull_ups;
    size_t losses;                       /* times that something of the stream was lost */
    bool track0_stays, shown[HAND_JOBS]; /* for accept_facts */
    char write_why[200];                 /* why nothing was written; "" */
    char rest[200];                      /* why the run ended before its plan; "" */
};

/* ERR_ADAPTER, ERR_INTERRUPTED, and what writing a capture can return. Outputs are released
 * whatever happens; captures that were begun are whole. */
enum err accept_plan_run(const struct accept_bench *b, struct accept_run *out,
                         struct err_msg *e);

#endif
