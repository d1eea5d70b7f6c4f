#include "sim/rng.h"

/* Weyl sequence with a finaliser of two multiplications ("SplitMix64", Steele, Lea and Flood
 * 2014). */
uint64_t sim_rng_u64(struct rng *r)
{
    r->state += UINT64_C(0x9E3779B97F4A7C15);
    uint64_t z = r->state;
    z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
    return z ^ (z >> 31);
}

void sim_rng_seed(struct rng *r, uint64_t seed, uint64_t stream)
{
    r->state = seed;
    uint64_t first = sim_rng_u64(r);
    r->state = first ^ (stream * UINT64_C(0xD1342543DE82EF95));
    (void)sim_rng_u64(r);
}

int64_t sim_rng_between(struct rng *r, int64_t low, int64_t high)
{
    if (high <= low)
        return low;
    uint64_t span = (uint64_t)(high - low) + 1;
    return low + (int64_t)(sim_rng_u64(r) % span);
}

double sim_rng_unit(struct rng *r)
{
    return (double)(sim_rng_u64(r) >> 11) * (1.0 / 9007199254740992.0);
}

double sim_rng_range(struct rng *r, double low, double high)
{
    return low + (high - low) * sim_rng_unit(r);
}

bool sim_rng_chance(struct rng *r, double p)
{
    return sim_rng_unit(r) < p;
}

double sim_rng_gauss(struct rng *r)
{
    /* eight uniform 16-bit numbers: variance 8/12 of the squared range */
    uint64_t a = sim_rng_u64(r);
    uint64_t b = sim_rng_u64(r);
    int64_t sum = 0;
    for (int i = 0; i < 4; i++) {
        sum += (int64_t)((a >> (16 * i)) & 0xFFFF) + (int64_t)((b >> (16 * i)) & 0xFFFF);
    }
    return ((double)sum - 4.0 * 65535.0) / 65536.0 * 1.2247448713915890;
}

double sim_sine_turns(double turns)
{
    double x = turns - (double)(int64_t)turns;
    if (x < 0)
        x += 1.0;
    double sign = 1.0;
    if (x >= 0.5) {
        x -= 0.5;
        sign = -1.0;
    }
    /* Bhaskara's parabola, refined once: error below 0.1 % of the amplitude */
    double y = 16.0 * x * (0.5 - x);
    return sign * (0.775 * y + 0.225 * y * y);
}
