/* Two taps, line by line, through the cable's map. */
#include "bus/tap.h"

#include <stdlib.h>

/* Edges may be lost at a threshold here and there before two lines count as different. */
#define SAME_PERCENT      95
#define BUSY_SAME_PERCENT 90
#define BUSY_SLACK_EDGES  64

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

/* Edges of a that have, or lack, a fellow in b. to_b: from a's clock to b's. */
static void count_edges(const struct both *k, bool from_machine, enum line line,
                        enum line other, int64_t *matched, int64_t *only)
{
    const struct tap_track *a = from_machine ? &k->m->line[line] : &k->d->line[line];
    const struct tap_track *b = from_machine ? &k->d->line[other] : &k->m->line[other];
    for (size_t i = 0; i < a->count; i++) {
        int64_t here = a->edge[i].ns;
        int64_t machine = from_machine ? here : tap_to_machine(&k->clock, here);
        int64_t there = from_machine ? tap_to_drive(&k->clock, here) : machine;
        if (machine < k->from_ns || machine > k->to_ns ||
            !tap_recorded(b, there - k->tolerance_ns, there + k->tolerance_ns)) {
            continue;
        }
        bool has = tap_nearest(b, there, a->edge[i].level, k->tolerance_ns) < b->count;
        *matched += has;
        *only += !has;
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
        enum level at_machine = tap_level(&k->m->line[l->machine_line], k->from_ns);
        enum level at_drive =
            tap_level(&k->d->line[l->drive_line], tap_to_drive(&k->clock, k->from_ns));
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

static bool window_recorded(const struct both *k, const struct tap_line *l, int64_t from,
                            int64_t to)
{
    return from >= k->from_ns && to <= k->to_ns &&
           tap_recorded(&k->m->line[l->machine_line], from, to) &&
           tap_recorded(&k->d->line[l->drive_line], tap_to_drive(&k->clock, from),
                        tap_to_drive(&k->clock, to));
}

/* Edges of a busy line within a time of its own clock, from its windows. */
static double edges_within(const struct tap_track *t, int64_t from, int64_t to)
{
    double sum = 0;
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
        int64_t start = t->window[low].index * TAP_WINDOW_NS;
        int64_t end = start + TAP_WINDOW_NS;
        int64_t shared = (end < to ? end : to) - (start > from ? start : from);
        sum += (double)t->window[low].edges * (double)shared / (double)TAP_WINDOW_NS;
    }
    return sum;
}

/* Lengths of time during which a busy line was recorded at both taps, summed up window by
 * window. */
static void compare_busy(const struct both *k, struct tap_line *l)
{
    const struct tap_track *m = &k->m->line[l->machine_line];
    const struct tap_track *d = &k->d->line[l->drive_line];
    double machine = 0;
    double drive = 0;
    for (size_t i = 0; i < m->window_count; i++) {
        int64_t from = m->window[i].index * TAP_WINDOW_NS;
        if (window_recorded(k, l, from, from + TAP_WINDOW_NS)) {
            machine += (double)m->window[i].edges;
            drive += edges_within(d, tap_to_drive(&k->clock, from),
                                  tap_to_drive(&k->clock, from + TAP_WINDOW_NS));
        }
    }
    for (size_t i = 0; i < d->window_count; i++) {
        int64_t from = tap_to_machine(&k->clock, d->window[i].index * TAP_WINDOW_NS);
        int64_t to = tap_to_machine(&k->clock, (d->window[i].index + 1) * TAP_WINDOW_NS);
        if (window_recorded(k, l, from, to) && edges_within(m, from, to) <= 0) {
            drive += (double)d->window[i].edges;
        }
    }
    double less = machine < drive ? machine : drive;
    l->matched = (int64_t)less;
    l->only_machine = (int64_t)(machine - less);
    l->only_drive = (int64_t)(drive - less);
    if (machine <= 0 && drive <= 0) {
        l->relation = TAP_NOT_COMPARED;
    } else if (drive <= 0) {
        l->relation = TAP_QUIET_DRIVE;
    } else if (machine <= 0) {
        l->relation = TAP_QUIET_MACHINE;
    } else {
        double more = machine + drive - less;
        l->relation =
            100 * (less + BUSY_SLACK_EDGES) >= BUSY_SAME_PERCENT * more ? TAP_SAME : TAP_DIFFER;
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
    struct both k = {
        .m = machine_end, .d = drive_end, .clock = fit.clock, .tolerance_ns = fit.tolerance_ns};
    overlap(&k);
    compare_lines(&k, cable, fit.good, out);
    return ERR_OK;
}
