/* Acceptance of a drive: what captures, and a run over the adapter, say about each line of the
 * sheet.
 *
 * One way to measure: a run over the adapter records its blocks as captures, and a sheet is
 * drawn from captures alone. What only the bench knows (what the person did, what the adapter
 * refused) travels in accept_facts.
 */
#ifndef WHICHEND_ACCEPT_ACCEPT_H
#define WHICHEND_ACCEPT_ACCEPT_H

#include "accept/sheet.h"
#include "base/err.h"
#include "capture/capture.h"
#include "profile/profile.h"

/* What a person is asked to do with the disk: a protected one in, an unprotected one in, out,
 * the recorded one in again. */
enum hand_job { HAND_PROTECT, HAND_OPEN, HAND_OUT, HAND_IN, HAND_JOBS };

/* What was told beside the captures. */
struct accept_facts {
    bool adapter;          /* a run over the adapter: all its blocks were tried */
    bool disk_elsewhere;   /* another drive wrote the disk in this one */
    bool track0_stays;     /* the adapter let go: TRK00 stayed active on the way inward */
    bool shown[HAND_JOBS]; /* done while a capture was taken */
    int warm_minutes;      /* of the warm run; 0: none */
    bool write_asked;      /* and a scratch disk was named */
    const char *write_why; /* why nothing was written; NULL: it was, or nobody asked */
    const char *rest;      /* why the run ended before its plan; NULL: it did not */
};

#define ACCEPT_CAPTURES_MAX 32

struct accept_options {
    const char *elsewhere; /* capture of a disk of this drive in another one; NULL: none */
    const struct profile *drive; /* borrowed during the call */
    const struct line_map *map;  /* NULL allowed */
    struct accept_facts facts;
    void (*progress)(void *ctx, double share); /* may be NULL */
    void *progress_ctx;
    volatile const int *stop; /* nonzero: ERR_INTERRUPTED; may be NULL */
};

/* Read captures of one drive and fill the sheet. ERR_NO_INPUT, ERR_FORMAT: as capture_open and
 * survey_run. */
enum err accept_captures(const char *const *path, size_t count, const struct accept_options *o,
                         struct accept_sheet *out, struct err_msg *e);

#endif
