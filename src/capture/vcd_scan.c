#include "capture/decimal.h"
#include "capture/vcd.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RAIL_MILLIVOLT_MAX 2000000

/* One more than the level of a value's character; 0 where it is none. VHDL's weak states L and
 * H are levels too, and its other states say nothing [common practice]. */
static const uint8_t LEVEL_OF[256] = {
    ['0'] = 1 + LEVEL_LOW,     ['1'] = 1 + LEVEL_HIGH,    ['x'] = 1 + LEVEL_UNKNOWN,
    ['X'] = 1 + LEVEL_UNKNOWN, ['z'] = 1 + LEVEL_UNKNOWN, ['Z'] = 1 + LEVEL_UNKNOWN,
    ['L'] = 1 + LEVEL_LOW,     ['l'] = 1 + LEVEL_LOW,     ['H'] = 1 + LEVEL_HIGH,
    ['h'] = 1 + LEVEL_HIGH,    ['U'] = 1 + LEVEL_UNKNOWN, ['u'] = 1 + LEVEL_UNKNOWN,
    ['W'] = 1 + LEVEL_UNKNOWN, ['w'] = 1 + LEVEL_UNKNOWN, ['-'] = 1 + LEVEL_UNKNOWN,
};

enum err vcd_error(struct vcd *v, const uint8_t *p, struct err_msg *e, const char *fmt, ...)
{
    char why[ERR_TEXT_MAX];
    va_list ap;
    va_start(ap, fmt);
    if (vsnprintf(why, sizeof why, fmt, ap) < 0)
        why[0] = '\0';
    va_end(ap);
    uint64_t place = v->w->offset + (uint64_t)(p - v->w->data);
    return err_set(e, ERR_FORMAT, "%s:%llu: %s", source_name(v->w->src),
                   (unsigned long long)source_line_at(v->w->src, place), why);
}

/* Low and high change places where 1 is active. */
static inline unsigned turned(unsigned level, unsigned inverted)
{
    return level ^ (inverted & (level ^ 2u) >> 1);
}

/* What the common words work on, so that it stays in registers. */
struct fast {
    const struct vcd *v;
    uint8_t *level;
    uint64_t now;
    uint64_t base;
    packed_edge *out;
};

/* A rising time mark; where it ends, or NULL where it needs a closer look. */
static inline const uint8_t *fast_mark(struct fast *f, const uint8_t *p)
{
    const uint8_t *q = p + 1;
    uint64_t t = 0;
    unsigned digit;
    while ((digit = *q - (unsigned)'0') < 10) {
        t = t * 10 + digit;
        q++;
    }
    size_t digits = (size_t)(q - p) - 1;
    if (digits - 1 >= 18 || *q > ' ' || t < f->now || (t - f->base) >> CHUNK_OFFSET_BITS != 0)
        return NULL;
    f->now = t;
    return q + 1;
}

/* A value of a one-bit variable with a code of one or two characters; likewise. */
static inline const uint8_t *fast_value(struct fast *f, const uint8_t *p)
{
    unsigned level = LEVEL_OF[p[0]];
    unsigned look = VCD_LOOK_UP;
    const uint8_t *next = p + 3;
    if (p[2] <= ' ') {
        look = f->v->by1[p[1]];
    } else if (p[3] <= ' ' && p[1] < 128 && p[2] < 128) {
        look = f->v->by2[p[1] << 7 | p[2]];
        next = p + 4;
    }
    if (level == 0 || look == VCD_LOOK_UP)
        return NULL;
    if (look == VCD_IGNORE)
        return next;
    unsigned line = look & 63;
    level = turned(level - 1, look >> 7);
    if (f->level[line] != level) {
        f->level[line] = (uint8_t)level;
        *f->out++ = edge_pack(f->now - f->base, (enum line)line, (enum level)level);
    }
    return next;
}

/* The common words, up to anything else or a full chunk. All bytes before `end` are whole
 * words, and a few more may be looked at. */
static const uint8_t *scan_fast(const struct vcd *v, struct build *b, const uint8_t *p,
                                const uint8_t *end)
{
    struct fast f = {v, b->level, (uint64_t)b->now, (uint64_t)b->base, b->edge + b->count};
    const packed_edge *full = b->edge + (CHUNK_EDGES_MAX - CHUNK_RESERVE + 1);
    while (p < end && f.out != full) {
        if (*p <= ' ') {
            p++;
            continue;
        }
        const uint8_t *next = *p == '#' ? fast_mark(&f, p) : fast_value(&f, p);
        if (next == NULL)
            break;
        p = next;
    }
    b->count = (size_t)(f.out - b->edge);
    b->now = (int64_t)f.now;
    return p;
}

