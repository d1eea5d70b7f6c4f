/* selfcheck: the adapter and its leads by the loop plug, or a cable with both plugs on it. */
#include "cli/case_edit.h"
#include "cli/selfcheck.h"

#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define PASSES_USUAL 3

struct check {
    const struct args *a;
    struct adapter_use u;
    enum wire_role role;
    bool wiggle;
    int64_t seconds; /* of wiggling; 0: until Enter or Ctrl-C */
    struct cable_plan plan;
    struct cable_seen cable, cable_once; /* all passes; the last one */
    struct loop_seen loop, loop_once;
    struct selfcheck found;
    char shown[CHECK_TEXT_MAX]; /* the live line */
};

static enum err role_of(const struct args *a, enum wire_role *out, struct err_msg *e)
{
    const char *word = args_value(a, OPT_ROLE);
    *out = WIRE_ROLE_LOOP;
    for (int r = WIRE_ROLE_BOTH_PLUGS; word != NULL && r <= WIRE_ROLE_LOOP; r++)
        if (strcmp(word, role_word((enum wire_role)r)) == 0) {
            *out = (enum wire_role)r;
            return ERR_OK;
        }
    return word == NULL
               ? ERR_OK
               : err_set(e, ERR_USAGE,
                         "selfcheck checks loop (the adapter and its leads) or both-plugs (a "
                         "cable), not '%s'",
                         word);
}

static const char *role_note(enum wire_role role)
{
    if (role == WIRE_ROLE_LOOP)
        return "Loop: the loop plug joins the far ends of the adapter's leads; no machine and "
               "no\ndrive is on them.";
    return "Both plugs: the cable is off machine and drive, and both its plugs are on the "
           "adapter,\npin 1 on pin 1.";
}

/* ---- the walks ---- */

static enum err begin(struct check *k, struct err_msg *e)
{
    struct session *s = &k->u.session;
    bool on = false;
    if (!(s->caps.flags & CAPF_PINS_FLOAT))
        return err_set(
            e, ERR_ADAPTER,
            "%s: this adapter cannot look for voltage on a conductor before it pulls "
            "one: nothing is checked with it",
            s->link.name);
    TRY(session_role(s, k->role, 0, e));
    if (k->role == WIRE_ROLE_LOOP)
        return session_pull_ups(s, &on, e);
    selfcheck_plan(&k->u, &k->plan);
    return ERR_OK;
}

static void add_once(struct check *k)
{
    for (unsigned a = 0; k->role == WIRE_ROLE_BOTH_PLUGS && a < CABLE_NODES; a++) {
        k->cable.idle[a] += k->cable_once.idle[a];
        for (unsigned b = 0; b < CABLE_NODES; b++)
            k->cable.low[a][b] += k->cable_once.low[a][b];
    }
    for (unsigned a = 0; k->role == WIRE_ROLE_LOOP && a < WIRE_LINES; a++) {
        k->loop.idle[a] += k->loop_once.idle[a];
        for (unsigned b = 0; b < WIRE_LINES; b++)
            k->loop.low[a][b] += k->loop_once.low[a][b];
    }
    k->loop.lines = k->loop_once.lines;
    k->loop.driven = k->loop_once.driven;
    k->loop.passes += k->loop_once.passes;
    k->cable.passes += k->cable_once.passes;
}

static enum err walk(struct check *k, struct err_msg *e)
{
    memset(&k->cable_once, 0, sizeof k->cable_once);
    memset(&k->loop_once, 0, sizeof k->loop_once);
    if (k->role == WIRE_ROLE_LOOP)
        TRY(loop_walk(&k->u.session, &k->loop_once, e));
    else
        TRY(cable_walk(&k->u.session, &k->plan, &k->cable_once, e));
    add_once(k);
    return ERR_OK;
}

static enum err read_all(const struct check *k, bool once, struct selfcheck *out)
{
    memset(out, 0, sizeof *out);
    buf_init(&out->not_tested, 4096);
    if (k->role == WIRE_ROLE_LOOP)
        return selfcheck_of_loop(once ? &k->loop_once : &k->loop, out);
    return selfcheck_of_cable(&k->u, &k->plan, once ? &k->cable_once : &k->cable, out);
}

/* ---- while somebody moves it ---- */

/* What this pass saw, each time that it changes. */
static enum err show_live(struct check *k)
{
    struct selfcheck *now = malloc(sizeof *now);
    struct buf line;
    buf_init(&line, 1024);
    enum err err = now != NULL ? read_all(k, true, now) : ERR_MEMORY;
    if (err == ERR_OK)
        err = selfcheck_answer(now, &line);
    if (err == ERR_OK && !args_has(k->a, OPT_QUIET) &&
        strncmp(k->shown, line.data, sizeof k->shown - 1) != 0) {
        (void)snprintf(k->shown, sizeof k->shown, "%s", line.data);
        (void)fprintf(stderr, "pass %u: %s\n", k->cable.passes + k->loop.passes, line.data);
    }
    buf_release(&line);
    if (now != NULL)
        selfcheck_release(now);
    free(now);
    return err;
}

/* Enter at the terminal ends it. */
static bool enter_pressed(void)
{
    struct pollfd in = {STDIN_FILENO, POLLIN, 0};
    char line[64];
    if (!isatty(STDIN_FILENO) || poll(&in, 1, 0) <= 0)
        return false;
    return fgets(line, sizeof line, stdin) != NULL;
}

