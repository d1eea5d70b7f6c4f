/* Questions to a cable: which pin, which name at the other plug, which lines lie side by side.
 */
#include "profile_private.h"

int cable_pins(const struct profile *cable)
{
    return cable->cable.machine.pins;
}

int cable_drive_pins(const struct profile *cable)
{
    return cable->cable.drive.pins;
}

static bool pin_bears(const struct pin *pin, enum line line)
{
    for (size_t i = 0; i < pin->names; i++)
        if (pin->name[i] == line)
            return true;
    return false;
}

static int pin_of(const struct plug *plug, enum line line)
{
    for (int n = 1; n <= plug->pins; n++)
        if (pin_bears(&plug->pin[n], line))
            return n;
    return 0;
}

static enum line line_of(const struct plug *plug, int pin)
{
    if (pin < 1 || pin > plug->pins || plug->pin[pin].names == 0)
        return LINE_NONE;
    return plug->pin[pin].name[0];
}

int cable_machine_pin(const struct profile *cable, enum line line)
{
    return pin_of(&cable->cable.machine, line);
}

int cable_drive_pin(const struct profile *cable, enum line line)
{
    return pin_of(&cable->cable.drive, line);
}

enum line cable_machine_line(const struct profile *cable, int pin)
{
    return line_of(&cable->cable.machine, pin);
}

enum line cable_drive_line(const struct profile *cable, int pin)
{
    return line_of(&cable->cable.drive, pin);
}

int cable_far_pin(const struct profile *cable, int machine_pin)
{
    const struct cable *c = &cable->cable;
    return machine_pin >= 1 && machine_pin <= c->machine.pins ? c->map[machine_pin] : 0;
}

static enum pin_use use_of(const struct profile *cable, bool drive_plug, int pin)
{
    const struct plug *plug = drive_plug ? &cable->cable.drive : &cable->cable.machine;
    return pin >= 1 && pin <= plug->pins ? plug->pin[pin].use : PIN_OPEN;
}

bool cable_pin_is_ground(const struct profile *cable, bool drive_plug, int pin)
{
    return use_of(cable, drive_plug, pin) == PIN_GROUND;
}

bool cable_pin_is_used(const struct profile *cable, bool drive_plug, int pin)
{
    enum pin_use use = use_of(cable, drive_plug, pin);
    return use == PIN_LINE || use == PIN_SUPPLY || use == PIN_OTHER;
}

/* A pin under the name `line` where it bears that one, else under its first. */
static enum line name_at(const struct plug *plug, int pin, enum line line)
{
    if (pin >= 1 && pin <= plug->pins && pin_bears(&plug->pin[pin], line))
        return line;
    return line_of(plug, pin);
}

enum line cable_to_drive(const struct profile *cable, enum line machine_line)
{
    const struct cable *c = &cable->cable;
    int pin = pin_of(&c->machine, machine_line);
    return pin == 0 ? LINE_NONE : name_at(&c->drive, c->map[pin], machine_line);
}

enum line cable_to_machine(const struct profile *cable, enum line drive_line)
{
    const struct cable *c = &cable->cable;
    int pin = pin_of(&c->drive, drive_line);
    for (int n = 1; pin > 0 && n <= c->machine.pins; n++)
        if (c->map[n] == pin)
            return name_at(&c->machine, n, drive_line);
    return LINE_NONE;
}

size_t cable_neighbours(const struct profile *cable, enum line *a, enum line *b, size_t max)
{
    const struct plug *plug = &cable->cable.drive;
    size_t count = 0;
    for (int n = 1; n + 2 <= plug->pins; n++) {
        const struct pin *low = &plug->pin[n], *high = &plug->pin[n + 2];
        for (size_t i = 0; i < low->names * high->names; i++, count++) {
            if (count >= max)
                continue;
            a[count] = low->name[i / high->names];
            b[count] = high->name[i % high->names];
        }
    }
    return count;
}
