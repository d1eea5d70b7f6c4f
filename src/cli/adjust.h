/* adjust: live figures while a person turns a screw. */
#ifndef WHICHEND_CLI_ADJUST_H
#define WHICHEND_CLI_ADJUST_H

#include "cli/adapter_use.h"

struct adjust {
    const struct args *a;
    struct adapter_use u;
    int64_t turns, seconds; /* 0: until Enter or Ctrl-C */
    bool live;              /* figures go to the terminal as they come */
};

/* Fill *out and *status; ERR_OK also where nothing could be measured. */
enum err adjust_speed(struct adjust *j, struct buf *out, int *status, struct err_msg *e);
enum err adjust_heads(struct adjust *j, struct buf *out, int *status, struct err_msg *e);
/* What adjust_heads asks before anything is opened. */
enum err adjust_heads_check(const struct args *a, struct err_msg *e);

/* As a machine: role, limits, pull-ups, listen, disk in; nothing is driven yet. */
enum err adjust_begin(struct adjust *j, uint32_t lines, const struct frame_sink *sink,
                      struct err_msg *e);
/* Let go, and read the stream to its end, while the sink still stands; hands `err` on, or what
 * failed here. */
enum err adjust_end(struct adjust *j, enum err err, struct err_msg *e);
/* The adapter let go by itself: ERR_ADAPTER. */
enum err adjust_held(struct adjust *j, struct err_msg *e);
/* Ctrl-C, or Enter at the terminal. */
bool adjust_ended(void);

#endif
