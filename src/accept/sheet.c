#include "accept/sheet.h"

#include <math.h>
#include <string.h>

// clang-format off
static const struct {
    const char *id, *title, *unit;
    int decimals;
} items[ACCEPT_ITEMS] = {
    [ACCEPT_SELECT]       = {"select.outputs", "select to outputs", "us", 3},
    [ACCEPT_START]        = {"start.time", "start of the spindle", "ms", 0},
    [ACCEPT_SPEED]        = {"speed.mean", "speed, mean", "rpm", 3},
    [ACCEPT_DRIFT]        = {"speed.drift", "speed, drift", "percent", 4},
    [ACCEPT_VARIATION]    = {"speed.variation", "speed, variation", "percent", 3},
    [ACCEPT_HUB]          = {"hub.slip", "disk behind the spindle", "percent", 4},
    [ACCEPT_INDEX]        = {"index.pulses", "index, missing or extra", "pulses", 0},
    [ACCEPT_INDEX_WIDTH]  = {"index.width", "index, width", "us", 1},
    [ACCEPT_INDEX_REPEAT] = {"index.repeat", "index, width from turn to turn", "us", 2},
    [ACCEPT_TRACK0]       = {"track0", "track 0, off its count", "steps", 0},
    [ACCEPT_STEP_RATE]    = {"step.rate", "step rate that it follows", "ms", 2},
    [ACCEPT_SLIP]         = {"step.slip", "steps lost", "steps", 0},
    [ACCEPT_REACH]        = {"tracks.reached", "tracks missed from either side", "tracks", 0},
    [ACCEPT_SETTLE]       = {"step.settle", "settling after a seek", "ms", 1},
    [ACCEPT_SIDE_SELECT]  = {"side.select", "visits that read the wrong side", "visits", 0},
    [ACCEPT_READ_0]       = {"read.side0", "read margin, side 0", "ns", 0},
    [ACCEPT_READ_1]       = {"read.side1", "read margin, side 1", "ns", 0},
    [ACCEPT_JITTER_0]     = {"jitter.side0", "jitter, side 0", "ns", 1},
    [ACCEPT_JITTER_1]     = {"jitter.side1", "jitter, side 1", "ns", 1},
    [ACCEPT_ASYMMETRY_0]  = {"asymmetry.side0", "asymmetry on data, side 0", "ns", 1},
    [ACCEPT_ASYMMETRY_1]  = {"asymmetry.side1", "asymmetry on data, side 1", "ns", 1},
    [ACCEPT_INDEX_DATA]   = {"index.data", "index to first identifier", "us", 1},
    [ACCEPT_SIDES]        = {"sides.offset", "side 1 behind side 0", "us", 1},
    [ACCEPT_WRITE_QUIET]  = {"write.quiet", "write gate while reading", "pulses", 0},
    [ACCEPT_WPROT]        = {"wprot.ways", "write protect, both ways", "", 0},
    [ACCEPT_DSKCHG]       = {"dskchg.ways", "disk change, both ways", "", 0},
    [ACCEPT_READY]        = {"ready.ways", "ready, both ways", "", 0},
    [ACCEPT_WRITE]        = {"write.back", "written and read back", "sectors", 0},
    [ACCEPT_OVERWRITE]    = {"write.over", "written over", "sectors", 0},
    [ACCEPT_ERASE]        = {"write.erase", "erased", "percent", 2},
    [ACCEPT_FOREIGN]      = {"read.foreign", "a disk of another drive", "sectors", 0},
    [ACCEPT_ELSEWHERE]    = {"read.elsewhere", "its own disk read elsewhere", "sectors", 0},
    [ACCEPT_WARM]         = {"warm.run", "warm run, change of speed", "percent", 3},
    [ACCEPT_V5]           = {"rail.v5", "+5 V", "V", 2},
    [ACCEPT_V5_MOTOR]     = {"rail.v5.motor", "+5 V while the motor starts", "V", 2},
    [ACCEPT_V5_HEAD]      = {"rail.v5.head", "+5 V while the head loads", "V", 2},
    [ACCEPT_V12]          = {"rail.v12", "+12 V", "V", 2},
    [ACCEPT_V12_MOTOR]    = {"rail.v12.motor", "+12 V while the motor starts", "V", 2},
    [ACCEPT_V12_HEAD]     = {"rail.v12.head", "+12 V while the head loads", "V", 2},
    [ACCEPT_V24]          = {"rail.v24", "+24 V", "V", 2},
    [ACCEPT_RADIAL]       = {"align.radial", "radial position of the head", "um", 1},
    [ACCEPT_AZIMUTH]      = {"align.azimuth", "azimuth of the head", "arcmin", 1},
    [ACCEPT_BURST]        = {"align.burst", "index to burst", "us", 0},
};
static const char *const states[ACCEPT_STATES] = {
    [ACCEPT_ABSENT] = "absent",
    [ACCEPT_NOT_MEASURED] = "not-measured",
    [ACCEPT_READING] = "reading",
    [ACCEPT_PASS] = "pass",
    [ACCEPT_FAIL] = "fail",
};
static const char *const changes[ACCEPT_CHANGES] = {
    [ACCEPT_SAME] = "same",
    [ACCEPT_MOVED] = "moved",
    [ACCEPT_MENDED] = "mended",
    [ACCEPT_BROKE] = "broke",
    [ACCEPT_APPEARED] = "appeared",
    [ACCEPT_LOST] = "lost",
};
// clang-format on

