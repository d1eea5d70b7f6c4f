/* What is seen of the play: the read signal. */
#include "judge/predict.h"

/* Shares of clean, poor and noise among what pulses there are at a tap. */
static void signal_at(const struct world *w, enum tap tap, double *clean, double *poor,
                      double *noise)
{
    const struct play *p = &w->play;
    double sum = p->clean + p->poor + p->noise;

    *clean = sum > 0 ? p->clean / sum : 0.4;
    *poor = sum > 0 ? p->poor / sum : 0.3;
    *noise = sum > 0 ? p->noise / sum : 0.3;
    if (tap == TAP_DRIVE_END && p->f->conductor[SIG_RDATA] == MODE_DEAD && !p->s->tap_pull_up) {
        /* nothing pulls it up on this side of the break */
        *noise += *clean * 0.6;
        *clean *= 0.4;
    }
    if (p->f->pull_up && !p->s->tap_pull_up) { /* one wire: it rises slowly at both ends */
        *poor += *clean * 0.35;
        *noise += *clean * 0.25;
        *clean *= 0.4;
    }
}

void predict_quality(const struct world *w, const struct feature *f, double *answer)
{
    static const double c[] = {0.985, 0.012, 0.002, 0.001}, p[] = {0.17, 0.78, 0.04, 0.01},
                        n[] = {0.01, 0.05, 0.93, 0.01}, other[] = {0.7, 0.1, 0.13, 0.07};
    double clean, poor, noise;

    if (w->play.f->medium == MEDIUM_DENSITY) {
        predict_set(answer, 4, other);
        return;
    }
    signal_at(w, f->tap, &clean, &poor, &noise);
    for (int i = 0; i < 4; i++)
        answer[i] = clean * c[i] + poor * p[i] + noise * n[i];
}

void predict_fields(const struct world *w, const struct feature *f, double *answer)
{
    static const double c[] = {0.955, 0.042, 0.002, 0.001}, p[] = {0.1, 0.4, 0.35, 0.15},
                        n[] = {0.005, 0.005, 0.02, 0.97}, worn[] = {0.12, 0.73, 0.12, 0.03},
                        other[] = {0.62, 0.1, 0.08, 0.2};
    const struct state *s = w->play.f;
    double clean, poor, noise;

    if (s->medium == MEDIUM_DENSITY || s->medium == MEDIUM_WORN) {
        predict_set(answer, 4, s->medium == MEDIUM_WORN ? worn : other);
        return;
    }
    signal_at(w, f->tap, &clean, &poor, &noise);
    for (int i = 0; i < 4; i++)
        answer[i] = clean * c[i] + poor * p[i] + noise * n[i];
}

void predict_cell(const struct world *w, const struct feature *f, double *answer)
{
    static const double good[] = {0.997, 0.0012, 0.0008, 0.001},
                        off[] = {0.35, 0.59, 0.05, 0.01}, wide[] = {0.44, 0.1, 0.44, 0.02},
                        unsteady[] = {0.7, 0.17, 0.03, 0.1}, drags[] = {0.35, 0.2, 0.1, 0.35};
    const struct state *s = w->play.f;

    (void)f;
    if (s->spin == SPIN_FAST || s->spin == SPIN_SLOW)
        predict_set(answer, 4, off);
    else if (s->profile || s->medium == MEDIUM_DENSITY)
        predict_set(answer, 4, wide);
    else if (s->hub)
        predict_set(answer, 4, drags);
    else
        predict_set(answer, 4, s->spin == SPIN_UNSTEADY || s->sags ? unsteady : good);
}

/* Which sides the drive truly reads against which sides the tap believes: 0, 1 or both. */
void predict_side_id(const struct world *w, const struct feature *f, double *answer)
{
    static const double agree[] = {0.99, 0.004, 0.004, 0.002},
                        zero[] = {0.05, 0.92, 0.01, 0.02}, one[] = {0.03, 0.01, 0.93, 0.03},
                        mixed[] = {0.2, 0.2, 0.3, 0.3};
    const struct play *p = &w->play;
    bool used = p->untold & UNTOLD_SIDE_1;
    enum rx truth = p->in[SIG_SIDE], tap = predict_rx(w, SIG_SIDE, f->tap);

    if (truth == RX_NOISY || tap == RX_NOISY)
        predict_set(answer, 4, mixed);
    else if (truth == tap || (!used && truth != RX_STUCK && tap != RX_STUCK))
        predict_set(answer, 4, agree);
    else if (truth == RX_STUCK)
        predict_set(answer, 4, one);
    else if (truth == RX_NEVER)
        predict_set(answer, 4, zero);
    else
        predict_set(answer, 4, tap == RX_NEVER ? one : zero);
}

void predict_side_1(const struct world *w, const struct feature *f, double *answer)
{
    static const double alike[] = {0.968, 0.007, 0.025}, dead[] = {0.05, 0.75, 0.2},
                        worse[] = {0.7, 0.05, 0.25};
    const struct state *s = w->play.f;

    (void)f;
    predict_set(answer, 3, s->head_side1 ? dead : s->head_weak ? worse : alike);
}

void predict_repeat(const struct world *w, const struct feature *f, double *answer)
{
    const struct state *s = w->play.f;

    (void)f;
    predict_yes(answer, s->medium == MEDIUM_WORN ? 0.12 : w->play.poor > 0.2 ? 0.75 : 0.5);
}

void predict_rate(const struct world *w, const struct feature *f, double *answer)
{
    static const double own[] = {0.996, 0.001, 0.003}, other[] = {0.26, 0.72, 0.02},
                        misread[] = {0.83, 0.15, 0.02}, drags[] = {0.75, 0.03, 0.22},
                        turns[] = {0.83, 0.02, 0.15};
    const struct state *s = w->play.f;

    (void)f;
    predict_set(answer, 3,
                s->medium == MEDIUM_DENSITY ? other
                : s->profile                ? misread
                : s->hub                    ? drags
                : s->spin != SPIN_OK        ? turns
                                            : own);
}
