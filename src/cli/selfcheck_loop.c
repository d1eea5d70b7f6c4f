/* The reading of the adapter's own loop in words. */
#include "adapter/loop.h"
#include "cli/selfcheck.h"

#include <stdio.h>
#include <string.h>

#define LOOPED "with the loop plug on, each output was pulled in turn: "

static const struct {
    enum loop_fault_kind kind;
    const char *part, *mode;               /* of the fault's name */
    const char *before, *after, *at_times; /* around the lines' names; NULL: it does not */
    const char *why, *next;
} said[] = {
    {LOOP_HELD, "lead", "held", "one of ", " is pulled all the time", " is pulled at times",
     LOOPED "these were low before anything was",
     "take the loop plug off and look again: the one that stays low has its lead on ground, or "
     "its output is stuck"},
    {LOOP_INPUT_STUCK, "input", "stuck", "the input of ", " always reads active",
     " reads active by itself at times",
     LOOPED "this one was low although the lines that it is joined to were not",
     "the adapter's input is faulty: do not record this line with it"},
    {LOOP_INPUT_DEAD, "input", "dead", "the input of ", " never reads active", NULL,
     LOOPED "its fellows follow its output, it follows nobody",
     "the adapter's input is faulty: do not record this line with it"},
    {LOOP_OUTPUT_DEAD, "output", "dead", "the output of ", " pulls nothing", NULL,
     LOOPED "nobody follows this one, it follows the others",
     "the adapter's driver is faulty: as-machine and as-drive cannot be trusted"},
    {LOOP_LINE_DEAD, "channel", "dead", "", " neither pulls nor reads", NULL,
     LOOPED "it follows nobody, not even itself, and nobody follows it",
     "a dead channel, or a plug of the leads that is not in: look there first"},
    {LOOP_LEAD_OPEN, "lead", "open", "the lead of ", " is open", " opens and closes",
     LOOPED "it pulls itself and nobody else",
     "another lead; check again while the leads are moved (--wiggle)"},
    {LOOP_NOT_HEARD, "lead", "not-tested", "",
     " does not follow: its lead is open or its input dead", NULL,
     LOOPED "it follows nobody; its own output could not be tried", "try another lead there"},
    {LOOP_LEADS_SWAPPED, "lead", "swapped", "the leads of ", " are exchanged", NULL,
     LOOPED "each follows the other's fellows", "put them right and check again"},
    {LOOP_LEAD_MISPLACED, "lead", "misplaced", "the lead of ", " is in a wrong place", NULL,
     LOOPED "it follows the lines of another part of the loop plug",
     "compare the leads with the loop plug's drawing"},
    {LOOP_LEADS_TOUCH, "lead", "short", "the leads of one of ", " and one of the others touch",
     " and one of the others touch at times", LOOPED "all of them follow one another",
     "look at their clips; take the loop plug off and check them one by one with a meter"},
};

static void names(uint32_t set, const char *between, char *out, size_t room)
{
    size_t len = 0;
    out[0] = '\0';
    for (unsigned l = 0; l < WIRE_LINES; l++)
        if ((set & WIRE_BIT(l)) != 0 && len < room)
            len += (size_t)snprintf(out + len, room - len, "%s%s", len > 0 ? between : "",
                                    line_name((enum line)l));
}

static enum line first_of(uint32_t set)
{
    for (unsigned l = 0; l < WIRE_LINES; l++)
        if (set & WIRE_BIT(l))
            return (enum line)l;
    return LINE_NONE;
}

static void say_fault(const struct loop_fault *f, struct selfcheck *c)
{
    char list[96];
    char who[40];
    names(f->lines | f->others, f->kind == LOOP_LEADS_SWAPPED ? " and " : ", ", list,
          sizeof list);
    names(f->lines, "+", who, sizeof who);
    for (size_t i = 0; i < sizeof said / sizeof said[0]; i++) {
        if (said[i].kind != f->kind)
            continue;
        struct check_item *x = selfcheck_add(c, first_of(f->lines));
        x->at_times = f->at_times && said[i].at_times != NULL;
        (void)snprintf(x->fault, sizeof x->fault, "setup.%s.%s.%s", said[i].part, who,
                       x->at_times ? "intermittent" : said[i].mode);
        (void)snprintf(x->text, sizeof x->text, "%s%s%s", said[i].before, list,
                       x->at_times ? said[i].at_times : said[i].after);
        x->why = said[i].why;
        x->next = said[i].next;
        x->untested = f->kind == LOOP_NOT_HEARD;
    }
}

static enum err not_tested(const struct loop_seen *seen, struct selfcheck *out)
{
    struct buf *b = &out->not_tested;
    char list[96];
    unsigned groups = 0;
    if (seen->lines & ~seen->driven & WIRE_BIT(WIRE_WGATE))
        TRY(buf_str(b, "the output of WGATE: its link is open, as shipped\n"));
    TRY(buf_str(b, "two leads exchanged that meet in the loop plug, which look alike there: "));
    for (unsigned l = 0; l < WIRE_LINES; l++) {
        uint32_t fellows = loop_fellows(seen->lines, l);
        if (!(seen->lines & WIRE_BIT(l)) || first_of(fellows) != (enum line)l)
            continue;
        names(fellows, ", ", list, sizeof list);
        TRY(buf_printf(b, "%s%s", groups++ > 0 ? "; " : "", list));
    }
    TRY(buf_str(b, "\n"));
    if (out->passes < 10)
        TRY(buf_str(b, "contact that comes and goes: move the leads with --wiggle\n"));
    return buf_str(b, "how strongly the outputs pull, and how fast: a meter and a scope\n");
}

static const char *state_of(const struct loop_reading *r, unsigned l)
{
    for (size_t i = 0; i < r->faults; i++)
        if ((r->fault[i].lines |
             (r->fault[i].kind == LOOP_LEADS_TOUCH ? r->fault[i].others : 0)) &
            WIRE_BIT(l))
            return r->fault[i].kind == LOOP_NOT_HEARD ? "not tested" : "faulty";
    return "sound";
}

enum err selfcheck_of_loop(const struct loop_seen *seen, struct selfcheck *out)
{
    struct loop_reading reading;
    loop_read(seen, &reading);
    out->role = WIRE_ROLE_LOOP;
    out->passes = seen->passes;
    for (size_t i = 0; i < reading.faults; i++)
        say_fault(&reading.fault[i], out);
    for (unsigned l = 0; l < WIRE_LINES; l++)
        if (seen->lines & WIRE_BIT(l))
            out->conductor[out->conductors++] =
                (struct check_conductor){(enum line)l, 0, 0, state_of(&reading, l)};
    out->looked_at = (unsigned)out->conductors;
    return not_tested(seen, out);
}
