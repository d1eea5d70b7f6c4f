#include "cli/adapter_use.h"

#include "accept/drive_limits.h"
#include "adapter/usb_link.h"
#include "base/asked.h"
#include "base/file.h"
#include "sim/sim_link.h"
#include "sim/spec_lines.h"

#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define IMAGE_BYTES_MAX ((size_t)16 << 20)

static const char *or_usual(const char *given, const char *usual)
{
    return given != NULL ? given : usual;
}

#define LOOK_MS 50 /* at the keyboard, and at the adapter, in turn */

/* A line from standard input; an interrupt ends the wait. A session, where there is one, is
 * kept alive meanwhile. */
static enum err wait_for_line(struct session *s, char *line, size_t room, struct err_msg *e)
{
    struct pollfd in = {STDIN_FILENO, POLLIN, 0};
    while (!stop_asked) {
        if (s != NULL)
            TRY(session_wait(s, LOOK_MS, e));
        if (poll(&in, 1, LOOK_MS) <= 0)
            continue;
        if (fgets(line, (int)room, stdin) == NULL)
            return err_set(e, ERR_USAGE, "no answer");
        return ERR_OK;
    }
    return err_set(e, ERR_INTERRUPTED, "interrupted");
}

static enum err ask(struct session *s, const char *question, struct err_msg *e)
{
    char line[64];
    if (!isatty(STDIN_FILENO) || !isatty(STDERR_FILENO))
        return ERR_OK;
    for (;;) {
        (void)fprintf(stderr, "%s [yes] ", question);
        TRY(wait_for_line(s, line, sizeof line, e));
        if (strncmp(line, "yes", 3) == 0 || line[0] == '\n')
            return ERR_OK;
        (void)fputs("It waits for yes. Ctrl-C ends it.\n", stderr);
    }
}

enum err adapter_ask(const char *question, struct err_msg *e)
{
    return ask(NULL, question, e);
}

enum err adapter_use_ask(struct adapter_use *u, const char *question, struct err_msg *e)
{
    return ask(&u->session, question, e);
}

enum err adapter_use_answer(struct adapter_use *u, const char *question, char *line,
                            size_t room, struct err_msg *e)
{
    (void)fprintf(stderr, "%s ", question);
    TRY(wait_for_line(&u->session, line, room, e));
    line[strcspn(line, "\r\n")] = '\0';
    return ERR_OK;
}

static const char ORDER[] =
    "Order of connecting. On: no disk in any drive, supplies off; the adapter to USB; grounds\n"
    "measured against each other, then its plug to the bus, ground first; the machine or "
    "drive\n"
    "on (pull-ups come on only when the drive's +5 V is seen); the disk last. Off: the disk, "
    "the\n"
    "machine or drive, the adapter. Mains, picture tubes and charged capacitors are for "
    "people\n"
    "licensed or trained for them; local codes stand above this page.\n";

static enum err ask_disk_out(const struct args *a, const char *role_note, struct err_msg *e)
{
    if (args_has(a, OPT_DISK_OUT))
        return ERR_OK;
    if (!isatty(STDIN_FILENO) || !isatty(STDERR_FILENO))
        return err_set(e, ERR_USAGE,
                       "is the disk out? Nothing is opened before that is answered: give "
                       "--disk-out once no disk is in any drive while plugs are moved and "
                       "supplies switched");
    (void)fprintf(stderr, "%s%s%s", ORDER, role_note, role_note[0] != '\0' ? "\n" : "");
    return adapter_ask("No disk in any drive?", e);
}

static enum err load(const struct args *a, struct adapter_use *u, struct err_msg *e)
{
    TRY(args_profiles(a, &u->path, e));
    TRY(profile_load(u->path, PROFILE_CONTROLLER,
                     or_usual(args_value(a, OPT_MACHINE), "controller-generic"), &u->machine,
                     e));
    TRY(profile_load(u->path, PROFILE_DRIVE, or_usual(args_value(a, OPT_DRIVE), "drive-35-dd"),
                     &u->drive, e));
    return profile_load(u->path, PROFILE_CABLE,
                        or_usual(args_value(a, OPT_CABLE), "ribbon-34-straight"), &u->cable, e);
}

static enum err open_link(const struct args *a, struct adapter_use *u, struct link *link,
                          struct err_msg *e)
{
    const char *which = or_usual(args_value(a, OPT_ADAPTER), "usb");
    bool simulates = strncmp(which, "sim:", 4) == 0;
    if (!simulates && (args_has(a, OPT_IMAGE) || args_has(a, OPT_WORN)))
        return err_set(e, ERR_USAGE,
                       "--image and --worn make a simulated disk: they go with "
                       "--adapter sim:FAULT");
    if (strcmp(which, "usb") == 0)
        return usb_link_open(NULL, link, e);
    if (strncmp(which, "usb:", 4) == 0 && which[4] != '\0')
        return usb_link_open(which + 4, link, e);
    if (simulates && which[4] != '\0') {
        u->simulated = true;
        return sim_link_open(which + 4, &u->sim, link, e);
    }
    return err_set(e, ERR_USAGE, "--adapter is usb, usb:SERIAL or sim:FAULT, not '%s'", which);
}

