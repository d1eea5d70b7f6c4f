/* Private to src/judge: pieces of predict_told(). */
#ifndef WHICHEND_JUDGE_PREDICT_TOLD_H
#define WHICHEND_JUDGE_PREDICT_TOLD_H

#include "judge/predict.h"

#define SET(...)                                                                               \
    do {                                                                                       \
        static const double set[] = {__VA_ARGS__};                                             \
        predict_set(answer, (int)(sizeof set / sizeof *set), set);                             \
    } while (0)

/* Chances of a question's answers, given the play. */
typedef void told_predictor(const struct world *w, double *answer);

/* When and where it fails, how it began, what was before. */
told_predictor course_comes_and_goes, course_moves_with, course_case_state, course_place,
    course_warm, course_changed, course_power_cycle, course_began;

#endif
