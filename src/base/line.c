#include "base/line.h"

#include <string.h>
#include <strings.h>

static const char *const LINE_NAMES[LINE_COUNT] = {
    [LINE_SELECT0] = "SELECT0",
    [LINE_SELECT1] = "SELECT1",
    [LINE_SELECT2] = "SELECT2",
    [LINE_SELECT3] = "SELECT3",
    [LINE_MOTOR] = "MOTOR",
    [LINE_MOTOR0] = "MOTOR0",
    [LINE_MOTOR1] = "MOTOR1",
    [LINE_DIR] = "DIR",
    [LINE_STEP] = "STEP",
    [LINE_SIDE] = "SIDE",
    [LINE_WGATE] = "WGATE",
    [LINE_WDATA] = "WDATA",
    [LINE_DENSITY] = "DENSITY",
    [LINE_HLOAD] = "HLOAD",
    [LINE_INUSE] = "INUSE",
    [LINE_LOWCUR] = "LOWCUR",
    [LINE_FAULTRESET] = "FAULTRESET",
    [LINE_INDEX] = "INDEX",
    [LINE_TRK00] = "TRK00",
    [LINE_WPROT] = "WPROT",
    [LINE_RDATA] = "RDATA",
    [LINE_READY] = "READY",
    [LINE_DSKCHG] = "DSKCHG",
    [LINE_HDOUT] = "HDOUT",
    [LINE_SECTOR] = "SECTOR",
    [LINE_TWOSIDED] = "TWOSIDED",
    [LINE_FAULT] = "FAULT",
};

static const char *const RAIL_NAMES[RAIL_COUNT] = {"V5", "V12", "V24"};

const char *line_name(enum line line)
{
    size_t i = (size_t)line;
    return i < LINE_COUNT ? LINE_NAMES[i] : "?";
}

const char *rail_name(enum rail rail)
{
    size_t i = (size_t)rail;
    return i < RAIL_COUNT ? RAIL_NAMES[i] : "?";
}

static enum line line_by_span(const char *name, size_t len)
{
    for (size_t i = 0; i < LINE_COUNT; i++)
        if (strlen(LINE_NAMES[i]) == len && strncasecmp(LINE_NAMES[i], name, len) == 0)
            return (enum line)i;
    return LINE_NONE;
}

enum line line_by_name(const char *name)
{
    return line_by_span(name, strlen(name));
}

enum rail rail_by_name(const char *name)
{
    for (size_t i = 0; i < RAIL_COUNT; i++)
        if (strcasecmp(RAIL_NAMES[i], name) == 0)
            return (enum rail)i;
    return RAIL_NONE;
}

static bool cut_tail(const char *name, size_t *len, const char *tail)
{
    size_t n = strlen(tail);
    if (*len <= n || strncasecmp(name + *len - n, tail, n) != 0)
        return false;
    *len -= n;
    return true;
}

enum line line_by_variable(const char *name, size_t len)
{
    /* The bit range stands last: "INDEX_n[0]". One bit of a one-bit variable is bit 0. */
    if (cut_tail(name, &len, "[0]") || cut_tail(name, &len, "[0:0]"))
        while (len > 0 && name[len - 1] == ' ')
            len--;
    if (!cut_tail(name, &len, "#") && !cut_tail(name, &len, "_n"))
        cut_tail(name, &len, "_b");
    /* No line's name begins with 'n', so the whole name cannot be mistaken for an affix. */
    if (len > 0 && (name[0] == '/' || name[0] == 'n' || name[0] == 'N')) {
        name++;
        len--;
    }
    return line_by_span(name, len);
}

bool line_from_machine(enum line line)
{
    return (size_t)line < LINE_INDEX;
}

bool line_is_select(enum line line)
{
    return (size_t)line <= LINE_SELECT3;
}

bool line_is_motor(enum line line)
{
    return line == LINE_MOTOR || line == LINE_MOTOR0 || line == LINE_MOTOR1;
}

enum line line_by_part(const char *text, size_t len)
{
    char name[16];
    if (len == 0 || len >= sizeof name)
        return LINE_NONE;
    memcpy(name, text, len);
    name[len] = '\0';
    return line_by_name(name);
}
