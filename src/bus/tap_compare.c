/* Two taps, line by line, through the cable's map. */
#include "bus/tap.h"

#include <stdlib.h>

/* Edges may be lost at a threshold here and there before two lines count as different. */
#define SAME_PERCENT      95
#define BUSY_SAME_PERCENT 90
#define BUSY_SLACK_EDGES  512 /* windows cut by the ends of a recording */

struct both {
    const struct tap_edges *m, *d;
    struct tap_clock clock;
    int64_t tolerance_ns;
    int64_t from_ns, to_ns; /* machine-end time during which both taps ran */
};

static enum line to_drive(const struct profile *cable, enum line machine_line)
{
    return cable != NULL ? cable_to_drive(cable, machine_line) : machine_line;
}

/* Edges of a that have, or lack, a fellow in b. At the ends of the common span, and where the
 * other tap's recording begins or ends, a fellow may have fallen outside: an edge there can
 * only count as matched. */
static void count_edges(const struct both *k, bool from_machine, enum line line,
                        enum line other, int64_t *matched, int64_t *only)
{
    const struct tap_track *a = from_machine ? &k->m->line[line] : &k->d->line[line];
    const struct tap_track *b = from_machine ? &k->d->line[other] : &k->m->line[other];
    int64_t slack = k->tolerance_ns;
    for (size_t i = 0; i < a->count; i++) {
        int64_t here = a->edge[i].ns;
        int64_t machine = from_machine ? here : tap_to_machine(&k->clock, here);
        int64_t there = from_machine ? tap_to_drive(&k->clock, here) : machine;
        if (tap_nearest(b, there, a->edge[i].level, slack) < b->count) {
            ++*matched;
        } else if (machine - slack >= k->from_ns && machine + slack <= k->to_ns &&
                   tap_recorded(b, there - slack, there + slack)) {
            ++*only;
        }
    }
}

static void compare_slow(const struct both *k, struct tap_line *l)
{
    int64_t back = 0;
    count_edges(k, true, l->machine_line, l->drive_line, &l->matched, &l->only_machine);
    count_edges(k, false, l->drive_line, l->machine_line, &back, &l->only_drive);
    int64_t machine = l->matched + l->only_machine;
    int64_t drive = back + l->only_drive;
    if (machine + drive == 0) {
        int64_t middle = k->from_ns + (k->to_ns - k->from_ns) / 2; /* far from either end */
        enum level at_machine = tap_level(&k->m->line[l->machine_line], middle);
        enum level at_drive =
            tap_level(&k->d->line[l->drive_line], tap_to_drive(&k->clock, middle));
        bool known = at_machine != LEVEL_UNKNOWN && at_drive != LEVEL_UNKNOWN;
        l->relation = known && at_machine != at_drive ? TAP_LEVELS : TAP_NOT_COMPARED;
    } else if (drive == 0) {
        l->relation = TAP_QUIET_DRIVE;
    } else if (machine == 0) {
        l->relation = TAP_QUIET_MACHINE;
    } else {
        int64_t more = machine > drive ? machine : drive;
        l->relation = 100 * l->matched >= SAME_PERCENT * more ? TAP_SAME : TAP_DIFFER;
    }
}

/* Edges in the windows of a busy line that touch a time of its own clock. */
static int64_t edges_near(const struct tap_track *t, int64_t from, int64_t to)
{
    int64_t sum = 0;
    size_t low = 0;
    size_t high = t->window_count;
    while (low < high) {
        size_t mid = low + (high - low) / 2;
        if ((t->window[mid].index + 1) * TAP_WINDOW_NS <= from) {
            low = mid + 1;
        } else {
            high = mid;
        }
    }
    for (; low < t->window_count && t->window[low].index * TAP_WINDOW_NS < to; low++) {
        sum += t->window[low].edges;
    }
    return sum;
}

/* Edges of a busy line at one tap while both taps recorded it; *near: those that have company
 * at the other. */
static int64_t busy_edges(const struct both *k, const struct tap_line *l, bool from_machine,
                          int64_t *near)
{
    const struct tap_track *m = &k->m->line[l->machine_line];
    const struct tap_track *d = &k->d->line[l->drive_line];
    const struct tap_track *a = from_machine ? m : d;
    int64_t sum = 0;
    for (size_t i = 0; i < a->window_count; i++) {
        int64_t from = a->window[i].index * TAP_WINDOW_NS;
        int64_t to = from + TAP_WINDOW_NS;
        int64_t machine_from = from_machine ? from : tap_to_machine(&k->clock, from);
        int64_t machine_to = from_machine ? to : tap_to_machine(&k->clock, to);
        int64_t drive_from = from_machine ? tap_to_drive(&k->clock, from) : from;
        int64_t drive_to = from_machine ? tap_to_drive(&k->clock, to) : to;
        if (machine_from < k->from_ns || machine_to > k->to_ns ||
            !tap_recorded(m, machine_from, machine_to) ||
            !tap_recorded(d, drive_from, drive_to)) {
            continue;
        }
        sum += a->window[i].edges;
        bool company = from_machine ? edges_near(d, drive_from, drive_to) > 0
                                    : edges_near(m, machine_from, machine_to) > 0;
        *near += company ? a->window[i].edges : 0;
    }
    return sum;
}

