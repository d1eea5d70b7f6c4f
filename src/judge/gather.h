/* Private to src/judge: all that a case shows, as features. */
#ifndef WHICHEND_JUDGE_GATHER_H
#define WHICHEND_JUDGE_GATHER_H

#include "evidence/feature.h"
#include "judge/judge.h"
#include "judge/model.h"

#define RUNS_MAX   64
#define MENDED_MAX 16

/* A [repair]: on which part, of which kinds (repair_kind_bit()), and what came of it: worked,
 * partly, failed, sometimes, not told. */
struct work_done {
    enum end part;
    unsigned kinds;
    int outcome;
};

struct gathered {
    struct feature_list features;
    struct wiring wiring;
    int runs;
    struct setting
        setting[RUNS_MAX + 1]; /* one a run; the last (index runs) for what a person told */
    struct work_done work[MENDED_MAX];
    int works;
    bool after_works; /* some capture was taken after one of them */
    bool complaint;   /* some outcome is not `worked` */
    bool all_worked;  /* at least one outcome, and all are */
    bool adapter;     /* some capture was taken through an adapter (.wec) */
    bool flux_seen;
    int clean_tries;      /* runs, and counted tries of them, that worked */
    int tries, bad_tries; /* counted by a person, of all runs */
};

/* Reads every capture. Warnings go to v. */
enum err gather(const struct case_file *c, const struct judge_options *o, struct gathered *out,
                struct verdict *v, struct err_msg *e);
void gathered_release(struct gathered *g);

#endif
