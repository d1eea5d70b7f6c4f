/* How long the read signal takes to be itself again after a seek: the time behind the last STEP
 * until its quality equals what it is later at the same place.
 *
 * Not the first readable identifier, which mostly measures the wait for it.
 */
#ifndef WHICHEND_ACCEPT_SETTLE_H
#define WHICHEND_ACCEPT_SETTLE_H

#include "accept/listen.h"
#include "signal/signal.h"

#define SETTLE_WINDOW_MS 1.0
#define SETTLE_WINDOWS   80 /* behind the last STEP */
#define SETTLE_STEADY    50 /* from this window on the signal is steady, if it ever is */
#define SETTLE_SEEKS_MAX 4096

struct settle_seek {
    int64_t ns; /* last STEP */
    int8_t direction;
    float spread[SETTLE_WINDOWS]; /* mean square deviation from whole cells, in cells^2 */
    uint16_t falls[SETTLE_WINDOWS];
};

struct settle {
    struct settle_seek *seek;
    size_t seeks, cap;
};

/* Adds the seeks of a capture that were followed by SETTLE_WINDOWS of reading. code: of its
 * read data; nothing is added where that has no cell. */
enum err settle_read(struct capture *c, const struct listen *l, const struct flux_quality *code,
                     volatile const int *stop, struct settle *s, struct err_msg *e);

struct settle_result {
    size_t seeks, inward, outward;
    double worst_ms; /* of one seek */
    double mean_ms;  /* of all together, which shows less */
    size_t never;    /* seeks behind which it was never steady */
};
/* false: no seek had a steady signal behind it. */
bool settle_find(const struct settle *s, struct settle_result *out);
void settle_release(struct settle *s);

#endif
