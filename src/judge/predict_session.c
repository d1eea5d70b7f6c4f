/* What is seen of the play: steps, track 0, the head's place, writing, and what the machine
 * does. */
#include "judge/predict.h"

static double visible(struct pattern p)
{
    return p.p[STATE_TOGGLES] + p.p[STATE_ALWAYS] + 0.5 * p.p[STATE_ERRATIC];
}

void predict_direction(const struct world *w, const struct feature *f, double *answer)
{
    static const double out[] = {0.997, 0.0005, 0.0025}, in[] = {0.0005, 0.997, 0.0025},
                        both[] = {0.0005, 0.0005, 0.999}, mostly_in[] = {0.004, 0.5, 0.496},
                        noisy[] = {0.25, 0.25, 0.5}, none[] = {0.4, 0.3, 0.3};
    const struct play *p = &w->play;
    enum rx r = predict_rx(w, SIG_DIR, f->tap);

    if (!p->out_steps && !p->in_steps)
        predict_set(answer, 3, none);
    else if (r == RX_NEVER)
        predict_set(answer, 3, out);
    else if (r == RX_STUCK)
        predict_set(answer, 3, in);
    else if (r == RX_NOISY)
        predict_set(answer, 3, noisy);
    else if (p->out_steps && p->in_steps)
        predict_set(answer, 3, both);
    else
        predict_set(answer, 3, p->out_steps ? out : mostly_in);
}

void predict_restore(const struct world *w, const struct feature *f, double *answer)
{
    static const double none[] = {0.985, 0.009, 0.001, 0.005},
                        found[] = {0.002, 0.987, 0.001, 0.01},
                        limit[] = {0.001, 0.002, 0.967, 0.03}, open[] = {0.3, 0.3, 0.2, 0.2},
                        lost[] = {0.05, 0.25, 0.2, 0.5};
    const struct play *p = &w->play;
    bool steps = predict_rx(w, SIG_STEP, f->tap) == RX_OK;
    enum rx dir = predict_rx(w, SIG_DIR, f->tap);
    double zero =
        p->zero_seen || p->f->track0_stuck ? visible(predict_line(w, SIG_TRK00, f->tap)) : 0.01;

    if (predict_rx(w, SIG_STEP, f->tap) == RX_NOISY || dir == RX_NOISY) {
        predict_set(answer, 4, open);
        return;
    }
    if (!steps || !p->out_steps || dir == RX_STUCK) {
        predict_set(answer, 4, none);
        return;
    }
    if (p->f->contact) { /* steps that do not all leave the machine */
        predict_set(answer, 4, lost);
        return;
    }
    for (int i = 0; i < 4; i++)
        answer[i] = zero * found[i] + (1 - zero) * (p->out_steps == 2 ? limit : open)[i];
}

void predict_release(const struct world *w, const struct feature *f, double *answer)
{
    const struct play *p = &w->play;
    double always = predict_line(w, SIG_TRK00, f->tap).p[STATE_ALWAYS];
    double stays = p->in_steps && !p->moved_in ? 0.96 : p->f->stepper_slips ? 0.15 : 0.001;

    if (p->f->track0_stuck || rx_drive_plug(p, SIG_TRK00) == RX_STUCK)
        stays = 0.96;
    predict_yes(answer, stays > always * 0.9 ? stays : always * 0.9);
}

/* Many a machine steps a little faster than the maker of its drive allows, and works. */
void predict_step_rate(const struct world *w, const struct feature *f, double *answer)
{
    const struct state *s = w->play.f;

    (void)f;
    predict_yes(answer, s->outrun ? 0.93 : s->profile ? 0.2 : 0.04);
}

/* Outward steps, as this tap sees DIR, while TRK00 is active here. */
void predict_overrun(const struct world *w, const struct feature *f, double *answer)
{
    const struct play *p = &w->play;
    bool turned = predict_rx(w, SIG_DIR, f->tap) == RX_NEVER && p->in_steps && !p->moved_in;

    predict_yes(answer, p->out_steps == 2 || turned ? 0.93 : 0.004);
}

static int place_expected(const struct world *w, enum tap tap)
{
    const struct play *p = &w->play;
    enum rx dir = predict_rx(w, SIG_DIR, tap);
    bool steps = predict_rx(w, SIG_STEP, tap) == RX_OK;
    bool in_seen = p->in_steps && steps && dir != RX_NEVER;
    bool zero_known = p->zero_seen && visible(predict_line(w, SIG_TRK00, tap)) > 0.5;

    if (p->f->medium == MEDIUM_TRACKS)
        return PLACE_HALF;
    if (p->f->stepper_slips)
        return PLACE_OFF;
    if (!zero_known && p->out_steps == 2)
        return p->at_zero && !p->moved_in ? PLACE_ZERO_NO_TRK00 : PLACE_NOT_ZERO_AFTER_OUT;
    if (!p->at_zero)
        return p->f->stepper_stuck ? PLACE_STUCK : PLACE_OFF;
    if (!p->in_steps)
        return PLACE_AGREE;
    if (p->moved_in)
        return in_seen ? PLACE_AGREE : PLACE_OFF;
    return in_seen ? PLACE_ZERO_AFTER_IN : PLACE_AGREE;
}

void predict_place(const struct world *w, const struct feature *f, double *answer)
{
    double sure = w->play.f->stepper_slips ? 0.6 : 0.993;

    for (int i = 0; i < PLACE_COUNT; i++)
        answer[i] = (1 - sure) / PLACE_COUNT;
    if (w->play.f->stepper_slips)
        answer[PLACE_AGREE] += 0.25;
    if (w->play.f->grounds || w->play.f->terminator_missing)
        answer[PLACE_OFF] += 0.5;
    answer[place_expected(w, f->tap)] += sure;
}

