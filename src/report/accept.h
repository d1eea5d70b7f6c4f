/* The sheet of an acceptance test (accept/sheet.h) as text and JSON, read back from JSON, and
 * two of them side by side.
 */
#ifndef WHICHEND_REPORT_ACCEPT_H
#define WHICHEND_REPORT_ACCEPT_H

#include "accept/sheet.h"
#include "base/buf.h"
#include "report/report.h"

enum err report_accept_text(const struct accept_sheet *s, const struct text_style *st,
                            struct buf *out);
/* Schema whichend.accept/1. */
enum err report_accept_json(const struct accept_sheet *s, struct buf *out);
/* The sheet in a file that report_accept_json made. Unknown lines are passed over; what does
 * not fit its place is ERR_FORMAT. */
enum err report_accept_read(const char *path, struct accept_sheet *out, struct err_msg *e);

/* Schema whichend.accept-compare/1. */
enum err report_compare_text(const struct accept_sheet *before,
                             const struct accept_sheet *after, const struct text_style *st,
                             struct buf *out);
enum err report_compare_json(const struct accept_sheet *before,
                             const struct accept_sheet *after, struct buf *out);

/* "299.671 +/- 0.005 rpm"; "295.5 to 304.5 rpm". out is returned. */
#define ACCEPT_TEXT_MAX 80
const char *accept_value_text(enum accept_item i, const struct accept_line *l,
                              char out[ACCEPT_TEXT_MAX]);
const char *accept_limit_text(enum accept_item i, const struct accept_limit *l,
                              char out[ACCEPT_TEXT_MAX]);

#endif
