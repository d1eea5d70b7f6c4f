/* A simulated drive put through the acceptance plan, and its sheet. */
#ifndef TEST_ACCEPT_BENCH_H
#define TEST_ACCEPT_BENCH_H

#include "accept/drive_limits.h"
#include "accept/plan.h"
#include "sim/sim_link_private.h"
#include "sim/spec_lines.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

struct parts {
    struct profile *machine, *drive, *cable;
};

static inline void load_parts(struct parts *p, const char *machine, const char *drive,
                              const char *cable)
{
    struct err_msg e = {0};
    struct profile_path *path = NULL;
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_CONTROLLER, machine, &p->machine, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_DRIVE, drive, &p->drive, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_CABLE, cable, &p->cable, &e), ERR_OK);
    profile_path_free(path);
}

static inline void free_parts(struct parts *p)
{
    profile_free(p->machine);
    profile_free(p->drive);
    profile_free(p->cable);
}

/* What the simulator knows of the drive that it played. */
struct truth {
    double rpm, start_ms, settle_ms, step_ms, index_width_us, slip_percent, wow_percent;
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

static inline struct truth truth_of(const struct session *s)
{
    const struct sim_link *k = s->link.state;
    const struct drive_spec *d = &k->world->spec.drive;
    return (struct truth){.rpm = d->speed * d->nominal_rpm,
                          .start_ms = (double)d->start_ns / 1e6,
                          .settle_ms = (double)d->settle_ns / 1e6,
                          .step_ms = (double)d->step_min_ns / 1e6,
                          .index_width_us = (double)d->index_width_ns / 1e3 / d->speed,
                          .slip_percent = 100 * d->slip,
                          .wow_percent = 100 * d->wow};
}

static inline void accept_work(struct accepted *t, struct session *s, const struct parts *p,
                               const struct sim_options *o, bool quick)
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
                             .folder = folder};
    if (b.lines & LINE_BIT(LINE_MOTOR))
        b.motor = WIRE_BIT(WIRE_MOTOR);
    if (b.lines & LINE_BIT(LINE_HLOAD))
        b.load = WIRE_BIT(WIRE_HLOAD);
    t->err = accept_plan_run(&b, &t->run, &t->message);
    if (t->err == ERR_OK)
        t->truth = truth_of(s);
    struct accept_options a = {.drive = p->drive, .facts = {.adapter = true}};
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
        accept_work(t, &s, &p, &o, quick);
    session_close(&s);
    free_parts(&p);
    return t;
}

#endif
