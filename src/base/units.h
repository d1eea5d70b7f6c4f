/* Exact time: ticks of a rational length, converted by position and never by interval.
 *
 * A tick is fs_num / fs_den femtoseconds. 1 fs to 100 s per tick can be held. All conversions
 * round to nearest and report what does not fit.
 */
#ifndef WHICHEND_BASE_UNITS_H
#define WHICHEND_BASE_UNITS_H

#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define NS_PER_S  INT64_C(1000000000)
#define NS_PER_MS INT64_C(1000000)
#define NS_PER_US INT64_C(1000)
#define PS_PER_NS INT64_C(1000)
#define FS_PER_NS INT64_C(1000000)
#define FS_PER_S  INT64_C(1000000000000000)

struct tick {
    int64_t fs_num; /* 1 .. 100 s in fs */
    int64_t fs_den; /* 1 .. 2^40 */
};

/* true when both parts are in range */
bool tick_valid(struct tick t);

/* Length of one tick in ns; for display only. */
double tick_ns(struct tick t);

/* Position in ticks (0 or more) to ns / ps, rounded to nearest; false where it does not fit
 * int64. */
bool ticks_to_ns(int64_t ticks, struct tick t, int64_t *out_ns);
bool ticks_to_ps(int64_t ticks, struct tick t, int64_t *out_ps);
bool ns_to_ticks(int64_t ns, struct tick t, int64_t *out_ticks);

/* The same conversions for many positions, without a division in each. */
struct tick_scale {
    uint64_t num, den, half, inverse;
    uint64_t most; /* ticks beyond which ticks_to_ns / ticks_to_ps must be asked */
};
struct tick_scale tick_scale_ns(struct tick t);
struct tick_scale tick_scale_ps(struct tick t);
/* 0 <= ticks <= s->most */
static inline int64_t tick_scaled(const struct tick_scale *s, int64_t ticks)
{
    __extension__ typedef unsigned __int128 u128;
    uint64_t x = (uint64_t)ticks * s->num + s->half;
    if (s->den == 1) {
        return (int64_t)x;
    }
    uint64_t q = (uint64_t)((u128)x * s->inverse >> 64); /* right, or one too low */
    return (int64_t)(q + (x - q * s->den >= s->den));
}

bool add_i64(int64_t a, int64_t b, int64_t *out);
bool mul_i64(int64_t a, int64_t b, int64_t *out);
bool mul_size(size_t a, size_t b, size_t *out);

#endif
