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

/* Where a line for `key` goes. */
struct edit_place {
    const char *replace; /* the row that sets the key already; NULL none */
    const char
        *behind; /* end of the section's last row that is not blank; NULL: no such section */
};

static struct edit_place find_place(const char *text, const char *section, const char *key)
{
    struct edit_place p = {NULL, NULL};
    bool inside = false;
    /* the mark that some editors put before text is no part of its first line */
    const char *at = text + (strncmp(text, "\xef\xbb\xbf", 3) == 0 ? 3 : 0);
    while (*at != '\0') {
        struct row r = next_row(at);
        inside = row_opens(r) ? row_is_section(r, section) : inside;
        if (inside && !row_blank(r)) {
            p.behind = at + r.full;
        }
        if (inside && p.replace == NULL && row_sets(r, key)) {
            p.replace = at;
        }
        at += r.full;
    }
    return p;
}

static enum err put_in_place_of(const char *text, const char *row, const char *key,
                                const char *value, struct buf *out)
{
    TRY(buf_add(out, text, (size_t)(row - text)));
    TRY(buf_printf(out, "%s = %s", key, value));
    return buf_str(out, row + row_comment(next_row(row)));
}

/* Behind a row of the text; a new section is opened first where `section` is given. */
static enum err put_behind(const char *text, const char *row_end, const char *section,
                           const char *key, const char *value, struct buf *out)
{
    TRY(buf_add(out, text, (size_t)(row_end - text)));
    if (row_end > text && row_end[-1] != '\n') {
        TRY(buf_str(out, "\n"));
    }
    if (section != NULL) {
        TRY(buf_printf(out, "%s[%s]\n", row_end > text ? "\n" : "", section));
    }
    TRY(buf_printf(out, "%s = %s\n", key, value));
    return buf_str(out, row_end);
}

enum err case_text_set(const char *text, const char *section, const char *key,
                       const char *value, struct buf *out, struct err_msg *e)
{
    struct edit_place p = {NULL, NULL};
    if (!holdable(section) || !holdable(key) || !holdable(value) ||
        strpbrk(key, "=:[]#") != NULL || strpbrk(section, "[]") != NULL) {
        return err_set(e, ERR_USAGE, "'%s = %s' in [%s] cannot be written in a case", key,
                       value, section);
    }
    p = find_place(text, section, key);
    if (p.replace != NULL) {
        return put_in_place_of(text, p.replace, key, value, out);
    }
    return p.behind != NULL ? put_behind(text, p.behind, NULL, key, value, out)
                            : put_behind(text, text + strlen(text), section, key, value, out);
}
