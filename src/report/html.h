/* HTML that is also well-formed XML: every text is escaped, whatever it holds. */
#ifndef WHICHEND_REPORT_HTML_H
#define WHICHEND_REPORT_HTML_H

#include "base/buf.h"

#define HTML_TEXT_MAX 600 /* characters of one text; what lies behind becomes an ellipsis */

/* Text between tags or in a quoted attribute. Control bytes, bytes that are no UTF-8 and marks
 * that turn the direction of writing become U+FFFD. */
enum err html_text(struct buf *out, const char *s);
enum err html_textf(struct buf *out, const char *fmt, ...) PRINTF_LIKE(2, 3);
/* One element around a text; tag may bear attributes: "td class=\"n\"". */
enum err html_el(struct buf *out, const char *tag, const char *text);
enum err html_elf(struct buf *out, const char *tag, const char *fmt, ...) PRINTF_LIKE(3, 4);

#endif
