/* The speed of the last turns, live: while somebody turns a screw, and so while it drifts. */
#ifndef WHICHEND_SIGNAL_TURN_WINDOW_H
#define WHICHEND_SIGNAL_TURN_WINDOW_H

#include <stdbool.h>
#include <stdint.h>

#define TURN_WINDOW_MAX 30

struct turn_window {
    int64_t fall_ns[TURN_WINDOW_MAX + 1]; /* index pulses, the latest last; whole turns apart */
    unsigned falls;
    unsigned turns;      /* seen in all */
    unsigned odd;        /* intervals that were no turn: a pulse missing, or one too many */
    double rated_rpm[2]; /* a turn lasts from 0.6 to 1.6 times one of these */
};

struct turn_figures {
    unsigned turns;         /* that this is of */
    double rpm;             /* mean */
    double uncertainty_rpm; /* of the mean, at 95 %; the trend taken out */
    double trend_rpm_s, trend_uncertainty_rpm_s;
    bool steady; /* the trend is within its uncertainty */
};

/* low_rpm 0: one speed. */
void turn_window_begin(struct turn_window *w, double rated_rpm, double low_rpm);
/* The next index pulse; true where it ends a turn. One that comes far too early is passed over;
 * where one is missing the window begins anew. */
bool turn_window_add(struct turn_window *w, int64_t fall_ns);
/* Over the last turns, `most` at most; false with fewer than three. */
bool turn_window_figures(const struct turn_window *w, unsigned most, struct turn_figures *out);

#endif
