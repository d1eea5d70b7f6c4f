#include "base/ini_file.h"

#include "base/buf.h"
#include "base/file.h"

#include <ini.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

/* What libinih as packaged holds: 50 bytes for a name, 200 for a line, each with its NUL and
 * the line with its end. Past that it cuts in silence, so longer names are refused and longer
 * lines go in by pieces. */
#define NAME_BYTES_MAX  49
#define PIECE_BYTES_MAX 140

#define NO_OFFSET SIZE_MAX

/* An entry while the text still grows and moves: offsets into it. */
struct draft {
    size_t section, key, value;
    int line;
};

struct parser {
    const char *path;
    const char *data;
    size_t len, pos; /* of the next raw line */
    int line;        /* number of the line last handed on, 1-based */
    const char *piece;
    size_t piece_left; /* of a long value, still to be handed on */
    size_t section;    /* offset of the open section's name */
    bool same_value;   /* the next handler call goes on with the last entry's value */
    struct draft *draft;
    size_t count, cap;
    struct buf text;
    enum err result;
    struct err_msg *e;
};

/* A stretch of one line. */
struct span {
    const char *at;
    size_t len;
};

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static struct span trim(struct span s)
{
    while (s.len > 0 && is_blank(s.at[0])) {
        s.at++;
        s.len--;
    }
    while (s.len > 0 && is_blank(s.at[s.len - 1]))
        s.len--;
    return s;
}

/* Without a ';' comment behind white space. */
static struct span without_comment(struct span s)
{
    for (size_t i = 1; i < s.len; i++)
        if (s.at[i] == ';' && is_blank(s.at[i - 1]))
            return (struct span){s.at, i - 1};
    return s;
}

static enum err fail(struct parser *p, const char *reason)
{
    p->result = err_set(p->e, ERR_FORMAT, "%s:%d: %s", p->path, p->line, reason);
    return p->result;
}

static enum err no_memory(struct parser *p)
{
    p->result = err_set(p->e, ERR_MEMORY, "%s:%d: out of memory", p->path, p->line);
    return p->result;
}

/* Add a string with its NUL to the text; its offset in *out. */
static enum err keep(struct parser *p, struct span s, size_t *out)
{
    size_t at = p->text.len;
    if (buf_add(&p->text, s.at, s.len) != ERR_OK || buf_add(&p->text, "", 1) != ERR_OK)
        return no_memory(p);
    *out = at;
    return ERR_OK;
}

static enum err add_entry(struct parser *p, size_t key, size_t value)
{
    if (p->count >= INI_ENTRIES_MAX)
        return fail(p, "too many entries");
    void *items = p->draft;
    if (array_grow(&items, &p->cap, p->count + 1, sizeof *p->draft, INI_ENTRIES_MAX) != ERR_OK)
        return no_memory(p);
    p->draft = items;
    p->draft[p->count++] = (struct draft){p->section, key, value, p->line};
    return ERR_OK;
}

/* Length of the UTF-8 sequence at s, 0 where there is none (overlong forms and surrogates
 * included). */
static size_t utf8_len(const unsigned char *s, size_t left)
{
    if (s[0] < 0x80)
        return 1;
    size_t len = s[0] >= 0xf0 ? 4 : s[0] >= 0xe0 ? 3 : 2;
    if (s[0] < 0xc2 || s[0] > 0xf4 || len > left)
        return 0;
    for (size_t i = 1; i < len; i++)
        if ((s[i] & 0xc0) != 0x80)
            return 0;
    bool bad = (s[0] == 0xe0 && s[1] < 0xa0) || (s[0] == 0xed && s[1] > 0x9f) ||
               (s[0] == 0xf0 && s[1] < 0x90) || (s[0] == 0xf4 && s[1] > 0x8f);
    return bad ? 0 : len;
}

