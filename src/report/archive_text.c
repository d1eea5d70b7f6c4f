/* `whichend archive` for people: what was saved first. */
#include "report/archive.h"
#include "report/archive_volume.h"
#include "report/text.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#define HANG      12
#define LIST_MAX  400
#define WHERE_MAX 40

static enum err answer(const struct archive_view *v, const struct text_style *st,
                       struct buf *out)
{
    struct archive_totals t = archive_count(v->layout);
    char all[TEXT_COUNT_MAX];
    char good[TEXT_COUNT_MAX];
    char text[240];
    bool complete = archive_complete(v);
    if (t.sectors == 0)
        return text_tinted(out, st, TINT_BAD, 0, "Nothing was read:", 0,
                           " no sector of FM or MFM. What the captures hold stays in them.");
    (void)snprintf(text, sizeof text, " %s of %s sectors good",
                   text_count(t.state[FIELD_GOOD], good), text_count(t.sectors, all));
    size_t at = strlen(text);
    if (!complete)
        (void)snprintf(text + at, sizeof text - at,
                       "; %" PRId64 " repaired, %" PRId64 " damaged, %" PRId64 " absent.",
                       t.state[FIELD_REPAIRED], t.state[FIELD_DAMAGED], t.state[FIELD_ABSENT]);
    else
        (void)snprintf(text + at, sizeof text - at, ".");
    TRY(text_tinted(out, st, complete ? TINT_GOOD : TINT_WARN, 0,
                    complete ? "Saved whole:" : "Not whole:", 0, text));
    if (t.sure == t.state[FIELD_GOOD])
        return t.sure > 0 ? text_wrap(out, 0, "", 0, "All good ones are sure: two turns alike.")
                          : ERR_OK;
    return text_wrapf(out, 0, "", 0,
                      "%" PRId64 " of the good ones are sure (two turns alike); %" PRId64
                      " were read in one turn alone.",
                      t.sure, t.state[FIELD_GOOD] - t.sure);
}

static enum err image(const struct archive_view *v, struct buf *out)
{
    const struct archive_layout *l = v->layout;
    char bytes[TEXT_COUNT_MAX];
    if (l->count == 0)
        return ERR_OK;
    TRY(text_wrapf(out, 0, "image", HANG, "%s bytes in disk.img, CRC-32 %08" PRIx32,
                   text_count((int64_t)l->bytes, bytes), archive_crc32(v->image, l->bytes)));
    if (l->uniform)
        return text_wrapf(out, 0, "geometry", HANG,
                          "%" PRId32 " cylinders, %" PRId32 " side%s, %" PRId32
                          " sectors of %d bytes from number %d, %s",
                          l->cylinders, l->sides, l->sides == 1 ? "" : "s", l->sectors,
                          128 << l->size_code, l->first_number, encoding_name(l->encoding));
    return text_wrapf(out, 0, "geometry", HANG,
                      "%" PRId32 " cylinders, %" PRId32 " side%s, tracks not all alike",
                      l->cylinders, l->sides, l->sides == 1 ? "" : "s");
}

/* "3 (damaged), 7 (absent)" of slots from..to. */
static const char *not_good(const struct archive_layout *l, size_t from, size_t to,
                            char out[LIST_MAX])
{
    size_t at = 0;
    out[0] = '\0';
    for (size_t i = from; i < to && at + 40 < LIST_MAX; i++) {
        const struct archive_slot *s = &l->slot[i];
        enum field_state state = archive_slot_state(s);
        const char *word = state == FIELD_ABSENT && s->sector != NULL ? "no data field"
                                                                      : field_state_name(state);
        if (state != FIELD_GOOD)
            at += (size_t)snprintf(out + at, LIST_MAX - at, "%s%d (%s)", at > 0 ? ", " : "",
                                   s->number, word);
    }
    return out;
}

/* The slots of one track. */
struct row {
    size_t from, to, bad;
    bool absent; /* all of them */
};

static struct row row_at(const struct archive_layout *l, size_t from)
{
    struct row r = {from, from, 0, true};
    for (; r.to < l->count && l->slot[r.to].cylinder == l->slot[from].cylinder &&
           l->slot[r.to].side == l->slot[from].side;
         r.to++) {
        r.bad += archive_slot_state(&l->slot[r.to]) != FIELD_GOOD;
        r.absent = r.absent && l->slot[r.to].sector == NULL;
    }
    return r;
}

