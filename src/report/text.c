#include "report/text.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#define TEXT_BYTES_MAX 2000

static const char *const tint_code[] = {
    [TINT_PLAIN] = "",          [TINT_STRONG] = "\033[1m",  [TINT_FAINT] = "\033[2m",
    [TINT_GOOD] = "\033[1;32m", [TINT_WARN] = "\033[1;33m", [TINT_BAD] = "\033[1;31m",
};
#define TINT_OFF "\033[0m"

/* Columns that bytes of UTF-8 take; every character is taken for one. */
static int columns(const char *s, size_t len)
{
    int n = 0;
    for (size_t i = 0; i < len; i++) {
        n += ((unsigned char)s[i] & 0xc0) != 0x80;
    }
    return n;
}

static enum err spaces(struct buf *out, int n)
{
    return n > 0 ? buf_printf(out, "%*s", n, "") : ERR_OK;
}

static enum err clean(struct buf *out, const char *s, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char)s[i];
        TRY(buf_add(out, c < 0x20 || c == 0x7f ? "?" : s + i, 1));
    }
    return ERR_OK;
}

static enum err words(struct buf *out, int column, int hang, const char *text)
{
    bool first = true;
    for (;;) {
        text += strspn(text, " ");
        size_t len = strcspn(text, " ");
        int width = columns(text, len);
        if (len == 0) {
            return buf_str(out, "\n");
        }
        if (!first && column + 1 + width > TEXT_COLUMNS) {
            TRY(buf_str(out, "\n"));
            TRY(spaces(out, hang));
            column = hang;
            first = true;
        }
        if (!first) {
            TRY(buf_str(out, " "));
            column++;
        }
        TRY(clean(out, text, len));
        column += width;
        first = false;
        text += len;
    }
}

enum err text_tinted(struct buf *out, const struct text_style *s, enum tint t, int indent,
                     const char *lead, int hang, const char *text)
{
    bool tinted = s != NULL && s->colour && t != TINT_PLAIN && lead[0] != '\0';
    int column = indent + columns(lead, strlen(lead));
    TRY(spaces(out, indent));
    TRY(buf_str(out, tinted ? tint_code[t] : ""));
    TRY(clean(out, lead, strlen(lead)));
    TRY(buf_str(out, tinted ? TINT_OFF : ""));
    if (column < hang) {
        TRY(spaces(out, hang - column));
        column = hang;
    } else if (lead[0] != '\0' && text[0] != '\0') {
        TRY(buf_str(out, " "));
        column++;
    }
    return words(out, column, hang, text);
}

enum err text_wrap(struct buf *out, int indent, const char *lead, int hang, const char *text)
{
    return text_tinted(out, NULL, TINT_PLAIN, indent, lead, hang, text);
}

enum err text_wrapf(struct buf *out, int indent, const char *lead, int hang, const char *fmt,
                    ...)
{
    char text[TEXT_BYTES_MAX];
    va_list ap;
    va_start(ap, fmt);
    (void)vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    return text_wrap(out, indent, lead, hang, text);
}

enum err text_heading(struct buf *out, const struct text_style *s, const char *heading)
{
    if (out->len > 0) {
        TRY(buf_str(out, "\n"));
    }
    return text_tinted(out, s, TINT_STRONG, 0, heading, 0, "");
}

const char *text_count(int64_t n, char out[TEXT_COUNT_MAX])
{
    char digits[TEXT_COUNT_MAX];
    int len = snprintf(digits, sizeof digits, "%" PRIu64,
                       n < 0 ? (uint64_t)0 - (uint64_t)n : (uint64_t)n);
    size_t to = 0;
    if (n < 0) {
        out[to++] = '-';
    }
    for (int i = 0; i < len; i++) {
        if (i > 0 && (len - i) % 3 == 0) {
            out[to++] = ',';
        }
        out[to++] = digits[i];
    }
    out[to] = '\0';
    return out;
}