void predict_gate(const struct world *w, const struct feature *f, double *answer)
{
    static const double quiet[] = {0.998, 0.001, 0.001}, writes[] = {0.0005, 0.985, 0.0145},
                        unasked[] = {0.004, 0.006, 0.99}, noisy[] = {0.25, 0.25, 0.5};
    const struct play *p = &w->play;
    enum rx r = predict_rx(w, SIG_WGATE, f->tap);
    double asks = r == RX_OK && (p->untold & UNTOLD_WRITES) ? 1 : 0;

    if (r == RX_STUCK)
        predict_set(answer, 3, unasked);
    else if (r == RX_NOISY)
        predict_set(answer, 3, noisy);
    else
        for (int i = 0; i < 3; i++)
            answer[i] = asks * writes[i] + (1 - asks) * quiet[i];
}

void predict_gate_data(const struct world *w, const struct feature *f, double *answer)
{
    const struct play *p = &w->play;
    enum rx r = predict_rx(w, SIG_WDATA, f->tap);
    bool written = p->writes && predict_rx(w, SIG_WGATE, f->tap) == RX_OK;

    predict_yes(answer, r == RX_NEVER || r == RX_STUCK ? 0.97 : written ? 0.001 : 0.85);
}

void predict_read_back(const struct world *w, const struct feature *f, double *answer)
{
    const struct play *p = &w->play;
    double bad = 0.04;

    (void)f;
    if (p->in[SIG_WDATA] != RX_OK)
        bad = 0.85;
    else if (p->f->write_dead)
        bad = 0.35;
    else if (p->f->write_weak)
        bad = 0.5;
    else if (p->poor > 0.3 || p->f->terminator_missing)
        bad = 0.45;
    predict_yes(answer, bad);
}

/* Chance that what was asked succeeds. */
static double success(const struct play *p)
{
    const unsigned reading =
        ASKED_READ | ASKED_WRITE | ASKED_FORMAT | ASKED_VERIFY | ASKED_BOOT;

    if (!p->s->asked || (p->s->asked & reading))
        return p->read_ok;
    if (p->s->asked & (ASKED_SEEK | ASKED_RESTORE))
        return p->restored ? 0.95 : 0.1;
    if (p->s->asked & ASKED_MOTOR)
        return p->turning ? 0.95 : 0.1;
    return 0.8;
}

static bool is_loose(const struct state *s)
{
    return s->contact || s->sags || s->hub || s->grounds;
}

/* A fault that comes and goes: loose by its effect, or by what the catalogue says of it. */
static double comes_and_goes(const struct world *w)
{
    if (is_loose(w->play.f))
        return 0.7;
    return predict_varies(w) ? 0.5 : 0;
}

/* It never fails, now and then, mostly. A chance of success that is neither high nor low is one
 * of each try. */
void predict_tries(const struct world *w, const struct feature *f, double *answer)
{
    static const double ok[] = {0.96, 0.035, 0.005}, bad[] = {0.005, 0.075, 0.92},
                        now_and_then[] = {0.13, 0.72, 0.15};
    double yes = success(&w->play), some = 2 * yes * (1 - yes);

    (void)f;
    some = some + (1 - some) * comes_and_goes(w);
    for (int i = 0; i < 3; i++)
        answer[i] = some * now_and_then[i] + (1 - some) * (yes * ok[i] + (1 - yes) * bad[i]);
}

void predict_outcome(const struct world *w, const struct feature *f, double *answer)
{
    static const double ok[] = {0.975, 0.01, 0.003, 0.004, 0.008},
                        bad[] = {0.02, 0.76, 0.14, 0, 0.08},
                        stuck[] = {0.02, 0.37, 0.58, 0.01, 0.02},
                        now_and_then[] = {0.3, 0.3, 0.05, 0.05, 0.3};
    const struct play *p = &w->play;
    double yes = success(p), hang = (1 - yes) * p->hang;

    (void)f;
    for (int i = 0; i < 5; i++) {
        answer[i] = yes * ok[i] + hang * stuck[i] + (1 - yes - hang) * (1 - p->wrong) * bad[i];
        if (i == 3)
            answer[i] += (1 - yes - hang) * p->wrong;
        if (is_loose(p->f))
            answer[i] = 0.6 * answer[i] + 0.4 * now_and_then[i];
    }
}

void predict_machine(const struct world *w, const struct feature *f, double *answer)
{
    static const double ok[] = {0.6, 0.03, 0.36, 0.01}, bad[] = {0.3, 0.35, 0.33, 0.02},
                        limit[] = {0.08, 0.86, 0.05, 0.01}, waits[] = {0.12, 0.08, 0.79, 0.01},
                        silent[] = {0.02, 0.01, 0.02, 0.95};
    const struct play *p = &w->play;
    double yes = success(p), hang = (1 - yes) * p->hang;
    bool dead = p->f->machine || (p->f->plug == PLUG_UNPLUGGED && f->tap != TAP_MACHINE_END);
    bool seen = predict_rx(w, SIG_STEP, f->tap) == RX_OK;

    if (dead) {
        predict_set(answer, 4, silent);
        return;
    }
    for (int i = 0; i < 4; i++) {
        double failing = p->out_steps == 2 && seen ? limit[i] : bad[i];

        answer[i] = yes * ok[i] + hang * waits[i] + (1 - yes - hang) * failing;
    }
}
