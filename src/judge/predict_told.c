/* What a person would answer, given the play. Shares without a count are our own guesses. */
#include "judge/predict_told.h"

#include <assert.h>
#include <string.h>

/* How often a look shows the sign that a part has, and how often its history was the cause. */
#define SIGN_SEEN    0.75
#define HISTORY_SEEN 0.45

static const struct traits *trait(const struct world *w, int i)
{
    return w->play.f->of[i];
}

unsigned predict_varies(const struct world *w)
{
    unsigned v = 0;

    for (int i = 0; i < 2; i++)
        v |= trait(w, i) ? trait(w, i)->varies : 0;
    return v;
}

static void host_off(const struct world *w, double *answer)
{
    const struct state *s = w->play.f;
    bool tied = s->conductor[SIG_SEL] == MODE_STUCK || s->drive_in[SIG_SEL] == MODE_STUCK;

    predict_yes(answer, s->plug == PLUG_REVERSED ? 0.9
                        : s->plug == PLUG_ROW    ? 0.75
                        : tied                   ? 0.7
                                                 : 0.015);
}

static void lamp(const struct world *w, double *answer)
{
    enum rx sel = w->play.in[SIG_SEL];

    if (!w->play.alive || sel == RX_NEVER || w->play.f->strap)
        SET(0.94, 0.05, 0.01);
    else if (sel == RX_STUCK)
        SET(0.02, 0.08, 0.9);
    else
        SET(0.03, 0.95, 0.02);
}

static void spindle(const struct world *w, double *answer)
{
    const struct state *s = w->play.f;

    if (w->play.turns < 0.5)
        SET(0.95, 0.03, 0.01, 0.01);
    else if (w->play.in[SIG_MOT] == RX_STUCK && w->play.s->has_motor)
        SET(0.02, 0.25, 0.02, 0.71);
    else if (s->spin == SPIN_SLOW || s->sags)
        SET(0.05, 0.54, 0.4, 0.01);
    else
        SET(0.02, 0.94, 0.03, 0.01);
}

static void head(const struct world *w, double *answer)
{
    const struct play *p = &w->play;

    if (p->out_steps == 2 && p->at_zero)
        SET(0.05, 0.35, 0.6);
    else if ((p->out_steps == 1 && p->at_zero) || p->moved_in)
        SET(0.06, 0.9, 0.04);
    else
        SET(0.93, 0.06, 0.01);
}

static void noise(const struct world *w, double *answer)
{
    const struct play *p = &w->play;

    if (p->out_steps == 2 && p->at_zero)
        SET(0.4, 0.5, 0.04, 0.04, 0.02);
    else if (p->f->stepper_slips || p->f->stepper_stuck)
        SET(0.5, 0.1, 0.15, 0.22, 0.03);
    else
        SET(0.9, 0.02, 0.03, 0.03, 0.02);
}

static void carriage(const struct world *w, double *answer)
{
    if (w->play.f->stepper_stuck)
        SET(0.5, 0.25, 0.22, 0.03);
    else if (w->play.f->stepper_slips)
        SET(0.65, 0.3, 0.03, 0.02);
    else
        SET(0.93, 0.05, 0.01, 0.01);
}

static void disk_looks(const struct world *w, double *answer)
{
    if (w->play.f->medium == MEDIUM_WORN)
        SET(0.6, 0.22, 0.12, 0.06);
    else if (w->play.f->medium == MEDIUM_DENSITY)
        SET(0.4, 0.02, 0.02, 0.56);
    else
        SET(0.93, 0.02, 0.02, 0.03);
}

static void life(const struct world *w, double *answer)
{
    if (w->play.f->no_5v)
        SET(0.15, 0.5, 0.25, 0.1);
    else if (!w->play.alive)
        SET(0.3, 0.67, 0.01, 0.02);
    else if (w->play.f->plug == PLUG_UNPLUGGED || w->play.selected < 0.2)
        SET(0.6, 0.38, 0.01, 0.01);
    else
        SET(0.96, 0.025, 0.005, 0.01);
}

static void otherwise(const struct world *w, double *answer)
{
    if (w->play.f->sags)
        SET(0.6, 0.35, 0.05);
    else if (w->play.f->contact || w->play.f->machine || w->play.f->buffer)
        SET(0.65, 0.3, 0.05);
    else
        SET(0.96, 0.03, 0.01);
}

