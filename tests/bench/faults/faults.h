/* The fault bench: simulated benches with a known fault, each with a random kit of evidence,
 * put to the judge in this process, and its answers counted.
 *
 * The simulator (src/sim) and the judge's model share no table. What a person tells is drawn
 * here from the simulator's own state. All cases are invented.
 */
#ifndef TEST_BENCH_FAULTS_H
#define TEST_BENCH_FAULTS_H

#include "base/buf.h"
#include "judge/judge.h"
#include "scene.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* ---- a whole case: faults_case.c ---- */

enum kind {
    KIND_SINGLE,
    KIND_DOUBLE,
    KIND_INTERMITTENT,
    KIND_NONE,
    KIND_UNLISTED,
    KIND_LYING,
    KIND_LEAD,
    KIND_PROFILE,
    KIND_QUIET, /* a fault that the session never shows: nobody complains */
    KINDS
};
extern const char *const KIND_NAMES[KINDS];

#define RUNS_SHOWN_MAX 3

struct scenario {
    int index; /* scene; kits of one scene share it */
    enum kind kind;
    bool weighted;
    uint64_t seed;
    const char *fault[2];
    size_t set;
    struct scene scene[RUNS_SHOWN_MAX];
    int scenes;
    bool recorded[PLUGS]; /* taps that may be shown */
    bool alike[PLUGS];    /* what this tap recorded is what a healthy bench gives */
    const struct stock *stock;
};

/* Draws and plays scenario `index` of a seed into folder. drawn: faults by the catalogue's
 * weights (1), each as likely (2), or in turn (0). */
enum err scenario_make(struct scenario *s, const struct stock *stock, uint64_t seed, int index,
                       enum kind kind, int drawn, const char *folder, struct err_msg *e);
/* Ends that hold a fault, one bit each. */
unsigned scenario_ends(const struct scenario *s);
/* true where what is shown of these taps tells nothing from a healthy bench, and it worked. */
bool scenario_silent(const struct scenario *s, const bool shown[PLUGS]);
bool scenario_complains(const struct scenario *s);

/* ---- the evidence: faults_kit.c, faults_told.c ---- */

struct kit {
    bool shown[PLUGS];
    int told, swaps, meters;
    bool lied;
    bool full; /* nothing left off: every lead, the disk known good, the outcome told, the leads
                  checked */
};

/* A random choice of all that can be known, or captures alone: of one tap or none, or of both.
 */
enum kit_start { START_RANDOM, START_ONE_TAP, START_BOTH_TAPS };
/* A case.ini. */
enum err kit_write(const struct scenario *s, struct rng *r, enum kit_start start, struct kit *k,
                   struct buf *text, struct err_msg *e);
/* The [capture] sections of one tap. */
enum err kit_tap(const struct scenario *s, int tap, bool outcome, struct buf *text);

/* The truthful answer to a question of [observed] or [case]; NULL where the bench cannot tell.
 */
const char *told_truth(const struct scenario *s, const char *key, struct rng *r);
extern const char *const TOLD_KEYS[]; /* that it can tell; NULL at the end */
/* Another answer of the same question. */
const char *told_lie(const char *key, const char *truth, struct rng *r, char out[32]);
/* A spare in place of a part: worked, failed or sometimes; *back as the case's key, may be
 * NULL. */
const char *swap_truth(const struct scenario *s, const char *part, bool known_good,
                       struct rng *r, const char **back);
/* Volts of a rail while the motor starts. */
double rail_truth(const struct scenario *s, enum rail rail, struct rng *r);

/* ---- other catalogues: faults_other.c ---- */

/* Profiles below folder that lack every section of the catalogue that breaks what this fault
 * breaks at its end. */
enum err other_without(const struct stock *s, const char *fault, const char *folder,
                       struct profile_path **out, struct err_msg *e);
/* The share of one end times a factor. */
enum err other_share(const struct stock *s, enum end end, double factor, const char *folder,
                     struct profile_path **out, struct err_msg *e);

/* ---- judged: faults_run.c ---- */

struct record {
    int index, kit;
    enum kind kind;
    bool weighted, silent, complains, failed;
    bool shown[PLUGS], lied, full;
    int told, swaps, meters;
    unsigned ends; /* that hold a fault */
    enum grade grade;
    enum end leading;
    double p, end[END_COUNT], ms;
    char fault[2][FAULT_NAME_MAX], named[FAULT_NAME_MAX];
    char set[80];
    char why[120];    /* failed */
    char gate[3][48]; /* beginnings of what kept it from a verdict */
    char section[FAULT_NAME_MAX];
    int sections;    /* of the catalogue */
    int variant;     /* tilt or policy */
    bool began_both; /* policies: with both taps */
    int tests;       /* made until then */
    double minutes;
};

enum err judge_text(const struct profile_path *path, const char *folder, const struct buf *text,
                    struct verdict *v, struct err_msg *e);

