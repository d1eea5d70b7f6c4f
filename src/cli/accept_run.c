#include "cli/accept_run.h"

#include "accept/plan.h"
#include "cli/adapter_use.h"
#include "sim/sim_link.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define WARM_MOST 240

static const char NOTE[] =
    "As a machine: the machine's own plug is off the drive. Measure the rails at the drive's\n"
    "power plug first; an 8-inch drive carries mains: guard fitted. The disk is recorded,\n"
    "protected, and no valued one: the head goes over all of it many times.";

/* Where the captures go: the person's folder, or one of our own. */
struct place {
    char path[200];
    bool ours;
};

static enum err place_make(const struct args *a, struct place *p, struct err_msg *e)
{
    const char *keep = args_value(a, OPT_KEEP);
    const char *temp = getenv("TMPDIR");
    *p = (struct place){.ours = keep == NULL};
    int n = p->ours ? snprintf(p->path, sizeof p->path, "%s/whichend-accept-XXXXXX",
                               temp != NULL && temp[0] != '\0' ? temp : "/tmp")
                    : snprintf(p->path, sizeof p->path, "%s", keep);
    if (n < 0 || (size_t)n >= sizeof p->path)
        return err_set(e, ERR_CREATE, "the folder's name is too long");
    if (p->ours)
        return mkdtemp(p->path) != NULL
                   ? ERR_OK
                   : err_set(e, ERR_CREATE, "%s: %s", p->path, strerror(errno));
    if (mkdir(p->path, 0777) != 0 && !(errno == EEXIST && args_has(a, OPT_REPLACE)))
        return err_set(e, ERR_CREATE, "%s: %s", p->path, strerror(errno));
    return ERR_OK;
}

static void place_clear(const struct place *p, const struct accept_run *run)
{
    if (!p->ours)
        return;
    for (size_t i = 0; i < run->count; i++)
        (void)unlink(run->path[i]);
    (void)rmdir(p->path);
}

static void step(void *ctx, const char *what, double share)
{
    progress_step(ctx, what, share);
}

/* Protection counts for nothing while its sensor is a suspect: no valued disk goes in. */
static enum err hand(void *ctx, enum hand_job job, bool *done, struct err_msg *e)
{
    static const char *const ask[HAND_JOBS] = {
        "A scratch disk, protected, in the drive (never a valued one)? yes, or skip:",
        "The same disk, not protected, in the drive? yes, or skip:",
        "The disk out, lever or door closed again if it closes without one? yes, or skip:",
        "The recorded disk, protected, in again? yes, or skip:"};
    static const enum sim_disk_job sim[HAND_JOBS] = {SIM_DISK_PROTECT, SIM_DISK_OPEN,
                                                     SIM_DISK_OUT, SIM_DISK_IN};
    struct adapter_use *u = ctx;
    char line[64] = "";
    *done = u->simulated;
    if (u->simulated)
        return sim_link_disk(&u->session.link, sim[job]);
    for (;;) {
        TRY(adapter_use_answer(u, ask[job], line, sizeof line, e));
        *done = strcmp(line, "yes") == 0;
        if (*done || strcmp(line, "skip") == 0)
            return ERR_OK;
    }
}

/* A disk that holds data: its name comes from the person's hands, not from ours. */
static enum err type_back(void *ctx, const char *name, char *out, size_t room,
                          struct err_msg *e)
{
    struct adapter_use *u = ctx;
    char ask[160];
    (void)snprintf(ask, sizeof ask,
                   "The disk in the drive is recorded, and is overwritten now. Type its name, "
                   "%s, or nothing:",
                   name);
    return adapter_use_answer(u, ask, out, room, e);
}

static enum err work(const struct args *a, struct adapter_use *u, const char *folder,
                     struct progress *p, struct accept_run *run, struct err_msg *e)
{
    int64_t minutes = 0;
    TRY(args_number(a, OPT_WARM, 0, WARM_MOST, &minutes, e));
    struct accept_bench b = {.session = &u->session,
                             .drive = u->drive,
                             .limits = adapter_use_limits(u),
                             .select = adapter_use_select(u),
                             .motor = adapter_use_motor(u),
                             .lines = adapter_use_lines(u, false),
                             .quick = args_has(a, OPT_QUICK),
                             .warm_minutes = (int)minutes,
                             .folder = folder,
                             .hand = args_has(a, OPT_HANDS) ? hand : NULL,
                             .hand_ctx = u,
                             .scratch = args_value(a, OPT_SCRATCH),
                             .type_back = type_back,
                             .progress = step,
                             .progress_ctx = p,
                             .stop = &stop_asked};
    if (b.lines & LINE_BIT(LINE_HLOAD))
        b.load = WIRE_BIT(WIRE_HLOAD);
    TRY(adapter_use_ask(
        u, "Nobody else is on the bus. Recorded, protected disk in, lever closed?", e));
    return accept_plan_run(&b, run, e);
}

static enum err read_back(const struct args *a, const struct adapter_use *u,
                          const struct accept_run *run, struct progress *p,
                          struct accept_sheet *s, struct err_msg *e)
{
    const char *path[ACCEPT_CAPTURES_MAX];
    struct accept_options o = {
        .drive = u->drive, .progress = progress_share, .progress_ctx = p, .stop = &stop_asked};
    TRY(accept_facts_of(a, &o.facts, e));
    o.facts.adapter = true;
    o.facts.track0_stays = run->track0_stays;
    int64_t minutes = 0;
    TRY(args_number(a, OPT_WARM, 0, WARM_MOST, &minutes, e));
    o.facts.warm_minutes = (int)minutes;
    o.elsewhere = args_value(a, OPT_ELSEWHERE);
    o.facts.write_asked = args_has(a, OPT_SCRATCH);
    o.facts.write_why = run->write_why[0] != '\0' ? run->write_why : NULL;
    memcpy(o.facts.shown, run->shown, sizeof o.facts.shown);
    o.facts.rest = run->rest[0] != '\0' ? run->rest : NULL;
    for (size_t i = 0; i < run->count; i++)
        path[i] = run->path[i];
    progress_step(p, "working out", 0);
    TRY(accept_captures(path, run->count, &o, s, e));
    int n = snprintf(s->source, sizeof s->source, "adapter %.80s%s", u->session.link.name,
                     args_has(a, OPT_QUICK) ? ", quick" : "");
    if (run->losses > 0 && n > 0 && (size_t)n < sizeof s->source)
        (void)snprintf(s->source + n, sizeof s->source - (size_t)n,
                       "; %zu times something was lost, nothing is measured across it",
                       run->losses);
    return ERR_OK;
}

enum err accept_over_adapter(const struct args *a, struct accept_sheet *s, struct err_msg *e)
{
    struct adapter_use u;
    struct progress p;
    struct place place;
    struct accept_run *run = calloc(1, sizeof *run);
    if (run == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    enum err err = adapter_use_open(a, NOTE, &u, e);
    if (err != ERR_OK) {
        free(run);
        return err;
    }
    err = place_make(a, &place, e);
    if (err == ERR_OK) {
        progress_begin(&p, a, "working the drive");
        err = work(a, &u, place.path, &p, run, e);
        if (err == ERR_OK)
            err = read_back(a, &u, run, &p, s, e);
        progress_end(&p);
        place_clear(&place, run);
    }
    adapter_use_close(&u);
    free(run);
    return err;
}
