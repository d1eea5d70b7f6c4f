/* A scenario: faults drawn and sessions played. */
#include "base/asked.h"
#include "faults.h"

#include <stdio.h>
#include <string.h>

const char *const KIND_NAMES[KINDS] = {"single", "double", "intermittent", "none", "unlisted",
                                       "lying",  "lead",   "profile",      "quiet"};

static bool begins(const char *fault, const char *with)
{
    return fault != NULL && strncmp(fault, with, strlen(with)) == 0;
}

static bool lead_fault(const char *fault)
{
    return begins(fault, "setup.lead.") || begins(fault, "setup.sampled-");
}

static bool wrong_profile(const char *fault)
{
    return strcmp(fault, "setup.profile.wrong") == 0;
}

/* What is broken so that it may come and go; the way a plug sits does not. */
static bool comes_and_goes(const char *fault)
{
    return !begins(fault, "setup.") && !begins(fault, "disk.") &&
           !begins(fault, "cable.plug.") && !begins(fault, "cable.twist.");
}

static bool in_the_set(const char *fault)
{
    return !lead_fault(fault) && !wrong_profile(fault);
}

static bool (*const TAKES[KINDS])(const char *) = {
    [KIND_SINGLE] = in_the_set,
    [KIND_DOUBLE] = in_the_set,
    [KIND_INTERMITTENT] = comes_and_goes,
    [KIND_UNLISTED] = in_the_set,
    [KIND_LYING] = in_the_set,
    [KIND_LEAD] = lead_fault,
    [KIND_PROFILE] = wrong_profile,
    [KIND_QUIET] = in_the_set,
};

/* A bad lead comes alone or on top of a fault; two faults are of two sections. */
static void draw_faults(struct scenario *s, struct rng *r)
{
    const struct stock *t = s->stock;
    bool second = s->kind == KIND_DOUBLE || (s->kind == KIND_LEAD && sim_rng_chance(r, 0.5));
    s->fault[0] = s->fault[1] = NULL;
    if (s->kind == KIND_NONE)
        return;
    s->fault[0] = stock_draw(t, s->set, s->weighted, TAKES[s->kind], r);
    while (second && (s->fault[1] == NULL ||
                      stock_section(t, s->fault[0]) == stock_section(t, s->fault[1])))
        s->fault[1] = stock_draw(t, s->set, s->weighted, in_the_set, r);
}

static unsigned draw_asked(struct rng *r)
{
    static const unsigned usual[] = {ASKED_READ,
                                     ASKED_READ,
                                     ASKED_READ,
                                     ASKED_BOOT,
                                     ASKED_READ | ASKED_WRITE,
                                     ASKED_READ | ASKED_WRITE,
                                     ASKED_SEEK | ASKED_READ};
    return usual[sim_rng_between(r, 0, 6)];
}

/* Now and then some leads are left off, the same at both plugs. */
static line_set draw_left_out(struct rng *r)
{
    line_set out = 0;
    if (!sim_rng_chance(r, 0.3))
        return 0;
    for (int i = 0; i < LINE_COUNT; i++)
        if (sim_rng_chance(r, 0.12))
            out |= LINE_BIT(i);
    return out;
}

static void draw_session(struct scenario *s, struct scene *c, struct rng *r)
{
    bool lead = lead_fault(s->fault[0]) || lead_fault(s->fault[1]);
    int taps = lead ? (int)sim_rng_between(r, 0, 3) : 0;
    *c = (struct scene){.seed = sim_rng_u64(r) >> 16, .set = &s->stock->set[s->set]};
    c->asked = draw_asked(r);
    c->wec = sim_rng_chance(r, 0.6);
    c->one_clock = sim_rng_chance(r, 0.85);
    c->pull_up_ohm = sim_rng_chance(r, 0.8) ? 2200 : 0;
    c->left_out[0] = c->left_out[1] = draw_left_out(r);
    c->used[AT_MACHINE] = taps != 3;
    c->used[AT_DRIVE] = taps != 2;
    for (int i = 0; i < PLUGS; i++) {
        c->fault[i] = s->fault[i];
        s->recorded[i] = c->used[i];
    }
}

