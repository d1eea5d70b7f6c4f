#include "judge/texts.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void add(char (*list)[VERDICT_TEXT_MAX], size_t *count, const char *fmt, va_list ap)
    PRINTF_LIKE(3, 0);
static void add(char (*list)[VERDICT_TEXT_MAX], size_t *count, const char *fmt, va_list ap)
{
    if (*count >= VERDICT_TEXTS_MAX)
        return;
    vsnprintf(list[*count], VERDICT_TEXT_MAX, fmt, ap);
    for (size_t i = 0; i < *count; i++)
        if (!strcmp(list[i], list[*count]))
            return;
    (*count)++;
}

#define ADDER(name, list, count)                                                               \
    void name(struct verdict *v, const char *fmt, ...)                                         \
    {                                                                                          \
        va_list ap;                                                                            \
                                                                                               \
        va_start(ap, fmt);                                                                     \
        add(v->list, &v->count, fmt, ap);                                                      \
        va_end(ap);                                                                            \
    }

ADDER(verdict_warn, warning, warning_count)
ADDER(verdict_gate, gate, gate_count)
ADDER(verdict_untested, untested, untested_count)
ADDER(verdict_change, change, change_count)
ADDER(verdict_caution, caution, caution_count)
