/* What is seen of the play: selects, lines, rotation, supply, what a person saw. */
#include "judge/predict.h"

#include <assert.h>
#include <string.h>

/* Recording mix: what an instrument records wrongly, and what a person does (our own guesses;
 * handbook, diagnosis, 1.4). */
#define MIX_INSTRUMENT 0.0002
#define MIX_METER      0.02 /* a bench meter, typed in by hand */
#define MIX_PERSON     0.06

void predict_set(double *answer, int n, const double *p)
{
    for (int i = 0; i < n; i++)
        answer[i] = p[i];
}

void predict_yes(double *answer, double yes)
{
    answer[0] = 1 - yes;
    answer[1] = yes;
}

struct pattern predict_line(const struct world *w, enum sig s, enum tap tap)
{
    static const struct pattern off = {{0.992, 0.0025, 0.0005, 0.0045, 0.0005}};

    if (w->play.f->lead_open[s][tap])
        return off;
    return world_line(w, s, tap);
}

enum rx predict_rx(const struct world *w, enum sig s, enum tap tap)
{
    const struct play *p = &w->play;

    if (p->f->lead_open[s][tap])
        return RX_NEVER;
    return tap == TAP_MACHINE_END ? rx_machine_plug(p, s) : rx_machine_to_drive(p, s);
}

static void unselected(const struct world *w, const struct feature *f, double *answer)
{
    const struct state *s = w->play.f;
    double live = 0.008;

    if (s->lead_open[SIG_SEL][f->tap])
        live = 0.95;
    else if (w->play.in[SIG_SEL] == RX_STUCK && predict_rx(w, SIG_SEL, f->tap) != RX_STUCK)
        live = 0.9;
    else if (s->shared || s->twist || s->join_a == SIG_SEL || s->join_b == SIG_SEL)
        live = 0.25;
    predict_yes(answer, live);
}

static void index_pulses(const struct world *w, const struct feature *f, double *answer)
{
    static const double good[] = {0.9905, 0.0005, 0.008, 0.001},
                        weak[] = {0.3, 0.6, 0.09, 0.01}, noisy[] = {0.45, 0.1, 0.44, 0.01},
                        holes[] = {0.05, 0.02, 0.03, 0.9}, gaps[] = {0.5, 0.4, 0.09, 0.01},
                        two_disks[] = {0.3, 0.3, 0.39, 0.01};
    const struct state *s = w->play.f;

    (void)f;
    if (s->medium == MEDIUM_HARD_SECTORED)
        predict_set(answer, 4, holes);
    else if (s->shared) /* each drive has its own pulses, at its own moments */
        predict_set(answer, 4, two_disks);
    else if (s->index_weak)
        predict_set(answer, 4, weak);
    else if (s->grounds || s->join_a == SIG_INDEX || s->join_b == SIG_INDEX)
        predict_set(answer, 4, noisy);
    else if (s->sags || s->contact)
        predict_set(answer, 4, gaps);
    else
        predict_set(answer, 4, good);
}

static void speed(const struct world *w, const struct feature *f, double *answer)
{
    static const double good[] = {0.9689,  0.03, 0.00015, 5e-5,  5e-5,
                                  0.00015, 5e-5, 5e-5,    0.0006},
                        fast[] = {0.02, 0.18, 0.42, 0.22, 0.14, 0.002, 0.002, 0.002, 0.02},
                        slow[] = {0.02, 0.18, 0.002, 0.002, 0.002, 0.42, 0.22, 0.14, 0.02},
                        unsteady[] = {0.25, 0.1, 0.05, 0.015, 0.01, 0.05, 0.015, 0.01, 0.5},
                        other[] = {0.5, 0.03, 0.01, 0.008, 0.21, 0.01, 0.008, 0.21, 0.015},
                        sag[] = {0.5, 0.1, 0.03, 0.02, 0.01, 0.07, 0.04, 0.03, 0.2},
                        two_disks[] = {0.4, 0.05, 0.04, 0.04, 0.1, 0.03, 0.02, 0.02, 0.3};
    const struct state *s = w->play.f;

    (void)f;
    if (s->spin == SPIN_FAST || s->spin == SPIN_SLOW)
        predict_set(answer, SPEED_COUNT, s->spin == SPIN_FAST ? fast : slow);
    else if (s->spin == SPIN_UNSTEADY)
        predict_set(answer, SPEED_COUNT, unsteady);
    else if (s->profile)
        predict_set(answer, SPEED_COUNT, other);
    else if (s->shared)
        predict_set(answer, SPEED_COUNT, two_disks);
    else
        predict_set(answer, SPEED_COUNT, s->sags || s->index_weak ? sag : good);
}

/* Two outputs touch, and one of them is on whenever the drive is selected: then both are. */
static bool join_goes_with_select(const struct world *w)
{
    const struct state *s = w->play.f;

    return s->join_a >= SIG_FROM_DRIVE && s->join_b >= SIG_FROM_DRIVE &&
           (touch_of(&w->play, (enum sig)s->join_a) == TOUCH_ON ||
            touch_of(&w->play, (enum sig)s->join_b) == TOUCH_ON);
}

static void pair(const struct world *w, const struct feature *f, double *answer)
{
    const struct state *s = w->play.f;
    bool touching = s->join_a >= 0;
    bool hidden = join_goes_with_select(w);

    if (f->sig == SIG_COUNT)
        predict_yes(answer, hidden ? 0.15 : touching ? 0.8 : 0.01);
    else if (touching && ((s->join_a == (int)f->sig && s->join_b == f->sig2) ||
                          (s->join_b == (int)f->sig && s->join_a == f->sig2)))
        predict_yes(answer, hidden ? 0.15 : 0.8);
    else
        predict_yes(answer, s->plug == PLUG_PAIR || s->twist ? 0.05 : 0.004);
}

