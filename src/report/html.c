#include "report/html.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#define FORMATTED_MAX 2000
#define UNSHOWN       "\xef\xbf\xbd"

/* Length of the character at s and its value; length 1 and value 0 where it is no UTF-8
 * (RFC 3629). */
static size_t character(const unsigned char *s, uint32_t *out)
{
    static const uint32_t least[] = {0, 0, 0x80, 0x800, 0x10000};
    size_t len = s[0] < 0x80 ? 1 : s[0] < 0xc2 ? 0 : s[0] < 0xe0 ? 2 : s[0] < 0xf0 ? 3 : 4;
    uint32_t c = len == 1 ? s[0] : len == 0 ? 0 : s[0] & (0x7fu >> len);
    *out = 0;
    if (len == 0 || s[0] > 0xf4) {
        return 1;
    }
    for (size_t i = 1; i < len; i++) {
        if ((s[i] & 0xc0) != 0x80) { /* a NUL too: nothing behind it is looked at */
            return 1;
        }
        c = c << 6 | (s[i] & 0x3fu);
    }
    if (c < least[len] || c > 0x10ffff || (c >= 0xd800 && c < 0xe000)) {
        return 1;
    }
    *out = c;
    return len;
}

static bool showable(uint32_t c)
{
    bool control = c < 0x20 || (c >= 0x7f && c < 0xa0);
    bool turns = c == 0x200e || c == 0x200f || c == 0x61c || (c >= 0x202a && c <= 0x202e) ||
                 (c >= 0x2066 && c <= 0x2069);
    return !control && !turns && (c & 0xfffe) != 0xfffe && !(c >= 0xfdd0 && c <= 0xfdef);
}

enum err html_text(struct buf *out, const char *s)
{
    const unsigned char *p = (const unsigned char *)s;
    for (size_t n = 0; *p != '\0'; n++) {
        uint32_t c = 0;
        size_t len = character(p, &c);
        if (n == HTML_TEXT_MAX) {
            return buf_str(out, "\xe2\x80\xa6");
        }
        switch (c) {
        case '&':
            TRY(buf_str(out, "&amp;"));
            break;
        case '<':
            TRY(buf_str(out, "&lt;"));
            break;
        case '>':
            TRY(buf_str(out, "&gt;"));
            break;
        case '"':
            TRY(buf_str(out, "&quot;"));
            break;
        case '\'':
            TRY(buf_str(out, "&#39;"));
            break;
        default:
            TRY(showable(c) ? buf_add(out, p, len) : buf_str(out, UNSHOWN));
        }
        p += len;
    }
    return ERR_OK;
}

enum err html_textf(struct buf *out, const char *fmt, ...)
{
    char text[FORMATTED_MAX];
    va_list ap;
    va_start(ap, fmt);
    (void)vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    return html_text(out, text);
}

enum err html_el(struct buf *out, const char *tag, const char *text)
{
    TRY(buf_printf(out, "<%s>", tag));
    TRY(html_text(out, text));
    return buf_printf(out, "</%.*s>\n", (int)strcspn(tag, " "), tag);
}

enum err html_elf(struct buf *out, const char *tag, const char *fmt, ...)
{
    char text[FORMATTED_MAX];
    va_list ap;
    va_start(ap, fmt);
    (void)vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    return html_el(out, tag, text);
}
