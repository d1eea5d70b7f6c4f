#include "base/units.h"

__extension__ typedef __int128 i128;

#define FS_NUM_MAX (100 * FS_PER_S)
#define FS_DEN_MAX (INT64_C(1) << 40)

bool tick_valid(struct tick t)
{
    return t.fs_num >= 1 && t.fs_num <= FS_NUM_MAX && t.fs_den >= 1 && t.fs_den <= FS_DEN_MAX;
}

double tick_ns(struct tick t)
{
    return (double)t.fs_num / (double)t.fs_den / 1e6;
}

/* count * num / den to nearest. Every caller's product stays below 2^124, so 128 bits hold it.
 */
static bool scale(int64_t count, i128 num, i128 den, int64_t *out)
{
    i128 r = (count * num + den / 2) / den;
    if (r > INT64_MAX)
        return false;
    *out = (int64_t)r;
    return true;
}

bool ticks_to_ns(int64_t ticks, struct tick t, int64_t *out_ns)
{
    if (ticks < 0 || !tick_valid(t))
        return false;
    return scale(ticks, t.fs_num, (i128)t.fs_den * FS_PER_NS, out_ns);
}

bool ticks_to_ps(int64_t ticks, struct tick t, int64_t *out_ps)
{
    if (ticks < 0 || !tick_valid(t))
        return false;
    return scale(ticks, t.fs_num, (i128)t.fs_den * (FS_PER_NS / PS_PER_NS), out_ps);
}

static struct tick_scale scale_to(struct tick t, int64_t unit_fs)
{
    struct tick_scale s = {.num = (uint64_t)t.fs_num, .most = 0};
    i128 den = (i128)t.fs_den * unit_fs;
    if (!tick_valid(t) || den > INT64_MAX / 2) {
        return (struct tick_scale){.num = 1, .den = 1};
    }
    s.den = (uint64_t)den;
    for (uint64_t a = s.den, b = s.num, c; b != 0; a = b, b = c) { /* to lowest terms */
        c = a % b;
        if (c == 0) {
            s.den /= b;
            s.num /= b;
        }
    }
    s.half = s.den / 2;
    s.inverse = UINT64_MAX / s.den;
    s.most = (INT64_MAX - s.half) / s.num;
    return s;
}

struct tick_scale tick_scale_ns(struct tick t)
{
    return scale_to(t, FS_PER_NS);
}

struct tick_scale tick_scale_ps(struct tick t)
{
    return scale_to(t, FS_PER_NS / PS_PER_NS);
}

bool ns_to_ticks(int64_t ns, struct tick t, int64_t *out_ticks)
{
    if (ns < 0 || !tick_valid(t))
        return false;
    return scale(ns, (i128)t.fs_den * FS_PER_NS, t.fs_num, out_ticks);
}

bool add_i64(int64_t a, int64_t b, int64_t *out)
{
    return !__builtin_add_overflow(a, b, out);
}

bool mul_i64(int64_t a, int64_t b, int64_t *out)
{
    return !__builtin_mul_overflow(a, b, out);
}

bool mul_size(size_t a, size_t b, size_t *out)
{
    return !__builtin_mul_overflow(a, b, out);
}
