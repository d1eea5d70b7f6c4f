#include "capture/reader.h"
#include "capture/wec.h"

#include <stdlib.h>
#include <string.h>

#define SNIFF_BYTES 4096

struct capture {
    struct source *src;
    struct window w;
    const struct reader *reader;
    void *state;
    struct build b;
    struct capture_info info;
    struct err_msg damage; /* found behind edges that had to be delivered first */
};

/* Text that has a separator in its first line that is no comment. */
static bool looks_like_csv(const uint8_t *p, size_t len)
{
    bool separator = false;
    bool comment = true; /* until a line begins otherwise */
    bool line_start = true;
    for (size_t i = 0; i < len; i++) {
        if (p[i] == 0x7f || (p[i] < ' ' && strchr("\t\r\n", p[i]) == NULL) || p[i] == '\0')
            return false;
        if (line_start)
            comment = p[i] == '#' || p[i] == ';' || p[i] == '\n' || p[i] == '\r';
        separator = separator || (!comment && strchr(",;\t", p[i]) != NULL);
        line_start = p[i] == '\n';
    }
    return separator;
}

static bool looks_like_vcd(const uint8_t *p, size_t len)
{
    size_t i = 0;
    while (i < len && p[i] <= ' ')
        i++;
    return i + 1 < len && p[i] == '$' && p[i + 1] >= 'a' && p[i + 1] <= 'z';
}

/* Enough of the beginning to tell the format by. */
static enum err sniff(struct capture *c, struct err_msg *e)
{
    const char *name = source_name(c->src);
    struct window *w = &c->w;
    w->unit = WINDOW_BYTES_ANY;
    while (w->len < SNIFF_BYTES && !w->end)
        TRY(window_fill(w, e));
    if (w->len == 0)
        return err_set(e, ERR_FORMAT, "%s: not a capture: the file is empty", name);
    if (w->len >= 3 && memcmp(w->data, "\xef\xbb\xbf", 3) == 0)
        w->pos = 3; /* the mark that some editors put before text */
    const uint8_t *p = w->data + w->pos;
    size_t len = w->len - w->pos < SNIFF_BYTES ? w->len - w->pos : SNIFF_BYTES;
    if (wec_is_magic(p, len)) {
        c->reader = &WEC_READER;
        c->info.format = CAPTURE_WEC;
    } else if (looks_like_vcd(p, len)) {
        c->reader = &VCD_READER;
        c->info.format = CAPTURE_VCD;
    } else if (looks_like_csv(p, len)) {
        c->reader = &CSV_READER;
        c->info.format = CAPTURE_CSV;
    } else {
        return err_set(e, ERR_FORMAT, "%s: not a capture: neither VCD nor CSV nor .wec", name);
    }
    return ERR_OK;
}

static enum err build_init(struct build *b, const char *name, struct err_msg *e)
{
    memset(b->level, LEVEL_UNKNOWN, sizeof b->level);
    b->edge = calloc(CHUNK_EDGES_MAX, sizeof *b->edge);
    b->rail = calloc(CHUNK_RAILS_MAX, sizeof *b->rail);
    if (b->edge == NULL || b->rail == NULL)
        return err_set(e, ERR_MEMORY, "%s: out of memory", name);
    return ERR_OK;
}

/* Takes the source over, also on failure. */
static enum err open_source(struct source *src, const struct line_map *map,
                            struct capture **out, struct err_msg *e)
{
    struct capture *c = calloc(1, sizeof *c);
    if (c == NULL) {
        enum err err = err_set(e, ERR_MEMORY, "%s: out of memory", source_name(src));
        source_close(src);
        return err;
    }
    c->src = src;
    enum err err = window_init(&c->w, src, e);
    if (err == ERR_OK)
        err = build_init(&c->b, source_name(src), e);
    if (err == ERR_OK)
        err = sniff(c, e);
    if (err == ERR_OK)
        err = c->reader->open(&c->w, map, &c->info, &c->state, e);
    if (err != ERR_OK) {
        capture_close(c);
        return err;
    }
    *out = c;
    return ERR_OK;
}

enum err capture_open(const char *path, const struct line_map *map, struct capture **out,
                      struct err_msg *e)
{
    struct source *src = NULL;
    TRY(source_open(path, &src, e));
    return open_source(src, map, out, e);
}

enum err capture_open_memory(const char *name, const void *data, size_t len,
                             const struct line_map *map, struct capture **out,
                             struct err_msg *e)
{
    struct source *src = NULL;
    TRY(source_open_memory(name, data, len, &src, e));
    return open_source(src, map, out, e);
}

void capture_close(struct capture *c)
{
    if (c == NULL)
        return;
    if (c->reader != NULL)
        c->reader->close(c->state);
    window_release(&c->w);
    source_close(c->src);
    free(c->b.edge);
    free(c->b.rail);
    free(c);
}

const struct capture_info *capture_info(const struct capture *c)
{
    return &c->info;
}

double capture_progress(const struct capture *c)
{
    return source_progress(c->src);
}

enum err capture_next(struct capture *c, struct chunk *out, struct err_msg *e)
{
    if (c->damage.code != ERR_OK)
        return err_set(e, c->damage.code, "%s", c->damage.text);
    struct build *b = &c->b;
    b->count = 0;
    b->rail_count = 0;
    b->base = b->now;
    enum err err = c->reader->fill(c->state, b, &c->damage);
    if (err != ERR_OK && build_empty(b))
        return err_set(e, err, "%s", c->damage.text);
    c->info.cut_short = c->info.cut_short || b->cut_short;
    *out = (struct chunk){.base_tick = b->base,
                          .edge = b->edge,
                          .count = b->count,
                          .rail = b->rail,
                          .rail_count = b->rail_count,
                          .end_tick = b->now,
                          .last = b->last};
    return ERR_OK;
}
