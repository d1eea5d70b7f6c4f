/* One line of a case.ini set, the rest left as it stands. */
#include "evidence/case_private.h"

#include <string.h>

/* One line of the text without its end. */
struct row {
    const char *at;
    size_t len;  /* without '\n' */
    size_t full; /* with it */
};

static struct row next_row(const char *at)
{
    size_t len = strcspn(at, "\n");
    return (struct row){at, len, len + (at[len] == '\n')};
}

static bool row_is_section(struct row r, const char *section)
{
    size_t lead = strspn(r.at, " \t");
    size_t len = strlen(section);
    return lead < r.len && r.at[lead] == '[' && r.len > lead + len + 1 &&
           strncmp(r.at + lead + 1, section, len) == 0 && r.at[lead + 1 + len] == ']';
}

static bool row_opens(struct row r)
{
    size_t lead = strspn(r.at, " \t");
    return lead < r.len && r.at[lead] == '[';
}

static bool row_sets(struct row r, const char *key)
{
    size_t lead = strspn(r.at, " \t");
    size_t len = strlen(key);
    if (lead + len >= r.len || strncmp(r.at + lead, key, len) != 0) {
        return false;
    }
    lead += len;
    lead += strspn(r.at + lead, " \t");
    return lead < r.len && r.at[lead] == '=';
}

static bool row_blank(struct row r)
{
    size_t lead = strspn(r.at, " \t\r");
    return lead >= r.len;
}

/* Where the comment behind a value begins (its white space included), or the row's length. */
static size_t row_comment(struct row r)
{
    for (size_t i = 1; i < r.len; i++) {
        if (r.at[i] == ';' && (r.at[i - 1] == ' ' || r.at[i - 1] == '\t')) {
            while (i > 0 && (r.at[i - 1] == ' ' || r.at[i - 1] == '\t')) {
                i--;
            }
            return i;
        }
    }
    return r.len - (r.len > 0 && r.at[r.len - 1] == '\r');
}

static bool holdable(const char *s)
{
    for (size_t i = 0; s[i] != '\0'; i++) {
        if ((unsigned char)s[i] < 0x20 || (s[i] == ';' && (i == 0 || s[i - 1] == ' '))) {
            return false;
        }
    }
    return s[0] != '\0';
}

static enum err put_line(struct buf *out, const char *key, const char *value)
{
    return buf_printf(out, "%s = %s\n", key, value);
}

enum err case_text_set(const char *text, const char *section, const char *key,
                       const char *value, struct buf *out, struct err_msg *e)
{
    const char *behind = NULL; /* the section's last row that is not blank ends here */
    const char *replace = NULL;
    bool inside = false;
    if (!holdable(section) || !holdable(key) || !holdable(value) ||
        strpbrk(key, "=:[]#") != NULL || strpbrk(section, "[]") != NULL) {
        return err_set(e, ERR_USAGE, "'%s = %s' in [%s] cannot be written in a case", key,
                       value, section);
    }
    /* the mark that some editors put before text is no part of its first line */
    for (const char *at = text + (strncmp(text, "\xef\xbb\xbf", 3) == 0 ? 3 : 0);
         *at != '\0';) {
        struct row r = next_row(at);
        if (row_opens(r)) {
            inside = row_is_section(r, section);
        }
        if (inside && !row_blank(r)) {
            behind = at + r.full;
        }
        if (inside && replace == NULL && row_sets(r, key)) {
            replace = at;
        }
        at += r.full;
    }
    if (replace != NULL) {
        struct row r = next_row(replace);
        size_t comment = row_comment(r);
        TRY(buf_add(out, text, (size_t)(replace - text)));
        TRY(buf_printf(out, "%s = %s", key, value));
        return buf_str(out, replace + comment);
    }
    bool new_section = behind == NULL;
    behind = new_section ? text + strlen(text) : behind;
    TRY(buf_add(out, text, (size_t)(behind - text)));
    if (behind > text && behind[-1] != '\n') {
        TRY(buf_str(out, "\n"));
    }
    if (new_section) {
        TRY(buf_printf(out, "%s[%s]\n", behind > text ? "\n" : "", section));
    }
    TRY(put_line(out, key, value));
    return buf_str(out, behind);
}
