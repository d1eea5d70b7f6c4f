/* record: a capture through the adapter. */
#include "adapter/player.h"
#include "adapter/recorder.h"
#include "base/file.h"
#include "cli/adapter_use.h"
#include "cli/record_plan.h"
#include "report/json.h"
#include "report/text.h"

#include <stdio.h>
#include <string.h>

#define LOSSES_SHOWN 8 /* as text */

static enum err role_of(const struct args *a, enum wire_role *out, struct err_msg *e)
{
    const char *word = args_value(a, OPT_ROLE);
    *out = WIRE_ROLE_INLINE;
    if (word == NULL)
        return ERR_OK;
    for (int r = WIRE_ROLE_INLINE; r <= WIRE_ROLE_AS_DRIVE; r++) {
        if (strcmp(word, role_word((enum wire_role)r)) == 0) {
            *out = (enum wire_role)r;
            return ERR_OK;
        }
    }
    return err_set(e, ERR_USAGE,
                   "record works inline, as-machine or as-drive, not '%s'; selfcheck takes the "
                   "other roles",
                   word);
}

static const char *role_note(enum wire_role role)
{
    if (role == WIRE_ROLE_AS_MACHINE)
        return "As a machine: the machine's own plug is off the drive. Measure the rails at "
               "the "
               "drive's\npower plug first; an 8-inch drive carries mains: guard fitted.";
    if (role == WIRE_ROLE_AS_DRIVE)
        return "As a drive: no drive is on the machine's plug, or none with this unit number.";
    return "In line: the adapter only listens. It cannot stop a machine from writing: a valued "
           "disk is\nprotected, or stays out.";
}

static void info_of(const struct adapter_use *u, enum wire_role role, struct capture_info *info)
{
    bool drive_end =
        role == WIRE_ROLE_AS_DRIVE || (role == WIRE_ROLE_INLINE && u->sim.drive_end);
    *info = (struct capture_info){.format = CAPTURE_WEC, .tick = session_tick(&u->session)};
    info->lines = adapter_use_lines(u, drive_end) & u->session.caps.lines_in;
    info->rails = u->session.caps.rails;
    info->sample_fs = info->tick.fs_num / info->tick.fs_den;
    (void)snprintf(info->role, sizeof info->role, "%s", role_word(role));
    (void)snprintf(info->tap, sizeof info->tap, "%s", drive_end ? "drive-end" : "machine-end");
    (void)snprintf(info->detail, sizeof info->detail, "adapter %.80s, protocol %u.%u",
                   u->session.link.name, u->session.caps.major, u->session.caps.minor);
}

static const char *loss_text(const struct recorder_loss *l)
{
    switch (l->cause) {
    case LOSS_TOLD:
        return l->reason == LOST_SAMPLER ? "the adapter's sampler was too slow"
                                         : "the host was too slow";
    case LOSS_FRAMES:
        return "frames damaged or missing";
    case LOSS_GAP:
        break;
    }
    return "a gap that the adapter does not explain";
}

static enum err losses_text(const struct recorder *r, struct buf *out)
{
    if (r->losses == 0)
        return buf_str(out, "nothing lost\n");
    for (size_t i = 0; i < r->losses && i < LOSSES_SHOWN; i++) {
        const struct recorder_loss *l = &r->loss[i];
        TRY(buf_printf(out, "lost        from %.6f s to %.6f s", (double)l->from_ns * 1e-9,
                       (double)l->to_ns * 1e-9));
        if (l->count != LOST_UNCOUNTED)
            TRY(buf_printf(out, ", %u events", l->count));
        TRY(buf_printf(out, ": %s\n", loss_text(l)));
    }
    if (r->losses > LOSSES_SHOWN)
        TRY(buf_printf(out, "lost        %zu times more; --json lists them\n",
                       r->losses - LOSSES_SHOWN));
    return text_wrap(out, 0, "", 0,
                     "What was lost is marked as not recorded in the file: nothing is measured "
                     "across it.");
}

static enum err say_text(const struct recording *g, struct buf *out)
{
    char count[TEXT_COUNT_MAX];
    double seconds = (double)g->end_ns * 1e-9;
    TRY(buf_printf(out, "%s\n  %.4f s, %s edges, %s at the %s\n", g->path, seconds,
                   text_count((int64_t)g->recorder.edges, count), g->info.role, g->info.tap));
    if (g->pull_ups_known)
        TRY(buf_printf(out, "pull-ups    %s\n", g->pull_ups ? "on" : "off"));
    if (g->tracks > 0)
        TRY(buf_printf(out, "tracks      %u, %u turns each\n", g->tracks, g->plan.turns));
    if (g->answered > 0)
        TRY(buf_printf(out, "played      %u tracks of %u that were asked for\n", g->answered,
                       g->wanted));
    if (g->gaps > 0)
        TRY(buf_printf(out, "gaps        %u in what was played: the host did not keep up\n",
                       g->gaps));
    return losses_text(&g->recorder, out);
}

