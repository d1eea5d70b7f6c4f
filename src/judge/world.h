/* Private to src/judge: the play of one session under one hypothesis, and what is seen of it.
 */
#ifndef WHICHEND_JUDGE_WORLD_H
#define WHICHEND_JUDGE_WORLD_H

#include "judge/model.h"

/* How a signal arrives somewhere. */
enum rx { RX_OK, RX_NEVER, RX_STUCK, RX_NOISY };

/* What the parts do, before anybody looks. */
struct play {
    struct state own;      /* what is broken of what is in circuit */
    const struct state *f; /* points at the own of the play that was begun */
    const struct setting *s;
    unsigned untold;
    enum rx in[SIG_COUNT];       /* machine-to-drive, inside the drive */
    enum rx plug_out[SIG_COUNT]; /* drive's outputs at the drive's plug, while it means to be
                                    active */
    enum rx seen[SIG_COUNT];     /* drive's outputs inside the machine */
    bool alive;                  /* the drive's logic has power */
    double selected;             /* chance that the drive is selected when the machine asks */
    bool turning;
    double turns;   /* chance that the disk turns under the head */
    double index;   /* chance that the drive makes index pulses while selected */
    int out_steps;  /* 0 none, 1 few, 2 to the limit: as the machine makes them */
    bool refused;   /* the machine waits for READY before it steps */
    bool restored;  /* the machine believes to be at 0 */
    bool at_zero;   /* the head truly is, after the restore */
    bool zero_seen; /* the head was at 0 at some time while selected */
    bool in_steps;  /* the machine makes inward steps */
    bool moved_in;  /* the head truly follows them */
    bool lost;      /* the head is not where the machine believes */
    double clean, poor, noise, silent; /* read signal at the drive's plug: one of them is 1 */
    double signal;                     /* chance of that one */
    double read_ok;                    /* chance that the machine reads what it asks for */
    double hang;                       /* chance that it waits for ever */
    bool writes;
    double write_reached; /* chance that the machine comes to write at all */
    double write_choice;  /* chance of this choice of it */
    double wrong;         /* chance of wrong data rather than an error, of what fails */
    bool blind;           /* the machine sees no index pulses */
};

/* Chances of the states of a line (STATE_NEVER ...). */
struct pattern {
    double p[STATE_COUNT];
};
struct world {
    struct play play;
};

/* What does not depend on the choice of what nobody told: parts that an adapter stands in for
 * are whole, a disk that the case calls blank or absent is so. setting is borrowed; out must
 * outlive the plays begun from it. */
void world_begin(const struct state *state, const struct setting *setting, struct play *out);
/* Returns the chance of this choice: 0 where it cannot be, or differs in nothing from one that
 * is counted already. The choices of one state sum to 1.
 * out->play.signal is the chance of the choice's read signal, or 1 where no other read signal
 * needs a look either. */
double world_play(const struct play *begun, unsigned untold, struct world *out);

/* Chance of each answer of a feature, each at least the recording mix's share, so that nothing
 * is ever impossible. Not for an intervention (see infer_rows).
 */
void world_predict(const struct world *w, const struct feature *f, double *answer);
/* Chance of what was seen: its answers as soft says. */
double world_chance(const struct world *w, const struct feature *f);

/* Parts of the play. */
enum rx rx_machine_plug(const struct play *p, enum sig s); /* at the machine's own plug */
enum rx rx_machine_to_drive(const struct play *p, enum sig s);
enum rx rx_drive_plug(const struct play *p, enum sig s);
enum rx rx_in_machine(const struct play *p, enum sig s);

bool play_row_at(const struct play *p, enum tap at); /* is the plug there off by a row? */
bool play_joined(const struct play *p, enum sig a, enum sig b); /* do these two lines touch? */
void play_head(struct play *p);
void play_read(struct play *p);
void play_machine(struct play *p);
/* A line at a plug; a drive's output: while it is selected. */
struct pattern world_line(const struct world *w, enum sig s, enum tap tap);

/* Partner activity of a signal that touches another. */
enum touch { TOUCH_IDLE, TOUCH_ON, TOUCH_PULSES, TOUCH_SOMETIMES };
enum touch touch_of(const struct play *p, enum sig partner);

#endif