const char *accept_item_id(enum accept_item i)
{
    return items[i].id;
}

const char *accept_item_title(enum accept_item i)
{
    return items[i].title;
}

const char *accept_item_unit(enum accept_item i)
{
    return items[i].unit;
}

int accept_item_decimals(enum accept_item i)
{
    return items[i].decimals;
}

enum accept_item accept_item_by_id(const char *id)
{
    int i = 0;
    while (i < ACCEPT_ITEMS && strcmp(items[i].id, id) != 0)
        i++;
    return (enum accept_item)i;
}

const char *accept_state_word(enum accept_state s)
{
    return states[s];
}

enum accept_state accept_state_by_word(const char *word)
{
    int s = 0;
    while (s < ACCEPT_STATES && strcmp(states[s], word) != 0)
        s++;
    return (enum accept_state)s;
}

size_t accept_sheet_count(const struct accept_sheet *s, enum accept_state state)
{
    size_t n = 0;
    for (int i = 0; i < ACCEPT_ITEMS; i++)
        n += s->line[i].state == state;
    return n;
}

enum accept_outcome accept_sheet_outcome(const struct accept_sheet *s)
{
    bool open = false;
    for (int i = 0; i < ACCEPT_ITEMS; i++) {
        if (s->line[i].state == ACCEPT_FAIL)
            return ACCEPT_FAILED;
        open = open || s->line[i].wanting;
    }
    return open ? ACCEPT_INCOMPLETE : ACCEPT_PASSED;
}

static enum accept_change change_of(const struct accept_line *a, const struct accept_line *b,
                                    const struct accept_difference *d)
{
    bool was = a->state > ACCEPT_NOT_MEASURED;
    bool is = b->state > ACCEPT_NOT_MEASURED;
    if (!was || !is)
        return was == is ? ACCEPT_SAME : was ? ACCEPT_LOST : ACCEPT_APPEARED;
    if (a->state != ACCEPT_FAIL && b->state == ACCEPT_FAIL)
        return ACCEPT_BROKE;
    if (a->state == ACCEPT_FAIL && b->state != ACCEPT_FAIL)
        return ACCEPT_MENDED;
    return d->has_change && fabs(d->by) > d->uncertainty ? ACCEPT_MOVED : ACCEPT_SAME;
}

void accept_compare(const struct accept_sheet *before, const struct accept_sheet *after,
                    struct accept_difference out[ACCEPT_ITEMS])
{
    for (int i = 0; i < ACCEPT_ITEMS; i++) {
        const struct accept_line *a = &before->line[i];
        const struct accept_line *b = &after->line[i];
        struct accept_difference d = {.has_change = a->has_value && b->has_value};
        if (d.has_change) {
            d.by = b->value - a->value;
            d.uncertainty = hypot(a->uncertainty, b->uncertainty);
        }
        d.change = change_of(a, b, &d);
        out[i] = d;
    }
}

const char *accept_change_word(enum accept_change c)
{
    return changes[c];
}
