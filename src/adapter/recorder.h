/* A stream into a capture file (.wec), with everything that was lost said in it.
 *
 * A time that is not known is not recorded in the file: every line's level is LEVEL_UNKNOWN
 * from its beginning until the device says it again, so no measurement spans it. The file can
 * be read up to about a second before whatever moment the program ends at.
 */
#ifndef WHICHEND_ADAPTER_RECORDER_H
#define WHICHEND_ADAPTER_RECORDER_H

#include "adapter/frame.h"
#include "capture/capture.h"

#define RECORDER_LOSSES_MAX 64 /* kept one by one; more are counted */

struct recorder_loss {
    int64_t from_ns, to_ns; /* of the capture */
    uint32_t count;         /* events; LOST_UNCOUNTED */
    enum loss_cause cause;
    enum lost_reason reason; /* of LOSS_TOLD */
};

struct recorder {
    struct capture_writer *writer; /* NULL once finished */
    struct tick tick;
    line_set lines;
    unsigned rails;
    bool begun;
    uint64_t first; /* device tick of the capture's tick 0 */
    int64_t now;    /* last tick written */
    int64_t flushed_at;
    int64_t flush_ticks;       /* a second */
    uint64_t edges;            /* changes from one known level to the other */
    uint8_t level[LINE_COUNT]; /* in the file */
    uint64_t lost_events;
    bool lost_uncounted;
    size_t losses; /* all of them */
    struct recorder_loss loss[RECORDER_LOSSES_MAX];
    struct frame_sink watch; /* told of everything too; ctx and calls may be NULL */
};

/* info as for capture_writer_open; its tick is the session's. Times in the file count from the
 * first frame. */
enum err recorder_open(struct recorder *r, const char *path, const struct capture_info *info,
                       bool replace, const struct frame_sink *watch, struct err_msg *e);
/* The sink to give to session_start. */
struct frame_sink recorder_sink(struct recorder *r);
/* Time went on up to this device tick: the file may be brought up to date. */
enum err recorder_keep(struct recorder *r, uint64_t tick, struct err_msg *e);
/* The stream ended at this device tick; the file is whole. */
enum err recorder_finish(struct recorder *r, uint64_t end_tick, struct err_msg *e);
/* Something failed: keep what there is. Safe on a zeroed struct. */
void recorder_abandon(struct recorder *r);

#endif
