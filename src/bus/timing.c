/* Times on the lines against what drive and controller profiles allow. */
#include "bus/tracker.h"

#include <stdlib.h>
#include <string.h>

/* Clocks of machine and tap may be this far off before a limit counts as broken. */
#define SLACK_SHARE 0.01
#define SLACK_NS    50

enum { USE_MIN = 1, USE_MAX = 2 };

static const struct timing_rule {
    enum line line;
    const char *key[2]; /* drive's, controller's; NULL: none */
    unsigned use[2];
} RULES[TIME_ITEMS] = {
    [TIME_STEP_INTERVAL] = {LINE_STEP,
                            {"step_interval_ms", "step_interval_ms"},
                            {USE_MIN, USE_MIN}},
    [TIME_STEP_REVERSE] = {LINE_STEP, {"step_reverse_ms", NULL}, {USE_MIN, 0}},
    [TIME_STEP_WIDTH] = {LINE_STEP, {"step_width_us", "step_width_us"}, {USE_MIN, USE_MIN}},
    [TIME_DIR_SETUP] = {LINE_DIR, {"dir_setup_us", "dir_setup_us"}, {USE_MIN, USE_MIN}},
    [TIME_DIR_HOLD] = {LINE_DIR, {"dir_hold_us", "dir_hold_us"}, {USE_MIN, USE_MIN}},
    [TIME_SETTLE] = {LINE_WGATE, {"settle_ms", NULL}, {USE_MIN, 0}},
    [TIME_TRK00] = {LINE_TRK00, {"trk00_valid_ms", NULL}, {USE_MAX, 0}},
    [TIME_INDEX_WIDTH] = {LINE_INDEX,
                          {"index_width_us", "index_width_min_us"},
                          {USE_MIN | USE_MAX, USE_MIN}},
    [TIME_ERASE] = {LINE_WGATE, {"erase_delay_us", NULL}, {USE_MIN, 0}},
    [TIME_GATE_DATA] = {LINE_WDATA, {"write_first_us", NULL}, {USE_MAX, 0}},
    [TIME_READ_WIDTH] = {LINE_RDATA,
                         {"read_pulse_ns", "read_pulse_ns"},
                         {USE_MIN | USE_MAX, USE_MIN | USE_MAX}},
    [TIME_WRITE_WIDTH] = {LINE_WDATA,
                          {"write_pulse_ns", "write_pulse_ns"},
                          {USE_MIN | USE_MAX, USE_MIN | USE_MAX}},
};

/* ns in the unit that a key ends in. */
static double unit_ns(const char *key)
{
    const char *unit = strrchr(key, '_');
    return strcmp(unit, "_ms") == 0 ? 1e6 : strcmp(unit, "_us") == 0 ? 1e3 : 1;
}

void timing_start(struct bus_tracker *t)
{
    for (int who = 0; who < 2; who++) {
        const struct profile *p = who == 0 ? t->drive : t->controller;
        for (int i = 0; i < TIME_ITEMS; i++) {
            const char *key = RULES[i].key[who];
            struct timing_limit *l = &t->timing[who][i];
            const struct limit *k = p != NULL && key != NULL ? profile_limit(p, key) : NULL;
            *l = (struct timing_limit){.max_ns = NEVER, .worst_low_ns = NEVER};
            if (k == NULL) {
                continue;
            }
            double ns = unit_ns(key);
            if (k->has_min && (RULES[i].use[who] & USE_MIN) != 0) {
                l->limit = k;
                l->min_ns = bounded_ns(k->min * ns * (1 - SLACK_SHARE) - SLACK_NS);
            }
            if (k->has_max && (RULES[i].use[who] & USE_MAX) != 0) {
                l->limit = k;
                l->max_ns = bounded_ns(k->max * ns * (1 + SLACK_SHARE) + SLACK_NS);
            }
        }
    }
}

void timing_seen(struct bus_tracker *t, enum timing_item item, int64_t ns)
{
    for (int who = 0; who < 2; who++) {
        struct timing_limit *l = &t->timing[who][item];
        if (l->limit == NULL) {
            continue;
        }
        l->count++;
        l->broken += ns < l->min_ns || ns > l->max_ns;
        l->worst_low_ns = ns < l->worst_low_ns ? ns : l->worst_low_ns;
        l->worst_high_ns = ns > l->worst_high_ns ? ns : l->worst_high_ns;
    }
}

void timing_erase(struct bus_tracker *t, int64_t ns)
{
    if (t->gate_rise_ns >= 0 && ns >= t->gate_rise_ns) {
        timing_seen(t, TIME_ERASE, ns - t->gate_rise_ns);
        t->gate_rise_ns = -1;
    }
}

static struct timing_check check_of(const struct timing_limit *l, int who, int item)
{
    const struct timing_rule *r = &RULES[item];
    double ns = unit_ns(r->key[who]);
    struct timing_check c = {
        .line = r->line,
        .what = r->key[who],
        .below_min = l->worst_low_ns<l->min_ns, .above_max = l->worst_high_ns> l->max_ns,
        .count = l->count,
        .broken = l->broken,
        .source = l->limit->source,
    };
    bool low_side = c.below_min || (!c.above_max && l->min_ns > 0);
    c.worst = (double)(low_side ? l->worst_low_ns : l->worst_high_ns) / ns;
    c.limit = low_side ? l->limit->min : l->limit->max;
    return c;
}

enum err timing_finish(struct bus_tracker *t)
{
    struct bus_story *s = &t->s;
    const enum line data[] = {LINE_RDATA, LINE_WDATA};
    const enum timing_item width[] = {TIME_READ_WIDTH, TIME_WRITE_WIDTH};
    for (int i = 0; i < 2; i++) {
        if (s->line[data[i]].median_low_ns > 0) {
            timing_seen(t, width[i], s->line[data[i]].median_low_ns);
        }
    }
    s->timing = calloc((size_t)2 * TIME_ITEMS, sizeof s->timing[0]);
    if (s->timing == NULL) {
        return ERR_MEMORY;
    }
    for (int who = 0; who < 2; who++) {
        for (int i = 0; i < TIME_ITEMS; i++) {
            const struct timing_limit *l = &t->timing[who][i];
            if (l->limit != NULL && l->count > 0) {
                s->timing[s->timing_count++] = check_of(l, who, i);
            }
        }
    }
    return ERR_OK;
}
