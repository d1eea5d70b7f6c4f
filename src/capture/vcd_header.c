#include "capture/vcd.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define NAME_BYTES    1024
#define PATH_BYTES    8192
#define VERSION_BYTES 96
#define DEPTH_MAX     256

/* What has been read of the header so far. */
struct header {
    struct vcd *v;
    struct names *names;
    char path[PATH_BYTES]; /* scopes, each followed by '.' */
    size_t path_len;
    uint16_t scope_at[DEPTH_MAX];
    size_t depth;
    size_t lost_depth; /* innermost scopes that no longer fitted into path */
    struct tick tick;  /* fs_num 0: not yet */
    char version[VERSION_BYTES];
    const uint8_t *word; /* the last word read, in the window until the next one */
    size_t len;
};

static bool word_is(const struct header *h, const char *text)
{
    return h->len == strlen(text) && memcmp(h->word, text, h->len) == 0;
}

/* The next word; it may be no other than there is one. */
static enum err next_word(struct header *h, struct err_msg *e)
{
    struct window *w = h->v->w;
    for (;;) {
        while (w->pos < w->stop && w->data[w->pos] <= ' ')
            w->pos++;
        if (w->pos < w->stop)
            break;
        TRY(window_fill(w, e));
        if (w->pos == w->stop)
            return vcd_error(h->v, w->data + w->len, e, "the file ends within its header");
    }
    h->word = w->data + w->pos;
    size_t len = 0;
    while (h->word[len] > ' ')
        len++;
    h->len = len;
    w->pos += len;
    return ERR_OK;
}

/* Skip a declaration's words, up to its $end. */
static enum err skip_to_end(struct header *h, struct err_msg *e)
{
    do
        TRY(next_word(h, e));
    while (!word_is(h, "$end"));
    return ERR_OK;
}

/* Join the words up to $end into `to`, with `gap` between them; what does not fit is left out.
 */
static enum err join_to_end(struct header *h, char *to, size_t room, const char *gap,
                            struct err_msg *e)
{
    size_t used = 0;
    to[0] = '\0';
    for (;;) {
        TRY(next_word(h, e));
        if (word_is(h, "$end"))
            return ERR_OK;
        const char *between = used > 0 && h->word[0] != '[' ? gap : "";
        int n = snprintf(to + used, room - used, "%s%.*s", between,
                         h->len < room ? (int)h->len : (int)room, (const char *)h->word);
        used = n > 0 && (size_t)n < room - used ? used + (size_t)n : room - 1;
    }
}

/* "10ns": a whole number and a unit, 1 fs to 100 s. */
static bool timescale_tick(const char *text, struct tick *tick)
{
    static const struct {
        const char *name;
        int64_t fs;
    } UNITS[] = {{"s", FS_PER_S},
                 {"ms", FS_PER_S / 1000},
                 {"us", FS_PER_S / 1000000},
                 {"ns", FS_PER_NS},
                 {"ps", 1000},
                 {"fs", 1}};
    int64_t number = 0;
    const char *p = text;
    for (; *p >= '0' && *p <= '9'; p++)
        if (!mul_i64(number, 10, &number) || !add_i64(number, *p - '0', &number))
            return false;
    if (p == text || number == 0)
        return false;
    for (size_t i = 0; i < sizeof UNITS / sizeof UNITS[0]; i++) {
        if (strcmp(p, UNITS[i].name) != 0)
            continue;
        int64_t fs;
        if (!mul_i64(number, UNITS[i].fs, &fs))
            return false;
        *tick = (struct tick){fs, 1};
        return tick_valid(*tick);
    }
    return false;
}

static enum err read_timescale(struct header *h, const uint8_t *place, struct err_msg *e)
{
    char text[64];
    uint64_t at = h->v->w->offset + (uint64_t)(place - h->v->w->data);
    TRY(join_to_end(h, text, sizeof text, "", e));
    struct tick tick = {0, 1};
    if (!timescale_tick(text, &tick))
        return err_set(e, ERR_FORMAT,
                       "%s:%llu: a timescale of \"%s\": 1 fs to 100 s are understood",
                       source_name(h->v->w->src),
                       (unsigned long long)source_line_at(h->v->w->src, at), text);
    h->tick = tick;
    return ERR_OK;
}

static enum err read_scope(struct header *h, struct err_msg *e)
{
    char words[NAME_BYTES];
    TRY(join_to_end(h, words, sizeof words, " ", e));
    const char *name = strchr(words, ' '); /* behind the type of the scope */
    name = name != NULL ? name + 1 : words;
    size_t len = strlen(name);
    if (h->lost_depth > 0 || h->depth == DEPTH_MAX ||
        h->path_len + len + 1 + NAME_BYTES >= PATH_BYTES) {
        h->lost_depth++;
        return ERR_OK;
    }
    h->scope_at[h->depth++] = (uint16_t)h->path_len;
    memcpy(h->path + h->path_len, name, len);
    h->path_len += len;
    h->path[h->path_len++] = '.';
    return ERR_OK;
}

static enum err read_upscope(struct header *h, struct err_msg *e)
{
    TRY(skip_to_end(h, e));
    if (h->lost_depth > 0)
        h->lost_depth--;
    else if (h->depth > 0)
        h->path_len = h->scope_at[--h->depth];
    return ERR_OK;
}

