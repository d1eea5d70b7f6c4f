/* One sector over all its turns. */
#include "archive/archive_private.h"

#include <stdlib.h>
#include <string.h>

/* One agreeing turn alone proves little where much of the field was decided by the code's
 * rules: sixteen check bits agree by chance in one damaged field of 65536. So few transitions
 * may have been moved by the rules that nothing else explains the agreement. */
#define FORCED_MAX 2

/* Two readings of one sector nearer than this are one turn. */
#define SAME_TURN_NS (60 * INT64_C(1000000))

static const struct archive_turn no_turn = {-1, 0, 0};

size_t archive_sector_bytes(const struct archive_sector *s)
{
    return (size_t)128 << s->size_code;
}

bool archive_sector_sure(const struct archive_sector *s)
{
    return s->content == CONTENT_AGREED && s->agreed >= 2 && s->contradicted < 2 &&
           s->contradicted < s->agreed;
}

const char *archive_sector_doubt(const struct archive_sector *s)
{
    if (s->content != CONTENT_AGREED || archive_sector_sure(s))
        return "";
    if (s->contradicted > 0)
        return "turns agree with different bytes";
    if (s->forced > FORCED_MAX)
        return "one turn agrees, and the code's rules had to decide much of it";
    return "";
}

enum field_state archive_sector_state(const struct archive_sector *s)
{
    switch (s->content) {
    case CONTENT_NONE:
        break;
    case CONTENT_AS_READ:
        return FIELD_DAMAGED;
    case CONTENT_REPAIRED:
        return FIELD_REPAIRED;
    case CONTENT_AGREED:
        if (archive_sector_doubt(s)[0] == '\0')
            return FIELD_GOOD;
        return s->contradicted > 0 ? FIELD_DAMAGED : FIELD_REPAIRED;
    }
    return FIELD_ABSENT;
}

void archive_sector_release(struct archive_tracks *t, struct archive_sector *s)
{
    size_t bytes = archive_sector_bytes(s);
    t->bytes -= (s->bytes != NULL ? bytes : 0) + (s->rival != NULL ? bytes : 0);
    t->sum_bytes -= field_sum_size(&s->sum);
    free(s->bytes);
    free(s->rival);
    field_sum_release(&s->sum);
    *s = (struct archive_sector){.first = no_turn, .second = no_turn, .last = no_turn};
}

static enum err copy_of(struct archive_tracks *t, const uint8_t *bytes, size_t len,
                        uint8_t **out)
{
    if (t->bytes + len > ARCHIVE_BYTES_MAX) {
        t->full = true;
        return ERR_OK;
    }
    *out = malloc(len);
    if (*out == NULL)
        return ERR_MEMORY;
    memcpy(*out, bytes, len);
    t->bytes += len;
    return ERR_OK;
}

/* These bytes instead of those it has. */
static enum err take_bytes(struct archive_tracks *t, struct archive_sector *s,
                           enum archive_content content, const uint8_t *bytes)
{
    size_t len = archive_sector_bytes(s);
    if (s->bytes == NULL)
        TRY(copy_of(t, bytes, len, &s->bytes));
    else
        memcpy(s->bytes, bytes, len);
    if (s->bytes != NULL)
        s->content = content;
    return ERR_OK;
}

static void drop_sum(struct archive_tracks *t, struct archive_sector *s)
{
    t->sum_bytes -= field_sum_size(&s->sum);
    field_sum_release(&s->sum);
}

static void swap_rival(struct archive_sector *s)
{
    uint8_t *bytes = s->bytes;
    int32_t agreed = s->agreed;
    struct archive_turn first = s->first;
    s->bytes = s->rival;
    s->agreed = s->contradicted;
    s->first = s->rival_first;
    s->rival = bytes;
    s->contradicted = agreed;
    s->rival_first = first;
}

/* Turns that agreed, with these bytes. */
static enum err agreed(struct archive_tracks *t, struct archive_sector *s,
                       const struct archive_sector *with)
{
    size_t len = archive_sector_bytes(s);
    if (s->content != CONTENT_AGREED) {
        TRY(take_bytes(t, s, CONTENT_AGREED, with->bytes));
        if (s->content != CONTENT_AGREED)
            return ERR_OK; /* no room */
        drop_sum(t, s);
        s->agreed = with->agreed;
        s->forced = with->forced;
        s->first = with->first;
        s->second = with->second;
        s->mark = with->mark;
        s->encoding = with->encoding;
        return ERR_OK;
    }
    if (memcmp(s->bytes, with->bytes, len) == 0) {
        if (s->second.pass < 0)
            s->second = with->first;
        s->agreed += with->agreed;
        s->forced = with->forced < s->forced ? with->forced : s->forced;
        return ERR_OK;
    }
    if (s->rival == NULL) {
        TRY(copy_of(t, with->bytes, len, &s->rival));
        s->rival_first = with->first;
    }
    s->contradicted += with->agreed;
    if (s->rival != NULL && s->contradicted > s->agreed &&
        memcmp(s->rival, with->bytes, len) == 0) {
        swap_rival(s);
        s->second = with->second.pass >= 0 ? with->second : with->first;
    }
    return ERR_OK;
}

