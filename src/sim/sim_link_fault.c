/* Faults of the adapter, its leads and its connection. */
#include "sim/sim_link_private.h"

#include <stdlib.h>
#include <string.h>

static const struct {
    const char *before, *after; /* around the line's name; after NULL: before is all of it */
    enum link_fault_kind kind;
    bool pair;
} kinds[] = {
    {"adapter.output.", ".dead", LINK_FAULT_OUTPUT_DEAD, false},
    {"adapter.output.", ".stuck", LINK_FAULT_OUTPUT_STUCK, false},
    {"adapter.input.", ".dead", LINK_FAULT_INPUT_DEAD, false},
    {"adapter.input.", ".stuck", LINK_FAULT_INPUT_STUCK, false},
    {"adapter.lead.", ".swapped", LINK_FAULT_LEAD_SWAPPED, true},
    {"adapter.lead.", ".short", LINK_FAULT_LEAD_SHORT, false},
    {"adapter.lead.", ".intermittent", LINK_FAULT_LEAD_LOOSE, false},
    {"cable.", ".intermittent", LINK_FAULT_CABLE_TOUCHES, true},
    {"cable.", ".intermittent", LINK_FAULT_CABLE_LOOSE, false},
    {"cable.", ".swapped", LINK_FAULT_CABLE_SWAPPED, true},
    {"adapter.voltage", NULL, LINK_FAULT_VOLTAGE, false},
    {"adapter.write-link.closed", NULL, LINK_FAULT_WRITE_LINK, false},
    {"adapter.grounds-apart", NULL, LINK_FAULT_GROUNDS_APART, false},
    {"adapter.no-pull-ups", NULL, LINK_FAULT_NO_PULL_UPS, false},
    {"adapter.unplugged", NULL, LINK_FAULT_UNPLUGGED, false},
    {"adapter.unplugged.later", NULL, LINK_FAULT_UNPLUGGED_LATER, false},
    {"bench.disk.sheds", NULL, LINK_FAULT_DISK_SHEDS, false},
    {"adapter.frames.damaged", NULL, LINK_FAULT_DAMAGED, false},
    {"adapter.frames.repeated", NULL, LINK_FAULT_REPEATED, false},
    {"adapter.stalled", NULL, LINK_FAULT_STALLED, false},
    {"adapter.other-version", NULL, LINK_FAULT_VERSION, false},
    {"adapter.lies", NULL, LINK_FAULT_LIES, false},
    {"bench.trimmer.turned", NULL, LINK_FAULT_TRIMMER_TURNED, false},
    {"bench.disk.protected", NULL, LINK_FAULT_DISK_PROTECTED, false},
    {"host.stalled", NULL, LINK_FAULT_HOST_STALLED, false},
    {"drive.start.slow", NULL, LINK_FAULT_START_SLOW, false},
    {"drive.speed.off", NULL, LINK_FAULT_SPEED_OFF, false},
    {"drive.speed.near", NULL, LINK_FAULT_SPEED_NEAR, false},
    {"drive.index.wide", NULL, LINK_FAULT_INDEX_WIDE, false},
    {"drive.stepper.slow", NULL, LINK_FAULT_STEPPER_SLOW, false},
    {"drive.settle.long", NULL, LINK_FAULT_SETTLE_LONG, false},
};