/* What a variable of this type and size can be. */
static enum name_kind kind_of(const char *type, bool one_bit)
{
    if (strcmp(type, "real") == 0 || strcmp(type, "realtime") == 0)
        return NAME_REAL;
    if (strcmp(type, "event") == 0 || strcmp(type, "parameter") == 0 ||
        strcmp(type, "string") == 0)
        return NAME_WIDE;
    return one_bit ? NAME_BIT : NAME_WIDE;
}

/* $var type size code name [range] $end */
static enum err read_var(struct header *h, struct err_msg *e)
{
    char type[16];
    TRY(next_word(h, e));
    snprintf(type, sizeof type, "%.*s", h->len < sizeof type ? (int)h->len : (int)sizeof type,
             (const char *)h->word);
    TRY(next_word(h, e));
    enum name_kind kind = kind_of(type, word_is(h, "1"));
    TRY(next_word(h, e));
    if (word_is(h, "$end"))
        return vcd_error(h->v, h->word, e, "a $var without an identifier code");
    uint32_t code = VCD_NO_CODE;
    enum err err = vcd_codes_add(&h->v->codes, h->word, h->len, kind, &code);
    if (err == ERR_MEMORY)
        return vcd_error(h->v, h->word, e, "more variables than can be held");
    kind = (enum name_kind)h->v->codes.code[code].kind; /* the first declaration counts */

    TRY(join_to_end(h, h->path + h->path_len, NAME_BYTES, " ", e));
    err = names_add(h->names, h->path, h->path_len, kind, code, e);
    h->path[h->path_len] = '\0';
    return err;
}

/* One declaration, its keyword being the word just read. */
static enum err read_declaration(struct header *h, bool *end, struct err_msg *e)
{
    *end = word_is(h, "$enddefinitions");
    if (word_is(h, "$var"))
        return read_var(h, e);
    if (word_is(h, "$scope"))
        return read_scope(h, e);
    if (word_is(h, "$upscope"))
        return read_upscope(h, e);
    if (word_is(h, "$timescale"))
        return read_timescale(h, h->word, e);
    if (word_is(h, "$version"))
        return join_to_end(h, h->version, sizeof h->version, " ", e);
    if (h->word[0] != '$' || h->len > 32)
        return vcd_error(h->v, h->word, e, "\"%.*s\" in the header, before $enddefinitions",
                         h->len < 32 ? (int)h->len : 32, (const char *)h->word);
    if (word_is(h, "$dumpvars") || word_is(h, "$dumpall") || word_is(h, "$dumpoff"))
        return vcd_error(h->v, h->word, e, "values before $enddefinitions");
    return skip_to_end(h, e); /* $date, $comment and what other tools add */
}

/* The short table's entry for a code. */
static uint8_t look_of(const struct vcd *v, const struct vcd_code *code)
{
    if (code->target == 0)
        return VCD_IGNORE;
    const struct name_target *t = &v->targets.item[code->target - 1];
    if (t->next != 0 || t->line == LINE_NONE)
        return VCD_LOOK_UP;
    return (uint8_t)((t->active_high ? VCD_LINE_INVERTED : VCD_LINE) + (int)t->line);
}

/* Hang the targets on their codes and fill the short tables. */
static void spread_targets(struct vcd *v)
{
    for (size_t i = 0; i < v->targets.count; i++)
        v->codes.code[v->targets.item[i].signal].target = (uint8_t)(i + 1);
    for (size_t i = 0; i < v->codes.count; i++) {
        const struct vcd_code *code = &v->codes.code[i];
        const uint8_t *text = v->codes.text + code->at;
        if (code->len == 1)
            v->by1[text[0]] = look_of(v, code);
        else if (code->len == 2 && text[0] < 128 && text[1] < 128)
            v->by2[text[0] << 7 | text[1]] = look_of(v, code);
    }
}

static enum err finish_header(struct header *h, struct capture_info *info, struct err_msg *e)
{
    struct vcd *v = h->v;
    TRY(names_resolve(h->names, "variable", &v->targets, e));
    spread_targets(v);
    info->lines = v->targets.lines;
    info->rails = v->targets.rails;
    info->ignored = v->codes.count - v->targets.signals;
    bool assumed = h->tick.fs_num == 0;
    info->tick = assumed ? (struct tick){FS_PER_NS, 1} : h->tick;
    snprintf(info->detail, sizeof info->detail, "VCD%s%s%s",
             h->version[0] != '\0' ? " by " : "", h->version,
             assumed ? "; no $timescale, 1 ns assumed" : "");
    return ERR_OK;
}

enum err vcd_read_header(struct vcd *v, const struct line_map *map, struct capture_info *info,
                         struct err_msg *e)
{
    struct header *h = calloc(1, sizeof *h);
    if (h == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", source_name(v->w->src));
    h->v = v;
    bool end = false;
    enum err err = names_new(source_name(v->w->src), map, &h->names, e);
    while (err == ERR_OK && !end) {
        err = next_word(h, e);
        if (err == ERR_OK)
            err = read_declaration(h, &end, e);
    }
    if (err == ERR_OK)
        err = finish_header(h, info, e);
    names_free(h->names);
    free(h);
    return err;
}
