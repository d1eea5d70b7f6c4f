#include "cli/record_plan.h"

#include <string.h>

#define SECONDS_USUAL 10
#define SECONDS_MOST  3600
#define TURNS_USUAL   3

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
    *p = (struct record_plan){.seconds = SECONDS_USUAL};
    TRY(fits_role(a, g->role, e));
    TRY(args_number(a, OPT_SECONDS, 1, SECONDS_MOST, &p->seconds, e));
    TRY(args_number(a, OPT_TURNS, 1, 100, &turns, e));
    p->turns = (unsigned)turns;
    TRY(places_of(a, &p->places, e));
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
    if (g->role == WIRE_ROLE_AS_DRIVE)
        return player_load(&g->player, p->play, u->session.caps.tick_hz, e);
    if (g->role != WIRE_ROLE_AS_MACHINE)
        return ERR_OK;
    return places_check(&p->places, u, e);
}
