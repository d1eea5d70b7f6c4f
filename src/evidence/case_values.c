/* Values of a case's keys: which are allowed, how they are read, which word was meant. */
#include "evidence/case_private.h"

#include <ctype.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Edit distance between two short words; NEAR_MAX + 1 where they are further apart or too long.
 */
static size_t edit_distance(const char *a, const char *b)
{
    size_t row[NEAR_BYTES_MAX + 1];
    size_t la = strlen(a);
    size_t lb = strlen(b);
    if (la > NEAR_BYTES_MAX || lb > NEAR_BYTES_MAX) {
        return NEAR_MAX + 1;
    }
    for (size_t j = 0; j <= lb; j++) {
        row[j] = j;
    }
    for (size_t i = 1; i <= la; i++) {
        size_t corner = row[0];
        row[0] = i;
        for (size_t j = 1; j <= lb; j++) {
            size_t change =
                corner + (tolower((unsigned char)a[i - 1]) != tolower((unsigned char)b[j - 1]));
            corner = row[j];
            size_t less = (row[j] < row[j - 1] ? row[j] : row[j - 1]) + 1;
            row[j] = change < less ? change : less;
        }
    }
    return row[lb];
}

void near_word(const char *word, const char *known, const char **best, size_t *distance)
{
    size_t d = edit_distance(word, known);
    if (d < *distance && d * 2 <= strlen(known)) {
        *distance = d;
        *best = known;
    }
}

bool case_number(const char *s, double *out)
{
    char *end = NULL;
    if (!isdigit((unsigned char)s[0]) && s[0] != '-' && s[0] != '+' && s[0] != '.') {
        return false;
    }
    for (const char *p = s; *p != '\0'; p++) {
        if (strchr("0123456789+-.eE", *p) == NULL) {
            return false;
        }
    }
    *out = strtod(s, &end);
    return end != s && *end == '\0' && isfinite(*out);
}

/* "3/10" */
bool case_ratio(const char *s, int *out_part, int *out_whole)
{
    char *end = NULL;
    long part = 0;
    long whole = 0;
    if (!isdigit((unsigned char)s[0])) {
        return false;
    }
    errno = 0;
    part = strtol(s, &end, 10);
    if (*end != '/' || !isdigit((unsigned char)end[1])) {
        return false;
    }
    whole = strtol(end + 1, &end, 10);
    if (*end != '\0' || errno != 0 || whole < 1 || whole > RATIO_MAX || part > whole) {
        return false;
    }
    *out_part = (int)part;
    *out_whole = (int)whole;
    return true;
}

bool case_quantity(const char *s, double *out_value, const char **out_unit)
{
    static const struct {
        const char *word, *unit;
        double factor;
    } units[] = {{"V", "V", 1},        {"mV", "V", 1e-3}, {"ohm", "ohm", 1}, {"ohms", "ohm", 1},
                 {"kohm", "ohm", 1e3}, {"A", "A", 1},     {"mA", "A", 1e-3}};
    char number[32];
    size_t len = strspn(s, "0123456789+-.");
    double value = 0;
    if (len == 0 || len >= sizeof number) {
        return false;
    }
    memcpy(number, s, len);
    number[len] = '\0';
    s += len + strspn(s + len, " ");
    if (!case_number(number, &value)) {
        return false;
    }
    for (size_t i = 0; i < sizeof units / sizeof units[0]; i++) {
        if (strcmp(s, units[i].word) == 0) {
            *out_value = value * units[i].factor;
            *out_unit = units[i].unit;
            return true;
        }
    }
    return false;
}

/* "number:0:3" to its bounds. */
static bool number_range(const char *spec, double *out_low, double *out_high)
{
    static const char lead[] = "number:";
    char *end = NULL;
    if (strncmp(spec, lead, strlen(lead)) != 0) {
        return false;
    }
    *out_low = strtod(spec + strlen(lead), &end);
    if (*end != ':') {
        return false;
    }
    *out_high = strtod(end + 1, &end);
    return *end == '\0' || *end == '|';
}

static bool number_fits(const char *spec, const char *value, size_t len)
{
    char text[32];
    double low = 0;
    double high = 0;
    double v = 0;
    if (len >= sizeof text || !number_range(spec, &low, &high)) {
        return false;
    }
    memcpy(text, value, len);
    text[len] = '\0';
    return case_number(text, &v) && v >= low && v <= high && !(v > floor(v));
}

/* Does `value` match one of "a|b|number:0:3"? */
static bool matches_words(const char *values, const char *value, size_t len)
{
    while (*values != '\0') {
        size_t alt = strcspn(values, "|");
        if (number_fits(values, value, len) ||
            (alt == len && strncmp(values, value, len) == 0)) {
            return true;
        }
        values += alt;
        values += *values == '|';
    }
    return false;
}

/* The elements of a list, with commas between. false at the first that is none of the words. */
static bool matches_list(const char *values, const char *value)
{
    for (;;) {
        value += strspn(value, " \t");
        size_t len = strcspn(value, ",");
        size_t next = len;
        while (len > 0 && (value[len - 1] == ' ' || value[len - 1] == '\t')) {
            len--;
        }
        if (!matches_words(values, value, len)) {
            return false;
        }
        if (value[next] == '\0') {
            return true;
        }
        value += next + 1;
    }
}