struct plan {
    uint64_t seed;
    int scenarios, kits, workers;
    int only;         /* scenario, or -1 */
    int kind;         /* enum kind, or -1: mixed */
    int drawn;        /* 0 both ways, 1 weighted, 2 uniform */
    const char *keep; /* folder for the cases of `only`, or NULL */
    bool limits, detail, json, cases;
    int order;          /* of tests: this policy alone, or -1 */
    int tilted, tested; /* scenarios for the sensitivity and for the policies; 0 none */
    const char *work;   /* folder for captures meanwhile */
};
enum kind plan_kind(const struct plan *p, int index);
/* Written beside the captures as STEM-NUMBER.ini. */
enum err keep_case(const char *folder, const char *stem, int number, const struct buf *text,
                   struct err_msg *e);
/* One scenario into records; returns how many. A failure is a record too. */
#define RECORDS_MAX 32
typedef int job(const struct plan *p, const struct stock *stock, int index, const char *folder,
                struct record *out);
job run_kits;   /* every kit once */
job run_tilted; /* faults_tilt.c: one kit under priors of every tilt */
job run_tests;  /* faults_tests.c: bare captures and then test by test, by every policy */

/* ---- over several processes: faults_workers.c ---- */

/* *out is yours (free), sorted by index and kit. */
enum err run_all(const struct plan *p, const struct stock *stock, job *one, struct record **out,
                 int *count, struct err_msg *e);

/* What a scenario's record says before it is judged, and what a verdict adds. */
void note_scenario(const struct scenario *s, struct record *out);
void note_kit(const struct scenario *s, const struct kit *k, struct record *out);
void note_verdict(const struct verdict *v, struct record *out);

/* ---- measured: faults_measures.c ---- */

#define BINS 10

struct bins {
    int count[BINS], hits[BINS];
    double sum[BINS]; /* of the forecasts */
};
/* Expected calibration error over equal-width bins of 0..1; the bins too where not NULL. */
double measure_calibration(const double *forecast, const bool *hit, int count, int bins,
                           struct bins *out);
/* The same over bins of equal counts. Reorders both arrays. */
double measure_calibration_by_count(double *forecast, bool *hit, int count, int bins);
/* Sum of squares over classes; minus the natural log of the truth's share. */
double measure_quadratic(const double *share, int classes, int truth);
double measure_log(const double *share, int truth);
/* Worth of an answer that blames `blamed` parts of all, `wrongly` of them, and misses `missed`:
 * 1 where it is exact (handbook, diagnosis, W12). */
double measure_utility(int blamed, int wrongly, int missed, int parts);
/* One-sided upper 95 % bound of a rate, exact: what `events` of `count` still allow. */
double measure_rate_bound(int events, int count);
/* Lower bound likewise. */
double measure_rate_floor(int events, int count);
/* The published worked examples come out; what does not is printed. */
bool measures_agree(void);

/* ---- counted: faults_score.c ---- */

/* What a verdict was worth: the right end decided, a wrong end decided, "nothing at fault"
 * decided where a fault showed, leaning to the right end or to another, or undecided. */
enum worth { WORTH_RIGHT, WORTH_WRONG, WORTH_CLEARED, WORTH_LEANING, WORTH_ASTRAY, WORTH_OPEN };
#define WORTHS (WORTH_OPEN + 1)
extern const char *const WORTH_NAMES[WORTHS];
enum worth record_worth(const struct record *r);
/* The leading end holds a fault, or none where nothing is wrong. */
bool record_hit(const struct record *r);

struct summary {
    int count, failed, worth[WORTHS];
    int both, both_decided; /* recorded at both taps */
    double quadratic, log_bits;
    double utility, utility_silent; /* of the fault named, and of naming none */
    double calibration, by_count;
    double
        spread; /* of a calibration error that is none, in a sample of this size: see there */
    struct bins bins;
    double ms_mean, ms_max;
};
enum err score(const struct record *r, int count, struct summary *out);
void score_print(const struct record *r, int count, const struct summary *s);

/* ---- where they are lost: faults_detail.c ---- */

void detail_print(const struct record *r, int count);
/* One line a case. */
void cases_print(const struct record *r, int count);

/* ---- priors off by 3 and 10: faults_tilt.c; next tests: faults_tests.c; faults_json.c ---- */

/* Those of one tilt; how many they are, 0 without memory. */
int tilt_score(const struct record *r, int count, int variant, struct summary *out);
void tilt_print(const struct record *r, int count);
void tests_print(const struct record *r, int count);
enum err json_print(const struct record *r, int count, const struct summary *s,
                    const struct record *tilted, int tilted_count, const struct record *tested,
                    int tested_count);

/* The rows of both tables. */
#define TILTS     13
#define POLICIES  4
#define TESTS_MAX 12
const char *tilt_label(int variant, char out[32]);
extern const char *const POLICY_NAMES[POLICIES];
struct test_count {
    int cases, right, wrong, cleared;
    double tests, minutes; /* mean of those that ended in a verdict */
    double tests_all;      /* mean of all, the limit where none came */
};
void tests_count(const struct record *r, int count, int policy, bool both,
                 struct test_count *out);

#endif
