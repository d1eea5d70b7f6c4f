/* One scenario played, and each of its kits judged. */
#include "base/file.h"
#include "faults.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#define CASE_MAX (1u << 16)

/* How a mixed run is made up, in per cent. */
static const struct {
    enum kind kind;
    int share;
} MIX[] = {{KIND_SINGLE, 60}, {KIND_NONE, 8},     {KIND_INTERMITTENT, 8},
           {KIND_DOUBLE, 5},  {KIND_UNLISTED, 6}, {KIND_LYING, 5},
           {KIND_LEAD, 3},    {KIND_PROFILE, 2},  {KIND_QUIET, 3}};

enum kind plan_kind(const struct plan *p, int index)
{
    struct rng r;
    int at;
    if (p->kind >= 0)
        return (enum kind)p->kind;
    sim_rng_seed(&r, p->seed, 500000000 + (uint64_t)index);
    at = (int)sim_rng_between(&r, 0, 99);
    for (size_t i = 0; i < sizeof MIX / sizeof MIX[0]; i++) {
        if (at < MIX[i].share)
            return MIX[i].kind;
        at -= MIX[i].share;
    }
    return KIND_SINGLE;
}

enum err judge_text(const struct profile_path *path, const char *folder, const struct buf *text,
                    struct verdict *v, struct err_msg *e)
{
    struct judge_options o = {.profiles = path};
    struct case_file c;
    TRY(case_file_parse("case.ini", folder, text->data, text->len, path, &c, e));
    enum err err = judge_case(&c, &o, v, e);
    case_file_release(&c);
    return err;
}

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

void note_scenario(const struct scenario *s, struct record *out)
{
    const struct set *t = &s->stock->set[s->set];
    out->index = s->index;
    out->kind = s->kind;
    out->weighted = s->weighted;
    out->ends = scenario_ends(s);
    out->complains = scenario_complains(s);
    out->sections = (int)s->stock->sections;
    snprintf(out->set, sizeof out->set, "%s %s", profile_name(t->machine),
             profile_name(t->drive));
    if (s->fault[0] != NULL)
        snprintf(out->section, sizeof out->section, "%s",
                 stock_section(s->stock, s->fault[0])->name);
    for (int i = 0; i < 2; i++)
        snprintf(out->fault[i], sizeof out->fault[i], "%s",
                 s->fault[i] != NULL ? s->fault[i] : "");
}

void note_kit(const struct scenario *s, const struct kit *k, struct record *out)
{
    memcpy(out->shown, k->shown, sizeof out->shown);
    out->lied = k->lied;
    out->full = k->full;
    out->told = k->told;
    out->swaps = k->swaps;
    out->meters = k->meters;
    out->silent = scenario_silent(s, k->shown);
}

void note_verdict(const struct verdict *v, struct record *out)
{
    out->grade = v->grade;
    out->leading = v->leading;
    out->p = v->probability;
    memcpy(out->end, v->end, sizeof out->end);
    snprintf(out->named, sizeof out->named, "%s", v->fault);
    memset(out->gate, 0, sizeof out->gate);
    for (size_t i = 0; i < v->gate_count && i < 3; i++)
        snprintf(out->gate[i], sizeof out->gate[i], "%.47s", v->gate[i]);
}

enum err keep_case(const char *folder, const char *stem, int number, const struct buf *text,
                   struct err_msg *e)
{
    char name[700];
    struct out_file f = {0};
    snprintf(name, sizeof name, "%s/%s-%d.ini", folder, stem, number);
    TRY(out_file_open(&f, name, true, e));
    bool whole = fwrite(text->data, 1, text->len, f.stream) == text->len;
    enum err err = whole ? out_file_commit(&f, e) : ERR_IO;
    out_file_abort(&f);
    return err;
}

static enum err judge_kit(const struct plan *p, const struct scenario *s, int kit,
                          const char *folder, const struct profile_path *path,
                          struct record *out, struct err_msg *e)
{
    struct rng r;
    struct kit k;
    struct buf text;
    struct verdict *v = calloc(1, sizeof *v);
    sim_rng_seed(&r, p->seed, UINT64_C(1000000000) + (uint64_t)s->index * 16 + (uint64_t)kit);
    buf_init(&text, CASE_MAX);
    enum err err = v != NULL ? kit_write(s, &r, START_RANDOM, &k, &text, e) : ERR_MEMORY;
    if (err == ERR_OK && p->keep != NULL)
        err = keep_case(folder, "case", kit, &text, e);
    if (err == ERR_OK) {
        double start = now_ms();
        err = judge_text(path, folder, &text, v, e);
        out->ms = now_ms() - start;
        out->kit = kit;
        note_kit(s, &k, out);
    }
    if (err == ERR_OK) {
        note_verdict(v, out);
        verdict_release(v);
    }
    free(v);
    buf_release(&text);
    return err;
}

int run_kits(const struct plan *p, const struct stock *stock, int index, const char *folder,
             struct record *out)
{
    struct scenario *s = calloc(1, sizeof *s);
    struct profile_path *other = NULL;
    struct err_msg e = {.code = ERR_OK};
    char path[600];
    int count = 0;
    enum err err = s != NULL ? scenario_make(s, stock, p->seed, index, plan_kind(p, index),
                                             p->drawn, folder, &e)
                             : ERR_MEMORY;
    if (err == ERR_OK && s->kind == KIND_UNLISTED) {
        snprintf(path, sizeof path, "%s/profiles", folder);
        (void)mkdir(path, 0777);
        snprintf(path, sizeof path, "%s/profiles/%s", folder,
                 stock_section(stock, s->fault[0])->name);
        err = other_without(stock, s->fault[0], path, &other, &e);
    }
    do {
        out[count] = (struct record){.index = index};
        if (err == ERR_OK) {
            note_scenario(s, &out[count]);
            err = judge_kit(p, s, count, folder, other != NULL ? other : stock->path,
                            &out[count], &e);
        }
        out[count].failed = err != ERR_OK;
        if (err != ERR_OK)
            snprintf(out[count].why, sizeof out[count].why, "%.100s", e.text);
        count++;
    } while (err == ERR_OK && count < p->kits);
    profile_path_free(other);
    free(s);
    return count;
}