static void index_seen(const struct world *w, double *answer)
{
    double pulses = w->play.index, rough = w->play.f->index_weak || w->play.f->hub ? 0.5 : 0.03;

    answer[0] = 1 - pulses;
    answer[1] = pulses * (1 - rough);
    answer[2] = pulses * rough;
}

static void read_seen(const struct world *w, double *answer)
{
    const struct play *p = &w->play;

    predict_yes(answer,
                p->plug_out[SIG_RDATA] == RX_NEVER ? 0.03 : p->selected * (1 - p->silent));
}

/* right, slow, fast, unsteady, wrong */
static void speed(const struct world *w, double *answer)
{
    const struct state *s = w->play.f;

    if (s->spin == SPIN_FAST)
        SET(0.08, 0.02, 0.62, 0.03, 0.25);
    else if (s->spin == SPIN_SLOW || s->sags)
        SET(0.14, 0.53, 0.02, 0.08, 0.23);
    else if (s->spin == SPIN_UNSTEADY || s->hub || s->index_weak)
        SET(0.25, 0.08, 0.04, 0.48, 0.15);
    else
        SET(0.92, 0.02, 0.02, 0.025, 0.015);
}

static void strobe(const struct world *w, double *answer)
{
    if (w->play.f->spin == SPIN_FAST)
        SET(0.1, 0.87, 0.03);
    else if (w->play.f->spin == SPIN_SLOW)
        SET(0.1, 0.03, 0.87);
    else if (w->play.f->spin == SPIN_UNSTEADY)
        SET(0.4, 0.3, 0.3);
    else
        SET(0.94, 0.03, 0.03);
}

static bool write_side(const struct play *p)
{
    return p->f->write_dead || p->in[SIG_WGATE] == RX_NEVER || p->in[SIG_WDATA] != RX_OK ||
           p->seen[SIG_WPROT] == RX_STUCK;
}

/* everything, some reads, write, format, reads */
static void fails_on(const struct world *w, double *answer)
{
    const struct play *p = &w->play;
    double ok = p->writes ? 0.5 : p->read_ok;

    if (p->f->write_weak)
        SET(0.05, 0.15, 0.25, 0.54, 0.01);
    else if (write_side(p))
        SET(0.08, 0.07, 0.64, 0.2, 0.01);
    else if (p->seen[SIG_RDATA] != RX_OK || p->f->separator)
        SET(0.6, 0.08, 0.01, 0.03, 0.28);
    else
        for (int i = 0; i < 5; i++) {
            static const double bad[] = {0.68, 0.22, 0.02, 0.04, 0.04},
                                good[] = {0.1, 0.59, 0.1, 0.2, 0.01};

            answer[i] = ok * good[i] + (1 - ok) * bad[i];
        }
}

/* no drive, not ready, no disk, protected, not found, read error, seek error, disk full */
static void reported(const struct world *w, double *answer)
{
    const struct play *p = &w->play;

    if (p->seen[SIG_WPROT] == RX_STUCK)
        SET(0.02, 0.04, 0.02, 0.7, 0.07, 0.05, 0.02, 0.08);
    else if (p->selected < 0.3 || p->f->machine)
        SET(0.42, 0.32, 0.1, 0.01, 0.06, 0.04, 0.05, 0.005);
    else if (p->turns < 0.5 || p->blind || p->refused)
        SET(0.1, 0.46, 0.14, 0.01, 0.12, 0.1, 0.06, 0.01);
    else if (!p->restored || p->lost)
        SET(0.12, 0.12, 0.03, 0.01, 0.33, 0.14, 0.24, 0.01);
    else if (p->silent > 0.5 || p->noise > 0.5)
        SET(0.05, 0.1, 0.06, 0.01, 0.46, 0.3, 0.01, 0.01);
    else if (write_side(p))
        SET(0.02, 0.05, 0.02, 0.2, 0.2, 0.35, 0.02, 0.14);
    else
        SET(0.04, 0.08, 0.03, 0.01, 0.32, 0.48, 0.03, 0.01);
}