/* What is read here is shown on terminals, in JSON and in HTML: only clean text passes. */
static enum err check_line(struct parser *p, struct span s)
{
    if (s.len > INI_LINE_BYTES_MAX)
        return fail(p, "a line that is too long");
    if (memchr(s.at, '\0', s.len) != NULL)
        return fail(p, "a NUL byte");
    const unsigned char *u = (const unsigned char *)s.at;
    for (size_t i = 0; i < s.len;) {
        if ((u[i] < 0x20 && u[i] != '\t') || u[i] == 0x7f)
            return fail(p, "a control byte");
        size_t n = utf8_len(u + i, s.len - i);
        if (n == 0)
            return fail(p, "not UTF-8 text");
        i += n;
    }
    return ERR_OK;
}

static enum err check_name(struct parser *p, struct span name, const char *what)
{
    if (name.len > 0 && name.len <= NAME_BYTES_MAX)
        return ERR_OK;
    p->result = err_set(p->e, ERR_FORMAT, "%s:%d: %s name is %s", p->path, p->line, what,
                        name.len == 0 ? "empty" : "too long");
    return p->result;
}

/* A section's own line, "[name]". libinih does not tell of it. */
static enum err open_section(struct parser *p, struct span s)
{
    const char *close = memchr(s.at, ']', s.len);
    if (close == NULL)
        return fail(p, "a section without its ']'");
    struct span name = {s.at + 1, (size_t)(close - s.at) - 1};
    struct span rest = {close + 1, s.len - name.len - 2};
    rest = trim(without_comment(rest));
    if (rest.len > 0 && rest.at[0] != ';')
        return fail(p, "text behind a section's ']'");
    if (without_comment(name).len != name.len)
        return fail(p, "a comment inside a section's name");
    struct span bare = trim(name);
    TRY(check_name(p, bare, "section's"));
    if (bare.len != name.len)
        return fail(p, "white space beside a section's name");
    TRY(keep(p, name, &p->section));
    return add_entry(p, NO_OFFSET, NO_OFFSET);
}

/* "key = value": checked here, read by libinih. *value is its stretch without a comment. */
static enum err check_pair(struct parser *p, struct span s, struct span *value)
{
    const char *equals = memchr(s.at, '=', s.len);
    struct span key = {s.at, equals == NULL ? s.len : (size_t)(equals - s.at)};
    if (equals == NULL || without_comment(key).len != key.len)
        return fail(p, "a line that is no section, no \"key = value\" and no comment");
    if (memchr(key.at, ':', key.len) != NULL)
        return fail(p, "a ':' in a key's name");
    TRY(check_name(p, trim(key), "key's"));
    if (p->section == NO_OFFSET)
        return fail(p, "a key before any section");
    *value = trim(without_comment((struct span){equals + 1, s.len - key.len - 1}));
    return ERR_OK;
}

/* How much of a long value goes into this piece: libinih trims each piece and takes ';' and '#'
 * at its start for a comment, so a cut falls between two bytes that are neither. 0 where there
 * is no such place. */
static size_t piece_len(const char *at, size_t left)
{
    if (left <= PIECE_BYTES_MAX)
        return left;
    size_t n = PIECE_BYTES_MAX;
    while (n > 0 && (is_blank(at[n - 1]) || is_blank(at[n]) || at[n] == ';' || at[n] == '#'))
        n--;
    return n;
}

/* Hand the next piece of a value on; `lead` (a key, or white space for a piece that goes on)
 * before it. */
static bool hand_piece(struct parser *p, char *out, size_t size, struct span lead)
{
    size_t n = piece_len(p->piece, p->piece_left);
    if ((n == 0 && p->piece_left > 0) || lead.len + n + 3 > size) {
        fail(p, "a value that is too long to take apart");
        return false;
    }
    memcpy(out, lead.at, lead.len);
    if (n > 0)
        memcpy(out + lead.len, p->piece, n);
    out[lead.len + n] = '\n';
    out[lead.len + n + 1] = '\0';
    p->piece += n;
    p->piece_left -= n;
    return true;
}

