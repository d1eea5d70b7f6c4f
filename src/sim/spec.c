#include "sim/spec.h"

#include "base/units.h"
#include "sim/spec_lines.h"

#include <string.h>

enum stream { STREAM_DRIVE = 1, STREAM_DISK, STREAM_MACHINE };

bool sim_spec_has(const struct spec *s, enum fault_kind kind)
{
    return sim_spec_has_line(s, kind, LINE_NONE);
}

bool sim_spec_has_line(const struct spec *s, enum fault_kind kind, enum line line)
{
    for (int i = 0; i < s->faults; i++) {
        if (s->fault[i].kind == kind && (line == LINE_NONE || s->fault[i].a == line))
            return true;
    }
    return false;
}

static int64_t span(const struct profile *p, const char *key, double fallback, double unit_ns)
{
    return (int64_t)(profile_number(p, key, fallback) * unit_ns);
}

static void drive_faults(struct spec *s, struct rng *r)
{
    struct drive_spec *d = &s->drive;
    if (sim_spec_has(s, FAULT_SPEED_FAST))
        d->speed *= sim_rng_range(r, 1.09, 1.13);
    if (sim_spec_has(s, FAULT_SPEED_SLOW))
        d->speed *= sim_rng_range(r, 0.87, 0.91);
    if (sim_spec_has(s, FAULT_SPEED_UNSTEADY)) {
        d->hunting = sim_rng_range(r, 0.09, 0.14);
        d->wow = sim_rng_range(r, 0.03, 0.05);
    }
    if (sim_spec_has(s, FAULT_HUB_SLIPS))
        d->slip = sim_rng_range(r, 0.10, 0.20);
    if (sim_spec_has(s, FAULT_HEAD_DEAD))
        d->amplitude[0] = d->amplitude[1] = 0;
    if (sim_spec_has(s, FAULT_HEAD_WEAK))
        d->amplitude[0] = d->amplitude[1] = sim_rng_range(r, 0.22, 0.30);
    if (sim_spec_has(s, FAULT_HEAD_DIRTY)) {
        double clean = sim_rng_chance(r, 0.5) ? 1.0 : 0.35;
        bool upper = sim_rng_chance(r, 0.4);
        d->amplitude[0] = upper ? clean : 0.26;
        d->amplitude[1] = upper ? 0.26 : clean;
    }
    if (sim_spec_has(s, FAULT_HEAD1_DEAD))
        d->amplitude[1] = 0;
    if (sim_spec_has(s, FAULT_STRAP_WRONG))
        d->select = d->select == LINE_SELECT0 ? LINE_SELECT1 : LINE_SELECT0;
}

static void drive_timing(struct drive_spec *d, const struct profile *p, struct rng *r)
{
    d->start_ns =
        (int64_t)(profile_number(p, "start_ms", 400) * 1e6 * sim_rng_range(r, 0.75, 1.0));
    double narrow = profile_min(p, "index_width_us", 2000);
    double wide = profile_max(p, "index_width_us", 5000);
    d->index_width_ns =
        (int64_t)(1e3 * (narrow + (wide - narrow) * sim_rng_range(r, 0.35, 0.7)));
    d->step_min_ns = (int64_t)(profile_min(p, "step_interval_ms", 3) * 1e6);
    d->settle_ns = span(p, "settle_ms", 15, 1e6);
    d->trk00_ns = (int64_t)(profile_max(p, "trk00_valid_ms", 2.8) * 0.7e6);
    d->pulse_ns =
        (int64_t)(profile_number(p, "read_pulse_ns", 400) * sim_rng_range(r, 0.95, 1.05));
    d->recovery_ns = span(p, "write_recovery_us", 700, 1e3);
}

