/* Private to src/judge: pieces of world_predict(). */
#ifndef WHICHEND_JUDGE_PREDICT_H
#define WHICHEND_JUDGE_PREDICT_H

#include "judge/world.h"

void predict_set(double *answer, int n, const double *p);
void predict_yes(double *answer, double yes);
/* A line as the tap sees it, its lead included. */
struct pattern predict_line(const struct world *w, enum sig s, enum tap tap);
/* What makes the faults that are there come and go: VARIES_ */
unsigned predict_varies(const struct world *w);
enum rx predict_rx(const struct world *w, enum sig s, enum tap tap);
/* One question each: chances of its answers before the recording mix. */
void predict_direction(const struct world *w, const struct feature *f, double *answer);
void predict_restore(const struct world *w, const struct feature *f, double *answer);
void predict_release(const struct world *w, const struct feature *f, double *answer);
void predict_step_rate(const struct world *w, const struct feature *f, double *answer);
void predict_overrun(const struct world *w, const struct feature *f, double *answer);
void predict_place(const struct world *w, const struct feature *f, double *answer);
void predict_gate(const struct world *w, const struct feature *f, double *answer);
void predict_gate_data(const struct world *w, const struct feature *f, double *answer);
void predict_read_back(const struct world *w, const struct feature *f, double *answer);
void predict_outcome(const struct world *w, const struct feature *f, double *answer);
void predict_tries(const struct world *w, const struct feature *f, double *answer);
void predict_machine(const struct world *w, const struct feature *f, double *answer);
void predict_quality(const struct world *w, const struct feature *f, double *answer);
void predict_fields(const struct world *w, const struct feature *f, double *answer);
void predict_rate(const struct world *w, const struct feature *f, double *answer);
void predict_cell(const struct world *w, const struct feature *f, double *answer);
void predict_side_id(const struct world *w, const struct feature *f, double *answer);
void predict_side_1(const struct world *w, const struct feature *f, double *answer);
/* Of the cable off machine and drive, both plugs on the adapter: sound, faulty, comes and goes.
 * How a plug sat before is not seen there, nor an open ground. */
void predict_told_cable(const struct world *w, double *answer);
void predict_told(const struct world *w, const struct feature *f, double *answer);
void predict_repeat(const struct world *w, const struct feature *f, double *answer);

#endif