static const struct sim_link_fault_name names[] = {
    {"adapter.frames.damaged", "every so often a frame arrives damaged"},
    {"adapter.frames.repeated", "every so often a frame arrives twice"},
    {"adapter.grounds-apart", "no fault: the adapter's ground pins are wired apart"},
    {"adapter.input.LINE.dead", "an input always reads inactive"},
    {"adapter.input.LINE.stuck", "an input always reads active"},
    {"adapter.lead.LINE.intermittent", "a test lead opens and closes as it is moved"},
    {"adapter.lead.LINE.short", "a test lead touches ground"},
    {"adapter.lead.PAIR.swapped", "two test leads are exchanged"},
    {"adapter.lies", "the adapter's capabilities contradict one another"},
    {"adapter.no-pull-ups", "the adapter has no pull-ups of its own"},
    {"adapter.other-version", "the adapter speaks a later protocol"},
    {"adapter.output.LINE.dead", "an output never pulls"},
    {"adapter.output.LINE.stuck", "an output always pulls"},
    {"adapter.stalled", "the stream's endpoint halts once"},
    {"adapter.unplugged", "the adapter is unplugged in mid-stream"},
    {"adapter.unplugged.later", "the same, a while into the work that the seed tells"},
    {"adapter.voltage", "a conductor carries voltage when the loop or a cable is tested"},
    {"adapter.write-link.closed", "no fault: the link of the write gate is closed"},
    {"bench.disk.protected", "no fault: the disk is write protected"},
    {"bench.disk.sheds", "the disk leaves more and more of its coating on the heads"},
    {"bench.trimmer.turned", "somebody turns the speed up from 3 % too slow to the rated one"},
    {"cable.LINE.intermittent", "a conductor opens and closes as the cable is moved"},
    {"cable.PAIR.intermittent", "two conductors two pins apart touch as the cable is moved"},
    {"cable.PAIR.swapped", "two conductors are exchanged"},
    {"drive.index.wide", "INDEX is wider than the drive's limit"},
    {"drive.settle.long", "the head settles later than the drive's limit"},
    {"drive.speed.near", "the speed is 1.2 % high: within the maker's limit, not the shop's"},
    {"drive.speed.off", "the speed is too low, by half a percent beyond the drive's limit"},
    {"drive.start.slow", "the spindle reaches its speed later than the drive's limit"},
    {"drive.stepper.slow", "steps get lost at the drive's own limit, not at slower ones"},
    {"host.stalled", "the host does not read for two seconds"},
};

size_t sim_link_faults(const struct sim_link_fault_name **out)
{
    *out = names;
    return sizeof names / sizeof names[0];
}

static bool parse_one(const char *name, struct link_fault *out)
{
    size_t len = strlen(name);
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
        size_t b = strlen(kinds[i].before);
        *out = (struct link_fault){kinds[i].kind, LINE_NONE, LINE_NONE};
        if (kinds[i].after == NULL) {
            if (strcmp(name, kinds[i].before) == 0)
                return true;
            continue;
        }
        size_t a = strlen(kinds[i].after);
        if (len <= a + b || strncmp(name, kinds[i].before, b) != 0 ||
            strcmp(name + len - a, kinds[i].after) != 0)
            continue;
        const char *line = name + b;
        size_t n = len - a - b;
        const char *plus = kinds[i].pair ? memchr(line, '+', n) : NULL;
        if (kinds[i].pair && plus == NULL)
            continue;
        size_t first = plus != NULL ? (size_t)(plus - line) : n;
        out->a = line_by_part(line, first);
        out->b = plus != NULL ? line_by_part(plus + 1, n - first - 1) : LINE_NONE;
        if (out->a != LINE_NONE && (plus == NULL || (out->b != LINE_NONE && out->b != out->a)))
            return true;
    }
    return false;
}

static enum err take(struct sim_link_faults *f, const char *name, struct err_msg *e)
{
    struct link_fault own;
    struct fault bus;
    if (strcmp(name, "none") == 0)
        return ERR_OK;
    if (parse_one(name, &own)) {
        if (f->count == LINK_FAULTS_MAX)
            return err_set(e, ERR_USAGE, "at most %d faults of the adapter at once",
                           LINK_FAULTS_MAX);
        f->fault[f->count++] = own;
        return ERR_OK;
    }
    TRY(sim_fault_parse(name, &bus, e));
    if (f->bus_count == FAULTS_MAX)
        return err_set(e, ERR_USAGE, "at most %d faults of the bus at once", FAULTS_MAX);
    f->bus[f->bus_count++] = name;
    return ERR_OK;
}

enum err sim_link_faults_parse(const char *spec, struct sim_link_faults *out, struct err_msg *e)
{
    *out = (struct sim_link_faults){.text = strdup(spec)};
    if (out->text == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    char *rest = out->text;
    while (rest != NULL) {
        char *comma = strchr(rest, ',');
        if (comma != NULL)
            *comma = '\0';
        TRY(take(out, rest, e));
        rest = comma != NULL ? comma + 1 : NULL;
    }
    return ERR_OK;
}

bool sim_link_has(const struct sim_link_faults *f, enum link_fault_kind kind, enum line line)
{
    for (int i = 0; i < f->count; i++)
        if (f->fault[i].kind == kind && (line == LINE_NONE || f->fault[i].a == line))
            return true;
    return false;
}