static void drive_make(struct spec *s, const struct profile *p, struct rng *r)
{
    struct drive_spec *d = &s->drive;
    d->last_cylinder = (int)profile_number(p, "cylinders", 80) - 1 + 3;
    d->nominal_rpm = profile_number(p, "speed_rpm", 300);
    d->low_rpm = profile_number(p, "speed_low_rpm", 0);
    d->speed = 1.0 + sim_rng_range(r, -0.004, 0.004);
    d->wow = sim_rng_range(r, 0.0015, 0.003);
    d->wow_ninth = 0.0008;
    d->drift = 0.00015;
    d->motor_line = profile_flag(p, "has_motor_line", true);
    d->rotor_index = strcmp(profile_word(p, "index_origin", "rotor"), "rotor") == 0;
    d->gate_ready = profile_has_word(p, "index_gate", "ready");
    d->gate_seek = profile_has_word(p, "index_gate", "seek-complete");
    d->two_rails = profile_limit(p, "v12_v") != NULL || profile_limit(p, "v24_v") != NULL;
    d->step_leading = strcmp(profile_word(p, "step_edge", "trailing"), "leading") == 0;
    d->spins_empty = !d->rotor_index;
    drive_timing(d, p, r);
    enum line select = cable_to_drive(s->cable, s->machine.select);
    d->select = select != LINE_NONE ? select : LINE_SELECT0;
    d->amplitude[0] = d->amplitude[1] = 1.0;
    d->noisy_when_empty = sim_rng_chance(r, 0.6);
    d->start_cylinder = (int)sim_rng_between(r, 3, 30);
    const char *low = profile_word(p, "density_low", "unused");
    d->density_acts = strstr(low, "-") != NULL || d->low_rpm > 0;
    s->density_low_is_low = d->density_low_is_low = strcmp(low, "high-density") != 0;
    drive_faults(s, r);
}

/* Layouts of the ISO/ECMA standards by data rate, speed and number of cylinders (handbook LAY-
 * keys: sectors a track, gap 3). */
static struct disk_format layout(double rate_kbps, double rpm, int cylinders, bool fm)
{
    struct disk_format f = {
        .fm = fm, .turn_ns = 60e9 / rpm, .size_code = 2, .sectors = 9, .gap3 = 80};
    f.cell_ns = 0.5e6 / rate_kbps;
    f.cylinders = cylinders;
    bool fast = rpm > 330;
    if (cylinders == 77) {
        f.sectors = 26;
        f.size_code = fm ? 0 : 1;
        f.gap3 = fm ? 27 : 54;
    } else if (rate_kbps > 400) {
        f.sectors = fast ? 15 : 18;
        f.gap3 = fast ? 84 : 101;
    }
    return f;
}

static bool can_rate(const struct profile *machine, const char *kbps)
{
    return profile_limit(machine, "data_rates") == NULL ||
           profile_has_word(machine, "data_rates", kbps);
}

/* The densest format that both ends are made for. */
static enum err format_make(struct spec *s, const struct sim_options *o, struct rng *r,
                            struct err_msg *e)
{
    double rate = profile_number(o->drive, "data_rate_kbps", 250);
    double rpm = s->drive.nominal_rpm;
    int cylinders = (int)profile_number(o->drive, "cylinders", 80);
    bool fm = cylinders == 77 && profile_has_word(o->machine, "encodings", "FM") &&
              sim_rng_chance(r, 0.4);
    s->high_density = rate > 400;
    if (rate > 400 && !can_rate(o->machine, "500") && cylinders != 77) {
        rate = rpm > 330 ? 300 : 250;
        s->high_density = false;
        if (rpm > 330 && !can_rate(o->machine, "300"))
            return err_set(e, ERR_USAGE, "%s cannot read what %s gives",
                           profile_name(o->machine), profile_name(o->drive));
    }
    if (fm || (cylinders == 77 && !can_rate(o->machine, "500"))) {
        fm = true;
        rate = 250;
    }
    s->format = layout(rate, rpm, cylinders, fm);
    s->format.sides = (int)profile_number(o->drive, "sides", 2);
    return ERR_OK;
}

static bool protect_unseen(const struct spec *s)
{
    return sim_spec_has_line(s, FAULT_CABLE_OPEN, LINE_WPROT) ||
           sim_spec_has_line(s, FAULT_DRIVE_LINE_DEAD, LINE_WPROT) ||
           sim_spec_has_line(s, FAULT_RECEIVER_DEAD, LINE_WPROT);
}

