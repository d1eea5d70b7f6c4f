#include "sim/machine.h"

#include "sim/world.h"

#define INDEX_SHORTEST_NS 10000

static const enum line CHIP_LINES[] = {LINE_STEP, LINE_DIR, LINE_WGATE, LINE_WDATA};

static bool stuck(const struct machine *m, enum line line)
{
    const struct spec *s = &m->w->spec;
    return sim_spec_has_line(s, FAULT_PORT_STUCK, line) ||
           sim_spec_has_line(s, FAULT_LATCH_STUCK, line) ||
           sim_spec_has_line(s, FAULT_DRIVER_STUCK, line) ||
           sim_spec_has_line(s, FAULT_CHIP_LINE_STUCK, line);
}

static bool dead(const struct machine *m, enum line line)
{
    const struct spec *s = &m->w->spec;
    return sim_spec_has_line(s, FAULT_PORT_DEAD, line) ||
           sim_spec_has_line(s, FAULT_LATCH_DEAD, line) ||
           sim_spec_has_line(s, FAULT_DRIVER_DEAD, line) ||
           sim_spec_has_line(s, FAULT_CHIP_LINE_DEAD, line);
}

void sim_machine_pull(struct machine *m, enum line line, bool active)
{
    if (line == LINE_NONE || !(m->spec->lines & LINE_BIT(line)) || stuck(m, line) ||
        dead(m, line))
        return;
    if (m->broken && active)
        return;
    if (((m->pulled & LINE_BIT(line)) != 0) == active)
        return;
    m->pulled ^= LINE_BIT(line);
    sim_world_pull(m->w, PARTY_MACHINE, line, active);
}

bool sim_machine_sees(const struct machine *m, enum line line)
{
    return (m->sees & LINE_BIT(line)) != 0;
}

void sim_machine_input(struct machine *m, enum line line, bool low)
{
    if (sim_spec_has_line(&m->w->spec, FAULT_RECEIVER_DEAD, line) ||
        sim_spec_has_line(&m->w->spec, FAULT_RECEIVER_STUCK, line) || line_from_machine(line))
        return;
    if (((m->sees & LINE_BIT(line)) != 0) == low)
        return;
    m->sees ^= LINE_BIT(line);
    int64_t now = m->w->now;
    if (line == LINE_INDEX && low && now - m->index_last > INDEX_SHORTEST_NS) {
        m->index_count++;
        m->index_last = now;
    }
    if (line == LINE_RDATA && low && m->reading)
        sim_separator_pulse(&m->separator, now);
}

void sim_machine_absent(struct machine *m, struct world *w)
{
    *m = (struct machine){.w = w, .spec = &w->spec.machine, .cylinder = -1};
    m->break_at = m->break_end = NEVER;
}

void sim_machine_start(struct machine *m, struct world *w, uint64_t seed)
{
    sim_machine_absent(m, w);
    m->index_last = -NS_PER_S;
    m->placed_cylinder = -1;
    sim_rng_seed(&m->rng, seed, 60);
    for (int i = 0; i < LINE_COUNT; i++) {
        enum line line = (enum line)i;
        if (sim_spec_has_line(&w->spec, FAULT_RECEIVER_STUCK, line))
            m->sees |= LINE_BIT(line);
        if ((m->spec->lines & LINE_BIT(line)) && line_from_machine(line) && stuck(m, line)) {
            m->pulled |= LINE_BIT(line);
            sim_world_pull(w, PARTY_MACHINE, line, true);
        }
    }
}

int64_t sim_machine_next(const struct machine *m)
{
    return m->break_at < m->break_end ? m->break_at : m->break_end;
}

void sim_machine_event(struct machine *m)
{
    int64_t now = m->w->now;
    if (m->break_at <= now) {
        bool all = sim_rng_chance(&m->rng, 0.4);
        m->break_at = NEVER;
        m->break_end = now + sim_rng_between(&m->rng, 1, 25) * NS_PER_MS;
        for (size_t i = 0; i < sizeof CHIP_LINES / sizeof CHIP_LINES[0]; i++)
            sim_machine_pull(m, CHIP_LINES[i], false);
        if (all) {
            sim_machine_pull(m, m->spec->select, false);
            sim_machine_pull(m, m->spec->motor, false);
        }
        m->broken = true;
    }
    if (m->break_end <= now) {
        m->break_end = NEVER;
        m->break_at = now + sim_rng_between(&m->rng, 120, 600) * NS_PER_MS;
    }
}

enum status sim_machine_wait(struct machine *m, int64_t ns)
{
    struct world *w = m->w;
    int64_t until = w->now + ns;
    while (w->now < until) {
        if (m->broken)
            return ST_BROKEN;
        if (w->now >= w->end || w->err != ERR_OK)
            return ST_CUT;
        sim_world_step(w, until < w->end ? until : w->end);
    }
    return m->broken ? ST_BROKEN : ST_OK;
}

enum status sim_machine_wait_index(struct machine *m, int pulses)
{
    struct world *w = m->w;
    int target = m->index_count + pulses;
    int64_t since = w->now;
    while (m->index_count < target) {
        int64_t last = m->index_last > since ? m->index_last : since;
        int64_t limit = last + m->spec->host_limit_ns;
        if (m->broken)
            return ST_BROKEN;
        if (w->now >= w->end || w->err != ERR_OK)
            return ST_CUT;
        if (w->now >= limit)
            return m->spec->hangs ? ST_HUNG : ST_TIMEOUT;
        sim_world_step(w, limit < w->end ? limit : w->end);
    }
    return ST_OK;
}
