/* When and where it fails, how it began, and what was before: of a person's answers those that
 * follow from what makes a fault come and go. Shares without a count are our own guesses. */
#include "judge/predict_told.h"

static bool at_end(const struct world *w, enum end e)
{
    return (w->play.f->of[0] && w->play.f->of[0]->end == e) ||
           (w->play.f->of[1] && w->play.f->of[1]->end == e);
}

void course_comes_and_goes(const struct world *w, double *answer)
{
    unsigned v = predict_varies(w);

    if (v & (VARIES_TOUCH | VARIES_HEAT | VARIES_PLACE))
        SET(0.25, 0.68, 0.07);
    else if (w->play.f->medium == MEDIUM_WORN || w->play.f->head_weak)
        SET(0.45, 0.3, 0.25);
    else if (w->play.read_ok > 0.15 && w->play.read_ok < 0.85)
        SET(0.45, 0.47, 0.08);
    else
        SET(0.86, 0.09, 0.05);
}

void course_moves_with(const struct world *w, double *answer)
{
    static const unsigned bit[] = {0, VARIES_PLUGS, VARIES_CHIPS, VARIES_DRIVE, VARIES_PANEL};
    unsigned v = predict_varies(w);
    int n = 0;

    for (int i = 1; i < 5; i++)
        n += (v & bit[i]) != 0;
    answer[0] = n ? 0.3 : 0.9;
    for (int i = 1; i < 5; i++)
        answer[i] = n ? (v & bit[i] ? 0.62 / n : 0.02) : 0.025;
}

/* open, closed, both */
void course_case_state(const struct world *w, double *answer)
{
    unsigned v = predict_varies(w);

    if (v & (VARIES_PLACE | VARIES_PANEL))
        SET(0.03, 0.67, 0.3);
    else if (v & VARIES_HEAT)
        SET(0.03, 0.4, 0.57);
    else
        SET(0.02, 0.04, 0.94);
}

void course_place(const struct world *w, double *answer)
{
    predict_yes(answer, predict_varies(w) & (VARIES_PLACE | VARIES_PANEL) ? 0.8 : 0.06);
}

void course_warm(const struct world *w, double *answer)
{
    if (predict_varies(w) & VARIES_HEAT)
        SET(0.08, 0.67, 0.25);
    else
        SET(0.04, 0.06, 0.9);
}

/* nothing, cable, drive, machine, chip, disk, power, settings, moved */
void course_changed(const struct world *w, double *answer)
{
    static const double usual[] = {0.45, 0.07, 0.09, 0.06, 0.06, 0.08, 0.05, 0.05, 0.09};
    static const struct {
        enum end end;
        double extra[9];
    } by_end[] = {{END_CABLE, {0, 0.6, 0.1, 0.1, 0, 0, 0, 0, 0.2}},
                  {END_DRIVE, {0, 0, 0.7, 0, 0, 0.1, 0, 0, 0.2}},
                  {END_CONTROLLER, {0, 0, 0, 0.4, 0.5, 0, 0, 0, 0.1}},
                  {END_DISK, {0, 0, 0.1, 0, 0, 0.9, 0, 0, 0}},
                  {END_POWER, {0, 0, 0.1, 0.1, 0, 0, 0.7, 0, 0.1}},
                  {END_SETUP, {0, 0.1, 0.25, 0.1, 0, 0.1, 0, 0.3, 0.15}}};

    predict_set(answer, 9, usual);
    for (size_t i = 0; i < sizeof by_end / sizeof *by_end; i++)
        for (int k = 0; k < 9 && at_end(w, by_end[i].end); k++)
            answer[k] = 0.65 * answer[k] + 0.35 * by_end[i].extra[k];
}

/* no change, cures, worse */
void course_power_cycle(const struct world *w, double *answer)
{
    unsigned v = predict_varies(w);

    if (v & VARIES_HEAT)
        SET(0.3, 0.67, 0.03);
    else if (v & VARIES_TOUCH || w->play.f->sags)
        SET(0.55, 0.35, 0.1);
    else
        SET(0.92, 0.06, 0.02);
}

/* suddenly, slowly: what wears, dries out or gets dirty grows */
void course_began(const struct world *w, double *answer)
{
    const struct state *s = w->play.f;

    if (s->medium == MEDIUM_WORN || s->head_weak || s->stepper_slips || s->hub || s->sags ||
        s->index_weak || s->spin == SPIN_SLOW || s->spin == SPIN_UNSTEADY)
        SET(0.4, 0.6);
    else if (predict_varies(w))
        SET(0.6, 0.4);
    else
        SET(0.88, 0.12);
}