int case_word_place(const struct case_key *key, const char *word)
{
    size_t len = strlen(word);
    const char *list = key->values;
    for (int place = 0;; place++) {
        size_t n = strcspn(list, "|");
        if (n == len && strncmp(list, word, n) == 0) {
            return place;
        }
        if (list[n] == '\0') {
            return -1;
        }
        list += n + 1;
    }
}

const char *case_word(const struct case_key *key, int place, char out[CASE_WORD_MAX])
{
    const char *list = key->values;
    for (; place > 0 && *list != '\0'; place--) {
        list += strcspn(list, "|");
        list += *list == '|';
    }
    (void)snprintf(out, CASE_WORD_MAX, "%.*s", (int)strcspn(list, "|"), list);
    return out;
}

bool case_pulled_up(const struct case_capture *c)
{
    return c->pull_up_ohm > 0 || c->role == ROLE_AS_MACHINE || c->role == ROLE_AS_DRIVE;
}

bool case_list_next(const char **at, const char **item, size_t *len)
{
    const char *begin = *at + strspn(*at, ", ");
    size_t n = strcspn(begin, ",");
    *at = begin + n;
    while (n > 0 && begin[n - 1] == ' ') {
        n--;
    }
    *item = begin;
    *len = n;
    return n > 0;
}

bool case_value_fits(const struct case_key *key, const char *value)
{
    const char *v = key->values;
    double number = 0;
    const char *unit = NULL;
    int part = 0;
    int whole = 0;
    if (value[0] == '\0') {
        return false;
    }
    if (strcmp(v, "text") == 0 || strcmp(v, "path") == 0 || strncmp(v, "profile:", 8) == 0) {
        return true;
    }
    if (strcmp(v, "ratio") == 0) {
        return case_ratio(value, &part, &whole);
    }
    if (strcmp(v, "quantity") == 0) {
        return case_quantity(value, &number, &unit);
    }
    if (strcmp(v, "line") == 0) {
        return line_by_name(value) != LINE_NONE || rail_by_name(value) != RAIL_NONE;
    }
    if (strncmp(v, "list:", 5) == 0) {
        return matches_list(v + 5, value);
    }
    return matches_words(v, value, strlen(value));
}

const char *case_values_text(const struct case_key *key, char out[CASE_VALUES_TEXT_MAX])
{
    const char *v = key->values;
    double low = 0;
    double high = 0;
    if (strcmp(v, "ratio") == 0) {
        v = "times out of times, such as 3/10";
    } else if (strcmp(v, "quantity") == 0) {
        v = "a number with V, mV, ohm, kohm, A or mA";
    } else if (strcmp(v, "line") == 0) {
        v = "a line's trade name, or V5, V12, V24";
    } else if (strncmp(v, "profile:", 8) == 0) {
        v = "a profile's name";
    } else if (strcmp(v, "path") == 0) {
        v = "a file in the case's folder";
    }
    const char *number = strstr(v, "number:");
    bool list = strncmp(v, "list:", 5) == 0;
    size_t at = list ? (size_t)snprintf(out, CASE_VALUES_TEXT_MAX, "a list of ") : 0;
    for (v += list ? 5 : 0; *v != '\0' && v != number && at + 4 < CASE_VALUES_TEXT_MAX; v++) {
        if (*v == '|') {
            out[at++] = ' ';
            out[at++] = '|';
            out[at++] = ' ';
        } else {
            out[at++] = *v;
        }
    }
    out[at] = '\0';
    if (number != NULL && number_range(number, &low, &high)) {
        (void)snprintf(out + at, CASE_VALUES_TEXT_MAX - at, "a whole number from %.0f to %.0f",
                       low, high);
    }
    return out;
}

enum outcome case_outcome_by_word(const char *w)
{
    static const char *const words[] = {"unknown", "worked",     "failed",
                                        "hangs",   "wrong-data", "sometimes"};
    int i = 0;
    while (i < OUTCOME_SOMETIMES && strcmp(words[i], w) != 0) {
        i++;
    }
    return (enum outcome)i;
}

enum disk_state case_disk_by_word(const char *w)
{
    return strcmp(w, "known-good") == 0 ? DISK_KNOWN_GOOD
           : strcmp(w, "blank") == 0    ? DISK_BLANK
           : strcmp(w, "none") == 0     ? DISK_NONE
                                        : DISK_UNKNOWN;
}

enum role case_role_by_word(const char *w)
{
    static const char *const words[] = {"inline", "as-machine", "as-drive", "both-plugs",
                                        "loop"};
    int i = 0;
    while (i < ROLE_LOOP && strcmp(words[i], w) != 0) {
        i++;
    }
    return (enum role)i;
}

unsigned case_asked_by_list(const char *list)
{
    unsigned asked = 0;
    while (*list != '\0') {
        char word[32];
        list += strspn(list, ", \t");
        size_t len = strcspn(list, ", \t");
        if (len < sizeof word) {
            memcpy(word, list, len);
            word[len] = '\0';
            asked |= asked_bit(word);
        }
        list += len;
    }
    return asked;
}

int case_whole_number(const char *s)
{
    double v = 0;
    return case_number(s, &v) ? (int)v : 0;
}
