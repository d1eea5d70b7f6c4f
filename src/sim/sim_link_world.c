/* The bus that the adapter is plugged into, by role, and its time. */
#include "sim/sim_link_private.h"
#include "sim/spec_lines.h"

#define SHEDS_S 25 /* the signal halves in so long */

static enum err no_edge(void *ctx, int tap, int64_t tick, enum line line, enum level level)
{
    (void)ctx;
    (void)tap;
    (void)tick;
    (void)line;
    (void)level;
    return ERR_OK;
}

uint64_t sim_link_ticks(const struct sim_link *s, int64_t ns)
{
    uint64_t mhz = s->config.tick_hz / 1000000u;
    uint64_t t = (uint64_t)ns;
    return t / 1000 * mhz + t % 1000 * mhz / 1000;
}

int64_t sim_link_now(const struct sim_link *s)
{
    return s->world != NULL ? s->base_ns + s->world->now : s->now_ns;
}

void sim_link_disconnect(struct sim_link *s)
{
    sim_link_baton_stop(s);
    s->now_ns = sim_link_now(s);
    sim_play_close(s->play);
    s->play = NULL;
    s->world = NULL;
    s->pulled = 0;
    s->pulses = s->edges = 0;
    s->pulse_low = s->pull_ups = s->has_pins = false;
}

static void guest_for(struct sim_link *s, enum wire_role role)
{
    bool drive_end =
        role == WIRE_ROLE_AS_DRIVE || (role == WIRE_ROLE_INLINE && s->options.drive_end);
    s->guest = (struct guest){.ctx = s,
                              .for_machine = role == WIRE_ROLE_AS_MACHINE,
                              .for_drive = role == WIRE_ROLE_AS_DRIVE,
                              .at_drive_end = drive_end,
                              .input = sim_link_input,
                              .next = sim_link_next,
                              .event = sim_link_event,
                              .hold = sim_link_baton_hold};
    s->party = drive_end ? PARTY_DRIVE : PARTY_MACHINE;
    line_set machine = 0;
    line_set drive = 0;
    sim_spec_lines(&s->options, &machine, &drive);
    s->leads = sim_spec_tap_lines(&s->options, machine, drive, drive_end);
}

static enum err plug_in(struct sim_link *s, enum wire_role role, struct err_msg *e)
{
    struct sim_options o = s->options;
    o.machine_end = o.drive_end = false; /* no recorder beside the adapter */
    o.flux_seconds = 0;
    o.sheds_s = sim_link_has(&s->faults, LINK_FAULT_DISK_SHEDS, LINE_NONE) ? SHEDS_S : 0;
    for (int i = 0; i < FAULTS_MAX; i++)
        o.fault[i] = i < s->faults.bus_count ? s->faults.bus[i] : NULL;
    guest_for(s, role);
    TRY(sim_play_open_with(&o, &s->guest, &s->play, e));
    s->world = sim_play_world(s->play);
    sim_link_wear(s);
    s->base_ns = s->now_ns;
    s->sink = (struct sim_sink){s, no_edge};
    s->in_core = true; /* levels before time begins are no edges */
    TRY(sim_play_begin(s->play, &s->sink, e));
    if (sim_link_has(&s->faults, LINK_FAULT_DISK_PROTECTED, LINE_NONE)) {
        s->world->disk.protected_ = true;
        sim_drive_outputs(&s->world->drive);
    }
    sim_link_disk_as_left(s);
    sim_link_apply(s);
    s->edges = 0;
    s->in_core = false;
    s->sampled = sim_link_levels(s);
    s->poll_at = s->world->now;
    s->sample_at = s->world->now;
    if (role == WIRE_ROLE_AS_MACHINE)
        return ERR_OK;
    return sim_link_baton_start(s, e);
}

enum err sim_link_connect(struct sim_link *s, enum wire_role role, struct err_msg *e)
{
    sim_link_disconnect(s);
    switch (role) {
    case WIRE_ROLE_INLINE:
    case WIRE_ROLE_AS_MACHINE:
    case WIRE_ROLE_AS_DRIVE:
        return plug_in(s, role, e);
    case WIRE_ROLE_BOTH_PLUGS:
        return sim_link_pins_make(s, e);
    case WIRE_ROLE_NONE:
    case WIRE_ROLE_LOOP:
    case WIRE_ROLES:
        break;
    }
    return ERR_OK;
}

void sim_link_advance(struct sim_link *s, int64_t ns)
{
    if (s->world == NULL) {
        s->now_ns += ns;
        device_poll(&s->device);
        return;
    }
    int64_t until = s->world->now + ns;
    if (s->baton.made) {
        s->world->hold_at = until;
        sim_link_baton_run(s);
    }
    s->world->hold_at = NEVER; /* the program has ended, or the rest is nobody's */
    if (s->world->now < until)
        sim_world_run(s->world, until);
}
