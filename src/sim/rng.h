/* Random numbers and a sine that are the same on every build: 64-bit integer arithmetic and
 * plain IEEE double sums and products, no libc rand and no libm. */
#ifndef WHICHEND_SIM_RNG_H
#define WHICHEND_SIM_RNG_H

#include <stdbool.h>
#include <stdint.h>

struct rng {
    uint64_t state;
};

/* Streams of one seed are independent: a fault in one part leaves the others as they were. */
void sim_rng_seed(struct rng *r, uint64_t seed, uint64_t stream);
uint64_t sim_rng_u64(struct rng *r);
int64_t sim_rng_between(struct rng *r, int64_t low, int64_t high); /* both included */
double sim_rng_unit(struct rng *r);                                /* 0 <= x < 1 */
double sim_rng_range(struct rng *r, double low, double high);
bool sim_rng_chance(struct rng *r, double p);
double sim_rng_gauss(struct rng *r); /* mean 0, standard deviation 1, cut at about 4.9 */

/* sin(2 pi turns), to about 1e-3. */
double sim_sine_turns(double turns);

#endif
