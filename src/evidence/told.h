/* Questions that a person answers, one of a few words each: [observed] and some of [case].
 *
 * A row per question: which key of a case it is, and the mechanism that it speaks of. The
 * answers are the words of the key's own list (case_keys.c), in that order; the judge predicts
 * each for every cause.
 */
#ifndef WHICHEND_EVIDENCE_TOLD_H
#define WHICHEND_EVIDENCE_TOLD_H

#include "evidence/feature.h"

enum told_question {
    TOLD_LAMP_HOST_OFF,
    TOLD_MOTOR_HOST_OFF,
    TOLD_LAMP,
    TOLD_SPINDLE,
    TOLD_HEAD,
    TOLD_NOISE,
    TOLD_CARRIAGE,
    TOLD_BELT,
    TOLD_HEADS,
    TOLD_PLUGS,
    TOLD_DRIVE_BOARD,
    TOLD_SENSORS,
    TOLD_SUPPLY,
    TOLD_MACHINE_BOARD,
    TOLD_DISK_LOOKS,
    TOLD_HOT,
    TOLD_LIFE,
    TOLD_OTHERWISE,
    TOLD_INDEX_SEEN,
    TOLD_READ_SEEN,
    TOLD_SPEED,
    TOLD_STROBE,
    TOLD_FAILS_ON,
    TOLD_REPORTED,
    TOLD_DISKS_FAILING,
    TOLD_OWN_ELSEWHERE,
    TOLD_HARMED,
    TOLD_BAD_DATA,
    TOLD_SIDES,
    TOLD_CYLINDERS,
    TOLD_UNPLUGGED,
    TOLD_TOGETHER,
    TOLD_COMES_AND_GOES,
    TOLD_MOVES_WITH,
    TOLD_POWER_CYCLE,
    TOLD_BEGAN,
    TOLD_CASE,
    TOLD_PLACE,
    TOLD_WARM,
    TOLD_CHANGED,
    TOLD_EVENT,
    TOLD_OTHER_DRIVE,
    TOLD_WAY_UP,
    TOLD_TERMINATOR,
    TOLD_CABLE, /* alone, by a walk over its pins */
    TOLD_QUESTIONS
};

struct told_row {
    const char *section, *key;
    enum group group;
    int answers;      /* how many of the key's words are predicted; the rest say nothing */
    const char *text; /* the finding, before ": " and the word */
};

const struct told_row *told_row(enum told_question q);
/* TOLD_QUESTIONS where no row has it. */
enum told_question told_question_by_key(const char *section, const char *key);
/* Place of a word in the question's list; -1: none that is predicted. */
int told_answer(enum told_question q, const char *word);
/* The word of an answer; out holds it. */
const char *told_word(enum told_question q, int answer, char out[CASE_WORD_MAX]);

/* Kinds of work of a [repair], as bits in the order of the key's words; 0 for a word that is
 * none. */
unsigned repair_kind_bit(const char *word);

#endif
