/* Text for people: 80 columns, words wrapped, colour that never carries a meaning alone. */
#ifndef WHICHEND_REPORT_TEXT_H
#define WHICHEND_REPORT_TEXT_H

#include "base/buf.h"
#include "report/report.h"

#include <stdint.h>

#define TEXT_COLUMNS 80

enum tint { TINT_PLAIN, TINT_STRONG, TINT_FAINT, TINT_GOOD, TINT_WARN, TINT_BAD };

/* Wrap `text` to 80 columns. The first line starts with `lead` at column `indent`, the text and
 * all lines after it at column `hang`. Control bytes are shown as '?'. */
enum err text_wrap(struct buf *out, int indent, const char *lead, int hang, const char *text);
enum err text_wrapf(struct buf *out, int indent, const char *lead, int hang, const char *fmt,
                    ...) PRINTF_LIKE(5, 6);
/* The same with the lead tinted. */
enum err text_tinted(struct buf *out, const struct text_style *s, enum tint t, int indent,
                     const char *lead, int hang, const char *text);
/* A heading on a line of its own, an empty line before it unless out is empty. */
enum err text_heading(struct buf *out, const struct text_style *s, const char *heading);

/* "812,345": digits in groups of three. */
#define TEXT_COUNT_MAX 32
const char *text_count(int64_t n, char out[TEXT_COUNT_MAX]);

#endif
