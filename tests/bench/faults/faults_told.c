/* What a person at the bench would answer, from the simulator's own state; chances are our own
 * guesses, those of substitutions are the handbook's (diagnosis, 1.6). All invented. */
#include "evidence/case_file.h"
#include "faults.h"

#include <stdio.h>
#include <string.h>

#define HAMMERS     10
#define SPARE_BAD   0.05 /* seen to work elsewhere */
#define SPARE_DOUBT 0.25
#define LEAK        0.03
#define ACTIVE      0.6 /* an intermittent shows during one trial */

const char *const TOLD_KEYS[] = {"lamp-host-off",
                                 "motor-host-off",
                                 "lamp",
                                 "spindle",
                                 "head-at-start",
                                 "index-seen",
                                 "read-signal-seen",
                                 "strobe",
                                 "reported",
                                 "noise",
                                 "heads-look",
                                 "plugs-look",
                                 "disk-looks",
                                 "moves-with",
                                 "comes-and-goes",
                                 "machine-otherwise",
                                 "life",
                                 "disks-failing",
                                 "sides-failing",
                                 "cylinders-failing",
                                 "other-drive-unplugged",
                                 "place",
                                 NULL};

static bool has(const struct scenario *s, const char *begin)
{
    for (int i = 0; i < 2; i++)
        if (s->fault[i] != NULL && strncmp(s->fault[i], begin, strlen(begin)) == 0)
            return true;
    return false;
}

static bool open_conductor(const char *fault)
{
    return fault != NULL && strncmp(fault, "cable.", 6) == 0 && strstr(fault, ".open") != NULL;
}

static const char *reported(const struct scene *c)
{
    static const char *const words[][2] = {
        {"record not found", "not-found"}, {"check error", "read-error"},
        {"drive not ready", "not-ready"},  {"write protected", "protected"},
        {"seek error", "seek-error"},      {"drive does not answer", "no-drive"}};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(c->error, words[i][0]) == 0)
            return words[i][1];
    return NULL;
}

/* Seen or heard while it works. */
static const char *seen(const struct scenario *s, const char *key)
{
    const struct scene *c = &s->scene[0];
    const struct facts *f = &c->facts;
    bool motor_line = profile_flag(c->set->drive, "has_motor_line", true);
    if (strcmp(key, "lamp-host-off") == 0)
        return f->lamp_off ? "yes" : "no";
    if (strcmp(key, "motor-host-off") == 0)
        return !motor_line ? NULL : f->motor_off ? "yes" : "no";
    if (strcmp(key, "lamp") == 0)
        return f->lit_always ? "always" : f->lit_ever ? "on-access" : "never";
    if (strcmp(key, "spindle") == 0)
        return !f->turned ? "still" : f->turned_before && motor_line ? "always-turns" : "turns";
    if (strcmp(key, "head-at-start") == 0)
        return f->bumps >= HAMMERS ? "hammers" : f->moved ? "moves" : "still";
    if (strcmp(key, "index-seen") == 0)
        return !f->turned                                           ? NULL
               : f->index_pulses == 0                               ? "none"
               : has(s, "drive.index.weak") || has(s, "drive.hub.") ? "irregular"
                                                                    : "regular";
    if (strcmp(key, "read-signal-seen") == 0)
        return !f->turned || !f->lit_ever ? NULL : f->read_pulses > 50 ? "pulses" : "none";
    if (strcmp(key, "strobe") == 0)
        return !f->turned || has(s, "drive.speed.unsteady") ? NULL
               : has(s, "drive.speed.fast")                 ? "drifts-forward"
               : has(s, "drive.speed.slow")                 ? "drifts-back"
                                                            : "still";
    if (strcmp(key, "reported") == 0)
        return reported(c);
    if (strcmp(key, "noise") == 0)
        return f->bumps >= HAMMERS             ? "hammers"
               : has(s, "drive.stepper.stuck") ? "buzzes"
                                               : "none";
    if (strcmp(key, "life") == 0)
        return !f->powered || has(s, "drive.logic.dead") ? "drive-dead" : "normal";
    return NULL;
}

