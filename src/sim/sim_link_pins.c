/* Where the adapter has both plugs of a cable, or its own leads looped back: no machine, no
 * drive, no time, only copper. */
#include "adapter/loop.h"
#include "sim/sim_link_private.h"

#include <string.h>

#define WIGGLE_NS (30 * NS_PER_MS)

static enum err groups(struct sim_link *s, struct pin_groups *out, bool loose,
                       struct err_msg *e)
{
    struct fault fault[FAULTS_MAX + LINK_FAULTS_MAX];
    struct rng r;
    int n = 0;
    for (int i = 0; i < s->faults.bus_count; i++) {
        TRY(sim_fault_parse(s->faults.bus[i], &fault[n], e));
        n += fault[n].kind != FAULT_NONE;
    }
    for (int i = 0; i < s->faults.count; i++) {
        const struct link_fault *f = &s->faults.fault[i];
        if (loose && f->kind == LINK_FAULT_CABLE_LOOSE)
            fault[n++] = (struct fault){FAULT_CABLE_OPEN, f->a, LINE_NONE};
        if (loose && f->kind == LINK_FAULT_CABLE_TOUCHES)
            fault[n++] = (struct fault){FAULT_CABLE_JOIN, f->a, f->b};
        if (f->kind == LINK_FAULT_CABLE_SWAPPED)
            fault[n++] = (struct fault){FAULT_CABLE_SWAP, f->a, f->b};
    }
    struct nets_options o = {.cable = s->options.cable,
                             .fault = fault,
                             .faults = n,
                             .machine_lines = (LINE_BIT(LINE_COUNT) - 1),
                             .drive_lines = (LINE_BIT(LINE_COUNT) - 1),
                             .grounds_apart =
                                 sim_link_has(&s->faults, LINK_FAULT_GROUNDS_APART, LINE_NONE)};
    sim_rng_seed(&r, s->options.seed, 70);
    return sim_nets_pins(out, &o, &r, e);
}

enum err sim_link_pins_make(struct sim_link *s, struct err_msg *e)
{
    s->pin_low[0] = s->pin_low[1] = 0;
    TRY(groups(s, &s->pins, false, e));
    TRY(groups(s, &s->pins_loose, true, e));
    s->has_pins = true;
    return ERR_OK;
}

void sim_link_pin(void *state, unsigned plug, unsigned pin, bool low)
{
    struct sim_link *s = state;
    uint64_t bit = (uint64_t)1 << (pin & 63);
    if (plug > 1)
        return;
    s->pin_low[plug] = low ? s->pin_low[plug] | bit : s->pin_low[plug] & ~bit;
}

/* Contact comes and goes while somebody moves things: bad one slice of time in three. */
static bool loose_now(const struct sim_link *s)
{
    struct rng r;
    sim_rng_seed(&r, s->options.seed + (uint64_t)(sim_link_now(s) / WIGGLE_NS), 71);
    return sim_rng_chance(&r, 0.33);
}

void sim_link_pin_levels(void *state, bool floating, uint8_t out[PIN_LEVELS_BYTES])
{
    const struct sim_link *s = state;
    memset(out, 0, PIN_LEVELS_BYTES);
    bool voltage = sim_link_has(&s->faults, LINK_FAULT_VOLTAGE, LINE_NONE);
    if (floating || !s->has_pins) {
        out[1] = voltage ? 0x02 : 0; /* something pulls pin 10 up */
        return;
    }
    const struct pin_groups *g = loose_now(s) ? &s->pins_loose : &s->pins;
    for (unsigned plug = 0; plug < 2; plug++)
        for (unsigned pin = 1; pin <= s->config.pins[plug]; pin++) {
            int own = g->group[plug][pin];
            bool low = own == g->ground;
            for (unsigned p = 0; p < 2; p++)
                for (unsigned q = 1; q <= s->config.pins[p]; q++)
                    low = low || ((s->pin_low[p] >> q & 1) != 0 && g->group[p][q] == own);
            if (!low)
                out[plug * 8 + (pin - 1) / 8] |= (uint8_t)(1u << ((pin - 1) % 8));
        }
}

static bool lead_open(const struct sim_link *s, unsigned line)
{
    bool loose = sim_link_has(&s->faults, LINK_FAULT_LEAD_LOOSE, (enum line)line);
    return sim_link_lead_open(s, line) || (loose && loose_now(s));
}

static bool joined(const struct sim_link *s, unsigned a, unsigned b)
{
    uint32_t lines = s->config.lines_out;
    if (a == b)
        return true;
    return !lead_open(s, a) && !lead_open(s, b) &&
           loop_group(lines, sim_link_place(s, a)) == loop_group(lines, sim_link_place(s, b));
}

uint32_t sim_link_loop_levels(const struct sim_link *s)
{
    uint32_t high = 0;
    for (unsigned l = 0; l < WIRE_LINES; l++) {
        bool low = false;
        bool looped = (s->config.lines_out & WIRE_BIT(l)) != 0;
        for (unsigned k = 0; looped && k < WIRE_LINES; k++)
            low = low || ((s->config.lines_out & WIRE_BIT(k)) != 0 && sim_link_pulls(s, k) &&
                          joined(s, l, k));
        if (sim_link_has(&s->faults, LINK_FAULT_INPUT_DEAD, (enum line)l))
            low = false;
        if (sim_link_has(&s->faults, LINK_FAULT_INPUT_STUCK, (enum line)l))
            low = true;
        if (!low)
            high |= WIRE_BIT(l);
    }
    return high;
}
