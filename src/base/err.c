#include "base/err.h"

#include <stddef.h>
#include <stdio.h>

struct err_row {
    const char *text;
    int exit_status;
};

static const struct err_row ROWS[] = {
    [ERR_OK] = {"done", 0},
    [ERR_USAGE] = {"usage", 64},
    [ERR_FORMAT] = {"bad input", 65},
    [ERR_NO_INPUT] = {"input missing", 66},
    [ERR_ADAPTER] = {"adapter unavailable", 69},
    [ERR_INTERNAL] = {"internal error", 70},
    [ERR_MEMORY] = {"out of memory", 70},
    [ERR_CREATE] = {"cannot create output", 73},
    [ERR_IO] = {"read or write failed", 74},
    [ERR_INTERRUPTED] = {"interrupted", 130},
};

static const struct err_row *row_of(enum err code)
{
    size_t i = (size_t)code;
    return i < sizeof ROWS / sizeof ROWS[0] ? &ROWS[i] : &ROWS[ERR_INTERNAL];
}

const char *err_text(enum err code)
{
    return row_of(code)->text;
}

int err_exit_status(enum err code)
{
    return row_of(code)->exit_status;
}

enum err err_set(struct err_msg *m, enum err code, const char *fmt, ...)
{
    if (m == NULL || m->code != ERR_OK)
        return code;
    m->code = code;
    va_list ap;
    va_start(ap, fmt);
    if (vsnprintf(m->text, sizeof m->text, fmt, ap) < 0)
        snprintf(m->text, sizeof m->text, "%s", err_text(code));
    va_end(ap);
    /* Names out of hostile files end up here, and this ends up on a terminal. */
    for (char *p = m->text; *p != '\0'; p++) {
        unsigned char c = (unsigned char)*p;
        if (c < 0x20 || c == 0x7f)
            *p = '?';
    }
    return code;
}
