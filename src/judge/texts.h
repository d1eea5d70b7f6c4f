/* Private to src/judge: sentences of a verdict. */
#ifndef WHICHEND_JUDGE_TEXTS_H
#define WHICHEND_JUDGE_TEXTS_H

#include "judge/judge.h"

/* Add a sentence; silently full past the ceiling. */
void verdict_warn(struct verdict *v, const char *fmt, ...) PRINTF_LIKE(2, 3);
void verdict_gate(struct verdict *v, const char *fmt, ...) PRINTF_LIKE(2, 3);
void verdict_untested(struct verdict *v, const char *fmt, ...) PRINTF_LIKE(2, 3);
void verdict_change(struct verdict *v, const char *fmt, ...) PRINTF_LIKE(2, 3);
void verdict_caution(struct verdict *v, const char *fmt, ...) PRINTF_LIKE(2, 3);

#endif
