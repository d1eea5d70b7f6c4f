/* Which lines the two ends really carry. A pin may bear several names (34: READY or DSKCHG):
 * here it gets one, as this drive is strapped for this machine. */
#include "sim/spec_lines.h"

static void drop(line_set *set, enum line line)
{
    *set &= ~LINE_BIT(line);
}

static void strap_drive(line_set *drive, line_set machine, const struct sim_options *o)
{
    const char *pin = profile_has_word(o->drive, "pin34", "either")
                          ? ""
                          : profile_word(o->drive, "pin34", "");
    bool ready = pin[0] == 'r';
    if (pin[0] == '\0')
        ready = !profile_flag(o->machine, "uses_dskchg", false) ||
                !(machine & LINE_BIT(LINE_DSKCHG));
    bool shared =
        cable_drive_pin(o->cable, LINE_READY) == cable_drive_pin(o->cable, LINE_DSKCHG);
    if (shared)
        drop(drive, ready ? LINE_DSKCHG : LINE_READY);
    /* the head goes down with the select unless both ends have a line of its own for it */
    bool load_pin =
        cable_drive_pin(o->cable, LINE_HLOAD) != cable_drive_pin(o->cable, LINE_INUSE);
    if (!load_pin || !(machine & LINE_BIT(LINE_HLOAD)))
        drop(drive, LINE_HLOAD);
    if (*drive & LINE_BIT(LINE_INUSE) &&
        cable_drive_pin(o->cable, LINE_INUSE) == cable_drive_pin(o->cable, LINE_HDOUT))
        drop(drive, LINE_HDOUT);
}

static enum line wearer(const struct sim_options *o, line_set drive, int pin)
{
    for (int i = 0; i < LINE_COUNT; i++) {
        if ((drive & LINE_BIT(i)) && cable_drive_pin(o->cable, (enum line)i) == pin)
            return (enum line)i;
    }
    return LINE_NONE;
}

void sim_spec_lines(const struct sim_options *o, line_set *machine, line_set *drive)
{
    *machine = profile_lines(o->machine);
    *drive = profile_lines(o->drive);
    strap_drive(drive, *machine, o);
    for (int i = 0; i < LINE_COUNT; i++) {
        enum line line = (enum line)i;
        if (cable_drive_pin(o->cable, line) == 0)
            drop(drive, line);
        if (cable_machine_pin(o->cable, line) == 0)
            drop(machine, line);
    }
    for (int i = 0; i < LINE_COUNT; i++) {
        enum line line = (enum line)i;
        if (!(*machine & LINE_BIT(line)))
            continue;
        enum line far = cable_to_drive(o->cable, line);
        int pin = far != LINE_NONE ? cable_drive_pin(o->cable, far) : 0;
        enum line there = pin != 0 ? wearer(o, *drive, pin) : LINE_NONE;
        if (there != LINE_NONE && there != far)
            drop(machine, line);
    }
}

line_set sim_spec_tap_lines(const struct sim_options *o, line_set machine, line_set drive,
                            bool drive_end)
{
    line_set own = drive_end ? drive : machine;
    line_set set = 0;
    for (int i = 0; i < LINE_COUNT; i++) {
        enum line line = (enum line)i;
        enum line there =
            drive_end ? cable_to_machine(o->cable, line) : cable_to_drive(o->cable, line);
        bool far = there != LINE_NONE && ((drive_end ? machine : drive) & LINE_BIT(there));
        int pin =
            drive_end ? cable_drive_pin(o->cable, line) : cable_machine_pin(o->cable, line);
        if (pin == 0 || (!(own & LINE_BIT(line)) && !far))
            continue;
        bool taken = false;
        for (int k = 0; k < LINE_COUNT; k++) {
            int other = drive_end ? cable_drive_pin(o->cable, (enum line)k)
                                  : cable_machine_pin(o->cable, (enum line)k);
            taken = taken || ((set & LINE_BIT(k)) && other == pin);
        }
        if (!taken)
            set |= LINE_BIT(line);
    }
    return set;
}