/* Found by looking and by hand. */
static const char *found(const struct scenario *s, const char *key, struct rng *r)
{
    bool coming = s->kind == KIND_INTERMITTENT;
    if (strcmp(key, "heads-look") == 0)
        return has(s, "drive.head.dirty") && sim_rng_chance(r, 0.75) ? "dirty" : "clean";
    if (strcmp(key, "plugs-look") == 0)
        return has(s, "cable.plug.reversed") && sim_rng_chance(r, 0.8)    ? "wrong-way"
               : has(s, "cable.plug.unplugged") && sim_rng_chance(r, 0.8) ? "loose"
               : open_conductor(s->fault[0]) && sim_rng_chance(r, 0.25)   ? "loose"
                                                                          : "sound";
    if (strcmp(key, "disk-looks") == 0)
        return has(s, "disk.medium.absent")                             ? NULL
               : has(s, "disk.medium.worn") && sim_rng_chance(r, 0.35)  ? "ring"
               : has(s, "disk.density.wrong") && sim_rng_chance(r, 0.5) ? "wrong-type"
                                                                        : "sound";
    if (strcmp(key, "moves-with") == 0)
        return has(s, "controller.socket.") && sim_rng_chance(r, 0.6)            ? "chips"
               : coming && open_conductor(s->fault[0]) && sim_rng_chance(r, 0.5) ? "plugs"
                                                                                 : "nothing";
    if (strcmp(key, "comes-and-goes") == 0)
        return coming || has(s, "controller.socket.") || has(s, "power.supply.sags") ? "yes"
                                                                                     : "no";
    if (strcmp(key, "machine-otherwise") == 0)
        return has(s, "power.supply.sags") && sim_rng_chance(r, 0.4) ? "unstable" : "works";
    return NULL;
}

/* What fails, tried by itself; how sure people are of it are our own guesses. */
static const char *disks(const struct scenario *s, struct rng *r)
{
    if (has(s, "disk.medium.absent"))
        return NULL;
    if (has(s, "disk.") || has(s, "setup.hard-") || has(s, "setup.track-"))
        return sim_rng_chance(r, 0.5) ? "one" : sim_rng_chance(r, 0.9) ? "some" : "all";
    if (has(s, "drive.head.weak") || has(s, "drive.head.dirty") || has(s, "drive.speed."))
        return sim_rng_chance(r, 0.4) ? "some" : sim_rng_chance(r, 0.1) ? "foreign" : "all";
    return sim_rng_chance(r, 0.93) ? "all" : "some";
}

static const char *sides(const struct scenario *s, struct rng *r)
{
    const char *line = s->fault[0] != NULL ? strstr(s->fault[0], ".SIDE.") : NULL;
    if (has(s, "drive.head1.dead"))
        return sim_rng_chance(r, 0.9) ? "1" : "both";
    if (line != NULL && (strstr(line, "dead") != NULL || strstr(line, "open") != NULL))
        return sim_rng_chance(r, 0.75) ? "1" : "both";
    if (line != NULL)
        return sim_rng_chance(r, 0.65) ? "0" : "both";
    if (has(s, "drive.head.") && sim_rng_chance(r, 0.5))
        return sim_rng_chance(r, 0.5) ? "0" : "1";
    return sim_rng_chance(r, 0.92) ? "both" : "none";
}

static const char *cylinders(const struct scenario *s, struct rng *r)
{
    bool disk = has(s, "disk.medium.worn"), slips = has(s, "drive.stepper.slips");
    if (has(s, "disk.density.") && sim_rng_chance(r, 0.6))
        return "inner";
    if ((disk || slips) && sim_rng_chance(r, 0.6))
        return "some";
    if ((has(s, "drive.head.weak") || has(s, "drive.head.dirty")) && sim_rng_chance(r, 0.65))
        return sim_rng_chance(r, 0.6) ? "inner" : "some";
    return sim_rng_chance(r, 0.9) ? "all" : "some";
}

static const char *tried(const struct scenario *s, const char *key, struct rng *r)
{
    bool fails = strcmp(s->scene[0].outcome, "worked") != 0;
    if (fails && strcmp(key, "disks-failing") == 0)
        return disks(s, r);
    if (strcmp(key, "sides-failing") == 0)
        return fails ? sides(s, r) : "none";
    if (strcmp(key, "cylinders-failing") == 0)
        return fails ? cylinders(s, r) : "none";
    if (strcmp(key, "other-drive-unplugged") == 0 && has(s, "setup.select.shared"))
        return sim_rng_chance(r, 0.85) ? "cures" : "no-change";
    if (fails && strcmp(key, "place") == 0)
        return (has(s, "setup.place.") || has(s, "setup.mounting.")) && sim_rng_chance(r, 0.8)
                   ? "here-only"
                   : "anywhere";
    return NULL;
}