/* The next raw line without its end; false at the end of the data. */
static bool next_line(struct parser *p, struct span *out)
{
    if (p->pos >= p->len)
        return false;
    const char *at = p->data + p->pos;
    const char *end = memchr(at, '\n', p->len - p->pos);
    size_t len = end == NULL ? p->len - p->pos : (size_t)(end - at);
    p->pos += len + 1;
    p->line++;
    if (len > 0 && at[len - 1] == '\r')
        len--;
    if (p->line == 1 && len >= 3 && memcmp(at, "\xef\xbb\xbf", 3) == 0) {
        at += 3;
        len -= 3;
    }
    *out = (struct span){at, len};
    return true;
}

/* One raw line: what libinih should see of it goes to `out` (a blank line for comments). */
static bool hand_line(struct parser *p, struct span raw, char *out, size_t size)
{
    static const struct span NOTHING = {"", 0};
    if (check_line(p, raw) != ERR_OK)
        return false;
    struct span s = trim(raw);
    p->same_value = false;
    p->piece_left = 0;
    if (s.len == 0 || s.at[0] == ';' || s.at[0] == '#')
        return hand_piece(p, out, size, NOTHING);
    if (s.at[0] == '[') {
        if (open_section(p, s) != ERR_OK)
            return false;
        size_t shown = (size_t)((const char *)memchr(s.at, ']', s.len) - s.at) + 1;
        return hand_piece(p, out, size, (struct span){s.at, shown});
    }
    struct span value = NOTHING;
    if (check_pair(p, s, &value) != ERR_OK)
        return false;
    const char *equals = memchr(s.at, '=', s.len);
    struct span key = trim((struct span){s.at, (size_t)(equals - s.at)});
    char lead[NAME_BYTES_MAX + 1];
    memcpy(lead, key.at, key.len);
    lead[key.len] = '=';
    p->piece = value.at;
    p->piece_left = value.len;
    return hand_piece(p, out, size, (struct span){lead, key.len + 1});
}

/* libinih's reader: one line, or one piece of a long one, a call. */
static char *read_line(char *out, int size, void *stream)
{
    struct parser *p = stream;
    struct span raw;
    if (p->result != ERR_OK || size < NAME_BYTES_MAX + PIECE_BYTES_MAX)
        return NULL;
    bool handed;
    if (p->piece_left > 0) {
        p->same_value = true;
        handed = hand_piece(p, out, (size_t)size, (struct span){" ", 1});
    } else {
        handed = next_line(p, &raw) && hand_line(p, raw, out, (size_t)size);
    }
    return handed ? out : NULL;
}

/* libinih's handler: a key with its value, or one more piece of the last value. */
static int take_pair(void *user, const char *section, const char *key, const char *value)
{
    struct parser *p = user;
    if (p->result != ERR_OK)
        return 0;
    struct span v = {value, strlen(value)};
    size_t key_at = 0, value_at = 0;
    if (p->same_value) {
        p->text.len--; /* the last value's NUL */
        return keep(p, v, &value_at) == ERR_OK;
    }
    if (strcmp(section, p->text.data + p->section) != 0) {
        fail(p, "a section's name that does not read back");
        return 0;
    }
    return keep(p, (struct span){key, strlen(key)}, &key_at) == ERR_OK &&
           keep(p, v, &value_at) == ERR_OK && add_entry(p, key_at, value_at) == ERR_OK;
}

/* Order for finding doubles: sections' own lines by name, then keys by section and name, then
 * by line. */
static int compare_entries(const void *va, const void *vb)
{
    const struct ini_entry *a = va, *b = vb;
    int c = (a->key != NULL) - (b->key != NULL);
    if (c == 0)
        c = strcmp(a->section, b->section);
    if (c == 0 && a->key != NULL)
        c = strcmp(a->key, b->key);
    return c != 0 ? c : (a->line > b->line) - (a->line < b->line);
}