static void rail(const struct world *w, const struct feature *f, double *answer)
{
    static const double good[] = {0.98, 0.018, 0.002}, gone[] = {0.02, 0.03, 0.95},
                        dips[] = {0.15, 0.84, 0.01};
    const struct state *s = w->play.f;

    if ((f->sig2 == RAIL_V5 && s->no_5v) || (f->sig2 == RAIL_V12 && s->no_12v))
        predict_set(answer, 3, gone);
    else
        predict_set(answer, 3, s->sags ? dips : good);
}

static void crosstalk(const struct world *w, const struct feature *f, double *answer)
{
    const struct state *s = w->play.f;

    (void)f;
    predict_yes(answer, s->grounds              ? 0.75
                        : s->sags || s->contact ? 0.3
                        : s->terminator_missing ? 0.5
                        : s->terminator_double  ? 0.2
                                                : 0.015);
}

static void line(const struct world *w, const struct feature *f, double *answer)
{
    struct pattern p = predict_line(w, f->sig, f->tap);

    predict_set(answer, STATE_COUNT, p.p);
}

static void sampling(const struct world *w, const struct feature *f, double *answer)
{
    (void)f;
    predict_yes(answer, w->play.f->tap_slow ? 0.97 : 0.02);
}

/* A lead that makes no contact shows in the loop; other faults of a tap do not. */
static void selfcheck(const struct world *w, const struct feature *f, double *answer)
{
    const struct state *s = w->play.f;
    bool open = false;

    (void)f;
    for (int i = 0; i < SIG_COUNT; i++)
        for (int k = 0; k < 3; k++)
            open = open || s->lead_open[i][k];
    predict_yes(answer, open ? 0.9 : 0.02);
}

static void taps(const struct world *w, const struct feature *f, double *answer)
{
    const struct state *s = w->play.f;

    (void)f;
    predict_yes(answer, s->grounds || s->sags ? 0.3 : s->pull_up || s->contact ? 0.1 : 0.015);
}

typedef void predictor(const struct world *w, const struct feature *f, double *answer);

static predictor *const predictors[FEATURE_KINDS] = {
    [FEATURE_LINE] = line,
    [FEATURE_UNSELECTED] = unselected,
    [FEATURE_INDEX] = index_pulses,
    [FEATURE_SPEED] = speed,
    [FEATURE_DIRECTION] = predict_direction,
    [FEATURE_RESTORE] = predict_restore,
    [FEATURE_RELEASE] = predict_release,
    [FEATURE_STEP_RATE] = predict_step_rate,
    [FEATURE_OVERRUN] = predict_overrun,
    [FEATURE_PLACE] = predict_place,
    [FEATURE_QUALITY] = predict_quality,
    [FEATURE_FIELDS] = predict_fields,
    [FEATURE_CELL] = predict_cell,
    [FEATURE_RATE] = predict_rate,
    [FEATURE_SIDE_ID] = predict_side_id,
    [FEATURE_SIDE_1] = predict_side_1,
    [FEATURE_REPEAT] = predict_repeat,
    [FEATURE_GATE] = predict_gate,
    [FEATURE_GATE_DATA] = predict_gate_data,
    [FEATURE_READ_BACK] = predict_read_back,
    [FEATURE_MACHINE] = predict_machine,
    [FEATURE_OUTCOME] = predict_outcome,
    [FEATURE_TRIES] = predict_tries,
    [FEATURE_PAIR] = pair,
    [FEATURE_CROSSTALK] = crosstalk,
    [FEATURE_RAIL] = rail,
    [FEATURE_SAMPLING] = sampling,
    [FEATURE_TAPS] = taps,
    [FEATURE_SELFCHECK] = selfcheck,
    [FEATURE_TOLD] = predict_told,
};

/* What two lines that touch do to their own mechanisms depends on drivers and moments: a fifth
 * of it is left open. */
static bool touches_group(const struct state *s, enum group g)
{
    return s->join_a >= 0 &&
           (group_of_sig((enum sig)s->join_a) == g || group_of_sig((enum sig)s->join_b) == g);
}

static double mix_of(const struct feature *f)
{
    return f->kind == FEATURE_TOLD ? MIX_PERSON : f->run < 0 ? MIX_METER : MIX_INSTRUMENT;
}

/* How much of an answer its predictor leaves open, spread over all answers alike. */
static double left_open(const struct world *w, const struct feature *f)
{
    bool vague = f->kind != FEATURE_PAIR && touches_group(w->play.f, f->group) &&
                 !join_goes_with_select(w);
    double eps = mix_of(f);

    return vague ? 1 - (1 - eps) * 0.8 : eps;
}

void world_predict(const struct world *w, const struct feature *f, double *answer)
{
    double open = left_open(w, f), sum = 0;

    memset(answer, 0, sizeof *answer * FEATURE_ANSWERS_MAX);
    assert(predictors[f->kind]);
    predictors[f->kind](w, f, answer);
    for (int i = 0; i < f->answers; i++)
        sum += answer[i];
    for (int i = 0; i < f->answers; i++)
        answer[i] = (1 - open) * answer[i] / sum + open / f->answers;
}

double world_chance(const struct world *w, const struct feature *f)
{
    double answer[FEATURE_ANSWERS_MAX] = {0}, open = left_open(w, f), sum = 0, seen = 0;

    assert(predictors[f->kind]);
    predictors[f->kind](w, f, answer);
    for (int i = 0; i < f->answers; i++) {
        sum += answer[i];
        seen += f->soft[i] * answer[i];
    }
    return (1 - open) * seen / sum + open / f->answers;
}
