#include "capture/decimal.h"

#include <stdbool.h>

__extension__ typedef unsigned __int128 u128;

#define DIGITS_MAX   30 /* held exactly; what follows is far below any tick */
#define EXPONENT_MAX 9999

struct number {
    u128 digits;
    int held; /* digits that count towards DIGITS_MAX */
    int exponent;
    bool negative;
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Digits from text[i] on; `shift` is what each one does to the exponent. */
static size_t read_digits(const char *text, size_t len, size_t i, int shift, struct number *n)
{
    for (; i < len && is_digit(text[i]); i++) {
        if (n->held < DIGITS_MAX) {
            n->digits = n->digits * 10 + (unsigned)(text[i] - '0');
            n->held += n->digits != 0;
            n->exponent += shift;
        } else if (shift == 0 && n->exponent < EXPONENT_MAX) {
            n->exponent++;
        }
    }
    return i;
}

static bool read_exponent(const char *text, size_t len, size_t i, struct number *n)
{
    if (i == len)
        return true;
    if (text[i] != 'e' && text[i] != 'E')
        return false;
    i++;
    bool negative = i < len && text[i] == '-';
    i += i < len && (text[i] == '-' || text[i] == '+');
    if (i == len)
        return false;
    int value = 0;
    for (; i < len && is_digit(text[i]); i++)
        if (value < EXPONENT_MAX)
            value = value * 10 + (text[i] - '0');
    n->exponent += negative ? -value : value;
    return i == len;
}

static bool read_number(const char *text, size_t len, char mark, struct number *n)
{
    size_t i = 0;
    if (len > 0 && (text[0] == '-' || text[0] == '+'))
        n->negative = text[i++] == '-';
    size_t start = i;
    i = read_digits(text, len, i, 0, n);
    size_t whole = i - start;
    size_t fraction = 0;
    if (i < len && (text[i] == '.' || text[i] == mark)) {
        start = ++i;
        i = read_digits(text, len, i, -1, n);
        fraction = i - start;
    }
    return whole + fraction > 0 && read_exponent(text, len, i, n);
}

enum decimal_result decimal_scaled(const char *text, size_t len, int places, char mark,
                                   int64_t *out)
{
    struct number n = {0};
    if (!read_number(text, len, mark, &n))
        return DECIMAL_NONE;
    int shift = n.exponent + places;
    u128 value = n.digits;
    for (; shift > 0 && value != 0; shift--) {
        if (value > INT64_MAX)
            return DECIMAL_RANGE;
        value *= 10;
    }
    if (shift < -DIGITS_MAX - 1)
        value = 0;
    for (; shift < -1 && value != 0;
         shift++) /* all but the last digit are cut: only it rounds */
        value /= 10;
    if (shift == -1)
        value = (value + 5) / 10;
    if (value > INT64_MAX)
        return DECIMAL_RANGE;
    *out = n.negative ? -(int64_t)value : (int64_t)value;
    return DECIMAL_OK;
}
