#include "evidence/feature.h"

/* Lines that carry each signal on a plug with one motor line; select and motor follow the unit.
 */
static const enum line plain[SIG_COUNT] = {
    [SIG_SEL] = LINE_SELECT0, [SIG_MOT] = LINE_MOTOR,       [SIG_DIR] = LINE_DIR,
    [SIG_STEP] = LINE_STEP,   [SIG_SIDE] = LINE_SIDE,       [SIG_WGATE] = LINE_WGATE,
    [SIG_WDATA] = LINE_WDATA, [SIG_DENSITY] = LINE_DENSITY, [SIG_HLOAD] = LINE_HLOAD,
    [SIG_INDEX] = LINE_INDEX, [SIG_TRK00] = LINE_TRK00,     [SIG_WPROT] = LINE_WPROT,
    [SIG_RDATA] = LINE_RDATA, [SIG_READY] = LINE_READY,     [SIG_DSKCHG] = LINE_DSKCHG,
};

static enum line machine_name(const struct profile *cable, enum sig s, int unit)
{
    enum line line = plain[s];

    if (s == SIG_SEL)
        line = (enum line)(LINE_SELECT0 + unit);
    if (s == SIG_MOT && !cable_machine_pin(cable, LINE_MOTOR))
        line = unit ? LINE_MOTOR1 : LINE_MOTOR0;
    return cable_machine_pin(cable, line) ? line : LINE_NONE;
}

void wiring_make(const struct case_file *c, int unit, struct wiring *out)
{
    line_set used = profile_lines(c->drive), driven = profile_lines(c->machine);

    out->unit = unit;
    for (enum sig s = 0; s < SIG_COUNT; s++) {
        enum line m = machine_name(c->cable, s, unit);
        enum line d = m == LINE_NONE ? LINE_NONE : cable_to_drive(c->cable, m);
        /* a line that the machine never drives tells nothing of this chain */
        bool asked =
            s >= SIG_FROM_DRIVE || s == SIG_SEL || (m != LINE_NONE && (driven & LINE_BIT(m)));
        bool carried = d != LINE_NONE && asked && (s == SIG_SEL || (used & LINE_BIT(d)));

        out->at_machine[s] = carried ? m : LINE_NONE;
        out->at_drive[s] = carried ? d : LINE_NONE;
    }
}

enum sig wiring_sig(const struct wiring *w, enum line line, bool at_drive)
{
    const enum line *names = at_drive ? w->at_drive : w->at_machine;

    if (line == LINE_NONE)
        return SIG_COUNT;
    for (enum sig s = 0; s < SIG_COUNT; s++)
        if (names[s] == line)
            return s;
    return SIG_COUNT;
}