/* Damaged turns put together; what agrees then is taken. */
static enum err put_together(struct archive_tracks *t, struct archive_sector *s,
                             const struct sector_read *read)
{
    uint8_t bytes[FIELD_BYTES_MAX];
    struct field_repair repair;
    if (s->content >= CONTENT_REPAIRED || read->quality == NULL)
        return ERR_OK;
    if (s->sum.cells == 0 && t->sum_bytes + read->cells > ARCHIVE_SUM_BYTES_MAX) {
        t->full = true;
        return ERR_OK;
    }
    t->sum_bytes -= field_sum_size(&s->sum);
    enum err e = field_sum_add(&s->sum, read);
    t->sum_bytes += field_sum_size(&s->sum);
    TRY(e);
    TRY(field_sum_repair(&s->sum, bytes, &repair));
    if (!repair.agreed)
        return ERR_OK;
    TRY(take_bytes(t, s, CONTENT_REPAIRED, bytes));
    s->changed = repair.changed;
    s->odds_false = repair.odds_false;
    s->mark = repair.mark;
    s->first = s->last;
    drop_sum(t, s);
    return ERR_OK;
}

static enum err damaged(struct archive_tracks *t, struct archive_sector *s,
                        const struct sector_read *read)
{
    s->failed++;
    if (s->content == CONTENT_NONE && read->bytes != NULL) {
        TRY(take_bytes(t, s, CONTENT_AS_READ, read->bytes));
        s->first = s->last;
        s->mark = read->mark;
    }
    return put_together(t, s, read);
}

static bool same_turn(const struct archive_turn *a, const struct archive_turn *b)
{
    int64_t apart = a->ns > b->ns ? a->ns - b->ns : b->ns - a->ns;
    return a->pass == b->pass && apart < SAME_TURN_NS;
}

enum err archive_sector_read(struct archive_tracks *t, struct archive_sector *s,
                             const struct sector_read *read, int32_t pass)
{
    struct archive_turn now = {pass, s->last.pass == pass ? s->last.turn + 1 : 1, read->id_ns};
    if (s->last.pass >= 0 && same_turn(&now, &s->last))
        return ERR_OK;
    s->last = now;
    s->seen++;
    if (read->data == FIELD_GOOD && read->bytes != NULL) {
        struct archive_sector once = {.bytes = read->bytes,
                                      .agreed = 1,
                                      .forced = read->forced,
                                      .mark = read->mark,
                                      .encoding = read->encoding,
                                      .first = now,
                                      .second = no_turn};
        return agreed(t, s, &once);
    }
    return read->data == FIELD_DAMAGED && !read->cut ? damaged(t, s, read) : ERR_OK;
}

/* The cells of another's turns, as if of one turn more. */
static enum err merge_sum(struct archive_tracks *t, struct archive_sector *s,
                          const struct archive_sector *from)
{
    const struct field_sum *f = &from->sum;
    struct sector_read as_read = {.quality = f->quality,
                                  .cells = f->cells,
                                  .encoding = f->encoding,
                                  .size_code = f->size_code,
                                  .mark = f->mark};
    if (f->cells == 0)
        return ERR_OK;
    s->sum.tries += f->tries;
    return put_together(t, s, &as_read);
}

static enum err merge_rest(struct archive_tracks *t, struct archive_sector *s,
                           const struct archive_sector *from)
{
    bool better = from->content > s->content && from->bytes != NULL;
    if (better) {
        TRY(take_bytes(t, s, from->content, from->bytes));
        s->first = from->first;
        s->mark = from->mark;
        s->changed = from->changed;
        s->odds_false = from->odds_false;
    }
    return s->content < CONTENT_REPAIRED ? merge_sum(t, s, from) : ERR_OK;
}

enum err archive_sector_take(struct archive_tracks *t, struct archive_sector *s,
                             const struct archive_sector *from)
{
    s->seen += from->seen;
    s->failed += from->failed;
    if (from->last.pass >= 0)
        s->last = from->last;
    if (from->content != CONTENT_AGREED)
        return merge_rest(t, s, from);
    TRY(agreed(t, s, from));
    if (from->rival == NULL)
        s->contradicted += from->contradicted;
    if (from->contradicted > 0 && from->rival != NULL) {
        struct archive_sector other = *from;
        other.bytes = from->rival;
        other.agreed = from->contradicted;
        other.first = from->rival_first;
        other.second = no_turn;
        TRY(agreed(t, s, &other));
    }
    return ERR_OK;
}

void archive_sector_begin(struct archive_sector *s, const struct archive_sector *like)
{
    *s = (struct archive_sector){.number = like->number,
                                 .id_cylinder = like->id_cylinder,
                                 .id_side = like->id_side,
                                 .size_code = like->size_code,
                                 .encoding = like->encoding,
                                 .first = no_turn,
                                 .second = no_turn,
                                 .last = no_turn,
                                 .rival_first = no_turn};
}