static void disk_faults(struct spec *s, struct disk *disk, struct rng *r)
{
    const struct disk_format *f = &s->format;
    if (sim_spec_has(s, FAULT_DENSITY_WRONG)) {
        double rate = f->cell_ns < 1500 ? 250 : 500;
        disk->format = layout(rate, s->drive.nominal_rpm, f->cylinders, false);
        disk->format.sides = f->sides;
    }
    /* a protected disk shows that nobody sees it is, an open one that it is taken for protected
     */
    if (protect_unseen(s))
        disk->protected_ = true;
    if (sim_spec_has(s, FAULT_WPROT_STUCK) ||
        sim_spec_has_line(s, FAULT_DRIVE_LINE_STUCK, LINE_WPROT) ||
        sim_spec_has_line(s, FAULT_CABLE_SHORT, LINE_WPROT) ||
        sim_spec_has_line(s, FAULT_RECEIVER_STUCK, LINE_WPROT))
        disk->protected_ = false;
    disk->present = !sim_spec_has(s, FAULT_DISK_ABSENT);
    disk->formatted = !sim_spec_has(s, FAULT_DISK_BLANK);
    disk->worn = sim_spec_has(s, FAULT_DISK_WORN);
    disk->upside_down = sim_spec_has(s, FAULT_UPSIDE_DOWN);
    if (sim_spec_has(s, FAULT_HARD_SECTORED)) {
        disk->sector_holes = sim_rng_chance(r, 0.5) ? 10 : 16;
        disk->formatted = false;
    }
    if (sim_spec_has(s, FAULT_TRACK_DENSITY)) {
        disk->head_steps_per_track = 2;
        disk->format.cylinders = 40;
    }
}

static enum err disk_make(struct spec *s, struct disk *disk, const struct sim_options *o,
                          struct rng *r, struct err_msg *e)
{
    TRY(format_make(s, o, r, e));
    s->drive.sheds_s = o->sheds_s;
    *disk = (struct disk){.format = s->format};
    disk->content = (struct disk_content){sim_rng_u64(r), o->image, o->image_bytes};
    disk->worn_percent = o->worn_percent;
    disk->writer_speed = 1.0 + sim_rng_range(r, -0.004, 0.004);
    disk->first_ns = (int32_t)sim_rng_between(r, 60000, 240000);
    disk->head_steps_per_track = 1;
    disk->protected_ = !(s->asked & (ASKED_WRITE | ASKED_FORMAT)) && sim_rng_chance(r, 0.2);
    for (int i = 0; i < TARGETS; i++)
        disk->worn_cylinders[i] = s->target[i];
    disk_faults(s, disk, r);
    return ERR_OK;
}

static enum chip chip_of(const struct profile *p, struct rng *r)
{
    static const struct {
        const char *part;
        enum chip chip;
    } parts[] = {{"wd177x", CHIP_WD177X},
                 {"wd179x", CHIP_WD179X},
                 {"upd765", CHIP_UPD765},
                 {"82077", CHIP_82077}};
    for (size_t i = 0; i < sizeof parts / sizeof parts[0]; i++) {
        if (strstr(profile_name(p), parts[i].part) != NULL)
            return parts[i].chip;
    }
    return (enum chip)sim_rng_between(r, 0, CHIPS - 1);
}

static int64_t slower(const struct profile *machine, const struct profile *drive,
                      const char *key, double fallback)
{
    double m = profile_min(machine, key, fallback);
    double d = profile_number(drive, key, fallback);
    return (int64_t)((m > d ? m : d) * 1e6);
}

static void machine_timing(struct machine_spec *m, const struct sim_options *o, struct rng *r)
{
    const struct profile *p = o->machine;
    m->step_ns = slower(p, o->drive, "step_interval_ms", 6) + sim_rng_between(r, 10, 40) * 1000;
    m->step_pulse_ns = span(p, "step_width_us", 4, 1e3);
    m->dir_setup_ns = span(p, "dir_setup_us", 24, 1e3);
    m->settle_ns = slower(p, o->drive, "settle_ms", 15);
    double wait = profile_number(p, "spinup_ms", 500);
    double start = profile_number(o->drive, "start_ms", 400);
    m->spin_ns = (int64_t)(1e6 * (wait > start * 1.15 ? wait : start * 1.15));
    m->spin_pulses = (int)profile_number(p, "spinup_index_pulses", 0);
    if (m->chip != CHIP_WD177X)
        m->spin_pulses =
            0; /* only that chip counts them; an envelope profile may still name them */
    m->motor_off_pulses = (int)profile_number(p, "motor_off_index_pulses", 0);
    m->motor_off_ns = (int64_t)(1e6 * sim_rng_range(r, 300, 700));
    m->search_pulses =
        (int)profile_number(p, "search_index_pulses", m->chip < CHIP_UPD765 ? 5 : 2);
    m->write_pulse_ns = span(p, "write_pulse_ns", 500, 1);
    if (m->write_pulse_ns < 150 || m->write_pulse_ns > 900)
        m->write_pulse_ns = 500;
    m->write_first_ns = span(p, "wgate_to_wdata_us", 2, 1e3);
}