/* one, some, own, foreign, all */
static void disks_failing(const struct world *w, double *answer)
{
    const struct play *p = &w->play;
    enum medium m = p->f->medium;

    if (m == MEDIUM_WORN || m == MEDIUM_BLANK || m == MEDIUM_DENSITY || m == MEDIUM_TRACKS)
        SET(0.45, 0.4, 0.02, 0.08, 0.05);
    else if (p->f->write_dead || p->f->write_weak)
        SET(0.03, 0.25, 0.45, 0.02, 0.25);
    else if (p->poor > 0.5)
        SET(0.04, 0.42, 0.05, 0.12, 0.37);
    else if (p->read_ok < 0.3)
        SET(0.02, 0.1, 0.01, 0.04, 0.83);
    else
        SET(0.1, 0.4, 0.05, 0.1, 0.35);
}

static void own_elsewhere(const struct world *w, double *answer)
{
    const struct state *s = w->play.f;

    predict_yes(answer, s->write_dead || s->write_weak || w->play.in[SIG_WDATA] != RX_OK ? 0.8
                        : s->spin == SPIN_FAST || s->spin == SPIN_SLOW                   ? 0.4
                        : s->stepper_slips || s->head_weak                               ? 0.3
                                                           : 0.08);
}

static void harmed(const struct world *w, double *answer)
{
    if (w->play.in[SIG_WGATE] == RX_STUCK)
        SET(0.2, 0.78, 0.02);
    else if (w->play.f->buffer)
        SET(0.7, 0.28, 0.02);
    else
        SET(0.96, 0.025, 0.015);
}

/* none, scattered, same bit, blocks */
static void bad_data(const struct world *w, double *answer)
{
    if (w->play.f->buffer)
        SET(0.03, 0.2, 0.42, 0.35);
    else if (w->play.poor > 0.5)
        SET(0.5, 0.46, 0.005, 0.035);
    else
        SET(0.8, 0.17, 0.005, 0.025);
}

static void sides(const struct world *w, double *answer)
{
    const struct play *p = &w->play;

    if (p->f->head_side1)
        SET(0.02, 0.03, 0.9, 0.05);
    else if (p->in[SIG_SIDE] == RX_NEVER)
        SET(0.03, 0.02, 0.7, 0.25);
    else if (p->in[SIG_SIDE] == RX_STUCK)
        SET(0.02, 0.6, 0.03, 0.35);
    else if (p->f->head_weak || p->f->head_dead)
        SET(0.03, 0.26, 0.26, 0.45);
    else
        SET(0.1, 0.03, 0.04, 0.83);
}

/* none, outer, inner, some, all */
static void cylinders(const struct world *w, double *answer)
{
    const struct state *s = w->play.f;

    if (s->medium == MEDIUM_DENSITY)
        SET(0.01, 0.02, 0.6, 0.12, 0.25);
    else if (s->stepper_slips)
        SET(0.02, 0.08, 0.35, 0.35, 0.2);
    else if (s->medium == MEDIUM_WORN)
        SET(0.03, 0.15, 0.15, 0.57, 0.1);
    else if (w->play.poor > 0.5)
        SET(0.02, 0.03, 0.4, 0.3, 0.25);
    else
        SET(0.06, 0.03, 0.08, 0.13, 0.7);
}

static void unplugged(const struct world *w, double *answer)
{
    const struct state *s = w->play.f;

    if (s->shared || s->terminator_double)
        SET(0.25, 0.72, 0.03);
    else if (s->strap || s->sags || s->twist || w->play.in[SIG_SEL] == RX_STUCK)
        SET(0.6, 0.37, 0.03);
    else
        SET(0.93, 0.05, 0.02);
}

static void together(const struct world *w, double *answer)
{
    const struct state *s = w->play.f;

    predict_yes(answer, s->shared                               ? 0.85
                        : s->strap                              ? 0.4
                        : s->twist                              ? 0.35
                        : s->machine_out[SIG_SEL] == MODE_STUCK ? 0.8
                        : w->play.in[SIG_SEL] == RX_STUCK       ? 0.6
                        : s->join_a == SIG_SEL                  ? 0.3
                                                                : 0.02);
}

