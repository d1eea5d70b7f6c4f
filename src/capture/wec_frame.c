#include "capture/wec.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <zlib.h>

bool wec_is_magic(const uint8_t *p, size_t len)
{
    return len >= WEC_MAGIC_BYTES && memcmp(p, WEC_MAGIC, WEC_MAGIC_BYTES) == 0;
}

static void put_le(uint8_t *out, uint64_t value, size_t bytes)
{
    for (size_t i = 0; i < bytes; i++)
        out[i] = (uint8_t)(value >> (8 * i));
}

static uint64_t get_le(const uint8_t *in, size_t bytes)
{
    uint64_t value = 0;
    for (size_t i = 0; i < bytes; i++)
        value |= (uint64_t)in[i] << (8 * i);
    return value;
}

void wec_frame_put(const struct wec_frame *f, uint8_t out[WEC_FRAME_BYTES])
{
    memcpy(out, f->type, 4);
    put_le(out + 4, f->sequence, 4);
    put_le(out + 8, f->packed_len, 4);
    put_le(out + 12, f->plain_len, 4);
    put_le(out + 16, (uint64_t)f->first_tick, 8);
    put_le(out + 24, (uint64_t)f->last_tick, 8);
    put_le(out + 32, f->payload_crc, 4);
    put_le(out + 36, (uint32_t)crc32(0, out, WEC_FRAME_BYTES - 4), 4);
}

bool wec_frame_get(const uint8_t in[WEC_FRAME_BYTES], struct wec_frame *f)
{
    if ((uint32_t)crc32(0, in, WEC_FRAME_BYTES - 4) != (uint32_t)get_le(in + 36, 4))
        return false;
    memcpy(f->type, in, 4);
    f->sequence = (uint32_t)get_le(in + 4, 4);
    f->packed_len = (uint32_t)get_le(in + 8, 4);
    f->plain_len = (uint32_t)get_le(in + 12, 4);
    f->first_tick = (int64_t)get_le(in + 16, 8);
    f->last_tick = (int64_t)get_le(in + 24, 8);
    f->payload_crc = (uint32_t)get_le(in + 32, 4);
    return true;
}

void wec_channels_of(const struct capture_info *info, struct wec_channels *c)
{
    memset(c, 0, sizeof *c);
    for (size_t i = 0; i < LINE_COUNT; i++)
        if (info->lines & LINE_BIT(i))
            c->line[c->lines++] = (enum line)i;
    for (size_t i = 0; i < RAIL_COUNT; i++)
        if (info->rails & 1u << i)
            c->rail[c->rails++] = (enum rail)i;
}

/* One line of HEAD; nothing where there is no value. */
static enum err put_text(struct buf *out, const char *key, const char *value)
{
    if (value[0] == '\0')
        return ERR_OK;
    size_t at = out->len + strlen(key) + 1;
    TRY(buf_printf(out, "%s %s\n", key, value));
    for (size_t i = at; i + 1 < out->len; i++)
        if (iscntrl((unsigned char)out->data[i]))
            out->data[i] = ' ';
    return ERR_OK;
}

static enum err put_names(const struct capture_info *info, struct buf *out)
{
    struct wec_channels c;
    wec_channels_of(info, &c);
    enum err err = buf_str(out, "lines");
    for (size_t i = 0; i < c.lines && err == ERR_OK; i++)
        err = buf_printf(out, " %s", line_name(c.line[i]));
    if (err == ERR_OK)
        err = buf_str(out, "\nrails");
    for (size_t i = 0; i < c.rails && err == ERR_OK; i++)
        err = buf_printf(out, " %s", rail_name(c.rail[i]));
    return err == ERR_OK ? buf_str(out, "\n") : err;
}

enum err wec_head_put(const struct capture_info *info, struct buf *out)
{
    TRY(buf_printf(out, "tick %" PRId64 "/%" PRId64 "\n", info->tick.fs_num,
                   info->tick.fs_den));
    TRY(put_names(info, out));
    TRY(put_text(out, "role", info->role));
    TRY(put_text(out, "tap", info->tap));
    if (info->sample_fs > 0)
        TRY(buf_printf(out, "sample-fs %" PRId64 "\n", info->sample_fs));
    return put_text(out, "detail", info->detail);
}