static enum err check_doubles(const struct ini_file *f, struct err_msg *e)
{
    struct ini_entry *sorted = calloc(f->count + 1, sizeof *sorted);
    if (sorted == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", f->path);
    if (f->count > 0)
        memcpy(sorted, f->entry, f->count * sizeof *sorted);
    qsort(sorted, f->count, sizeof *sorted, compare_entries);
    enum err r = ERR_OK;
    for (size_t i = 1; i < f->count && r == ERR_OK; i++) {
        const struct ini_entry *a = &sorted[i - 1], *b = &sorted[i];
        if (strcmp(a->section, b->section) != 0 || (a->key == NULL) != (b->key == NULL))
            continue;
        if (b->key == NULL)
            r = err_set(e, ERR_FORMAT, "%s:%d: section [%s] stands on line %d already", f->path,
                        b->line, b->section, a->line);
        else if (strcmp(a->key, b->key) == 0)
            r = err_set(e, ERR_FORMAT, "%s:%d: key \"%s\" of [%s] stands on line %d already",
                        f->path, b->line, b->key, b->section, a->line);
    }
    free(sorted);
    return r;
}

/* Offsets to pointers, now that the text no longer moves. */
static enum err finish(struct parser *p, struct ini_file *out)
{
    struct ini_file f = {.path = strdup(p->path), .count = p->count};
    f.entry = calloc(p->count + 1, sizeof *f.entry);
    enum err r = ERR_OK;
    if (f.path == NULL || f.entry == NULL) {
        r = no_memory(p);
    } else {
        f.text = p->text.data;
        p->text.data = NULL;
        for (size_t i = 0; i < p->count; i++) {
            const struct draft *d = &p->draft[i];
            f.entry[i] = (struct ini_entry){
                .section = f.text + d->section,
                .key = d->key == NO_OFFSET ? NULL : f.text + d->key,
                .value = d->value == NO_OFFSET ? NULL : f.text + d->value,
                .line = d->line,
            };
        }
        r = check_doubles(&f, p->e);
    }
    if (r == ERR_OK)
        *out = f;
    else
        ini_file_release(&f);
    return r;
}

enum err ini_file_parse(const char *path, const char *data, size_t len, struct ini_file *out,
                        struct err_msg *e)
{
    if (len > INI_FILE_BYTES_MAX)
        return err_set(e, ERR_FORMAT, "%s: larger than %u bytes", path, INI_FILE_BYTES_MAX);
    struct parser p = {
        .path = path, .data = data, .len = len, .piece = "", .section = NO_OFFSET, .e = e};
    buf_init(&p.text, 2 * (size_t)INI_FILE_BYTES_MAX);
    int bad_line = ini_parse_stream(read_line, &p, take_pair, &p);
    enum err r = p.result;
    /* Everything was checked before libinih saw it, so a complaint of its own means that this
     * file is wrong. */
    if (r == ERR_OK && (bad_line != 0 || p.pos < p.len))
        r = err_set(e, ERR_INTERNAL, "%s:%d: the INI library refuses this line", path, p.line);
    if (r == ERR_OK)
        r = finish(&p, out);
    free(p.draft);
    buf_release(&p.text);
    return r;
}

enum err ini_file_read(const char *path, struct ini_file *out, struct err_msg *e)
{
    struct buf data;
    buf_init(&data, INI_FILE_BYTES_MAX);
    enum err r = file_read(path, &data, e);
    if (r == ERR_OK)
        r = ini_file_parse(path, data.data, data.len, out, e);
    buf_release(&data);
    return r;
}

void ini_file_release(struct ini_file *f)
{
    free(f->path);
    free(f->entry);
    free(f->text);
    *f = (struct ini_file){0};
}

const char *ini_file_get(const struct ini_file *f, const char *section, const char *key)
{
    for (size_t i = 0; i < f->count; i++) {
        const struct ini_entry *x = &f->entry[i];
        if (x->key != NULL && strcmp(x->section, section) == 0 && strcmp(x->key, key) == 0)
            return x->value;
    }
    return NULL;
}
