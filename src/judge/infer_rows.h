/* Private to src/judge: the rows of an inference, one hypothesis in one run a time. */
#ifndef WHICHEND_JUDGE_INFER_ROWS_H
#define WHICHEND_JUDGE_INFER_ROWS_H

#include "judge/infer.h"

size_t inference_features(const struct inference *n);
/* Runs, and one more for what a person told. */
size_t inference_runs(const struct inference *n);
struct rows *inference_rows_of(const struct inference *n, size_t hyp, int run);
/* Is there anything of this run to play? Of the first one always. */
bool inference_run_asked(const struct inference *n, int run);
/* A fault that is in no list: it has one row a run and no state to play. */
bool hypothesis_unlisted(const struct inference *n, size_t hyp);
/* Chances of the answers of an intervention (feature_is_intervention) under a hypothesis. */
void hypothesis_answers(const struct inference *n, const struct hypothesis *h,
                        const struct feature *f, double *answer);
/* Play a hypothesis under every choice of what nobody told: its rows and their answers. */
enum err hypothesis_evaluate(const struct inference *n, size_t hyp);

#endif
