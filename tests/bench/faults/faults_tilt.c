/* Priors that are off: each end's share times 3 and times 10, the truth unchanged. */
#include "faults.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TILTED_ENDS 6

static const enum end ENDS[TILTED_ENDS] = {END_DRIVE, END_CABLE, END_CONTROLLER,
                                           END_DISK,  END_POWER, END_SETUP};

static double factor_of(int variant)
{
    return variant == 0 ? 1 : variant <= TILTED_ENDS ? 3 : 10;
}

const char *tilt_label(int variant, char out[32])
{
    if (variant == 0)
        snprintf(out, 32, "as they are");
    else
        snprintf(out, 32, "%s x%.0f", end_name(ENDS[(variant - 1) % TILTED_ENDS]),
                 factor_of(variant));
    return out;
}

static enum err judge_tilted(const struct stock *stock, int variant, const char *folder,
                             const struct buf *text, struct verdict *v, struct err_msg *e)
{
    char where[560];
    struct profile_path *path = NULL;
    if (variant == 0)
        return judge_text(stock->path, folder, text, v, e);
    snprintf(where, sizeof where, "%s/tilt-%d", folder, variant);
    TRY(other_share(stock, ENDS[(variant - 1) % TILTED_ENDS], factor_of(variant), where, &path,
                    e));
    enum err err = judge_text(path, folder, text, v, e);
    profile_path_free(path);
    return err;
}

static enum err judge_all(const struct scenario *s, const char *folder, const struct buf *text,
                          const struct kit *k, struct record *out, struct err_msg *e)
{
    struct verdict *v = calloc(1, sizeof *v);
    enum err err = v != NULL ? ERR_OK : ERR_MEMORY;
    for (int i = 0; i < TILTS && err == ERR_OK; i++) {
        out[i] = (struct record){.kit = i, .variant = i};
        note_scenario(s, &out[i]);
        note_kit(s, k, &out[i]);
        err = judge_tilted(s->stock, i, folder, text, v, e);
        if (err != ERR_OK)
            break;
        note_verdict(v, &out[i]);
        verdict_release(v);
    }
    free(v);
    return err;
}

int run_tilted(const struct plan *p, const struct stock *stock, int index, const char *folder,
               struct record *out)
{
    struct scenario *s = calloc(1, sizeof *s);
    struct err_msg e = {.code = ERR_OK};
    struct rng r;
    struct kit k;
    struct buf text;
    enum err err = s != NULL
                       ? scenario_make(s, stock, p->seed, index, KIND_SINGLE, 1, folder, &e)
                       : ERR_MEMORY;
    sim_rng_seed(&r, p->seed, UINT64_C(2000000000) + (uint64_t)index);
    buf_init(&text, 1u << 16);
    if (err == ERR_OK)
        err = kit_write(s, &r, false, &k, &text, &e);
    if (err == ERR_OK)
        err = judge_all(s, folder, &text, &k, out, &e);
    buf_release(&text);
    free(s);
    if (err == ERR_OK)
        return TILTS;
    out[0] = (struct record){.index = index, .failed = true};
    snprintf(out[0].why, sizeof out[0].why, "%.100s", e.text);
    return 1;
}

static int same_verdicts(const struct record *r, int count, int variant)
{
    int same = 0;
    for (int i = 0; i < count; i++)
        for (int k = i; r[i].variant == 0 && k < count && r[k].index == r[i].index; k++)
            same += r[k].variant == variant && r[k].grade == r[i].grade &&
                    r[k].leading == r[i].leading;
    return same;
}

int tilt_score(const struct record *r, int count, int variant, struct summary *out)
{
    struct record *some = calloc((size_t)count + 1, sizeof *some);
    int n = 0;
    for (int i = 0; some != NULL && i < count; i++)
        if (!r[i].failed && r[i].variant == variant)
            some[n++] = r[i];
    if (n > 0 && score(some, n, out) != ERR_OK)
        n = 0;
    free(some);
    return n;
}

void tilt_print(const struct record *r, int count)
{
    printf(
        "\npriors of one end off, single faults drawn by weight\n%-16s%7s%8s%7s%9s%9s%11s%10s"
        "%8s%10s\n",
        "", "cases", "right", "wrong", "leaning", "astray", "undecided", "log bits", "calib",
        "the same");
    for (int v = 0; v < TILTS; v++) {
        struct summary s;
        char label[32];
        int n = tilt_score(r, count, v, &s);
        if (n == 0)
            continue;
        printf("%-16s%7d%8d%7d%9d%9d%11d%10.3f%8.3f%10d\n", tilt_label(v, label), n,
               s.worth[WORTH_RIGHT], s.worth[WORTH_WRONG] + s.worth[WORTH_CLEARED],
               s.worth[WORTH_LEANING], s.worth[WORTH_ASTRAY], s.worth[WORTH_OPEN], s.log_bits,
               s.calibration, same_verdicts(r, count, v));
    }
}