static enum err say_json(const struct recording *g, struct buf *out)
{
    bool failed = false;
    json_t *root = json_object();
    json_t *losses = json_array();
    const struct recorder *r = &g->recorder;
    for (size_t i = 0; i < r->losses && i < RECORDER_LOSSES_MAX; i++) {
        json_t *l = json_object();
        bool counted = r->loss[i].count != LOST_UNCOUNTED;
        json_put(l, "from_s", json_number((double)r->loss[i].from_ns * 1e-9, 9), &failed);
        json_put(l, "to_s", json_number((double)r->loss[i].to_ns * 1e-9, 9), &failed);
        json_put(l, "events", counted ? json_integer(r->loss[i].count) : json_null(), &failed);
        json_put(l, "why", json_text(loss_text(&r->loss[i])), &failed);
        json_push(losses, l, &failed);
    }
    json_put(root, "schema", json_text("whichend.record/1"), &failed);
    json_put(root, "capture", json_text(g->path), &failed);
    json_put(root, "role", json_text(g->info.role), &failed);
    json_put(root, "tap", json_text(g->info.tap), &failed);
    json_put(root, "seconds", json_number((double)g->end_ns * 1e-9, 6), &failed);
    json_put(root, "edges", json_integer((json_int_t)r->edges), &failed);
    json_put(root, "pull_ups", g->pull_ups_known ? json_boolean(g->pull_ups) : json_null(),
             &failed);
    json_put(root, "tracks", json_integer(g->tracks), &failed);
    json_put(root, "gaps_played", json_integer(g->gaps), &failed);
    json_put(root, "losses", json_integer((json_int_t)r->losses), &failed);
    json_put(root, "lost", losses, &failed);
    return json_finish(root, failed, out);
}

/* Bring the file to its end, whatever came before, and let the bus go. */
static enum err end(struct adapter_use *u, struct recording *g, enum err err, struct err_msg *e)
{
    struct err_msg late = {0};
    bool keep = g->recorder.writer != NULL;
    if (!u->session.gone)
        (void)session_release(&u->session, &late);
    enum err stopped = session_stop(&u->session, &late);
    uint64_t last = u->session.frames.end;
    int64_t ticks =
        g->recorder.begun && last > g->recorder.first ? (int64_t)(last - g->recorder.first) : 0;
    g->gaps = u->session.underruns;
    struct err_msg unfinished = {0};
    bool whole = keep && recorder_finish(&g->recorder, last, &unfinished) == ERR_OK;
    if (keep && !whole && err == ERR_OK)
        err = err_set(e, unfinished.code, "%s", unfinished.text);
    if (stopped != ERR_OK && err == ERR_OK)
        err = err_set(e, stopped, "%s", late.text);
    (void)ticks_to_ns(ticks, g->info.tick, &g->end_ns);
    if (err != ERR_OK && whole)
        (void)fprintf(stderr, "whichend: %s is whole, %.3f s long\n", g->path,
                      (double)g->end_ns * 1e-9);
    else if (err != ERR_OK && keep)
        (void)fprintf(stderr,
                      "whichend: %s is cut short: it can be read up to its last whole "
                      "chunk\n",
                      g->path);
    return err;
}

/* Before anything is asked of a person or an adapter. */
static enum err may_write(const struct args *a, const char *path, struct err_msg *e)
{
    struct out_file f = {0};
    enum err err = out_file_open(&f, path, args_has(a, OPT_REPLACE), e);
    out_file_abort(&f);
    return err;
}

static enum err record(const struct args *a, struct adapter_use *u, struct recording *g,
                       struct err_msg *e)
{
    info_of(u, g->role, &g->info);
    TRY(record_begin(u, g, args_has(a, OPT_REPLACE), e));
    enum err err = record_run(u, g, e);
    progress_end(&g->progress);
    if (err == ERR_OK && stop_asked)
        err = err_set(e, ERR_INTERRUPTED, "interrupted");
    return end(u, g, err, e);
}

enum err verb_record(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct adapter_use u;
    struct recording g = {.path = args_value(a, OPT_OUTPUT)};
    if (args_has(a, OPT_LIST))
        return adapter_list_faults(a, &r->out);
    if (g.path == NULL)
        return err_set(e, ERR_USAGE, "record needs -o FILE.wec");
    TRY(role_of(a, &g.role, e));
    if (g.role == WIRE_ROLE_AS_MACHINE && args_value(a, OPT_TAP) != NULL)
        return err_set(e, ERR_USAGE, "as-machine stands at the machine's end: no --tap");
    TRY(record_plan(a, &g, e));
    TRY(may_write(a, g.path, e));
    TRY(adapter_use_open(a, role_note(g.role), &u, e));
    enum err err = record_check(&u, &g, e);
    progress_begin(&g.progress, a, "recording");
    if (err == ERR_OK)
        err = record(a, &u, &g, e);
    if (err == ERR_OK)
        err = args_has(a, OPT_JSON) ? say_json(&g, &r->out) : say_text(&g, &r->out);
    recorder_abandon(&g.recorder);
    player_release(&g.player);
    adapter_use_close(&u);
    return err;
}
