/* Decimal text to whole numbers, without ever going through a float. */
#ifndef WHICHEND_CAPTURE_DECIMAL_H
#define WHICHEND_CAPTURE_DECIMAL_H

#include <stddef.h>
#include <stdint.h>

enum decimal_result {
    DECIMAL_OK,
    DECIMAL_NONE /* no number */,
    DECIMAL_RANGE /* does not fit */
};

/* text * 10^places, rounded to nearest (halves away from zero): "4.98" with 3 places is 4980.
 * Sign, fraction (after `mark`, '.' or ',') and exponent are understood; "nan" and "inf" are no
 * numbers. */
enum decimal_result decimal_scaled(const char *text, size_t len, int places, char mark,
                                   int64_t *out);

#endif
