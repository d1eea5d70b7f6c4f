/* A session with a simulated adapter on a simulated drive, and what its stream told. */
#ifndef WHICHEND_TESTS_ADAPTER_BENCH_H
#define WHICHEND_TESTS_ADAPTER_BENCH_H

#include "adapter/session.h"
#include "profile/profile.h"
#include "sim/sim_link.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

struct adapter_bench {
    struct profile *machine, *drive, *cable;
    struct sim_options options;
    struct session s;
    int64_t hz;
    uint64_t *fall; /* of RDATA, device ticks */
    size_t falls, cap;
    uint8_t rdata;
    size_t losses;
    struct err_msg e;
};

static enum err ab_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct adapter_bench *a = ctx;
    (void)e;
    if (line != LINE_RDATA)
        return ERR_OK;
    if (level == LEVEL_LOW && a->rdata == LEVEL_HIGH) {
        if (a->falls == a->cap) {
            a->cap = a->cap == 0 ? 65536 : 2 * a->cap;
            a->fall = realloc(a->fall, a->cap * sizeof *a->fall);
            assert_non_null(a->fall);
        }
        a->fall[a->falls++] = tick;
    }
    a->rdata = (uint8_t)level;
    return ERR_OK;
}

static enum err ab_lost(void *ctx, const struct frame_loss *loss, struct err_msg *e)
{
    struct adapter_bench *a = ctx;
    (void)loss;
    (void)e;
    a->losses++;
    return ERR_OK;
}

#define OK(call) assert_int_equal((call), ERR_OK)

/* Role taken and limits told; 80 cylinders, invented times. */
static inline void ab_open(struct adapter_bench *a, const char *drive, const char *fault,
                           enum wire_role role)
{
    struct profile_path *path = NULL;
    struct link link;
    *a = (struct adapter_bench){.rdata = LEVEL_UNKNOWN};
    OK(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &a->e));
    OK(profile_load(path, PROFILE_CONTROLLER, "controller-generic", &a->machine, &a->e));
    OK(profile_load(path, PROFILE_DRIVE, drive, &a->drive, &a->e));
    OK(profile_load(path, PROFILE_CABLE, "ribbon-34-straight", &a->cable, &a->e));
    profile_path_free(path);
    a->options = (struct sim_options){
        .machine = a->machine, .drive = a->drive, .cable = a->cable, .seed = 5};
    OK(sim_link_open(fault, &a->options, &link, &a->e));
    OK(session_open(&a->s, &link, &a->e));
    a->hz = a->s.caps.tick_hz;
    OK(session_role(&a->s, role, 0, &a->e));
    const struct adapter_limits l = {.last_cylinder = 79,
                                     .step_low_us = 5,
                                     .step_us = 3000,
                                     .turn_us = 4000,
                                     .settle_us = 15000,
                                     .erase_us = 1000,
                                     .gate_us = 220000};
    if (role != WIRE_ROLE_INLINE)
        OK(session_limits(&a->s, &l, &a->e));
    const struct frame_sink sink = {a, ab_edge, ab_lost, NULL, NULL};
    OK(session_start(&a->s, WIRE_ALL, &sink, &a->e));
}

/* As a machine, unit 0 turning at speed and restored. */
static inline void ab_drive_on(struct adapter_bench *a)
{
    int cylinder = -1;
    const uint32_t on = WIRE_BIT(WIRE_SELECT0) | WIRE_BIT(WIRE_MOTOR);
    bool pull_ups;
    OK(session_pull_ups(&a->s, &pull_ups, &a->e));
    assert_true(pull_ups);
    OK(session_wait(&a->s, 2100, &a->e));
    OK(session_drive(&a->s, on, on, &a->e));
    OK(session_wait(&a->s, 1000, &a->e));
    OK(session_step(&a->s, true, 89, &cylinder, &a->e));
    assert_int_equal(cylinder, 0);
}

static inline void ab_seek(struct adapter_bench *a, unsigned inward)
{
    int cylinder = -1;
    OK(session_step(&a->s, false, inward, &cylinder, &a->e));
    OK(session_wait(&a->s, 20, &a->e));
}

static inline void ab_close(struct adapter_bench *a)
{
    session_close(&a->s);
    profile_free(a->machine);
    profile_free(a->drive);
    profile_free(a->cable);
    free(a->fall);
}

#endif
