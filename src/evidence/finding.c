#include "evidence/finding.h"

#include <string.h>

static const struct {
    const char *name, *shown;
} ends[END_COUNT] = {
    [END_DRIVE] = {"drive", "drive"},
    [END_CABLE] = {"cable", "cable"},
    [END_CONTROLLER] = {"controller", "machine side"},
    [END_DISK] = {"disk", "disk"},
    [END_POWER] = {"power", "power supply"},
    [END_SETUP] = {"setup", "bench and fitting"},
    [END_TWO] = {"two-ends", "two ends at once"},
    [END_UNEXPLAINED] = {"unexplained", "nothing that is listed"},
    [END_NONE] = {"none", "nothing"},
};

const char *end_name(enum end e)
{
    return e < END_COUNT ? ends[e].name : "undecided";
}

const char *end_shown(enum end e)
{
    return e < END_COUNT ? ends[e].shown : "undecided";
}

enum end end_by_name(const char *name)
{
    for (int i = 0; i < END_COUNT; i++)
        if (!strcmp(ends[i].name, name))
            return (enum end)i;
    return END_COUNT;
}