/* The machine's first unit: the lowest select that comes out at a select of the drive. */
static enum line first_select(const struct profile *cable)
{
    for (enum line line = LINE_SELECT0; line <= LINE_SELECT3; line++) {
        enum line far = cable_to_drive(cable, line);
        if (far != LINE_NONE && line_is_select(far))
            return line;
    }
    return LINE_SELECT0;
}

/* A machine that wants READY has its input strapped where the drive or the cable brings none.
 */
static bool ready_comes(const struct spec *s, const struct sim_options *o)
{
    enum line far = cable_to_drive(o->cable, LINE_READY);
    return (s->machine.lines & LINE_BIT(LINE_READY)) && far == LINE_READY &&
           (s->drive.lines & LINE_BIT(LINE_READY));
}

static void machine_make(struct spec *s, const struct sim_options *o, struct rng *r)
{
    struct machine_spec *m = &s->machine;
    const struct profile *p = o->machine;
    m->chip = chip_of(p, r);
    bool two_motors = cable_machine_pin(o->cable, LINE_MOTOR0) != 0;
    m->motor = two_motors ? LINE_MOTOR0 : LINE_MOTOR;
    m->select = first_select(o->cable);
    m->restore_limit = (int)profile_number(p, "step_limit", m->chip < CHIP_UPD765 ? 255 : 77);
    m->restores = profile_flag(p, "second_recalibrate", m->chip >= CHIP_UPD765) ? 2 : 1;
    m->waits_ready =
        profile_flag(p, "waits_ready", m->chip == CHIP_WD179X) && ready_comes(s, o);
    m->polls = profile_flag(p, "polls_units", false);
    m->uses_dskchg = profile_flag(p, "uses_dskchg", m->chip == CHIP_82077);
    m->hangs = profile_flag(p, "hangs_without_index", true) &&
               !sim_rng_chance(r, profile_number(p, "no_index_timer_share", 0));
    m->host_limit_ns = sim_rng_between(r, 1800, 2400) * NS_PER_MS;
    m->compares_head = m->chip >= CHIP_UPD765;
    m->capture_range = profile_number(p, "speed_tolerance_percent", 6) / 100;
    if (sim_spec_has(s, FAULT_NO_LOCK))
        m->free_run = sim_rng_chance(r, 0.5) ? 1.0 : sim_rng_range(r, 0.82, 0.86);
    m->pull_ohm = profile_number(o->drive, "pull_up_ohm", 1000);
    machine_timing(m, o, r);
    m->tries = (int)sim_rng_between(r, 1, 2) + (m->search_pulses < 3 ? 1 : 0);
}

/* Where the machine's profile says that a line comes from, or "". */
static const char *origin_of(const struct profile *machine, enum line line)
{
    if (line_is_select(line))
        return profile_word(machine, "select_from", "");
    if (line_is_motor(line))
        return profile_word(machine, "motor_from", "");
    if (line == LINE_SIDE)
        return profile_word(machine, "side_from", "");
    if (line == LINE_STEP || line == LINE_DIR)
        return profile_word(machine, "step_from", "chip");
    if (line == LINE_WGATE || line == LINE_WDATA)
        return "chip";
    return "";
}

static enum err check_origin(const struct fault *f, const struct sim_options *o,
                             struct err_msg *e)
{
    const char *named = f->kind == FAULT_PORT_DEAD || f->kind == FAULT_PORT_STUCK     ? "port"
                        : f->kind == FAULT_LATCH_DEAD || f->kind == FAULT_LATCH_STUCK ? "latch"
                        : f->kind == FAULT_CHIP_LINE_DEAD || f->kind == FAULT_CHIP_LINE_STUCK
                            ? "chip"
                            : "";
    const char *is = origin_of(o->machine, f->a);
    if (named[0] != '\0' && is[0] != '\0' && strcmp(named, is) != 0)
        return err_set(e, ERR_USAGE, "%s comes from the %s in %s", line_name(f->a), is,
                       profile_name(o->machine));
    return ERR_OK;
}

