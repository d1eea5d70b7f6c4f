/* What rotation by index passes between its parts. */
#ifndef WHICHEND_SIGNAL_INDEX_PRIVATE_H
#define WHICHEND_SIGNAL_INDEX_PRIVATE_H

#include "signal/signal.h"

/* Index pulses as they count. */
struct index_list {
    struct index_pulse *pulse;
    size_t count;
};

/* For qsort(). */
int index_by_size(const void *a, const void *b);

/* Stretches in which no index can be expected: count pairs of start and end. */
struct index_gaps {
    const int64_t *ns;
    size_t count;
};
/* true when a gap lies, wholly or in part, between two times; *next is where to look first and
 * moves on. */
bool gap_between(const struct index_gaps *g, size_t *next, int64_t from_ns, int64_t to_ns);

/* Join edges that come back within the lock-out; in place. Returns how many were joined. Before
 * it is known whether the disk is hard-sectored only those are that come back within a pulse.
 */
int32_t index_join(struct index_list *l, double turn_ns, bool hard_sectored_too);
/* Hard-sectored: 10, 16 or 32 evenly spaced holes a turn and the index midway between two of
 * them. Returns the holes a turn and keeps the index pulses only; 0, and nothing changed, where
 * it is not so. */
int32_t index_hard_sectored(struct index_list *l);

/* One turn, from index to index. */
struct turn {
    int64_t start_ns, period_ns;
    bool first; /* behind a gap, or behind pulses that fitted no turn: speed may not have been
                   reached */
};
struct turn_list {
    struct turn *turn; /* room for as many as there are pulses */
    size_t count;
    int32_t missing, extra;
};
/* The commonest distance of pulses that can be a turn; 0 where there is none. ERR_MEMORY. */
enum err turn_period(const struct index_list *l, const struct index_gaps *g, double nominal_rpm,
                     double *out_ns);
void turns_walk(const struct index_list *l, const struct index_gaps *g, double period_ns,
                struct turn_list *out);

#endif