/* One word where it needs a closer look. */
struct word {
    const uint8_t *at;
    size_t len;
};

static bool word_is(struct word word, const char *text)
{
    return word.len == strlen(text) && memcmp(word.at, text, word.len) == 0;
}

/* A piece of a word for a message. */
static int shown(size_t len)
{
    return len < 40 ? (int)len : 40;
}

static enum err read_mark(struct vcd *v, struct build *b, struct word word, bool *full,
                          struct err_msg *e)
{
    size_t i = 1;
    uint64_t t = 0;
    for (; i < word.len && word.at[i] >= '0' && word.at[i] <= '9'; i++) {
        if (t > (uint64_t)INT64_MAX / 10)
            break;
        t = t * 10 + (uint64_t)(word.at[i] - '0');
    }
    if (t > INT64_MAX || (i < word.len && word.at[i] >= '0' && word.at[i] <= '9'))
        return vcd_error(v, word.at, e, "time stamp %.*s is beyond 2^63-1", shown(word.len),
                         (const char *)word.at);
    if (v->cut_word && (word.len == 1 || (int64_t)t < b->now))
        return ERR_OK;
    if (word.len == 1 || i < word.len)
        return vcd_error(v, word.at, e, "time mark \"%.*s\" is not a whole number",
                         shown(word.len), (const char *)word.at);
    if ((int64_t)t < b->now)
        return vcd_error(v, word.at, e, "time runs backwards, from %lld to %llu",
                         (long long)b->now, (unsigned long long)t);
    *full = !build_advance(b, (int64_t)t);
    return ERR_OK;
}

static void stop_recording(struct vcd *v, struct build *b)
{
    v->off = true;
    for (size_t i = 0; i < v->targets.count; i++)
        if (v->targets.item[i].line != LINE_NONE)
            build_edge(b, v->targets.item[i].line, LEVEL_UNKNOWN);
}

static enum err read_keyword(struct vcd *v, struct build *b, struct word word,
                             struct err_msg *e)
{
    if (word_is(word, "$end") || word_is(word, "$dumpvars") || word_is(word, "$dumpall"))
        return ERR_OK;
    if (word_is(word, "$comment"))
        v->in_comment = true;
    else if (word_is(word, "$dumpoff"))
        stop_recording(v, b);
    else if (word_is(word, "$dumpon"))
        v->off = false;
    else if (!v->cut_word)
        return vcd_error(v, word.at, e, "\"%.*s\" among the values", shown(word.len),
                         (const char *)word.at);
    return ERR_OK;
}

static enum err find_target(struct vcd *v, struct word code, uint8_t *target, struct err_msg *e)
{
    uint32_t i = code.len > 0 ? vcd_codes_find(&v->codes, code.at, code.len) : VCD_NO_CODE;
    *target = 0;
    if (i == VCD_NO_CODE && v->cut_word)
        return ERR_OK;
    if (i == VCD_NO_CODE)
        return vcd_error(v, code.at, e, "a value for \"%.*s\", which no $var declares",
                         shown(code.len), (const char *)code.at);
    *target = v->codes.code[i].target;
    return ERR_OK;
}

/* A level for all lines that the code feeds. */
static enum err set_level(struct vcd *v, struct build *b, struct word code, unsigned level,
                          struct err_msg *e)
{
    uint8_t next = 0;
    TRY(find_target(v, code, &next, e));
    while (next != 0) {
        const struct name_target *t = &v->targets.item[next - 1];
        if (t->line != LINE_NONE)
            build_edge(b, t->line, (enum level)turned(level, t->active_high));
        next = t->next;
    }
    return ERR_OK;
}

/* "rnan" and infinities are no voltage: the rail is not told then. */
static bool is_number_at_all(struct word number)
{
    size_t i = number.len > 0 && (number.at[0] == '-' || number.at[0] == '+');
    return i == number.len || strchr("nNiI", number.at[i]) == NULL;
}

static enum err set_voltage(struct vcd *v, struct build *b, struct word code,
                            struct word number, struct err_msg *e)
{
    uint8_t next = 0;
    TRY(find_target(v, code, &next, e));
    for (; next != 0; next = v->targets.item[next - 1].next) {
        const struct name_target *t = &v->targets.item[next - 1];
        int64_t millivolt = 0;
        if (t->line != LINE_NONE)
            return vcd_error(v, number.at, e, "a real value for line %s", line_name(t->line));
        if (!is_number_at_all(number))
            continue;
        if (decimal_scaled((const char *)number.at, number.len, 3, '.', &millivolt) !=
                DECIMAL_OK ||
            millivolt > RAIL_MILLIVOLT_MAX || millivolt < -RAIL_MILLIVOLT_MAX)
            return vcd_error(v, number.at, e, "\"%.*s\" is no voltage for %s",
                             shown(number.len), (const char *)number.at, rail_name(t->rail));
        build_rail(b, t->rail, (int32_t)millivolt);
    }
    return ERR_OK;
}

