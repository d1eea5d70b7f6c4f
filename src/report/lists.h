/* Profiles, cases and questions listed, as text and as JSON. */
#ifndef WHICHEND_REPORT_LISTS_H
#define WHICHEND_REPORT_LISTS_H

#include "base/buf.h"
#include "evidence/case_file.h"
#include "judge/questions.h"
#include "report/report.h"

/* What `profile list` shows: names and titles of one kind. */
struct profile_row {
    enum profile_kind kind;
    const char *name, *title;
};
enum err report_profiles_text(const struct profile_row *row, size_t count,
                              const struct text_style *s, struct buf *out);
enum err report_profiles_json(const struct profile_row *row, size_t count, struct buf *out);

enum err report_profile_text(const struct profile *p, const struct text_style *s,
                             struct buf *out);
enum err report_profile_json(const struct profile *p, struct buf *out);

enum err report_case_text(const struct case_file *c, const struct text_style *s,
                          struct buf *out);
enum err report_case_json(const struct case_file *c, struct buf *out);

/* Every key that a case can hold, with its question; c may be NULL, else what it already says
 * stands by, and first the questions that would tell most (rank, best first; none: NULL, 0). */
enum err report_questions_text(const struct case_file *c, const struct question_rank *rank,
                               size_t ranks, const struct text_style *s, struct buf *out);
enum err report_questions_json(const struct case_file *c, const struct question_rank *rank,
                               size_t ranks, struct buf *out);

/* {"schema": schema, key: [names]} */
enum err report_names_json(const char *schema, const char *key, const char *const *name,
                           size_t count, struct buf *out);

#endif