const char *told_truth(const struct scenario *s, const char *key, struct rng *r)
{
    const char *word = seen(s, key);
    word = word != NULL ? word : found(s, key, r);
    return word != NULL ? word : tried(s, key, r);
}

const char *told_lie(const char *key, const char *truth, struct rng *r, char out[32])
{
    const struct case_key *k = case_key_find("observed", key);
    int words = 0;
    for (const char *p = k != NULL ? k->values : ""; *p != '\0'; p += strcspn(p, "|") + 1) {
        size_t len = strcspn(p, "|");
        bool same = len == strlen(truth) && strncmp(p, truth, len) == 0;
        if (!same && len < 32 && sim_rng_between(r, 0, words++) == 0)
            snprintf(out, 32, "%.*s", (int)len, p);
        if (p[len] == '\0')
            break;
    }
    return words > 0 ? out : truth;
}

/* Would this part, exchanged for a good one, take the fault along? */
static bool goes_with(const struct stock *stock, const char *fault, const char *part,
                      struct rng *r)
{
    const struct listed *l = stock_section(stock, fault);
    if (l != NULL && l->end == end_by_name(part))
        return true;
    if (strcmp(part, "disk") == 0)
        return strncmp(fault, "setup.hard", 10) == 0 || strncmp(fault, "setup.disk", 10) == 0 ||
               strncmp(fault, "setup.track-", 12) == 0;
    if (strcmp(part, "drive") == 0) /* the spare is strapped and terminated as it should be */
        return (strcmp(fault, "setup.strap.wrong") == 0 && sim_rng_chance(r, 0.7)) ||
               (strcmp(fault, "setup.terminator.missing") == 0 && sim_rng_chance(r, 0.6));
    return false;
}

/* Plugs are pushed home, the right way, when a part behind them is exchanged. */
static bool reseated(const char *fault, const char *part, struct rng *r)
{
    bool plugs = strcmp(part, "disk") != 0 && strcmp(part, "power") != 0;
    if (!plugs)
        return false;
    return (open_conductor(fault) && sim_rng_chance(r, 0.2)) ||
           (strncmp(fault, "cable.plug.", 11) == 0 && sim_rng_chance(r, 0.5)) ||
           (strncmp(fault, "controller.socket.", 18) == 0 && strcmp(part, "controller") != 0 &&
            sim_rng_chance(r, 0.1));
}

const char *swap_truth(const struct scenario *s, const char *part, bool known_good,
                       struct rng *r, const char **back)
{
    bool spare_bad = sim_rng_chance(r, known_good ? SPARE_BAD : SPARE_DOUBT);
    bool gone = !spare_bad, with_part = false;
    *back = NULL;
    for (int i = 0; i < 2; i++) {
        if (s->fault[i] == NULL)
            continue;
        bool part_out = goes_with(s->stock, s->fault[i], part, r);
        with_part = with_part || part_out;
        gone = gone && (part_out || reseated(s->fault[i], part, r));
    }
    if (!gone && !spare_bad && sim_rng_chance(r, LEAK))
        gone = true;
    if (!gone && s->kind == KIND_INTERMITTENT && !sim_rng_chance(r, ACTIVE))
        return sim_rng_chance(r, 0.5) ? "worked" : "sometimes";
    if (!gone)
        return "failed";
    *back = sim_rng_chance(r, with_part ? 0.95 : 0.25) ? "fault-returned" : "stayed-away";
    return "worked";
}

double rail_truth(const struct scenario *s, enum rail rail, struct rng *r)
{
    bool five = rail == RAIL_V5;
    double volts = five ? 5.0 : 12.0;
    if (has(s, five ? "power.5v." : "power.12v."))
        return sim_rng_range(r, 0, 0.3);
    if (has(s, "power.supply.sags"))
        return volts * sim_rng_range(r, 0.8, 0.9);
    return volts * sim_rng_range(r, 0.985, 1.015);
}
