/* adjust: the speed, or the heads' margin, while somebody turns a screw. */
#include "cli/adjust.h"

#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define LISTEN_MS 2050 /* the adapter listens two seconds before it drives a line */
#define SLICE_MS  50

enum err adjust_held(struct adjust *j, struct err_msg *e)
{
    struct session *s = &j->u.session;
    if (!s->released)
        return ERR_OK;
    return err_set(e, ERR_ADAPTER, "%s: the adapter released all outputs: %s", s->link.name,
                   release_text(s->released_why));
}

bool adjust_ended(void)
{
    struct pollfd in = {STDIN_FILENO, POLLIN, 0};
    char line[64];
    if (stop_asked)
        return true;
    if (!isatty(STDIN_FILENO) || poll(&in, 1, 0) <= 0)
        return false;
    return fgets(line, sizeof line, stdin) != NULL;
}

enum err adjust_begin(struct adjust *j, uint32_t lines, const struct frame_sink *sink,
                      struct err_msg *e)
{
    struct session *s = &j->u.session;
    struct adapter_limits limits = adapter_use_limits(&j->u);
    bool on = false;
    TRY(session_role(s, WIRE_ROLE_AS_MACHINE, 0, e));
    TRY(session_limits(s, &limits, e));
    TRY(session_start(s, lines, sink, e));
    TRY(session_pull_ups(s, &on, e));
    for (int ms = 0; ms < LISTEN_MS && !stop_asked; ms += SLICE_MS)
        TRY(session_wait(s, SLICE_MS, e));
    return ERR_OK;
}

enum err adjust_end(struct adjust *j, enum err err, struct err_msg *e)
{
    struct err_msg late = {0};
    if (!j->u.session.gone)
        (void)session_release(&j->u.session, &late);
    enum err stopped = session_stop(&j->u.session, &late);
    return err == ERR_OK && stopped != ERR_OK ? err_set(e, stopped, "%s", late.text) : err;
}

static enum err bounds(const struct args *a, struct adjust *j, struct err_msg *e)
{
    TRY(args_number(a, OPT_TURNS, 3, 1000000, &j->turns, e));
    TRY(args_number(a, OPT_SECONDS, 1, 86400, &j->seconds, e));
    j->live = isatty(STDERR_FILENO) && !args_has(a, OPT_QUIET);
    return ERR_OK;
}

static const char NOTE[] =
    "As a machine: the machine's own plug is off the drive. Measure the rails at the drive's\n"
    "power plug first; an 8-inch drive carries mains: guard fitted, hands away from belt and\n"
    "pulley. Mark where a trimmer stands before you turn it; insulated, non-magnetic tool. A\n"
    "trimmer on a servo board is not always speed. Leave the heads' screws alone.";

enum err verb_adjust(const struct args *a, struct answer *r, struct err_msg *e)
{
    struct adjust j = {.a = a};
    const char *what = a->words > 0 ? a->word[0] : "speed";
    bool heads = strcmp(what, "heads") == 0;
    if (args_has(a, OPT_LIST))
        return adapter_list_faults(a, &r->out);
    if (!heads && strcmp(what, "speed") != 0)
        return err_set(e, ERR_USAGE, "adjust shows speed or heads, not '%s'", what);
    TRY(bounds(a, &j, e));
    if (heads)
        TRY(adjust_heads_check(a, e));
    TRY(adapter_use_open(a, NOTE, &j.u, e));
    enum err err = heads ? adjust_heads(&j, &r->out, &r->status, e)
                         : adjust_speed(&j, &r->out, &r->status, e);
    if (err == ERR_OK && stop_asked) {
        (void)fwrite(r->out.data, 1, args_has(a, OPT_JSON) ? 0 : r->out.len, stderr);
        err = err_set(e, ERR_INTERRUPTED, "interrupted");
    }
    adapter_use_close(&j.u);
    return err;
}
