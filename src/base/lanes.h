/* Four floats that are worked on at once, where the compiler and the machine can. */
#ifndef WHICHEND_BASE_LANES_H
#define WHICHEND_BASE_LANES_H

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#define LANES 4

typedef float lanes __attribute__((vector_size(4 * LANES)));
typedef int32_t lane_ints __attribute__((vector_size(4 * LANES)));

#define LANES_ROUNDER 12582912.0F /* 1.5 x 2^23: adding it rounds a float to a whole number */

static inline lanes lanes_all(float x)
{
    return (lanes){x, x, x, x};
}

static inline lanes lanes_nearest(lanes x)
{
    return (x + LANES_ROUNDER) - LANES_ROUNDER;
}

/* yes where the mask is set, no elsewhere. */
static inline lanes lanes_choose(lane_ints mask, lanes yes, lanes no)
{
    return (lanes)(((lane_ints)yes & mask) | ((lane_ints)no & ~mask));
}

static inline lanes lanes_clamped(lanes x, lanes low, lanes high)
{
    x = lanes_choose(x < low, low, x);
    return lanes_choose(x > high, high, x);
}

static inline bool lanes_any(lane_ints mask)
{
    uint64_t half[2];
    memcpy(half, &mask, sizeof half);
    return (half[0] | half[1]) != 0;
}

/* Picoseconds: one bit less, for signed numbers convert fast, and what is lost is 1 ps. */
static inline lanes lanes_ps(const uint32_t *p)
{
    lane_ints whole;
    memcpy(&whole, p, sizeof whole);
    typedef uint32_t lane_uints __attribute__((vector_size(4 * LANES)));
    lane_ints half = (lane_ints)((lane_uints)whole >> 1);
    return __builtin_convertvector(half, lanes) * 2.0F;
}

/* Whole numbers below 2^31; larger ones count as that. */
static inline lanes lanes_whole(const uint32_t *p)
{
    lane_ints whole;
    memcpy(&whole, p, sizeof whole);
    lane_ints over = whole < 0;
    return __builtin_convertvector((whole & ~over) | (over & INT32_MAX), lanes);
}

static inline lanes lanes_floats(const float *p)
{
    lanes x;
    memcpy(&x, p, sizeof x);
    return x;
}

static inline lanes lanes_size(lanes x)
{
    return (lanes)((lane_ints)x & INT32_MAX);
}

static inline int32_t lane_ints_sum(lane_ints x)
{
    return (x[0] + x[1]) + (x[2] + x[3]);
}

static inline lane_ints lane_ints_load(const int32_t *p)
{
    lane_ints x;
    memcpy(&x, p, sizeof x);
    return x;
}

static inline float lanes_sum(lanes x)
{
    return (x[0] + x[1]) + (x[2] + x[3]);
}

#endif
