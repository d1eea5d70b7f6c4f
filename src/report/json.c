#include "report/json.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define REAL_DIGITS 15

json_t *json_number(double v, int decimals)
{
    double scale = pow(10, decimals);
    double scaled = v * scale;
    if (!isfinite(v)) {
        return json_null();
    }
    /* past 2^53 there is nothing behind the point to round; adding 0 turns -0 into 0 */
    return json_real(fabs(scaled) < 9e15 ? round(scaled) / scale + 0.0 : v);
}

json_t *json_number_if(bool have, double v, int decimals)
{
    return have ? json_number(v, decimals) : json_null();
}

json_t *json_text(const char *s)
{
    json_t *j = NULL;
    if (s == NULL) {
        return json_null();
    }
    j = json_string(s);
    if (j == NULL) {
        char *clean = strdup(s);
        for (char *p = clean; p != NULL && *p != '\0'; p++) {
            if ((unsigned char)*p >= 0x80) {
                *p = '?';
            }
        }
        j = clean != NULL ? json_string(clean) : NULL;
        free(clean);
    }
    return j;
}

void json_put(json_t *object, const char *key, json_t *value, bool *failed)
{
    if (json_object_set_new(object, key, value) != 0) {
        *failed = true;
    }
}

void json_push(json_t *array, json_t *value, bool *failed)
{
    if (json_array_append_new(array, value) != 0) {
        *failed = true;
    }
}

enum err json_finish(json_t *root, bool failed, struct buf *out)
{
    char *text =
        failed ? NULL : json_dumps(root, JSON_INDENT(1) | JSON_REAL_PRECISION(REAL_DIGITS));
    enum err e = ERR_MEMORY;
    json_decref(root);
    if (text != NULL) {
        e = buf_str(out, text);
        e = e == ERR_OK ? buf_str(out, "\n") : e;
    }
    free(text);
    return e;
}
