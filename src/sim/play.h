/* A session played into any sink: what rehearse.c writes to files and what tests look at. */
#ifndef WHICHEND_SIM_PLAY_H
#define WHICHEND_SIM_PLAY_H

#include "base/units.h"
#include "sim/sim.h"

enum { TAP_MACHINE_END, TAP_DRIVE_END, TAPS };

/* What a tap records, known before the session runs. */
struct sim_tap_info {
    bool used;
    struct tick tick;
    int64_t sample_fs;
    line_set lines;
    int pull_up_ohm;
};

struct sim_sink {
    void *ctx;
    /* Edges of one tap come in rising order; the first ones at tick 0 give every line's state.
     */
    enum err (*edge)(void *ctx, int tap, int64_t tick, enum line line, enum level level);
};

struct sim_result {
    const char *outcome; /* word of the contract */
    char error[64];      /* as the machine shows it; "" for none */
    int64_t seconds_ns;
    int64_t end_tick[TAPS];
    int operations, retries, failures;
    int64_t steps_given;
};

struct sim_play;
struct spec;

enum err sim_play_open(const struct sim_options *o, struct sim_play **out, struct err_msg *e);
/* The same with a guest on the bus (world.h), borrowed until close. */
struct guest;
enum err sim_play_open_with(const struct sim_options *o, const struct guest *guest,
                            struct sim_play **out, struct err_msg *e);
/* Time and the parts, for a guest to act on. */
struct world *sim_play_world(struct sim_play *p);
/* Set the parts up at time 0; what sim_play_run begins with. For a guest that lets time go on
 * by itself (sim_world_run), in place of sim_play_run. */
enum err sim_play_begin(struct sim_play *p, const struct sim_sink *sink, struct err_msg *e);
void sim_play_info(const struct sim_play *p, int tap, struct sim_tap_info *out);
const struct spec *sim_play_spec(const struct sim_play *p);
/* Once. */
enum err sim_play_run(struct sim_play *p, const struct sim_sink *sink, struct sim_result *out,
                      struct err_msg *e);
void sim_play_close(struct sim_play *p); /* NULL allowed */

#endif
