/* One set of results to text for people and JSON for programs; both say the same.
 *
 * Text: 80 columns, the answer first, then why, then what to do next. colour adds terminal
 * colour, never as the only carrier of a meaning.
 */
#ifndef WHICHEND_REPORT_REPORT_H
#define WHICHEND_REPORT_REPORT_H

#include "base/buf.h"
#include "evidence/survey.h"
#include "judge/judge.h"

struct text_style {
    bool colour;
    bool verbose; /* numbers of decibans and bits */
};

enum err report_verdict_text(const struct verdict *v, const struct text_style *s,
                             struct buf *out);
enum err report_verdict_json(const struct verdict *v, struct buf *out);
enum err report_measure_text(const char *capture_name, const struct survey *s,
                             const struct text_style *st, struct buf *out);
enum err report_measure_json(const struct survey *s, struct buf *out);

#endif