static enum err move_it(struct check *k, struct err_msg *e)
{
    const struct link *l = &k->u.session.link;
    int64_t until = l->ops->now_ms(l->state) + 1000 * k->seconds;
    if (isatty(STDIN_FILENO) && isatty(STDERR_FILENO))
        (void)fputs("Move the cable now, at both plugs and along its length. Enter ends it.\n",
                    stderr);
    do {
        TRY(walk(k, e));
        if (show_live(k) != ERR_OK)
            return err_set(e, ERR_MEMORY, "out of memory");
    } while (!stop_asked && !enter_pressed() &&
             (k->seconds == 0 || l->ops->now_ms(l->state) < until));
    return ERR_OK;
}

static enum err measure(struct check *k, struct err_msg *e)
{
    struct adapter_status st;
    TRY(begin(k, e));
    if (k->wiggle)
        TRY(move_it(k, e));
    for (int i = 0; !k->wiggle && i < PASSES_USUAL && !stop_asked; i++)
        TRY(walk(k, e));
    TRY(session_status(&k->u.session, &st, e));
    TRY(session_release(&k->u.session, e));
    enum err err = read_all(k, false, &k->found);
    k->found.write_link = (k->u.session.caps.flags & CAPF_WRITE_LINK) != 0;
    if (err == ERR_OK)
        err = selfcheck_supply(&k->u, &st, &k->found);
    return err == ERR_OK ? ERR_OK : err_set(e, err, "out of memory");
}

/* ---- into a case ---- */

static enum err check_text(const struct case_edit *x, struct err_msg *e)
{
    struct case_file checked;
    TRY(edit_check(x, &checked, e));
    case_file_release(&checked);
    return ERR_OK;
}

/* What was checked itself, without the supply: 0 sound, EXIT_FAULT, EXIT_UNDECIDED. */
static int part_status(const struct selfcheck *c, bool *at_times)
{
    int status = 0;
    *at_times = true;
    for (size_t i = 0; i < c->items; i++) {
        const struct check_item *x = &c->item[i];
        if (strncmp(x->fault, "power.", 6) == 0)
            continue;
        if (x->untested && status == 0)
            status = EXIT_UNDECIDED;
        if (!x->untested)
            status = EXIT_FAULT;
        *at_times = *at_times && (x->at_times || x->untested);
    }
    return status;
}

static enum err note_cable(const struct check *k, struct case_edit *x, struct err_msg *e)
{
    const struct selfcheck *c = &k->found;
    bool at_times = false;
    int status = part_status(c, &at_times);
    const char *faulty = at_times ? "comes-and-goes" : "faulty";
    const char *other = status == 0 ? "sound" : "not-done";
    return edit_set(x, "selfcheck", "cable", status == EXIT_FAULT ? faulty : other, e);
}

static enum err note_leads(const struct check *k, struct case_edit *x, struct err_msg *e)
{
    bool at_times = false;
    int status = part_status(&k->found, &at_times);
    const char *other = status == 0 ? "passed" : "not-done";
    TRY(edit_set(x, "selfcheck", "result", status == EXIT_FAULT ? "failed" : other, e));
    return edit_set(x, "selfcheck", "hours-ago", "0", e);
}

static enum err note_in_case(const struct check *k, struct err_msg *e)
{
    const char *path = args_value(k->a, OPT_CASE);
    struct case_edit x = {0};
    if (path == NULL)
        return ERR_OK;
    enum err err = edit_begin(&x, k->a, path, e);
    if (err == ERR_OK)
        err = k->role == WIRE_ROLE_LOOP ? note_leads(k, &x, e) : note_cable(k, &x, e);
    if (err == ERR_OK)
        err = check_text(&x, e);
    if (err == ERR_OK)
        err = edit_write(&x, true, e);
    edit_release(&x);
    return err;
}

static enum err say(struct check *k, struct answer *r, struct err_msg *e)
{
    struct text_style style = style_of(k->a);
    enum err err = args_has(k->a, OPT_JSON)
                       ? selfcheck_json(&k->found, k->u.session.link.name, &r->out)
                       : selfcheck_text(&k->found, &style, &r->out);
    r->status = selfcheck_status(&k->found);
    if (err != ERR_OK)
        return err_set(e, err, "out of memory");
    if (!stop_asked)
        return note_in_case(k, e);
    (void)fwrite(r->out.data, 1, args_has(k->a, OPT_JSON) ? 0 : r->out.len, stderr);
    return err_set(e, ERR_INTERRUPTED, "interrupted");
}

enum err verb_selfcheck(const struct args *a, struct answer *r, struct err_msg *e)
{
    if (args_has(a, OPT_LIST))
        return adapter_list_faults(a, &r->out);
    struct check *k = calloc(1, sizeof *k);
    if (k == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    k->a = a;
    k->wiggle = args_has(a, OPT_WIGGLE);
    enum err err = role_of(a, &k->role, e);
    if (err == ERR_OK)
        err = args_number(a, OPT_SECONDS, 1, 3600, &k->seconds, e);
    if (err == ERR_OK && k->seconds > 0 && !k->wiggle)
        err = err_set(e, ERR_USAGE, "--seconds goes with --wiggle");
    if (err == ERR_OK)
        err = adapter_use_open(a, role_note(k->role), &k->u, e);
    if (err == ERR_OK)
        err = measure(k, e);
    if (err == ERR_OK)
        err = say(k, r, e);
    selfcheck_release(&k->found);
    adapter_use_close(&k->u);
    free(k);
    return err;
}
