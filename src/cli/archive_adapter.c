#include "cli/archive_adapter.h"

#include "cli/archive_bus.h"
#include "cli/archive_gate.h"
#include "cli/archive_plan.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define TURNS_USUAL 2
#define RECORDINGS  1000

static const char NOTE[] =
    "As a machine: the machine's own plug is off the drive. Measure the rails at the drive's\n"
    "power plug first; an 8-inch drive carries mains: guard fitted. A failing drive destroys\n"
    "disks: no valued disk goes in before the drive has been looked at.";

/* A name for the recording: disk.wec, and disk-2.wec and so on for those that go on with it. */
static enum err recording_name(struct archive_plan *p, struct err_msg *e)
{
    struct stat st;
    for (int n = 1; n < RECORDINGS; n++) {
        (void)snprintf(p->name, sizeof p->name, n == 1 ? "disk.wec" : "disk-%d.wec", n);
        TRY(archive_folder_file(p->folder, p->name, &p->path, e));
        if (lstat(p->path, &st) != 0 || (n == 1 && p->overwrite))
            return ERR_OK;
        free(p->path);
        p->path = NULL;
    }
    return err_set(e, ERR_CREATE, "%s: too many recordings", p->folder->path);
}

static enum err pass_begin(struct archive_plan *p, const struct archive_gate *g,
                           struct err_msg *e)
{
    struct archive_bus *b = &p->bus;
    struct archive *a = &p->folder->archive;
    struct archive_pass pass = archive_pass_named(p->name, "adapter");
    (void)snprintf(pass.detail, sizeof pass.detail,
                   "adapter %.60s, drive %.60s, %d turns a track", b->u->session.link.name,
                   profile_name(b->u->drive), p->turns);
    archive_gate_note(g, &pass);
    pass.planned_first = p->places.first;
    pass.planned_last = p->places.last;
    pass.planned_sides = (uint8_t)(p->places.side[0] | p->places.side[1] << 1);
    /* a recording's print is that of its identifiers; its file is known by name instead */
    pass.print = (uint64_t)a->pass_count + 1;
    enum err err = archive_pass_add(a, &pass, &p->pass);
    if (err != ERR_OK)
        return err_set(e, err, "%s", err_text(err));
    return archive_folder_keep(p->folder, e);
}

static enum err work(struct archive_plan *p, struct archive_gate *g, bool *out_begun,
                     struct err_msg *e)
{
    struct archive_bus *b = &p->bus;
    TRY(archive_bus_begin(b, e));
    TRY(archive_gate_ask(g, b, e));
    TRY(archive_bus_start(b, e));
    TRY(archive_gate_protected(g, b, e));
    TRY(archive_bus_record(b, p->path, p->overwrite, e));
    TRY(pass_begin(p, g, e));
    *out_begun = true;
    TRY(archive_plan_once(p, e));
    return p->stopped ? ERR_OK : archive_plan_again(p, e);
}

/* Bring the recording to its end, whatever came before. */
static enum err end(struct archive_plan *p, enum err err, struct err_msg *e)
{
    struct archive_bus *b = &p->bus;
    struct err_msg late = {0};
    double seconds = 0;
    if (archive_bus_end(b, &seconds, &late) != ERR_OK && err == ERR_OK)
        err = err_set(e, late.code, "%s", late.text);
    if (p->pass >= 0)
        p->folder->archive.pass[p->pass].seconds = seconds;
    return err;
}

static enum err plan_check(const struct args *a, struct archive_plan *p, struct err_msg *e)
{
    const struct adapter_use *u = p->bus.u;
    int64_t turns = TURNS_USUAL;
    TRY(places_of(a, &p->places, e));
    TRY(args_number(a, OPT_TURNS, 2, 20, &turns, e));
    p->turns = (int)turns;
    return places_check(&p->places, u, e);
}

enum err archive_over_adapter(const struct args *a, struct archive_folder *f, bool *out_begun,
                              struct err_msg *e)
{
    struct adapter_use u;
    struct archive_gate gate;
    struct progress progress;
    struct archive_plan *p = calloc(1, sizeof *p);
    *out_begun = false;
    if (p == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    enum err err = archive_gate_told(a, &gate, e);
    if (err == ERR_OK)
        err = adapter_use_open(a, NOTE, &u, e);
    if (err != ERR_OK) {
        free(p);
        return err;
    }
    *p = (struct archive_plan){.folder = f,
                               .bus = {.u = &u, .progress = &progress},
                               .pass = -1,
                               .overwrite = args_has(a, OPT_REPLACE)};
    progress_begin(&progress, a, "reading");
    err = plan_check(a, p, e);
    if (err == ERR_OK)
        err = recording_name(p, e);
    if (err == ERR_OK)
        err = end(p, work(p, &gate, out_begun, e), e);
    progress_end(&progress);
    archive_plan_release(p);
    free(p);
    adapter_use_close(&u);
    return err;
}
