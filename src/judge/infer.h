/* Private to src/judge: hypotheses, their chances under the evidence, and what each finding
 * weighs. */
#ifndef WHICHEND_JUDGE_INFER_H
#define WHICHEND_JUDGE_INFER_H

#include "judge/catalogue.h"
#include "judge/gather.h"

/* HYP_HELD: some part of an end, in the list or not, holds one line or never moves it, or all
 * that the end gives is dead. */
enum hypothesis_kind {
    HYP_NONE,
    HYP_SINGLE,
    HYP_PAIR,
    HYP_HELD,
    HYP_UNLISTED,
    HYP_UNEXPLAINED
};

struct hypothesis {
    enum hypothesis_kind kind;
    int a, b;     /* faults of the catalogue, -1 none */
    enum end end; /* the class of the verdict's partition */
    double ln_prior;
    double ln_evidence; /* of all groups together */
    bool left_out; /* nothing exercised it: told apart from "nothing wrong" (or from its one
                      fault) by nothing */
    enum sig sig;  /* HYP_HELD: the line, SIG_COUNT all that the end gives, and how */
    enum mode mode;
};

struct evidence_group {
    int run;
    enum group group;
    enum tap tap;
    size_t *feature; /* indices */
    size_t count;
    bool two_taps; /* the same mechanism of the same run was tapped at the other plug too */
};

/* A choice of what nobody told. */
struct way {
    unsigned short untold, row;
    double chance;
};

/* One hypothesis in one run: a row for all choices that answer alike. */
struct rows {
    size_t count, cap;
    struct way *way;
    size_t ways, ways_cap;
    double *choice;   /* [row] chance of all its choices */
    float *answer_ln; /* [row][features]; only those of the run are filled */
    double *raw_ln;   /* [row][groups] sums of the answers, */
    double *group_ln; /* [row][groups], capped */
    double *whole_ln; /* [row] its choice and all groups of the run */
};

struct inference {
    const struct gathered *g;
    const struct catalogue *c;
    struct hypothesis *hyp;
    size_t hyp_count;
    int *end_of; /* class of each hypothesis */
    struct evidence_group *group;
    size_t group_count;
    size_t
        *twin; /* [hyp] an earlier one that predicts the very same and has its rows; or itself
                */
    double *share;           /* [hyp] of a listed fault within its end, its twins' included */
    struct rows *rows;       /* [hyp][runs + 1]; none for a twin: inference_rows() */
    double *run_ln;          /* [hyp][runs + 1] */
    double temper[RUNS_MAX]; /* exponent of each run: see repeats.h */
    double *joint;           /* [hyp] ln prior + evidence; -INFINITY where left out */
    double *posterior;
};

const struct rows *inference_rows(const struct inference *n, size_t hyp, int run);
/* The best that any row of a hypothesis does for a group. */
double inference_group_best(const struct inference *n, size_t hyp, size_t group);
/* The run whose features a group holds; what a person told counts as the last. */
int inference_run_of(const struct inference *n, size_t group);
/* ln of the weight of each row of a hypothesis in its run: its choice and all groups. */
double inference_row_ln(const struct rows *r, size_t row);

enum err infer(const struct gathered *g, const struct catalogue *c, struct inference *out);
void inference_release(struct inference *n);

/* Joint without one feature (or, feature SIZE_MAX, without one whole group); joint has
 * hyp_count items. */
enum err inference_without(const struct inference *n, size_t feature, size_t group,
                           double *joint);

/* Joint from one group alone; SIZE_MAX: from none. */
void inference_alone(const struct inference *n, size_t group, double *joint);

/* Sum of the posterior over each end from a joint. */
void inference_ends(const struct inference *n, const double *joint, double *end);

/* The end with the most. */
enum end ends_leader(const double end[END_COUNT]);
/* The one with the most behind it; END_COUNT where all others have nothing. */
enum end ends_second(const double end[END_COUNT], enum end first);

/* State of one hypothesis. */
void hypothesis_state(const struct inference *n, const struct hypothesis *h, struct state *out);

#endif
