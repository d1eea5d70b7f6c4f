/* Test tracks written, written over and erased, read back. */
#include "accept/accept_private.h"
#include "accept/test_track.h"

#include <stdio.h>
#include <string.h>

static const char BLOCK[] = "accept, block "; /* as the plan writes it into a capture */

bool capture_is_block(const struct survey *s, const char *block)
{
    const char *at = strstr(s->info.detail, BLOCK);
    return at != NULL && strcmp(at + sizeof BLOCK - 1, block) == 0;
}

bool accept_own_writing(const struct survey *s)
{
    static const char *const blocks[] = {"before", "writing", "written", "written-over",
                                         "erased"};
    for (size_t i = 0; i < sizeof blocks / sizeof blocks[0]; i++)
        if (capture_is_block(s, blocks[i]))
            return true;
    return false;
}

struct found {
    bool block; /* such a capture is there */
    int32_t tracks, sectors, good;
};

/* Sectors of test tracks in the captures of a block, by place of the head and identifier. */
static struct found find(const struct evidence *v, const char *block)
{
    struct found f = {false, 0, 0, 0};
    for (size_t i = 0; i < v->captures; i++) {
        const struct survey *s = v->survey[i];
        if (!capture_is_block(s, block))
            continue;
        f.block = true;
        for (size_t k = 0; k < s->track_count; k++) {
            const struct track *t = &s->track[k];
            int32_t before = f.sectors;
            for (size_t n = 0; n < t->sector_count; n++) {
                const struct track_sector *x = &t->sector[n];
                if (x->sector < TEST_SECTOR_FIRST || x->cylinder != t->cylinder ||
                    (t->side >= 0 && x->side != t->side))
                    continue;
                f.sectors++;
                f.good += x->data == FIELD_GOOD;
            }
            f.tracks += f.sectors > before;
        }
    }
    return f;
}

/* Tracks that the plan wrote of each pattern: the gate opens once a track. */
static int32_t tracks_written(const struct evidence *v)
{
    int32_t most = 0;
    for (size_t i = 0; i < v->captures; i++)
        if (capture_is_block(v->survey[i], "writing") && v->survey[i]->story.write_gates > most)
            most = v->survey[i]->story.write_gates;
    return most;
}

static bool nothing_written(struct evidence *v, enum accept_item item)
{
    const struct accept_facts *f = &v->o->facts;
    if (tracks_written(v) > 0)
        return false;
    if (f->write_asked)
        line_not_measured(v, item, "%s",
                          f->write_why != NULL ? f->write_why : "nothing was written");
    else
        line_not_asked(v, item, "not asked for (--scratch)");
    return true;
}

static void written(struct evidence *v, enum accept_item item, const char *block, int sectors)
{
    struct found f = find(v, block);
    int32_t tracks = tracks_written(v);
    int32_t all = tracks * sectors;
    if (nothing_written(v, item))
        return;
    if (item != ACCEPT_WRITE && line_failed(v, ACCEPT_WRITE)) {
        line_not_measured(v, item, "nothing that was written could be read back");
        return;
    }
    if (!f.block) {
        line_not_measured(v, item, "it was not read back");
        return;
    }
    line_value(v, item, all - f.good, 0);
    line_at_most(v, item, 0, "every sector that was written");
    line_text(v, item, "not read back, of %d on %d tracks of inner cylinders, worst-case data",
              all, tracks);
}

static void erased(struct evidence *v, int sectors)
{
    struct found f = find(v, "erased");
    int32_t all = tracks_written(v) * sectors;
    if (nothing_written(v, ACCEPT_ERASE))
        return;
    if (!f.block || line_failed(v, ACCEPT_WRITE) || all == 0) {
        line_not_measured(v, ACCEPT_ERASE, "nothing was there to be erased");
        return;
    }
    line_value(v, ACCEPT_ERASE, 100.0 * f.sectors / all, 0);
    line_at_most(v, ACCEPT_ERASE, 0, "nothing is left to be read");
    line_text(v, ACCEPT_ERASE, "of %d sectors can still be found", all);
}

void accept_lines_write(struct evidence *v)
{
    struct test_layout l = {.sectors = 0};
    (void)test_layout_of(v->drive, &l);
    written(v, ACCEPT_WRITE, "written", l.sectors);
    written(v, ACCEPT_OVERWRITE, "written-over", l.sectors);
    erased(v, l.sectors);
}