/* worked, failed, sometimes: of another drive on the same cable */
static void other_drive(const struct world *w, double *answer)
{
    enum reach widest = REACH_DRIVE;

    for (int i = 0; i < 2; i++)
        if (trait(w, i) && trait(w, i)->reach != REACH_DRIVE)
            widest = trait(w, i)->reach;
    if (!trait(w, 0))
        SET(0.6, 0.25, 0.15);
    else if (widest == REACH_BUS)
        SET(0.1, 0.8, 0.1);
    else if (widest == REACH_UNIT)
        SET(0.7, 0.23, 0.07);
    else if (widest == REACH_DISK)
        SET(0.3, 0.6, 0.1);
    else
        SET(0.82, 0.12, 0.06);
}

/* none, this, other, both, built-in */
static void terminator(const struct world *w, double *answer)
{
    if (w->play.f->terminator_missing)
        SET(0.85, 0.06, 0.04, 0.01, 0.04);
    else if (w->play.f->terminator_double)
        SET(0.01, 0.06, 0.05, 0.85, 0.03);
    else
        SET(0.06, 0.4, 0.14, 0.04, 0.36);
}

static told_predictor *const predictors[TOLD_QUESTIONS] = {
    [TOLD_LAMP_HOST_OFF] = host_off,
    [TOLD_MOTOR_HOST_OFF] = host_off,
    [TOLD_LAMP] = lamp,
    [TOLD_SPINDLE] = spindle,
    [TOLD_HEAD] = head,
    [TOLD_NOISE] = noise,
    [TOLD_CARRIAGE] = carriage,
    [TOLD_DISK_LOOKS] = disk_looks,
    [TOLD_LIFE] = life,
    [TOLD_OTHERWISE] = otherwise,
    [TOLD_INDEX_SEEN] = index_seen,
    [TOLD_READ_SEEN] = read_seen,
    [TOLD_SPEED] = speed,
    [TOLD_STROBE] = strobe,
    [TOLD_FAILS_ON] = fails_on,
    [TOLD_REPORTED] = reported,
    [TOLD_DISKS_FAILING] = disks_failing,
    [TOLD_OWN_ELSEWHERE] = own_elsewhere,
    [TOLD_HARMED] = harmed,
    [TOLD_BAD_DATA] = bad_data,
    [TOLD_SIDES] = sides,
    [TOLD_CYLINDERS] = cylinders,
    [TOLD_UNPLUGGED] = unplugged,
    [TOLD_TOGETHER] = together,
    [TOLD_COMES_AND_GOES] = course_comes_and_goes,
    [TOLD_MOVES_WITH] = course_moves_with,
    [TOLD_POWER_CYCLE] = course_power_cycle,
    [TOLD_BEGAN] = course_began,
    [TOLD_CASE] = course_case_state,
    [TOLD_PLACE] = course_place,
    [TOLD_WARM] = course_warm,
    [TOLD_CHANGED] = course_changed,
    [TOLD_OTHER_DRIVE] = other_drive,
    [TOLD_TERMINATOR] = terminator,
    [TOLD_CABLE] = predict_told_cable,
};

/* A look at a part that is sound mostly finds it so. */
static void looks_sound(enum told_question q, double *answer)
{
    int n = told_row(q)->answers;
    double sound = q == TOLD_HEADS ? 0.75 : q == TOLD_EVENT ? 0.7 : 0.93;

    answer[0] = sound;
    for (int i = 1; i < n; i++)
        answer[i] = (1 - sound) / (n - 1);
}

static void add_signs(const struct world *w, enum told_question q, double *answer)
{
    unsigned signs = 0;
    int n = 0, answers = told_row(q)->answers;
    double seen = q == TOLD_EVENT || q == TOLD_CHANGED ? HISTORY_SEEN : SIGN_SEEN, sum = 0;

    for (int i = 0; i < 2; i++)
        signs |= trait(w, i) ? trait(w, i)->signs[q] : 0;
    for (int i = 0; i < answers; i++) {
        n += (signs & (1u << i)) != 0;
        sum += answer[i];
    }
    for (int i = 0; i < answers && n; i++)
        answer[i] = (1 - seen) * answer[i] / sum + (signs & (1u << i) ? seen / n : 0);
}

void predict_told(const struct world *w, const struct feature *f, double *answer)
{
    enum told_question q = (enum told_question)f->sig2;

    assert(q < TOLD_QUESTIONS);
    if (predictors[q])
        predictors[q](w, answer);
    else
        looks_sound(q, answer);
    add_signs(w, q, answer);
}
