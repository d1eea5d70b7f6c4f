/* Features: what a capture or a person shows, in the few words that the causal model can
 * predict.
 *
 * A feature is one question with a handful of answers ("INDEX while selected: never, pulses,
 * always, erratic"). Taken from a survey here; predicted for every hypothesis by the judge.
 */
#ifndef WHICHEND_EVIDENCE_FEATURE_H
#define WHICHEND_EVIDENCE_FEATURE_H

#include "evidence/case_file.h"
#include "evidence/finding.h"
#include "evidence/survey.h"

/* The bus as the unit in use sees it: SIG_SEL is its own select, whatever the pin is called at
 * either plug. */
enum sig {
    SIG_SEL,
    SIG_MOT,
    SIG_DIR,
    SIG_STEP,
    SIG_SIDE,
    SIG_WGATE,
    SIG_WDATA,
    SIG_DENSITY,
    SIG_HLOAD,
    SIG_INDEX, /* from here on: drive to machine */
    SIG_TRK00,
    SIG_WPROT,
    SIG_RDATA,
    SIG_READY,
    SIG_DSKCHG,
    SIG_COUNT
};
#define SIG_FROM_DRIVE SIG_INDEX

/* Names of each signal at the two plugs; LINE_NONE where it is not carried. */
struct wiring {
    enum line at_machine[SIG_COUNT];
    enum line at_drive[SIG_COUNT];
    int unit; /* select number at the machine's plug */
};

/* unit: as the case or the captures tell. */
void wiring_make(const struct case_file *c, int unit, struct wiring *out);
enum sig wiring_sig(const struct wiring *w, enum line line,
                    bool at_drive); /* SIG_COUNT: none */

/* One mechanism: features of one group at one tap of one run are one observation (contract). */
enum group {
    GROUP_SELECT,
    GROUP_MOTOR,
    GROUP_HEAD,
    GROUP_READ,
    GROUP_WRITE,
    GROUP_MACHINE,
    GROUP_POWER,
    GROUP_PERSON,
    GROUP_SWAP,
    GROUP_COUNT
};
const char *group_name(enum group g);
/* The mechanism that a signal belongs to. */
enum group group_of_sig(enum sig s);

/* Answers of FEATURE_LINE. HELD: a drive's output that is active as long as the drive is
 * selected, and only then. */
enum { STATE_NEVER, STATE_TOGGLES, STATE_ALWAYS, STATE_ERRATIC, STATE_HELD, STATE_COUNT };

enum feature_kind {
    FEATURE_LINE,       /* sig: STATE_ */
    FEATURE_UNSELECTED, /* drive's outputs while its select is off: 0 quiet, 1 active */
    FEATURE_INDEX, /* pulses seen: 0 regular, 1 some missing, 2 some extra, 3 sector holes */
    FEATURE_SPEED, /* see SPEED_ */
    FEATURE_DIRECTION, /* of the steps: 0 outward only, 1 inward only, 2 both */
    FEATURE_RESTORE, /* 0 no outward steps, 1 TRK00 found, 2 a run to the limit without TRK00, 3
                        one that ends early without TRK00 */
    FEATURE_RELEASE, /* TRK00 after inward steps from cylinder 0: 0 releases, 1 stays active */
    FEATURE_STEP_RATE, /* 0 as slow as the drive asks, 1 faster */
    FEATURE_OVERRUN,   /* outward steps after TRK00 came: 0 none, 1 ten and more */
    FEATURE_PLACE,     /* identifiers against the steps: see PLACE_ */
    FEATURE_QUALITY,   /* read signal: 0 clean, 1 poor, 2 noise, 3 another code */
    FEATURE_FIELDS,    /* fields: 0 all good, 1 some damaged, 2 most damaged, 3 no identifier at
                          all */
    FEATURE_CELL, /* bit cell against nominal: 0 within 4 %, 1 off 4 to 12 %, 2 further off, 3
                   * it differs from visit to visit */
    FEATURE_RATE, /* data rate: 0 one that the drive is made for, 1 another of the trade, 2 none
                   * of the trade */
    FEATURE_SIDE_ID, /* identifiers' side: 0 as selected, 1 always side 0, 2 always side 1, 3
                        mixed */
    FEATURE_SIDE_1,  /* side 1 against side 0: 0 alike, 1 silent or noise, 2 worse */
    FEATURE_REPEAT,  /* damage: 0 at fixed places, 1 changes from turn to turn */
    FEATURE_GATE, /* WGATE: 0 quiet, 1 as a write is, 2 active though no write was asked or for
                     too long */
    FEATURE_GATE_DATA, /* WDATA while WGATE: 0 pulses, 1 none */
    FEATURE_READ_BACK, /* what was written reads back: 0 good, 1 bad */
    FEATURE_MACHINE,   /* 0 goes on, 1 tries again or gives up, 2 waits without end, 3 does
                          nothing */
    FEATURE_OUTCOME,   /* as reported: enum outcome less unknown: 0 worked 1 failed 2 hangs 3
                          wrong data 4 sometimes */
    FEATURE_TRIES,     /* how often it works: 0 it never fails, 1 now and then, 2 mostly */
    FEATURE_PAIR,      /* lines that move together: 0 none, 1 sig and sig2 do */
    FEATURE_CROSSTALK, /* 0 clean, 1 short pulses on several lines */
    FEATURE_RAIL,      /* sig2 as enum rail: 0 in limits, 1 dips, 2 missing */
    FEATURE_SAMPLING,  /* 0 fine, 1 too slow for this drive's read pulses */
    FEATURE_TAPS,      /* sig: the two taps' edges: 0 match, 1 differ */
    FEATURE_TOLD,      /* sig2 as enum told_question (evidence/told.h): its words in order */
    FEATURE_SWAP,      /* a spare put into this set; sig2 as enum end of the part: 0 worked, 1
                          failed, 2 sometimes */
    FEATURE_TRIED,     /* a part of this set tried in a good one; likewise */
    FEATURE_REPAIR,    /* sig2 as enum end of what was repaired: 0 worked, 1 partly, 2 failed, 3
                          sometimes */
    FEATURE_SELFCHECK, /* of adapter and leads: 0 passed, 1 failed */
    FEATURE_EXAMINED,  /* the test that the catalogue names for `fault`: 0 not found, 1 found */
    FEATURE_KINDS
};
enum {
    PLACE_AGREE,
    PLACE_ZERO_NO_TRK00, /* identifiers say 0 while TRK00 is inactive after long outward runs */
    PLACE_NOT_ZERO_AFTER_OUT, /* still another cylinder after a run to the limit */
    PLACE_ZERO_AFTER_IN,      /* still 0 after inward steps */
    PLACE_STUCK,              /* the same other cylinder whatever the steps */
    PLACE_HALF,               /* half the head's cylinder */
    PLACE_OFF,                /* off by some cylinders */
    PLACE_COUNT
};
/* Against the profile's nominal: in limits, off by 1.5 to 3 % either way, then by bins each
 * way, or unsteady. */
