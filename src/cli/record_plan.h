/* What a recording does, role by role; for verb_record.c and verb_adjust.c. */
#ifndef WHICHEND_CLI_RECORD_PLAN_H
#define WHICHEND_CLI_RECORD_PLAN_H

#include "adapter/player.h"
#include "adapter/recorder.h"
#include "cli/places.h"

struct record_plan {
    int64_t seconds; /* inline, as-drive */
    unsigned turns;
    struct places places; /* as-machine */
    bool wait_select;
    const char *play; /* capture to answer with */
};

struct recording {
    const char *path;
    enum wire_role role;
    struct record_plan plan;
    struct capture_info info;
    struct recorder recorder;
    struct frame_sink to; /* the recorder's */
    struct progress progress;
    bool started; /* the trigger has come, or none is waited for */
    uint8_t level[LINE_COUNT];
    uint64_t index_falls;
    bool pull_ups, pull_ups_known;
    unsigned tracks;
    struct player player;
    unsigned answered, wanted; /* as-drive: tracks */
    unsigned gaps;             /* as-drive: the host did not keep up */
    int64_t end_ns;
};

enum err record_plan(const struct args *a, struct recording *g, struct err_msg *e);
/* The plan against the drive's profile. */
enum err record_check(struct adapter_use *u, struct recording *g, struct err_msg *e);
/* Role, limits, file, stream. */
enum err record_begin(struct adapter_use *u, struct recording *g, bool replace,
                      struct err_msg *e);
enum err record_run(struct adapter_use *u, struct recording *g, struct err_msg *e);

#endif