static enum err check_line(const struct spec *s, const struct fault *f,
                           const struct sim_options *o, struct err_msg *e)
{
    line_set machine = s->machine.lines;
    line_set drive = s->drive.lines;
    if (f->kind >= FAULT_PORT_DEAD && f->kind <= FAULT_PULL_UP_LINE_MISSING &&
        (!(machine & LINE_BIT(f->a)) || cable_machine_pin(o->cable, f->a) == 0))
        return err_set(e, ERR_USAGE, "%s does not bring %s to its plug",
                       profile_name(o->machine), line_name(f->a));
    if ((f->kind == FAULT_DRIVE_LINE_DEAD || f->kind == FAULT_DRIVE_LINE_STUCK) &&
        !(drive & LINE_BIT(f->a)))
        return err_set(e, ERR_USAGE, "%s has no %s", profile_name(o->drive), line_name(f->a));
    line_set taps = sim_spec_tap_lines(o, machine, drive, false) |
                    sim_spec_tap_lines(o, machine, drive, true);
    if (f->kind == FAULT_LEAD_OPEN && !(taps & LINE_BIT(f->a)))
        return err_set(e, ERR_USAGE, "no tap records %s here", line_name(f->a));
    return f->kind >= FAULT_PORT_DEAD && f->kind <= FAULT_CHIP_LINE_STUCK
               ? check_origin(f, o, e)
               : ERR_OK;
}

/* Faults that only some drives or machines can have. */
static enum err check_parts(const struct spec *s, const struct fault *f,
                            const struct sim_options *o, struct err_msg *e)
{
    const char *drive = profile_name(o->drive);
    if (f->kind == FAULT_12V_MISSING && !s->drive.two_rails)
        return err_set(e, ERR_USAGE, "%s runs on 5 V alone", drive);
    if (f->kind == FAULT_MOTOR_DEAD || f->kind == FAULT_NONE)
        return ERR_OK;
    if ((f->kind == FAULT_HARD_SECTORED || f->kind == FAULT_UPSIDE_DOWN) &&
        s->drive.rotor_index)
        return err_set(e, ERR_USAGE, "%s: its disks cannot be so", drive);
    if (f->kind == FAULT_TRACK_DENSITY &&
        (profile_number(o->drive, "cylinders", 80) < 80 || s->drive.rotor_index))
        return err_set(e, ERR_USAGE, "%s: no disks of half its track density", drive);
    if (f->kind == FAULT_HEAD1_DEAD && profile_number(o->drive, "sides", 2) < 2)
        return err_set(e, ERR_USAGE, "%s has one head", drive);
    return check_line(s, f, o, e);
}

/* Cylinders that the session goes to: none is where the head starts, one lies outward of
 * another. */
static void targets(struct spec *s, const struct profile *drive, struct rng *r)
{
    int last = (int)profile_number(drive, "cylinders", 80) - 1;
    s->target[0] = (int)sim_rng_between(r, 4, last / 2 < 30 ? last / 2 : 30);
    s->target[1] = s->target[0] + (int)sim_rng_between(r, 2, 8);
    s->target[2] = s->target[0] - (int)sim_rng_between(r, 1, 3);
    if (sim_spec_has(s, FAULT_TRACK_DENSITY))
        s->target[0] |= 2;
    while (s->drive.start_cylinder == s->target[0] || s->drive.start_cylinder == s->target[2])
        s->drive.start_cylinder++;
}

enum err sim_spec_make(struct spec *s, struct disk *disk, const struct sim_options *o,
                       struct err_msg *e)
{
    struct rng drive_rng;
    struct rng disk_rng;
    struct rng machine_rng;
    *s = (struct spec){.seed = o->seed, .cable = o->cable};
    sim_rng_seed(&drive_rng, o->seed, STREAM_DRIVE);
    sim_rng_seed(&disk_rng, o->seed, STREAM_DISK);
    sim_rng_seed(&machine_rng, o->seed, STREAM_MACHINE);
    s->asked = o->asked != 0 ? o->asked : ASKED_READ;
    for (int i = 0; i < FAULTS_MAX; i++) {
        struct fault f;
        TRY(sim_fault_parse(o->fault[i], &f, e));
        if (f.kind != FAULT_NONE)
            s->fault[s->faults++] = f;
    }
    sim_spec_lines(o, &s->machine.lines, &s->drive.lines);
    machine_make(s, o, &machine_rng);
    drive_make(s, o->drive, &drive_rng);
    targets(s, o->drive, &machine_rng);
    TRY(disk_make(s, disk, o, &disk_rng, e));
    s->drive.jitter_ns = s->format.cell_ns * 0.022;
    s->drive.peak_shift_ns = s->format.cell_ns * 0.03;
    for (int i = 0; i < s->faults; i++)
        TRY(check_parts(s, &s->fault[i], o, e));
    return ERR_OK;
}
