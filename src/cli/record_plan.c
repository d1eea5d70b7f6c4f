#include "cli/record_plan.h"

#include <stdlib.h>
#include <string.h>

#define SECONDS_USUAL 10
#define SECONDS_MOST  3600
#define TURNS_USUAL   3

static enum err cylinders(const char *text, struct record_plan *p, struct err_msg *e)
{
    char *end = NULL;
    if (text == NULL)
        return ERR_OK;
    long first = strtol(text, &end, 10);
    long last = first;
    if (end != text && *end == '-') {
        const char *more = end + 1;
        last = strtol(more, &end, 10);
        if (end == more)
            end = NULL;
    }
    if (end == NULL || end == text || *end != '\0' || first < 0 || last < first || last > 255)
        return err_set(e, ERR_USAGE, "--cylinders is one, or A-B with A not above B, not '%s'",
                       text);
    p->first = (int)first;
    p->last = (int)last;
    return ERR_OK;
}

static enum err sides(const char *text, struct record_plan *p, struct err_msg *e)
{
    p->side[0] = text == NULL || text[0] == '0';
    p->side[1] = text == NULL || strcmp(text, "1") == 0 || strcmp(text, "0,1") == 0;
    if (text == NULL || strcmp(text, "0") == 0 || p->side[1])
        return ERR_OK;
    return err_set(e, ERR_USAGE, "--sides is 0, 1 or 0,1, not '%s'", text);
}

static enum err fits_role(const struct args *a, enum wire_role role, struct err_msg *e)
{
    static const struct {
        enum opt opt;
        unsigned roles;
    } of[] = {
        {OPT_CYLINDERS, 1u << WIRE_ROLE_AS_MACHINE},
        {OPT_SIDES, 1u << WIRE_ROLE_AS_MACHINE},
        {OPT_TURNS, 1u << WIRE_ROLE_AS_MACHINE},
        {OPT_SECONDS, 1u << WIRE_ROLE_INLINE | 1u << WIRE_ROLE_AS_DRIVE},
        {OPT_TRIGGER, 1u << WIRE_ROLE_INLINE | 1u << WIRE_ROLE_AS_DRIVE},
        {OPT_PLAY, 1u << WIRE_ROLE_AS_DRIVE},
        {OPT_UNIT, 1u << WIRE_ROLE_AS_MACHINE | 1u << WIRE_ROLE_AS_DRIVE},
    };
    for (size_t i = 0; i < sizeof of / sizeof of[0]; i++)
        if (args_has(a, of[i].opt) && !(of[i].roles & 1u << role))
            return err_set(e, ERR_USAGE, "--%s has no meaning in the role %s",
                           option_row(of[i].opt)->name, role_word(role));
    return ERR_OK;
}

enum err record_plan(const struct args *a, struct recording *g, struct err_msg *e)
{
    struct record_plan *p = &g->plan;
    const char *trigger = args_value(a, OPT_TRIGGER);
    int64_t turns = TURNS_USUAL;
    *p = (struct record_plan){.seconds = SECONDS_USUAL, .last = -1};
    TRY(fits_role(a, g->role, e));
    TRY(args_number(a, OPT_SECONDS, 1, SECONDS_MOST, &p->seconds, e));
    TRY(args_number(a, OPT_TURNS, 1, 100, &turns, e));
    p->turns = (unsigned)turns;
    TRY(cylinders(args_value(a, OPT_CYLINDERS), p, e));
    TRY(sides(args_value(a, OPT_SIDES), p, e));
    if (trigger != NULL && strcmp(trigger, "select") != 0)
        return err_set(e, ERR_USAGE, "--trigger is select, not '%s'", trigger);
    p->wait_select = trigger != NULL;
    p->play = args_value(a, OPT_PLAY);
    if (g->role == WIRE_ROLE_AS_DRIVE && p->play == NULL)
        return err_set(e, ERR_USAGE,
                       "as-drive needs --play CAPTURE: a good disk to answer with, as in "
                       "flux-samples/heron-read-conductor/drive-end.wec");
    return ERR_OK;
}

enum err record_check(struct adapter_use *u, struct recording *g, struct err_msg *e)
{
    struct record_plan *p = &g->plan;
    int last = adapter_use_limits(u).last_cylinder;
    if (g->role == WIRE_ROLE_AS_DRIVE)
        return player_load(&g->player, p->play, u->session.caps.tick_hz, e);
    if (g->role != WIRE_ROLE_AS_MACHINE)
        return ERR_OK;
    if (p->last < 0)
        p->last = last;
    if (p->last > last)
        return err_set(e, ERR_USAGE, "%s ends at cylinder %d: no step goes past it",
                       profile_name(u->drive), last);
    if (profile_number(u->drive, "sides", 2) < 2)
        p->side[1] = false;
    return p->side[0] || p->side[1]
               ? ERR_OK
               : err_set(e, ERR_USAGE, "%s has no side 1", profile_name(u->drive));
}
