#include "cli/places.h"

#include <stdlib.h>
#include <string.h>

static enum err cylinders(const char *text, struct places *p, struct err_msg *e)
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

static enum err sides(const char *text, struct places *p, struct err_msg *e)
{
    p->side[0] = text == NULL || text[0] == '0';
    p->side[1] = text == NULL || strcmp(text, "1") == 0 || strcmp(text, "0,1") == 0;
    if (text == NULL || strcmp(text, "0") == 0 || p->side[1])
        return ERR_OK;
    return err_set(e, ERR_USAGE, "--sides is 0, 1 or 0,1, not '%s'", text);
}

enum err places_of(const struct args *a, struct places *out, struct err_msg *e)
{
    *out = (struct places){.last = -1};
    TRY(cylinders(args_value(a, OPT_CYLINDERS), out, e));
    return sides(args_value(a, OPT_SIDES), out, e);
}

enum err places_check(struct places *p, const struct adapter_use *u, struct err_msg *e)
{
    int last = adapter_use_limits(u).last_cylinder;
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