/* A decimal number that is all of the text up to `end`. */
static bool number_up_to(const char **p, char end, int64_t *out)
{
    int64_t n = 0;
    const char *s = *p;
    for (; *s >= '0' && *s <= '9'; s++)
        if (!mul_i64(n, 10, &n) || !add_i64(n, *s - '0', &n))
            return false;
    if (s == *p || *s != end)
        return false;
    *p = s + (end != '\0');
    *out = n;
    return true;
}

/* The next word of a list, copied; false at its end. */
static bool list_word(const char **p, char word[32])
{
    while (**p == ' ')
        (*p)++;
    size_t len = strcspn(*p, " ");
    if (len == 0)
        return false;
    snprintf(word, 32, "%.*s", len < 31 ? (int)len : 31, *p);
    *p += len;
    return true;
}

static bool lines_get(const char *value, struct capture_info *info, struct wec_channels *c)
{
    char word[32];
    while (list_word(&value, word)) {
        enum line line = line_by_name(word);
        if (line == LINE_NONE || (info->lines & LINE_BIT(line)) != 0)
            return false;
        info->lines |= LINE_BIT(line);
        c->line[c->lines++] = line;
    }
    return true;
}

static bool rails_get(const char *value, struct capture_info *info, struct wec_channels *c)
{
    char word[32];
    while (list_word(&value, word)) {
        enum rail rail = rail_by_name(word);
        if (rail == RAIL_NONE || (info->rails & 1u << rail) != 0)
            return false;
        info->rails |= 1u << rail;
        c->rail[c->rails++] = rail;
    }
    return true;
}

static bool text_get(char *to, size_t room, const char *value)
{
    for (const char *p = value; *p != '\0'; p++)
        if (iscntrl((unsigned char)*p))
            return false;
    int n = snprintf(to, room, "%s", value);
    return n >= 0 && (size_t)n < room;
}

static bool head_line(const char *key, const char *value, struct capture_info *info,
                      struct wec_channels *c)
{
    if (strcmp(key, "tick") == 0)
        return number_up_to(&value, '/', &info->tick.fs_num) &&
               number_up_to(&value, '\0', &info->tick.fs_den) && tick_valid(info->tick);
    if (strcmp(key, "lines") == 0)
        return lines_get(value, info, c);
    if (strcmp(key, "rails") == 0)
        return rails_get(value, info, c);
    if (strcmp(key, "role") == 0)
        return text_get(info->role, sizeof info->role, value);
    if (strcmp(key, "tap") == 0)
        return (strcmp(value, "machine-end") == 0 || strcmp(value, "drive-end") == 0) &&
               text_get(info->tap, sizeof info->tap, value);
    if (strcmp(key, "sample-fs") == 0)
        return number_up_to(&value, '\0', &info->sample_fs);
    if (strcmp(key, "detail") == 0)
        return text_get(info->detail, sizeof info->detail, value);
    return true;
}

enum err wec_head_get(const char *text, size_t len, struct capture_info *info,
                      struct wec_channels *c, const char **why)
{
    static const char *const KEYS[] = {"tick", "lines",     "rails",  "role",
                                       "tap",  "sample-fs", "detail", NULL};
    memset(c, 0, sizeof *c);
    *why = "a header that is no text";
    char *copy = strndup(text, len);
    if (copy == NULL)
        return ERR_MEMORY;
    bool good = strlen(copy) == len;
    char *next = copy;
    while (good && *next != '\0') {
        char *line = next;
        next += strcspn(next, "\n");
        if (*next == '\n')
            *next++ = '\0';
        char *value = line + strcspn(line, " ");
        if (*value == ' ')
            *value++ = '\0';
        good = head_line(line, value, info, c);
        for (size_t i = 0; !good && KEYS[i] != NULL; i++)
            if (strcmp(KEYS[i], line) == 0)
                *why = KEYS[i];
    }
    free(copy);
    if (good && !tick_valid(info->tick)) {
        *why = "tick";
        good = false;
    }
    return good ? ERR_OK : ERR_FORMAT;
}
