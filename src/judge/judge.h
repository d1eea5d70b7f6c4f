/* The judge: a case goes in, the end at fault comes out, with why and what next.
 *
 * One causal model of the subsystem is asked "if this were broken, what would each tap have
 * shown?"; Bayes over none, every fault, every pair and faults not listed. See DEVELOPERS.md,
 * "The judge".
 */
#ifndef WHICHEND_JUDGE_JUDGE_H
#define WHICHEND_JUDGE_JUDGE_H

#include "evidence/case_file.h"
#include "evidence/finding.h"
#include "evidence/survey.h"

enum grade { GRADE_UNDECIDED, GRADE_LEANING, GRADE_DECIDED };
const char *grade_name(enum grade g);

#define FAULT_NAME_MAX 64

struct fault_share {
    char fault[FAULT_NAME_MAX];
    enum end end;
    enum line line; /* LINE_NONE where none is meant */
    double probability;
    char text[160]; /* what it is, for people */
};

#define OUTCOMES_MAX 4

struct next_test {
    char test[160], why[200], caution[200];
    double minutes, bits;
    char needs[4][48];
    size_t need_count;
    char first[4][120]; /* what must be done before */
    size_t first_count;
    char note[120];                  /* how its answer is written into the case, or "" */
    char risk[12];                   /* none disk drive machine person */
    char outcome[OUTCOMES_MAX][120]; /* what the likely answers would then mean */
    enum end then[OUTCOMES_MAX];     /* and the end that would lead after each */
    size_t outcome_count;
    bool exchange; /* a drive, machine or supply joins the set */
    bool rail;     /* measures a supply rail */
    bool leads;    /* checks the test gear itself */
};

/* A kind of work on a part. */
struct work {
    char text[120], caution[120];
    enum end part;
    double minutes, chance; /* that it cures */
};
#define WORK_SHOWN_MAX 4

#define VERDICT_TEXTS_MAX 40
#define VERDICT_TEXT_MAX  240

struct verdict {
    char title[160];
    enum grade grade;
    enum end
        leading; /* highest probability; end shown is "undecided" when grade is undecided */
    double probability;
    char fault[FAULT_NAME_MAX]; /* "" where none is meant */
    enum line line;             /* LINE_NONE likewise */
    double surprise; /* by how many spreads the evidence is odder than the best cause would give
                      */
    char explains_complaint[16]; /* yes, partly, no, no-complaint */
    char summary[320];
    double end[END_COUNT];          /* sums to 1 */
    double also[END_COUNT];         /* chance that the end holds a fault at all */
    bool worked_on;                 /* the case tells of a [repair]: */
    double remaining[END_COUNT];    /* what all works together left; sums to 1 */
    char remains[320];              /* and in a sentence */
    struct fault_share *fault_list; /* highest first */
    size_t fault_count;
    struct finding *finding; /* strongest first */
    size_t finding_count;
    struct next_test *next; /* best first */
    size_t next_count;
    struct work work[WORK_SHOWN_MAX]; /* what cures most for its minutes first */
    size_t work_count;
    double work_minutes; /* on average, done in this order until one helps */
    char gate[VERDICT_TEXTS_MAX][VERDICT_TEXT_MAX]; /* gates not met, each a sentence */
    size_t gate_count;
    char change[VERDICT_TEXTS_MAX][VERDICT_TEXT_MAX]; /* what would put another end in front */
    size_t change_count;
    char disproof[VERDICT_TEXT_MAX]; /* the one swap that would disprove it, or "" */
    char untested[VERDICT_TEXTS_MAX][VERDICT_TEXT_MAX];
    size_t untested_count;
    char caution[VERDICT_TEXTS_MAX][VERDICT_TEXT_MAX];
    size_t caution_count;
    char warning[VERDICT_TEXTS_MAX][VERDICT_TEXT_MAX];
    size_t warning_count;
};

/* For a caller that also shows what the captures held. */
struct judge_watch {
    /* each chunk of a capture (by its place in the case) as it is read */
    void (*chunk)(void *ctx, size_t capture, const struct capture_info *info,
                  const struct chunk *c);
    /* at the end its survey; to keep it, copy the struct and zero the original */
    void (*surveyed)(void *ctx, size_t capture, struct survey *s);
    void *ctx;
};

struct judge_options {
    const struct profile_path *profiles;                         /* for the fault catalogue */
    void (*progress)(void *ctx, const char *what, double share); /* may be NULL */
    void *progress_ctx;
    volatile const int *stop;        /* may be NULL */
    const struct judge_watch *watch; /* may be NULL */
};

/* Surveys every capture of the case and weighs all. ERR_FORMAT, ERR_NO_INPUT for captures and
 * profiles. */
enum err judge_case(const struct case_file *c, const struct judge_options *o,
                    struct verdict *out, struct err_msg *e);
void verdict_release(struct verdict *v);

#endif
