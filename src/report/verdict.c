#include "report/verdict.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Bands in words: handbook, diagnosis, 1.13. */
static const struct {
    double from;
    const char *word;
} strength[] = {{13, "strong"}, {7, "clear"}, {WEIGHT_SOME, "some"}, {0, "hardly"}};

const char *verdict_strength(double decibans)
{
    size_t i = 0;
    while (strength[i].from > fabs(decibans) && strength[i].from > 0) {
        i++;
    }
    return strength[i].word;
}

void verdict_order(const double *share, size_t count, enum end order[END_COUNT])
{
    for (size_t i = 0; i < count; i++) {
        size_t k = i;
        while (k > 0 && share[order[k - 1]] < share[i]) {
            order[k] = order[k - 1];
            k--;
        }
        order[k] = (enum end)i;
    }
}

const char *verdict_end(enum end end, char out[VERDICT_END_MAX])
{
    bool plain =
        end == END_SETUP || end == END_TWO || end == END_UNEXPLAINED || end == END_NONE;
    (void)snprintf(out, VERDICT_END_MAX, "%s%s", plain ? "" : "the ", end_shown(end));
    return out;
}

static const char *fault_text(const struct verdict *v)
{
    for (size_t i = 0; i < v->fault_count; i++) {
        if (v->fault[0] != '\0' && strcmp(v->fault_list[i].fault, v->fault) == 0) {
            return v->fault_list[i].text;
        }
    }
    return "";
}

const char *verdict_answer(const struct verdict *v, char out[VERDICT_ANSWER_MAX])
{
    char end[VERDICT_END_MAX];
    const char *fault = fault_text(v);
    double percent = 100 * v->probability;
    if (v->grade == GRADE_UNDECIDED) {
        (void)snprintf(out, VERDICT_ANSWER_MAX, "undecided (most likely %s, %.1f %%)",
                       verdict_end(v->leading, end), percent);
    } else if (v->leading == END_NONE) {
        (void)snprintf(out, VERDICT_ANSWER_MAX,
                       "nothing that the captures exercised (%s, %.1f %%)",
                       grade_name(v->grade), percent);
    } else {
        (void)snprintf(out, VERDICT_ANSWER_MAX, "%s%s%s (%s, %.1f %%)",
                       verdict_end(v->leading, end), fault[0] != '\0' ? " - " : "", fault,
                       grade_name(v->grade), percent);
    }
    return out;
}
