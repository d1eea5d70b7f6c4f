#include "judge/predict.h"

static bool of_cable(const struct state *s)
{
    return (s->of[0] && s->of[0]->end == END_CABLE) || (s->of[1] && s->of[1]->end == END_CABLE);
}

void predict_told_cable(const struct world *w, double *answer)
{
    static const double faulty[] = {0.06, 0.84, 0.1};
    static const double sat_wrongly[] = {0.8, 0.15, 0.05};
    static const double otherwise[] = {0.35, 0.4, 0.25};
    static const double sound[] = {0.965, 0.02, 0.015};
    const struct state *s = w->play.f;
    bool wire = s->join_a >= 0 || s->twist;

    for (int i = 0; i < SIG_COUNT; i++)
        wire = wire || s->conductor[i] != MODE_OK;
    predict_set(answer, 3,
                wire                         ? faulty
                : s->plug != PLUG_OK         ? sat_wrongly
                : of_cable(s) && !s->grounds ? otherwise
                                             : sound);
}
