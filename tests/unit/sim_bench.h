/* One rehearsed bench and questions to what its taps saw. */
#ifndef TEST_SIM_BENCH_H
#define TEST_SIM_BENCH_H

#include "sim_session.h"

struct bench {
    struct parts parts;
    struct sim_options options;
    struct session session;
};

static inline void play(struct bench *b, const char *machine, const char *drive,
                        const char *cable, const char *fault, uint64_t seed, unsigned asked)
{
    load_parts(&b->parts, machine, drive, cable);
    b->options = options_of(&b->parts, fault, seed);
    b->options.asked = asked;
    run_session(&b->options, &b->session);
}

static inline void play_dd(struct bench *b, const char *fault, unsigned asked)
{
    play(b, "controller-wd177x", "drive-35-dd", "ribbon-34-straight", fault, 31, asked);
}

static inline void done(struct bench *b)
{
    free_session(&b->session);
    free_parts(&b->parts);
}

static inline bool alive(const struct bench *b, int tap, enum line line)
{
    return falls(&b->session, tap, line) > 0;
}

static inline bool always_low(const struct bench *b, int tap, enum line line)
{
    return low_ns(&b->session, tap, line) == b->session.result.seconds_ns;
}

#endif