/* A value whose code is a word of its own: a vector, a real or a string. */
static enum err read_pair(struct vcd *v, struct build *b, struct word value, struct word code,
                          struct err_msg *e)
{
    if (v->off || value.at[0] == 's' || value.at[0] == 'S')
        return ERR_OK;
    struct word rest = {value.at + 1, value.len - 1};
    if (value.at[0] == 'r' || value.at[0] == 'R')
        return set_voltage(v, b, code, rest, e);
    unsigned level = rest.len > 0 ? LEVEL_OF[rest.at[rest.len - 1]] : 1u + LEVEL_UNKNOWN;
    if (level == 0)
        return vcd_error(v, value.at, e, "\"%.*s\" is no value", shown(value.len),
                         (const char *)value.at);
    return set_level(v, b, code, level - 1, e);
}

static struct word word_at(const struct window *w, size_t pos)
{
    while (pos < w->stop && w->data[pos] <= ' ')
        pos++;
    struct word word = {w->data + pos, 0};
    while (pos + word.len < w->stop && word.at[word.len] > ' ')
        word.len++;
    return word;
}

/* The last word, where the file ends without a line's end: it may have been longer. */
static bool may_be_cut(const struct window *w, struct word word)
{
    return w->cut && word.at + word.len + 1 == w->data + w->len;
}

enum step {
    STEP_ON,
    STEP_FULL,
    STEP_MORE /* the code of this value is not in the window yet */
};

/* The word at the window's place, whatever it is. */
static enum err scan_word(struct vcd *v, struct build *b, enum step *step, struct err_msg *e)
{
    struct window *w = v->w;
    struct word word = word_at(w, w->pos);
    struct word last = word;
    enum err err = ERR_OK;
    bool full = false;
    *step = STEP_ON;
    if (word.len == 0) {
        w->pos = w->stop;
        return ERR_OK;
    }
    v->cut_word = may_be_cut(w, word);
    if (v->in_comment) {
        v->in_comment = !word_is(word, "$end");
    } else if (word.at[0] == '#') {
        err = read_mark(v, b, word, &full, e);
    } else if (word.at[0] == '$') {
        err = read_keyword(v, b, word, e);
    } else if (strchr("bBrRsS", word.at[0]) != NULL) {
        last = word_at(w, (size_t)(word.at - w->data) + word.len);
        if (last.len == 0) {
            *step = STEP_MORE;
            return ERR_OK;
        }
        v->cut_word = may_be_cut(w, last);
        err = read_pair(v, b, word, last, e);
    } else if (LEVEL_OF[word.at[0]] == 0) {
        err = vcd_error(v, word.at, e, "\"%.*s\" is neither a time nor a value",
                        shown(word.len), (const char *)word.at);
    } else if (!v->off) {
        struct word code = {word.at + 1, word.len - 1};
        err = set_level(v, b, code, LEVEL_OF[word.at[0]] - 1u, e);
    }
    if (full)
        *step = STEP_FULL;
    else
        w->pos = (size_t)(last.at - w->data) + last.len;
    return err;
}

/* What stands in the window, up to its end, a full chunk, or a word that needs more of the
 * input. */
static enum err scan_window(struct vcd *v, struct build *b, enum step *step, struct err_msg *e)
{
    struct window *w = v->w;
    *step = STEP_ON;
    while (w->pos < w->stop && !build_full(b) && *step == STEP_ON) {
        if (!v->in_comment && !v->off)
            w->pos = (size_t)(scan_fast(v, b, w->data + w->pos, w->data + w->stop) - w->data);
        if (w->pos < w->stop && !build_full(b))
            TRY(scan_word(v, b, step, e));
    }
    return ERR_OK;
}

enum err vcd_scan(struct vcd *v, struct build *b, struct err_msg *e)
{
    struct window *w = v->w;
    enum step step = STEP_ON;
    for (;;) {
        TRY(scan_window(v, b, &step, e));
        if (step == STEP_FULL || build_full(b))
            return ERR_OK;
        if (step == STEP_MORE && w->end)
            w->pos = w->stop; /* cut between a value and its code */
        else
            TRY(window_fill(w, e));
        b->last = w->pos == w->stop;
        if (b->last)
            return ERR_OK;
    }
}
