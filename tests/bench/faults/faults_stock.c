/* Sets of parts, and the faults that each can have with their share in the catalogue. */
#include "base/ini_file.h"
#include "scene.h"
#include "sim/play.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const SETS[][3] = {
    {"controller-wd177x", "drive-35-dd", "ribbon-34-straight"},
    {"controller-82077", "drive-35-hd", "ribbon-34-twisted"},
    {"controller-upd765", "drive-525-dd-80", "ribbon-34-straight"},
    {"controller-wd179x", "drive-8", "ribbon-50"},
    {"controller-wd179x", "drive-525-dd-40", "ribbon-34-straight"},
    {"controller-82077", "drive-525-hd", "ribbon-34-twisted"},
};

static enum err set_load(struct stock *s, const char *const name[3], struct err_msg *e)
{
    struct set *t = &s->set[s->sets];
    TRY(profile_load(s->path, PROFILE_CONTROLLER, name[0], &t->machine, e));
    s->sets++;
    TRY(profile_load(s->path, PROFILE_DRIVE, name[1], &t->drive, e));
    return profile_load(s->path, PROFILE_CABLE, name[2], &t->cable, e);
}

/* "cable.*.open" against "cable.INDEX.open". Pairs of lines stand under "cable.pair.short". */
static bool falls_under(const char *fault, const char *section)
{
    const char *star = strchr(section, '*');
    size_t before = star != NULL ? (size_t)(star - section) : 0;
    size_t after = star != NULL ? strlen(star + 1) : 0;
    size_t len = strlen(fault);
    bool pair = strchr(fault, '+') != NULL;
    if (strcmp(section, "cable.pair.short") == 0)
        return pair;
    if (star == NULL || pair)
        return strcmp(fault, section) == 0;
    if (len <= before + after || strncmp(fault, section, before) != 0 ||
        strcmp(fault + len - after, star + 1) != 0)
        return false;
    char line[16];
    size_t n = len - before - after;
    if (n >= sizeof line)
        return false;
    memcpy(line, fault + before, n);
    line[n] = '\0';
    return line_by_name(line) != LINE_NONE;
}

const struct listed *stock_section(const struct stock *s, const char *fault)
{
    for (int whole = 1; whole >= 0; whole--) {
        for (size_t i = 0; i < s->sections; i++) {
            bool star = strchr(s->listed[i].name, '*') != NULL;
            if (star != (whole == 1) && falls_under(fault, s->listed[i].name))
                return &s->listed[i];
        }
    }
    return NULL;
}

static void read_section(struct stock *s, const struct ini_file *f, const char *name)
{
    const char *weight = ini_file_get(f, name, "weight");
    const char *effect = ini_file_get(f, name, "effect");
    char end[16];
    snprintf(end, sizeof end, "%.*s", (int)strcspn(name, "."), name);
    if (weight == NULL || effect == NULL || s->sections >= SECTIONS_MAX)
        return;
    struct listed *l = &s->listed[s->sections++];
    snprintf(l->name, sizeof l->name, "%s", name);
    snprintf(l->effect, sizeof l->effect, "%s", effect);
    l->end = end_by_name(end);
    l->weight = strtod(weight, NULL);
}

static enum err read_file(struct stock *s, const char *name, double share[END_COUNT],
                          struct err_msg *e)
{
    char *path = NULL;
    struct ini_file f;
    TRY(profile_file_find(s->path, "faults", name, &path, e));
    enum err err = ini_file_read(path, &f, e);
    free(path);
    TRY(err);
    for (size_t i = 0; i < f.count; i++) {
        const char *section = f.entry[i].section;
        const char *given = ini_file_get(&f, section, "share");
        if (f.entry[i].key != NULL)
            continue;
        if (given != NULL && end_by_name(section) < END_TWO)
            share[end_by_name(section)] = strtod(given, NULL);
        else
            read_section(s, &f, section);
    }
    ini_file_release(&f);
    return ERR_OK;
}

static enum err read_catalogue(struct stock *s, struct err_msg *e)
{
    double share[END_COUNT] = {0};
    double sum[END_COUNT] = {0};
    char **names = NULL;
    size_t count = 0;
    TRY(profile_file_list(s->path, "faults", &names, &count, e));
    enum err err = ERR_OK;
    for (size_t i = 0; i < count && err == ERR_OK; i++)
        err = read_file(s, names[i], share, e);
    profile_names_free(names, count);
    for (size_t i = 0; i < s->sections; i++)
        sum[s->listed[i].end] += s->listed[i].weight;
    for (size_t i = 0; i < s->sections; i++)
        s->listed[i].weight *= share[s->listed[i].end] / sum[s->listed[i].end];
    return err;
}

static bool playable(const struct set *t, const char *fault)
{
    struct err_msg e = {.code = ERR_OK};
    struct sim_options o = {.fault = {fault, NULL},
                            .seed = 1,
                            .machine = t->machine,
                            .drive = t->drive,
                            .cable = t->cable,
                            .asked = ASKED_READ,
                            .machine_end = true,
                            .drive_end = true};
    struct sim_play *p = NULL;
    bool plays = sim_play_open(&o, &p, &e) == ERR_OK;
    sim_play_close(p);
    return plays;
}

/* A section's weight is shared by the lines that it stands for. */
static void list_for(struct stock *s, size_t set)
{
    const char *const *name = NULL;
    size_t names = sim_faults(&name);
    const struct listed *of[DRAWN_MAX];
    for (size_t i = 0; i < names && s->count[set] < DRAWN_MAX; i++) {
        const struct listed *l = stock_section(s, name[i]);
        if (l == NULL || !playable(&s->set[set], name[i]))
            continue;
        of[s->count[set]] = l;
        s->of[set][s->count[set]++] = (struct drawable){name[i], l->weight};
    }
    for (size_t i = 0; i < s->count[set]; i++) {
        int lines = 0;
        for (size_t k = 0; k < s->count[set]; k++)
            lines += of[k] == of[i];
        s->of[set][i].weight = of[i]->weight / lines;
    }
}

enum err stock_open(struct stock *s, struct err_msg *e)
{
    *s = (struct stock){0};
    TRY(profile_path_make(TEST_SOURCE_DIR "/profiles", &s->path, e));
    for (size_t i = 0; i < sizeof SETS / sizeof SETS[0]; i++)
        TRY(set_load(s, SETS[i], e));
    TRY(read_catalogue(s, e));
    for (size_t i = 0; i < s->sets; i++)
        list_for(s, i);
    return ERR_OK;
}

void stock_close(struct stock *s)
{
    for (size_t i = 0; i < s->sets; i++) {
        profile_free(s->set[i].machine);
        profile_free(s->set[i].drive);
        profile_free(s->set[i].cable);
    }
    profile_path_free(s->path);
}

const char *stock_draw(const struct stock *s, size_t set, bool weighted,
                       bool (*take)(const char *fault), struct rng *r)
{
    double sum = 0;
    const char *last = NULL;
    for (size_t i = 0; i < s->count[set]; i++)
        if (take == NULL || take(s->of[set][i].fault))
            sum += weighted ? s->of[set][i].weight : 1;
    double at = sim_rng_unit(r) * sum;
    for (size_t i = 0; i < s->count[set] && at >= 0; i++) {
        if (take != NULL && !take(s->of[set][i].fault))
            continue;
        last = s->of[set][i].fault;
        at -= weighted ? s->of[set][i].weight : 1;
    }
    return last;
}
