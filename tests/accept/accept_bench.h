/* A simulated drive put through the acceptance plan, and its sheet. */
#ifndef TEST_ACCEPT_BENCH_H
#define TEST_ACCEPT_BENCH_H

#include "accept/drive_limits.h"
#include "accept/plan.h"
#include "sim/sim_link_private.h"
#include "sim/spec_lines.h"
#include "unit/profile_parts.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

/* What the simulator knows of the drive that it played; every number is its own. */
struct truth {
    double rpm, start_ms, settle_ms, step_ms, index_width_us, slip_percent;
    double swing_percent; /* half of peak to peak inside a turn, slow wander left out */
};

struct accepted {
    struct accept_sheet sheet;
    struct accept_run run;
    struct truth truth;
    enum err err;
    struct err_msg message;
};

/* The machine that each drive is tried with; only the cable counts, the adapter stands in its
 * place. */
static inline const char *cable_for(const char *drive)
{
    return strcmp(drive, "drive-8") == 0   ? "ribbon-50"
           : strcmp(drive, "drive-3") == 0 ? "ribbon-26"
                                           : "ribbon-34-straight";
}

/* Speed off its mean at an angle, in turns: what swing() of the simulator's spindle repeats. */
static inline double swing_at(const struct drive *d, double turns)
{
    double angle = 2 * M_PI * (turns + d->spindle.wow_phase);
    return d->spec->wow * sin(angle) + d->spec->wow_ninth * sin(9 * angle);
}

static inline struct truth truth_of(const struct session *s)
{
    const struct sim_link *k = s->link.state;
    const struct drive *drive = &k->world->drive;
    const struct drive_spec *d = drive->spec;
    double nominal_ns = 60e9 / d->nominal_rpm;
    double mark = (double)d->index_width_ns / drive->disk->format.turn_ns; /* turns */
    double low = 0;
    double high = 0;
    double turn = 0; /* time of a turn, and of the mark, where a swing of 0 takes 1 */
    double time = 0;
    const int parts = 2000;
    for (int i = 0; i < parts; i++) {
        double x = swing_at(drive, (double)i / parts);
        low = fmin(low, x);
        high = fmax(high, x);
        turn += 1 / (1 + swing_at(drive, (i + 0.5) / parts)) / parts;
        time += mark / parts / (1 + swing_at(drive, mark * (i + 0.5) / parts));
    }
    return (struct truth){.rpm = d->speed * d->nominal_rpm / turn,
                          .start_ms = (double)d->start_ns / 5e6 * log(50), /* to 2 % */
                          .settle_ms = (double)d->settle_ns / 1e6,
                          .step_ms = 0.55 * (double)d->step_min_ns / 1e6,
                          .index_width_us = time * nominal_ns / d->speed / 1e3,
                          .slip_percent = 100 * d->slip,
                          .swing_percent = 50 * (high - low)};
}

static inline enum err sim_hand(void *ctx, enum hand_job job, bool *done, struct err_msg *e)
{
    static const enum sim_disk_job sim[HAND_JOBS] = {SIM_DISK_PROTECT, SIM_DISK_OPEN,
                                                     SIM_DISK_OUT, SIM_DISK_IN};
    (void)e;
    *done = true;
    return sim_link_disk(ctx, sim[job]);
}

static inline enum err sim_type(void *ctx, const char *name, char *out, size_t room,
                                struct err_msg *e)
{
    (void)ctx;
    (void)e;
    (void)snprintf(out, room, "%s", name);
    return ERR_OK;
}

static inline void accept_work(struct accepted *t, struct session *s, const struct parts *p,
                               const struct sim_options *o, bool quick, bool write)
{
    char folder[] = "/tmp/whichend-test-XXXXXX";
    const char *path[ACCEPT_CAPTURES_MAX];
    line_set machine = 0;
    line_set drive = 0;
    assert_non_null(mkdtemp(folder));
    sim_spec_lines(o, &machine, &drive);
    struct accept_bench b = {.session = s,
                             .drive = p->drive,
                             .limits = drive_limits(p->drive),
                             .select = WIRE_BIT(WIRE_SELECT0),
                             .lines = sim_spec_tap_lines(o, machine, drive, false),
                             .quick = quick,
                             .folder = folder,
                             .hand = sim_hand,
                             .hand_ctx = &s->link,
                             .scratch = write ? "bench scratch 4" : NULL,
                             .type_back = sim_type};
    if (b.lines & LINE_BIT(LINE_MOTOR))
        b.motor = WIRE_BIT(WIRE_MOTOR);
    if (b.lines & LINE_BIT(LINE_HLOAD))
        b.load = WIRE_BIT(WIRE_HLOAD);
    t->err = accept_plan_run(&b, &t->run, &t->message);
    if (t->err == ERR_OK)
        t->truth = truth_of(s);
    struct accept_options a = {.drive = p->drive, .facts = {.adapter = true}};
    a.facts.track0_stays = t->run.track0_stays;
    a.facts.write_asked = write;
    a.facts.write_why = t->run.write_why[0] != '\0' ? t->run.write_why : NULL;
    memcpy(a.facts.shown, t->run.shown, sizeof a.facts.shown);
    a.facts.rest = t->run.rest[0] != '\0' ? t->run.rest : NULL;
    for (size_t i = 0; i < t->run.count; i++)
        path[i] = t->run.path[i];
    if (t->err == ERR_OK)
        t->err = accept_captures(path, t->run.count, &a, &t->sheet, &t->message);
    for (size_t i = 0; i < t->run.count; i++)
        (void)unlink(t->run.path[i]);
    (void)rmdir(folder);
}

/* fault: as --adapter sim:FAULT takes it. Free with free(). */
static inline struct accepted *accept_drive(const char *drive, const char *fault, uint64_t seed,
                                            bool quick)
{
    struct parts p;
    struct accepted *t = calloc(1, sizeof *t);
    assert_non_null(t);
    load_parts(&p, "controller-generic", drive, cable_for(drive));
    struct sim_options o = {
        .machine = p.machine, .drive = p.drive, .cable = p.cable, .seed = seed};
    struct link link = {0};
    struct session s = {0};
    t->err = sim_link_open(fault, &o, &link, &t->message);
    if (t->err == ERR_OK)
        t->err = session_open(&s, &link, &t->message);
    if (t->err == ERR_OK)
        accept_work(t, &s, &p, &o, quick, strstr(fault, "write") != NULL);
    session_close(&s);
    free_parts(&p);
    return t;
}

#endif