/* A tap that looks less often than pulses are long, as the finer tap saw them, loses some. */
static bool pulses_lost(const struct both *k, const struct tap_line *l)
{
    bool finer_machine = k->m->sample_ns <= k->d->sample_ns;
    int64_t coarser_ns = finer_machine ? k->d->sample_ns : k->m->sample_ns;
    const struct tap_track *finer =
        finer_machine ? &k->m->line[l->machine_line] : &k->d->line[l->drive_line];
    return finer->lows > 0 && coarser_ns >= finer->lows_ns / finer->lows;
}

/* Busy lines are compared by how many edges there are, not edge by edge. */
static void compare_busy(const struct both *k, struct tap_line *l)
{
    int64_t near = 0;
    int64_t machine = busy_edges(k, l, true, &near);
    int64_t drive = busy_edges(k, l, false, &near);
    int64_t less = machine < drive ? machine : drive;
    int64_t more = machine < drive ? drive : machine;
    l->matched = less;
    l->only_machine = machine - less;
    l->only_drive = drive - less;
    if (more == 0 || pulses_lost(k, l)) {
        l->relation = TAP_NOT_COMPARED;
    } else if (near > 0) {
        int64_t slack = more / 4 < BUSY_SLACK_EDGES ? more / 4 : BUSY_SLACK_EDGES;
        l->relation = 100 * (less + slack) >= BUSY_SAME_PERCENT * more ? TAP_SAME : TAP_DIFFER;
    } else {
        l->relation = drive == 0     ? TAP_QUIET_DRIVE
                      : machine == 0 ? TAP_QUIET_MACHINE
                                     : TAP_DIFFER;
    }
}

static void overlap(struct both *k)
{
    int64_t from = tap_to_machine(&k->clock, k->d->start_ns);
    int64_t to = tap_to_machine(&k->clock, k->d->end_ns);
    k->from_ns = k->m->start_ns > from ? k->m->start_ns : from;
    k->to_ns = k->m->end_ns < to ? k->m->end_ns : to;
}

static void compare_lines(const struct both *k, const struct profile *cable, bool aligned,
                          struct tap_compare *out)
{
    for (int i = 0; i < LINE_COUNT; i++) {
        enum line machine_line = (enum line)i;
        enum line drive_line = to_drive(cable, machine_line);
        if ((unsigned)drive_line >= LINE_COUNT || (k->m->line[machine_line].state_count == 0 &&
                                                   k->d->line[drive_line].state_count == 0)) {
            continue;
        }
        struct tap_line *l = &out->line[out->line_count++];
        *l = (struct tap_line){.machine_line = machine_line, .drive_line = drive_line};
        if (!aligned || k->m->line[machine_line].state_count == 0 ||
            k->d->line[drive_line].state_count == 0) {
            continue;
        }
        if (tap_is_busy(machine_line) && tap_is_busy(drive_line)) {
            compare_busy(k, l);
        } else if (!tap_is_busy(machine_line) && !tap_is_busy(drive_line)) {
            compare_slow(k, l);
        }
    }
}

enum err tap_compare(const struct tap_edges *machine_end, const struct tap_edges *drive_end,
                     const struct profile *cable, bool same_clock, struct tap_compare *out)
{
    struct tap_common common[LINE_COUNT];
    struct tap_fit fit = {0};
    size_t count = 0;
    for (int i = 0; i < LINE_COUNT; i++) {
        enum line drive_line = to_drive(cable, (enum line)i);
        if ((unsigned)drive_line < LINE_COUNT && machine_end->line[i].count > 0 &&
            drive_end->line[drive_line].count > 0) {
            common[count++] = (struct tap_common){.m = &machine_end->line[i],
                                                  .d = &drive_end->line[drive_line]};
        }
    }
    TRY(tap_align(drive_end, common, count, same_clock, &fit));
    *out = (struct tap_compare){
        .aligned = fit.good,
        .offset_ns = tap_to_drive(&fit.clock, 0),
        .drift_ppm = fit.clock.drift * 1e6,
        .residual_ns = fit.residual_ns,
        .common_edges = fit.matched,
    };
    struct both k = {.m = machine_end,
                     .d = drive_end,
                     .clock = fit.clock,
                     .tolerance_ns =
                         fit.tolerance_ns + machine_end->sample_ns + drive_end->sample_ns};
    overlap(&k);
    compare_lines(&k, cable, fit.good, out);
    return ERR_OK;
}
