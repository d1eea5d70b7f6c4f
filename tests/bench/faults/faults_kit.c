/* A random kit of evidence of a scenario, as a case.ini. */
#include "base/asked.h"
#include "faults.h"

#include <stdio.h>
#include <string.h>

static const char *const PARTS[] = {"drive", "cable", "controller", "disk", "power"};

static bool any(const struct scenario *s, const char *begin)
{
    for (int i = 0; i < 2; i++)
        if (s->fault[i] != NULL && strncmp(s->fault[i], begin, strlen(begin)) == 0)
            return true;
    return false;
}

/* A drive that turns at another speed, or has another data rate: a misfit that changes no
 * expectation would be none. */
static const char *other_drive(const struct set *t)
{
    bool dense = profile_number(t->drive, "speed_rpm", 300) > 330 ||
                 profile_number(t->drive, "data_rate_kbps", 250) > 400;
    return dense ? "drive-35-dd" : "drive-525-hd";
}

static enum err asked_list(unsigned asked, struct buf *b)
{
    const char *between = "";
    for (unsigned bit = 1; bit < 1u << ASKED_WORDS; bit <<= 1) {
        if (!(asked & bit))
            continue;
        TRY(buf_printf(b, "%s%s", between, asked_word(bit)));
        between = ", ";
    }
    return ERR_OK;
}

static enum err capture(const struct scene *c, int tap, bool outcome, struct buf *b)
{
    char file[48];
    const char *end = tap == AT_DRIVE ? "drive-end" : "machine-end";
    TRY(buf_printf(b, "\n[capture %s-%s]\nfile = %s\nrole = inline\ntap = %s\n", c->prefix, end,
                   scene_file(c, tap, file), end));
    if (c->pulled_up[tap])
        TRY(buf_printf(b, "pull-up = %d\n", c->pull_up_ohm));
    else
        TRY(buf_str(b, "pull-up = none\n"));
    if (c->one_clock)
        TRY(buf_printf(b, "run = %s\n", c->prefix));
    TRY(buf_str(b, "asked = "));
    TRY(asked_list(c->asked, b));
    TRY(buf_str(b, "\n"));
    return outcome ? buf_printf(b, "outcome = %s\n", c->outcome) : ERR_OK;
}

enum err kit_tap(const struct scenario *s, int tap, bool outcome, struct buf *text)
{
    for (int i = 0; i < s->scenes; i++)
        TRY(capture(&s->scene[i], tap, outcome, text));
    return ERR_OK;
}

/* Both taps, one of them, or none. */
static void draw_taps(const struct scenario *s, struct rng *r, enum kit_start start,
                      struct kit *k)
{
    double at = sim_rng_unit(r) * (start == START_RANDOM ? 1.0 : 0.5) +
                (start == START_ONE_TAP ? 0.5 : 0);
    bool lead = any(s, "setup.lead.") || any(s, "setup.sampled-");
    k->shown[AT_MACHINE] = at < 0.7;
    k->shown[AT_DRIVE] = at < 0.5 || (at >= 0.7 && at < 0.9);
    for (int i = 0; i < PLUGS; i++)
        if (lead) /* which tap has it is not known beforehand */
            k->shown[i] = s->recorded[i];
}

static enum err head(const struct scenario *s, struct rng *r, struct kit *k, struct buf *b)
{
    const struct set *t = &s->stock->set[s->set];
    bool misfit = any(s, "setup.profile.");
    bool disk_bad = any(s, "disk.") || any(s, "setup.hard-");
    bool known_good = !disk_bad && sim_rng_chance(r, 0.6);
    TRY(buf_printf(b, "[case]\ntitle = bench scenario %d\nmachine = %s\n", s->index,
                   profile_name(t->machine)));
    TRY(buf_printf(b, "drive = %s\ncable = %s\n",
                   misfit ? other_drive(t) : profile_name(t->drive), profile_name(t->cable)));
    TRY(buf_printf(b, "disk = %s\n", known_good ? "known-good" : "unknown"));
    k->full = k->full && (known_good || disk_bad);
    if (sim_rng_chance(r, 0.7))
        TRY(buf_printf(b, "drives-attached = %d\n", any(s, "setup.select.shared") ? 2 : 1));
    if (s->scene[0].asked & (ASKED_WRITE | ASKED_FORMAT))
        TRY(buf_str(b, "scratch = yes\n"));
    return ERR_OK;
}