static enum err bad_row(const struct archive_layout *l, const struct row *r, struct buf *out)
{
    char list[LIST_MAX];
    char where[WHERE_MAX];
    (void)snprintf(where, sizeof where, "%2" PRId32 "/%" PRId32, l->slot[r->from].cylinder,
                   l->slot[r->from].side);
    return text_wrap(out, 2, where, HANG, not_good(l, r->from, r->to, list));
}

/* Tracks of which nothing is there, in one line. */
static enum err absent_rows(const struct archive_layout *l, const struct row *first,
                            const struct row *last, struct buf *out)
{
    const struct archive_slot *a = &l->slot[first->from];
    const struct archive_slot *b = &l->slot[last->from];
    if (first->from == last->from)
        return text_wrapf(out, 2, "", 2, "%2" PRId32 "/%" PRId32 "     nothing there",
                          a->cylinder, a->side);
    return text_wrapf(out, 2, "", 2,
                      "%2" PRId32 "/%" PRId32 " to %" PRId32 "/%" PRId32 "  nothing there",
                      a->cylinder, a->side, b->cylinder, b->side);
}

static enum err bad_tracks(const struct archive_view *v, const struct text_style *st,
                           struct buf *out)
{
    const struct archive_layout *l = v->layout;
    bool headed = false;
    struct row r;
    for (size_t i = 0; i < l->count; i = r.to) {
        r = row_at(l, i);
        if (r.bad == 0)
            continue;
        if (!headed)
            TRY(text_heading(out, st, "not good (cylinder/side)"));
        headed = true;
        struct row last = r;
        while (r.absent && last.to < l->count) {
            struct row next = row_at(l, last.to);
            if (!next.absent)
                break;
            last = next;
        }
        TRY(r.absent ? absent_rows(l, &r, &last, out) : bad_row(l, &r, out));
        r = last;
    }
    return ERR_OK;
}

static enum err passes(const struct archive_view *v, struct buf *out)
{
    const struct archive *a = v->archive;
    for (size_t i = 0; i < a->pass_count; i++) {
        int64_t from = 0;
        for (size_t n = 0; n < v->layout->count; n++) {
            const struct archive_sector *s = v->layout->slot[n].sector;
            from += s != NULL && s->content != CONTENT_NONE && s->first.pass == (int32_t)i;
        }
        TRY(text_wrapf(out, 0, i == 0 ? "from" : "", HANG, "%zu %s: %" PRId64 " sectors", i + 1,
                       a->pass[i].file, from));
    }
    return ERR_OK;
}

/* A word that a shell takes as it stands. */
static enum err quoted(struct buf *out, const char *word)
{
    TRY(buf_str(out, "'"));
    for (const char *p = word; *p != '\0'; p++)
        TRY(*p == '\'' ? buf_str(out, "'\\''") : buf_add(out, p, 1));
    return buf_str(out, "'");
}

static enum err fixity(const struct archive_view *v, const struct text_style *st,
                       struct buf *out)
{
    TRY(text_heading(out, st, "keep"));
    TRY(text_wrap(out, 2, "", 2,
                  "A CRC-32 is a check, not fixity. Sums of all files, to keep elsewhere:"));
    TRY(buf_str(out, "  (cd "));
    TRY(quoted(out, v->folder));
    return buf_str(out, " && sha256sum *)\n");
}

enum err report_archive_text(const struct archive_view *v, const struct text_style *st,
                             struct buf *out)
{
    const struct archive *a = v->archive;
    TRY(answer(v, st, out));
    TRY(buf_str(out, "\n"));
    TRY(text_wrap(out, 0, "folder", HANG, v->folder));
    TRY(image(v, out));
    TRY(passes(v, out));
    TRY(bad_tracks(v, st, out));
    TRY(archive_volume_text(v->volume, st, out));
    if (v->layout->outside_count > 0) {
        TRY(text_heading(out, st, "not in the image"));
        TRY(text_wrapf(out, 2, "", 2, "%zu sector%s, first: %s (%" PRId32 "/%" PRId32 " %d)",
                       v->layout->outside_count, v->layout->outside_count == 1 ? "" : "s",
                       v->layout->outside[0].why, v->layout->outside[0].cylinder,
                       v->layout->outside[0].side, v->layout->outside[0].sector->number));
    }
    if (a->warning_count > 0)
        TRY(text_heading(out, st, "mind"));
    for (size_t i = 0; i < a->warning_count; i++)
        TRY(text_wrap(out, 2, "-", 4, a->warning[i]));
    return fixity(v, st, out);
}