/* --image and --worn. */
static enum err simulated_disk(const struct args *a, struct adapter_use *u, struct err_msg *e)
{
    const char *image = args_value(a, OPT_IMAGE);
    int64_t worn = 0;
    buf_init(&u->image, IMAGE_BYTES_MAX);
    if (image != NULL)
        TRY(file_read(image, &u->image, e));
    TRY(args_number(a, OPT_WORN, 0, 100, &worn, e));
    u->sim.image = image != NULL ? (const uint8_t *)u->image.data : NULL;
    u->sim.image_bytes = u->image.len;
    u->sim.worn_percent = (int)worn;
    return ERR_OK;
}

static enum err settings(const struct args *a, struct adapter_use *u, struct err_msg *e)
{
    int64_t seed = 1;
    int64_t unit = 0;
    const char *tap = args_value(a, OPT_TAP);
    TRY(args_number(a, OPT_SEED, 0, INT64_MAX, &seed, e));
    TRY(args_number(a, OPT_UNIT, 0, 3, &unit, e));
    u->unit = (unsigned)unit;
    u->sim = (struct sim_options){.seed = (uint64_t)seed, .asked = ASKED_READ};
    TRY(args_asked(a, &u->sim.asked, e));
    u->sim.drive_end = tap != NULL && strcmp(tap, "drive-end") == 0;
    if (tap != NULL && !u->sim.drive_end && strcmp(tap, "machine-end") != 0)
        return err_set(e, ERR_USAGE, "--tap is machine-end or drive-end, not '%s'", tap);
    TRY(load(a, u, e));
    u->sim.machine = u->machine;
    u->sim.drive = u->drive;
    u->sim.cable = u->cable;
    return simulated_disk(a, u, e);
}

enum err adapter_use_open(const struct args *a, const char *role_note, struct adapter_use *u,
                          struct err_msg *e)
{
    struct link link = {0};
    *u = (struct adapter_use){0};
    enum err err = settings(a, u, e);
    if (err == ERR_OK)
        err = ask_disk_out(a, role_note, e);
    if (err == ERR_OK)
        err = open_link(a, u, &link, e);
    if (err == ERR_OK)
        err = session_open(&u->session, &link, e);
    if (err != ERR_OK)
        adapter_use_close(u);
    return err;
}

void adapter_use_close(struct adapter_use *u)
{
    session_close(&u->session);
    profile_free(u->machine);
    profile_free(u->drive);
    profile_free(u->cable);
    profile_path_free(u->path);
    buf_release(&u->image);
    *u = (struct adapter_use){0};
}

line_set adapter_use_lines(const struct adapter_use *u, bool drive_end)
{
    line_set machine = 0;
    line_set drive = 0;
    sim_spec_lines(&u->sim, &machine, &drive);
    return sim_spec_tap_lines(&u->sim, machine, drive, drive_end);
}

struct adapter_limits adapter_use_limits(const struct adapter_use *u)
{
    return drive_limits(u->drive);
}

int64_t adapter_use_turn_ms(const struct adapter_use *u)
{
    return drive_turn_ms(u->drive);
}

/* ---- as a machine ---- */

uint32_t adapter_use_select(const struct adapter_use *u)
{
    return WIRE_BIT(WIRE_SELECT0 + u->unit);
}

uint32_t adapter_use_motor(const struct adapter_use *u)
{
    line_set lines = adapter_use_lines(u, false);
    if (lines & LINE_BIT(LINE_MOTOR0))
        return WIRE_BIT(u->unit == 1 ? WIRE_MOTOR1 : WIRE_MOTOR0);
    return lines & LINE_BIT(LINE_MOTOR) ? WIRE_BIT(WIRE_MOTOR) : 0;
}

enum err adapter_use_drive_on(struct adapter_use *u, struct err_msg *e)
{
    uint32_t active = adapter_use_select(u) | adapter_use_motor(u);
    if (adapter_use_lines(u, false) & LINE_BIT(LINE_HLOAD))
        active |= WIRE_BIT(WIRE_HLOAD);
    return session_drive(&u->session, active, active, e);
}

enum err adapter_use_spin_up(struct adapter_use *u, struct err_msg *e)
{
    int ms = (int)profile_max(u->drive, "start_ms", 1000) + 2 * (int)adapter_use_turn_ms(u);
    for (; ms > 0 && !stop_asked; ms -= LOOK_MS)
        TRY(session_wait(&u->session, LOOK_MS, e));
    return ERR_OK;
}

enum err adapter_use_restore(struct adapter_use *u, struct err_msg *e)
{
    unsigned most = adapter_use_limits(u).last_cylinder + LIMITS_OUTWARD_MORE;
    int cylinder = -1;
    for (int tries = 0; tries < LIMITS_RESTORES && cylinder != 0; tries++)
        TRY(session_step(&u->session, true, most, &cylinder, e));
    return cylinder == 0
               ? ERR_OK
               : err_set(e, ERR_ADAPTER, "%s: track 0 was not found", u->session.link.name);
}

enum err adapter_use_seek(struct adapter_use *u, int from, int to, struct err_msg *e)
{
    int cylinder = from;
    unsigned steps = (unsigned)(to > from ? to - from : from - to);
    if (steps > 0)
        TRY(session_step(&u->session, to < from, steps, &cylinder, e));
    return session_wait(&u->session, (int)profile_max(u->drive, "settle_ms", 15) + 1, e);
}

enum err adapter_use_side(struct adapter_use *u, int side, struct err_msg *e)
{
    uint32_t bit = WIRE_BIT(WIRE_SIDE);
    if (!(adapter_use_lines(u, false) & LINE_BIT(LINE_SIDE)))
        return ERR_OK;
    return session_drive(&u->session, bit, side == 1 ? bit : 0, e);
}