/* A self-check would have found a bad lead, so where there is one none was done. */
static enum err selfcheck(const struct scenario *s, struct rng *r, struct kit *k, struct buf *b)
{
    bool done = sim_rng_chance(r, 0.9);
    k->full = k->full && (done || !s->scene[0].wec);
    if (!s->scene[0].wec || !done)
        return ERR_OK;
    bool bad = any(s, "setup.lead.") || any(s, "setup.sampled-");
    return buf_printf(b, "\n[selfcheck]\nresult = %s\n", bad ? "not-done" : "passed");
}

static enum err observed(const struct scenario *s, struct rng *r, struct kit *k, struct buf *b)
{
    int want = (int)sim_rng_between(r, 0, 5);
    bool lie = s->kind == KIND_LYING && (k->swaps == 0 || sim_rng_chance(r, 0.6));
    int keys = 0;
    while (TOLD_KEYS[keys] != NULL)
        keys++;
    want = lie && want == 0 ? 1 : want;
    double share = (double)want / keys;
    bool opened = false;
    for (int i = 0; i < keys; i++) {
        bool last = lie && !k->lied && i + 1 == keys;
        char other[32];
        if (!sim_rng_chance(r, share) && !last)
            continue;
        const char *word = told_truth(s, TOLD_KEYS[i], r);
        if (word == NULL)
            continue;
        if (lie && !k->lied) {
            word = told_lie(TOLD_KEYS[i], word, r, other);
            k->lied = true;
        }
        if (!opened)
            TRY(buf_str(b, "\n[observed]\n"));
        opened = true;
        TRY(buf_printf(b, "%s = %s\n", TOLD_KEYS[i], word));
        k->told++;
    }
    return ERR_OK;
}

static enum err swaps(const struct scenario *s, struct rng *r, struct kit *k, struct buf *b)
{
    double share = scenario_complains(s) ? 0.1 : 0;
    for (int i = 0; i < 5; i++) {
        const char *back = NULL;
        bool known_good = sim_rng_chance(r, 0.7);
        if (!sim_rng_chance(r, share))
            continue;
        const char *outcome = swap_truth(s, PARTS[i], known_good, r, &back);
        if (s->kind == KIND_LYING && !k->lied && sim_rng_chance(r, 0.5)) {
            outcome = strcmp(outcome, "worked") == 0 ? "failed" : "worked";
            back = NULL;
            k->lied = true;
        }
        TRY(buf_printf(b, "\n[swap %s]\npart = %s\ncondition = %s\noutcome = %s\n", PARTS[i],
                       PARTS[i], known_good ? "known-good" : "unknown", outcome));
        if (back != NULL && sim_rng_chance(r, 0.6))
            TRY(buf_printf(b, "back = %s\n", back));
        k->swaps++;
    }
    return ERR_OK;
}

static enum err meters(const struct scenario *s, struct rng *r, struct kit *k, struct buf *b)
{
    bool twelve = profile_limit(s->stock->set[s->set].drive, "v12_v") != NULL;
    for (enum rail rail = RAIL_V5; rail <= RAIL_V12; rail++) {
        if ((rail == RAIL_V12 && !twelve) || !sim_rng_chance(r, 0.15))
            continue;
        TRY(buf_printf(b, "\n[meter %s]\nwhat = rail\nat = power-plug\nline = %s\n",
                       rail_name(rail), rail_name(rail)));
        TRY(buf_printf(b, "value = %.2f V\nwhen = motor-start\n", rail_truth(s, rail, r)));
        k->meters++;
    }
    return ERR_OK;
}

enum err kit_write(const struct scenario *s, struct rng *r, enum kit_start start, struct kit *k,
                   struct buf *text, struct err_msg *e)
{
    bool bare = start != START_RANDOM;
    *k = (struct kit){.told = 0};
    draw_taps(s, r, start, k);
    bool outcome = sim_rng_chance(r, bare ? 1 : 0.9);
    k->full = outcome && s->scene[0].left_out[0] == 0;
    enum err err = head(s, r, k, text);
    if (err == ERR_OK)
        err = selfcheck(s, r, k, text);
    for (int tap = 0; tap < PLUGS && err == ERR_OK; tap++)
        if (k->shown[tap])
            err = kit_tap(s, tap, outcome, text);
    if (err == ERR_OK && !bare)
        err = swaps(s, r, k, text);
    if (err == ERR_OK && !bare)
        err = observed(s, r, k, text);
    if (err == ERR_OK && !bare)
        err = meters(s, r, k, text);
    return err == ERR_OK ? ERR_OK : err_set(e, err, "a case longer than expected");
}
