#include "judge/model.h"

#include <stdio.h>
#include <string.h>

void state_init(struct state *s)
{
    memset(s, 0, sizeof *s); /* gaps between members too: states are compared whole */
    s->join_a = s->join_b = -1;
}

static bool word_mode(const char *w, enum mode *out)
{
    if (!strcmp(w, "dead") || !strcmp(w, "open")) {
        *out = MODE_DEAD;
        return true;
    }
    if (!strcmp(w, "stuck") || !strcmp(w, "ground")) {
        *out = MODE_STUCK;
        return true;
    }
    return false;
}

/* Effects on one line: "conductor * open". */
static bool apply_line(struct state *s, const char *part, const char *mode, enum sig sig,
                       enum tap tap)
{
    enum mode m;

    if (sig >= SIG_COUNT || !word_mode(mode, &m))
        return false;
    if (!strcmp(part, "conductor"))
        s->conductor[sig] = (unsigned char)m;
    else if (!strcmp(part, "machine-out"))
        s->machine_out[sig] = (unsigned char)m;
    else if (!strcmp(part, "machine-in"))
        s->machine_in[sig] = (unsigned char)m;
    else if (!strcmp(part, "drive-out"))
        s->drive_out[sig] = (unsigned char)m;
    else if (!strcmp(part, "drive-end"))
        (sig < SIG_FROM_DRIVE ? s->drive_in : s->drive_out)[sig] = (unsigned char)m;
    else if (!strcmp(part, "lead"))
        s->lead_open[sig][tap] = true;
    else
        return false;
    return true;
}

struct flag_word {
    const char *part, *mode;
    size_t offset;
};
#define FLAG(part, mode, member)                                                               \
    {                                                                                          \
        (part), (mode), offsetof(struct state, member)                                         \
    }
static const struct flag_word flags[] = {
    FLAG("grounds", "open", grounds),
    FLAG("separator", "dead", separator),
    FLAG("machine", "dead", machine),
    FLAG("machine", "contact", contact),
    FLAG("pull-up", "missing", pull_up),
    FLAG("hub", "slips", hub),
    FLAG("index", "dead", index_dead),
    FLAG("index", "weak", index_weak),
    FLAG("track0", "dead", track0_dead),
    FLAG("track0", "stuck", track0_stuck),
    FLAG("stepper", "stuck", stepper_stuck),
    FLAG("stepper", "slips", stepper_slips),
    FLAG("stepper", "outrun", outrun),
    FLAG("head", "dead", head_dead),
    FLAG("head", "weak", head_weak),
    FLAG("head", "side1", head_side1),
    FLAG("write", "dead", write_dead),
    FLAG("write", "weak", write_weak),
    FLAG("buffer", "bad", buffer),
    FLAG("place", "bad", fouled),
    FLAG("drive", "dead", drive),
    FLAG("supply", "no-5v", no_5v),
    FLAG("supply", "no-12v", no_12v),
    FLAG("supply", "sags", sags),
    FLAG("tap", "slow", tap_slow),
    FLAG("strap", "wrong", strap),
    FLAG("terminator", "missing", terminator_missing),
    FLAG("terminator", "double", terminator_double),
    FLAG("select", "shared", shared),
    FLAG("profile", "wrong", profile),
};

struct value_word {
    const char *part, *mode;
    int value;
};
static const struct value_word spins[] = {{"motor", "dead", SPIN_STILL},
                                          {"motor", "fast", SPIN_FAST},
                                          {"motor", "slow", SPIN_SLOW},
                                          {"motor", "unsteady", SPIN_UNSTEADY}};
static const struct value_word plugs[] = {{"plug", "reversed", PLUG_REVERSED},
                                          {"plug", "pair", PLUG_PAIR},
                                          {"plug", "row", PLUG_ROW},
                                          {"plug", "unplugged", PLUG_UNPLUGGED}};
static const struct value_word twists[] = {{"twist", "missing", TWIST_MISSING},
                                           {"twist", "wrong", TWIST_MISPLACED}};
static const struct value_word media[] = {{"disk", "absent", MEDIUM_ABSENT},
                                          {"disk", "blank", MEDIUM_BLANK},
                                          {"disk", "worn", MEDIUM_WORN},
                                          {"disk", "density", MEDIUM_DENSITY},
                                          {"disk", "track-density", MEDIUM_TRACKS},
                                          {"disk", "hard-sectored", MEDIUM_HARD_SECTORED},
                                          {"disk", "upside-down", MEDIUM_UPSIDE_DOWN}};

static int find(const struct value_word *w, size_t n, const char *part, const char *mode)
{
    for (size_t i = 0; i < n; i++)
        if (!strcmp(w[i].part, part) && !strcmp(w[i].mode, mode))
            return w[i].value;
    return -1;
}
#define FIND(table) find(table, sizeof(table) / sizeof *(table), part, mode)

static bool apply_part(struct state *s, const char *part, const char *mode)
{
    int v;

    for (size_t i = 0; i < sizeof flags / sizeof *flags; i++) {
        if (strcmp(flags[i].part, part) || strcmp(flags[i].mode, mode))
            continue;
        *(bool *)((char *)s + flags[i].offset) = true;
        return true;
    }
    if ((v = FIND(spins)) >= 0)
        s->spin = (enum spin)v;
    else if ((v = FIND(plugs)) >= 0)
        s->plug = (enum plug)v;
    else if ((v = FIND(twists)) >= 0)
        s->twist = (enum twist)v;
    else if ((v = FIND(media)) >= 0)
        s->medium = (enum medium)v;
    else
        return false;
    return true;
}

enum err state_apply(struct state *s, const char *effect, enum sig sig, enum sig sig2,
                     enum tap tap)
{
    char part[24], middle[24], mode[24];
    int n = sscanf(effect, "%23s %23s %23s", part, middle, mode);

    if (n == 2 && !strcmp(part, "join") && sig < SIG_COUNT && sig2 < SIG_COUNT) {
        s->join_a = (int)sig;
        s->join_b = (int)sig2;
        return ERR_OK;
    }
    if (n == 2)
        return apply_part(s, part, middle) ? ERR_OK : ERR_FORMAT;
    if (n != 3)
        return ERR_FORMAT;
    if (strcmp(middle, "*")) {
        /* a fixed line named in the effect itself */
        static const struct {
            const char *name;
            enum sig sig;
        } names[] = {{"WPROT", SIG_WPROT}, {"INDEX", SIG_INDEX},     {"TRK00", SIG_TRK00},
                     {"RDATA", SIG_RDATA}, {"READY", SIG_READY},     {"DSKCHG", SIG_DSKCHG},
                     {"STEP", SIG_STEP},   {"DIR", SIG_DIR},         {"SIDE", SIG_SIDE},
                     {"WGATE", SIG_WGATE}, {"WDATA", SIG_WDATA},     {"MOTOR", SIG_MOT},
                     {"SELECT", SIG_SEL},  {"DENSITY", SIG_DENSITY}, {"HLOAD", SIG_HLOAD}};

        sig = SIG_COUNT;
        for (size_t i = 0; i < sizeof names / sizeof *names; i++)
            if (!strcmp(names[i].name, middle))
                sig = names[i].sig;
    }
    return apply_line(s, part, mode, sig, tap) ? ERR_OK : ERR_FORMAT;
}