enum {
    SPEED_OK,
    SPEED_OFF_SLIGHTLY,
    SPEED_FAST_3,  /* 3 to 8 % fast */
    SPEED_FAST_8,  /* 8 to 14 % */
    SPEED_FAST_14, /* more */
    SPEED_SLOW_3,
    SPEED_SLOW_8,
    SPEED_SLOW_14,
    SPEED_UNSTEADY,
    SPEED_COUNT
};
#define FEATURE_ANSWERS_MAX 9

enum swap_back { BACK_NOT_TRIED, BACK_RETURNED, BACK_STAYED_AWAY };

struct feature {
    enum feature_kind kind;
    enum group group;
    enum sig sig; /* SIG_COUNT where none is meant */
    int sig2;
    int run;     /* captures recorded together have one number; told features: -1 */
    int capture; /* index in the case; -1 told */
    enum tap tap;
    double
        soft[FEATURE_ANSWERS_MAX]; /* chance of each answer given the measurement; sums to 1 */
    int answers;
    bool known_good;        /* FEATURE_SWAP: the spare */
    bool reseated;          /* FEATURE_SWAP: plugs were pushed home, or nobody said */
    int count;              /* FEATURE_SWAP: spares that did the same; FEATURE_TRIES: tries */
    int bad;                /* FEATURE_TRIES: of these failed; the judge makes soft of it */
    unsigned repair_kinds;  /* FEATURE_REPAIR: repair_kind_bit() */
    const char *fault;      /* FEATURE_EXAMINED: its name; the case owns it */
    enum swap_back back;    /* FEATURE_SWAP: what the old part did when it was put back */
    struct finding finding; /* weights not yet set */
};

struct feature_list {
    struct feature *item;
    size_t count, cap;
};

/* Features of one capture. run: its number. ERR_MEMORY only. */
enum err features_from_survey(const struct case_file *c, size_t capture, int run,
                              const struct survey *s, const struct wiring *w,
                              struct feature_list *out);
/* Features of two taps of one run, from their comparison. */
enum err features_from_taps(const struct case_file *c, size_t drive_capture, int run,
                            const struct tap_compare *t, const struct wiring *w,
                            struct feature_list *out);
/* What a person told: [observed], [meter], [probe], [swap], [repair], [examined]. */
enum err features_from_told(const struct case_file *c, const struct wiring *w,
                            struct feature_list *out);
void feature_list_release(struct feature_list *l);

/* Answers of a kind. */
int feature_answers(enum feature_kind kind);
/* Of one part or fault by its name, whatever the session: a substitution, a repair, a look. */
bool feature_is_intervention(enum feature_kind kind);

#endif
