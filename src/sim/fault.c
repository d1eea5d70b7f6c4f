#include "sim/fault.h"

#include <string.h>

static const struct {
    const char *name;
    enum fault_kind kind;
} whole_names[] = {
    {"none", FAULT_NONE},
    {"cable.plug.reversed", FAULT_PLUG_REVERSED},
    {"cable.plug.off-by-pair", FAULT_PLUG_OFF_BY_PAIR},
    {"cable.plug.off-by-row", FAULT_PLUG_OFF_BY_ROW},
    {"cable.plug.unplugged", FAULT_UNPLUGGED},
    {"cable.twist.missing", FAULT_TWIST_MISSING},
    {"cable.twist.wrong", FAULT_TWIST_WRONG},
    {"cable.ground.open", FAULT_GROUND_OPEN},
    {"controller.separator.no-lock", FAULT_NO_LOCK},
    {"controller.chip.dead", FAULT_CHIP_DEAD},
    {"controller.pull-up.missing", FAULT_PULL_UPS_MISSING},
    {"controller.socket.contact", FAULT_SOCKET_CONTACT},
    {"drive.motor.dead", FAULT_MOTOR_DEAD},
    {"drive.speed.fast", FAULT_SPEED_FAST},
    {"drive.speed.slow", FAULT_SPEED_SLOW},
    {"drive.speed.unsteady", FAULT_SPEED_UNSTEADY},
    {"drive.hub.slips", FAULT_HUB_SLIPS},
    {"drive.index.dead", FAULT_INDEX_DEAD},
    {"drive.index.weak", FAULT_INDEX_WEAK},
    {"drive.track0.dead", FAULT_TRACK0_DEAD},
    {"drive.track0.stuck", FAULT_TRACK0_STUCK},
    {"drive.stepper.stuck", FAULT_STEPPER_STUCK},
    {"drive.stepper.slips", FAULT_STEPPER_SLIPS},
    {"drive.head.dead", FAULT_HEAD_DEAD},
    {"drive.head.weak", FAULT_HEAD_WEAK},
    {"drive.head.dirty", FAULT_HEAD_DIRTY},
    {"drive.head1.dead", FAULT_HEAD1_DEAD},
    {"drive.wprot.stuck", FAULT_WPROT_STUCK},
    {"drive.write.dead", FAULT_WRITE_DEAD},
    {"drive.logic.dead", FAULT_LOGIC_DEAD},
    {"disk.medium.absent", FAULT_DISK_ABSENT},
    {"disk.medium.blank", FAULT_DISK_BLANK},
    {"disk.medium.worn", FAULT_DISK_WORN},
    {"disk.density.wrong", FAULT_DENSITY_WRONG},
    {"power.5v.missing", FAULT_5V_MISSING},
    {"power.12v.missing", FAULT_12V_MISSING},
    {"power.supply.sags", FAULT_SUPPLY_SAGS},
    {"setup.sampled-too-slowly", FAULT_SAMPLED_TOO_SLOWLY},
    {"setup.strap.wrong", FAULT_STRAP_WRONG},
    {"setup.terminator.missing", FAULT_TERMINATOR_MISSING},
    {"setup.terminator.double", FAULT_TERMINATOR_DOUBLE},
    {"setup.select.shared", FAULT_SELECT_SHARED},
    {"setup.track-density", FAULT_TRACK_DENSITY},
    {"setup.hard-sectored-disk", FAULT_HARD_SECTORED},
    {"setup.disk-upside-down", FAULT_UPSIDE_DOWN},
    {"setup.profile.wrong", FAULT_PROFILE_WRONG},
};

enum carried { BY_ANY, BY_MACHINE, BY_DRIVE };

