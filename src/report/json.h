/* JSON values that are always valid: numbers of fixed precision, null for what is no number,
 * clean text. */
#ifndef WHICHEND_REPORT_JSON_H
#define WHICHEND_REPORT_JSON_H

#include "base/buf.h"

#include <jansson.h>
#include <stdbool.h>

/* v rounded to `decimals`; null where v is no finite number. */
json_t *json_number(double v, int decimals);
/* The same, null where `have` is false. */
json_t *json_number_if(bool have, double v, int decimals);
/* NULL gives null; bytes that are no UTF-8 become '?'. */
json_t *json_text(const char *s);
/* Add to an object or array; a NULL value (out of memory) is noted in *failed. Takes the value
 * over. */
void json_put(json_t *object, const char *key, json_t *value, bool *failed);
void json_push(json_t *array, json_t *value, bool *failed);
/* Write the document with a final newline and release it. ERR_MEMORY if failed is set. */
enum err json_finish(json_t *root, bool failed, struct buf *out);

#endif