/* More runs of the same, of which some are well. */
static enum err play_more(struct scenario *s, struct rng *r, const char *folder,
                          struct err_msg *e)
{
    int more = s->kind == KIND_INTERMITTENT ? 1 + (int)sim_rng_chance(r, 0.4) : 0;
    for (int i = 1; i <= more; i++) {
        struct scene *c = &s->scene[i];
        *c = s->scene[0];
        c->seed = sim_rng_u64(r) >> 16;
        if (i == 1 || sim_rng_chance(r, 0.5))
            c->fault[0] = c->fault[1] = NULL;
        snprintf(c->prefix, sizeof c->prefix, "%c", 'a' + i);
        TRY(scene_play(c, folder, e));
        s->scenes++;
    }
    return ERR_OK;
}

/* What a healthy bench would have recorded, where nobody complains. */
static enum err compare_healthy(struct scenario *s, struct err_msg *e)
{
    s->alike[0] = s->alike[1] = false;
    if (s->kind == KIND_NONE || strcmp(s->scene[0].outcome, "worked") != 0)
        return ERR_OK;
    struct scene healthy = s->scene[0];
    healthy.fault[0] = healthy.fault[1] = NULL;
    TRY(scene_play(&healthy, NULL, e));
    for (int i = 0; i < PLUGS; i++)
        s->alike[i] = healthy.hash[i] == s->scene[0].hash[i];
    return ERR_OK;
}

/* Shares of the catalogue are of complaints: where the session shows nothing of its fault, or
 * two faults cannot be together, another is drawn. */
#define DRAWS_MAX 60

static bool as_meant(const struct scenario *s)
{
    bool well = strcmp(s->scene[0].outcome, "worked") == 0;
    if (s->kind == KIND_NONE || s->kind == KIND_PROFILE ||
        (s->kind == KIND_LEAD && s->fault[1] == NULL))
        return true;
    return well == (s->kind == KIND_QUIET);
}

enum err scenario_make(struct scenario *s, const struct stock *stock, uint64_t seed, int index,
                       enum kind kind, int drawn, const char *folder, struct err_msg *e)
{
    struct rng r;
    enum err err = ERR_USAGE;
    sim_rng_seed(&r, seed, 1000 + (uint64_t)index);
    *s = (struct scenario){.index = index, .kind = kind, .seed = seed, .stock = stock};
    s->weighted = drawn == 1 || (drawn == 0 && index % 2 == 0);
    for (int i = 0; i < DRAWS_MAX && err == ERR_USAGE; i++) {
        struct err_msg own = {.code = ERR_OK};
        s->set = (size_t)sim_rng_between(&r, 0, (int64_t)stock->sets - 1);
        draw_faults(s, &r);
        draw_session(s, &s->scene[0], &r);
        snprintf(s->scene[0].prefix, sizeof s->scene[0].prefix, "a");
        err = scene_play(&s->scene[0], folder, &own);
        if (err != ERR_OK && (err != ERR_USAGE || i + 1 == DRAWS_MAX))
            return err_set(e, err, "%s", own.text);
        if (err == ERR_OK && !as_meant(s) && i + 1 < DRAWS_MAX)
            err = ERR_USAGE;
    }
    s->scenes = 1;
    TRY(play_more(s, &r, folder, e));
    return compare_healthy(s, e);
}

unsigned scenario_ends(const struct scenario *s)
{
    unsigned ends = 0;
    for (int i = 0; i < 2; i++) {
        const struct listed *l =
            s->fault[i] != NULL ? stock_section(s->stock, s->fault[i]) : NULL;
        ends |= l != NULL ? 1u << l->end : 0;
    }
    return ends;
}

bool scenario_complains(const struct scenario *s)
{
    for (int i = 0; i < s->scenes; i++)
        if (strcmp(s->scene[i].outcome, "worked") != 0)
            return true;
    return false;
}

bool scenario_silent(const struct scenario *s, const bool shown[PLUGS])
{
    if (scenario_complains(s) || s->kind == KIND_PROFILE)
        return false;
    for (int i = 0; i < PLUGS; i++)
        if (shown[i] && !s->alike[i])
            return false;
    return true;
}