static const struct {
    const char *before, *after; /* around the line's name */
    enum fault_kind kind;
    enum carried driven; /* which way the line must go */
} line_names[] = {
    {"cable.", ".open", FAULT_CABLE_OPEN, BY_ANY},
    {"cable.", ".short", FAULT_CABLE_SHORT, BY_ANY},
    {"controller.port.", ".dead", FAULT_PORT_DEAD, BY_MACHINE},
    {"controller.port.", ".stuck", FAULT_PORT_STUCK, BY_MACHINE},
    {"controller.latch.", ".dead", FAULT_LATCH_DEAD, BY_MACHINE},
    {"controller.latch.", ".stuck", FAULT_LATCH_STUCK, BY_MACHINE},
    {"controller.driver.", ".dead", FAULT_DRIVER_DEAD, BY_MACHINE},
    {"controller.driver.", ".stuck", FAULT_DRIVER_STUCK, BY_MACHINE},
    {"controller.chip.", ".dead", FAULT_CHIP_LINE_DEAD, BY_MACHINE},
    {"controller.chip.", ".stuck", FAULT_CHIP_LINE_STUCK, BY_MACHINE},
    {"controller.receiver.", ".dead", FAULT_RECEIVER_DEAD, BY_DRIVE},
    {"controller.receiver.", ".stuck", FAULT_RECEIVER_STUCK, BY_DRIVE},
    {"controller.pull-up.", ".missing", FAULT_PULL_UP_LINE_MISSING, BY_DRIVE},
    {"drive.", ".dead", FAULT_DRIVE_LINE_DEAD, BY_ANY},
    {"drive.", ".stuck", FAULT_DRIVE_LINE_STUCK, BY_ANY},
    {"setup.lead.", ".open", FAULT_LEAD_OPEN, BY_ANY},
};

/* The part of name between before and after, or NULL. */
static const char *between(const char *name, const char *before, const char *after, size_t *len)
{
    size_t n = strlen(name);
    size_t b = strlen(before);
    size_t a = strlen(after);
    if (n <= a + b || strncmp(name, before, b) != 0 || strcmp(name + n - a, after) != 0)
        return NULL;
    *len = n - a - b;
    return name + b;
}

static bool parse_join(const char *name, struct fault *out)
{
    size_t len = 0;
    const char *pair = between(name, "cable.", ".short", &len);
    const char *plus = pair != NULL ? memchr(pair, '+', len) : NULL;
    if (plus == NULL)
        return false;
    size_t first = (size_t)(plus - pair);
    out->kind = FAULT_CABLE_JOIN;
    out->a = line_by_part(pair, first);
    out->b = line_by_part(plus + 1, len - first - 1);
    return out->a != LINE_NONE && out->b != LINE_NONE && out->a != out->b;
}

enum err sim_fault_parse(const char *name, struct fault *out, struct err_msg *e)
{
    *out = (struct fault){FAULT_NONE, LINE_NONE, LINE_NONE};
    if (name == NULL)
        return ERR_OK;
    for (size_t i = 0; i < sizeof whole_names / sizeof whole_names[0]; i++) {
        if (strcmp(name, whole_names[i].name) == 0) {
            out->kind = whole_names[i].kind;
            return ERR_OK;
        }
    }
    if (parse_join(name, out))
        return ERR_OK;
    for (size_t i = 0; i < sizeof line_names / sizeof line_names[0]; i++) {
        size_t len = 0;
        const char *text = between(name, line_names[i].before, line_names[i].after, &len);
        enum line line = text != NULL ? line_by_part(text, len) : LINE_NONE;
        if (line == LINE_NONE)
            continue;
        bool way = line_names[i].driven == BY_ANY ||
                   (line_names[i].driven == BY_MACHINE) == line_from_machine(line);
        if (!way)
            return err_set(e, ERR_USAGE, "%s: %s is driven from the other end", name,
                           line_name(line));
        *out = (struct fault){line_names[i].kind, line, LINE_NONE};
        return ERR_OK;
    }
    return err_set(e, ERR_USAGE, "the simulator knows no fault named \"%s\"", name);
}
