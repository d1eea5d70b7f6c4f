/* Which sectors the image holds. */
#include "archive/layout.h"

#include "archive/archive_private.h"
#include "base/buf.h"

#include <stdlib.h>
#include <string.h>

#define SLOTS_MAX ((size_t)ARCHIVE_CYLINDERS_MAX * 2 * 256)
#define NUMBERS   256
#define PART_SAME 4 /* a number belongs to the format when one track in so many has it */

/* What the disk's tracks have in common. */
struct common {
    int32_t tracks;        /* with sectors of that size */
    int32_t on[NUMBERS];   /* tracks that have the number, of the size at hand */
    uint8_t size_code;     /* of most sectors */
    bool wanted[NUMBERS];  /* what a track of the format has */
    bool cylinder_holds;   /* identifiers name the head's cylinder */
    int32_t side_says[2];  /* what most identifiers of a side name; -1 */
    bool side_1_is_side_0; /* both sides gave the same: SIDE does not reach the drive */
};

static bool of_size(const struct archive_sector *s, uint8_t size_code)
{
    return s->size_code == size_code;
}

static void common_names(const struct archive_tracks *t, struct common *c)
{
    int64_t named = 0;
    int64_t all = 0;
    int32_t votes[2][NUMBERS] = {{0}};
    int64_t sizes[8] = {0};
    for (size_t i = 0; i < t->count; i++) {
        const struct archive_track *k = &t->track[i];
        for (size_t n = 0; n < k->count; n++) {
            const struct archive_sector *s = &k->sector[n];
            named += s->id_cylinder == k->key.at[0];
            votes[k->key.at[1] & 1][s->id_side]++;
            sizes[s->size_code & 7]++;
            all++;
        }
    }
    c->cylinder_holds = 2 * named >= all;
    for (int side = 0; side < 2; side++) {
        c->side_says[side] = -1;
        for (int v = 0; v < NUMBERS; v++)
            if (votes[side][v] > 0 &&
                (c->side_says[side] < 0 || votes[side][v] > votes[side][c->side_says[side]]))
                c->side_says[side] = v;
    }
    for (uint8_t code = 0; code < 8; code++)
        if (sizes[code] > sizes[c->size_code])
            c->size_code = code;
}

static bool all_one_byte(const struct archive_sector *s)
{
    const uint8_t *b = s->bytes;
    return memcmp(b, b + 1, archive_sector_bytes(s) - 1) == 0;
}

/* Sectors of side 1 that hold what side 0 holds, against those that do not; sectors of one byte
 * repeated tell nothing. */
static void sides_compare(const struct archive_track *zero, const struct archive_track *one,
                          int64_t *same, int64_t *differ)
{
    for (size_t i = 0; zero != NULL && i < one->count; i++) {
        const struct archive_sector *a = &one->sector[i];
        if (a->content != CONTENT_AGREED || all_one_byte(a))
            continue;
        for (size_t n = 0; n < zero->count; n++) {
            const struct archive_sector *b = &zero->sector[n];
            if (b->content != CONTENT_AGREED || b->number != a->number ||
                b->size_code != a->size_code)
                continue;
            bool equal = memcmp(a->bytes, b->bytes, archive_sector_bytes(a)) == 0;
            *same += equal;
            *differ += !equal;
        }
    }
}

static void common_sides(const struct archive_tracks *t, struct common *c)
{
    int64_t same = 0;
    int64_t differ = 0;
    for (size_t i = 0; i < t->count; i++)
        if (t->track[i].key.at[1] == 1)
            sides_compare(archive_track_find(t, t->track[i].key.at[0], 0), &t->track[i], &same,
                          &differ);
    c->side_1_is_side_0 =
        c->side_says[1] >= 0 && c->side_says[1] == c->side_says[0] && same > 4 * differ;
}

/* NULL where the sector belongs to its track. */
static const char *why_outside(const struct common *c, const struct archive_track *k,
                               const struct archive_sector *s)
{
    int side = k->key.at[1] & 1;
    if (side == 1 && c->side_1_is_side_0)
        return "side 1 gave what side 0 holds: SIDE does not reach the drive";
    if (c->cylinder_holds && s->id_cylinder != k->key.at[0])
        return "its identifier names another cylinder";
    if (c->side_says[side] >= 0 && s->id_side != c->side_says[side])
        return "its identifier names another side";
    return NULL;
}

static void common_numbers(const struct archive_tracks *t, struct common *c)
{
    int first = NUMBERS;
    int last = -1;
    int32_t most = 0;
    for (size_t i = 0; i < t->count; i++) {
        const struct archive_track *k = &t->track[i];
        bool has[NUMBERS] = {false};
        bool any = false;
        for (size_t n = 0; n < k->count; n++) {
            if (!of_size(&k->sector[n], c->size_code) ||
                why_outside(c, k, &k->sector[n]) != NULL)
                continue;
            has[k->sector[n].number] = any = true;
        }
        for (int n = 0; n < NUMBERS; n++)
            c->on[n] += has[n];
        c->tracks += any;
    }
    for (int n = 0; n < NUMBERS; n++)
        most = c->on[n] > most ? c->on[n] : most;
    for (int n = 0; n < NUMBERS; n++) {
        if (c->on[n] == 0 || PART_SAME * c->on[n] < most)
            continue;
        first = n < first ? n : first;
        last = n;
    }
    for (int n = first; n <= last; n++)
        c->wanted[n] = true;
}

/* The better of two sectors of one number: that which names its own place, then that of which
 * more is known. */
static bool better(const struct archive_track *k, const struct archive_sector *a,
                   const struct archive_sector *b)
{
    int own_a = (a->id_cylinder == k->key.at[0]) + (a->id_side == k->key.at[1]);
    int own_b = (b->id_cylinder == k->key.at[0]) + (b->id_side == k->key.at[1]);
    if (own_a != own_b)
        return own_a > own_b;
    if (archive_sector_state(a) != archive_sector_state(b))
        return archive_sector_state(a) > archive_sector_state(b);
    return a->seen > b->seen;
}

static enum err outside_add(struct archive_layout *l, const struct archive_track *k,
                            const struct archive_sector *s, const char *why)
{
    TRY(array_grow((void **)&l->outside, &l->outside_cap, l->outside_count + 1,
                   sizeof l->outside[0], SLOTS_MAX));
    l->outside[l->outside_count++] =
        (struct archive_outside){k->key.at[0], k->key.at[1], s, why};
    return ERR_OK;
}

/* The sectors of a track by number. */
static enum err by_number(struct archive_layout *l, const struct common *c,
                          const struct archive_track *k,
                          const struct archive_sector *of[NUMBERS], bool *foreign)
{
    *foreign = false;
    for (size_t n = 0; k != NULL && n < k->count; n++) {
        const struct archive_sector *s = &k->sector[n];
        const char *why = why_outside(c, k, s);
        const struct archive_sector **at = &of[s->number];
        if (why != NULL) {
            TRY(outside_add(l, k, s, why));
            continue;
        }
        if (*at != NULL) {
            bool newer = better(k, s, *at);
            TRY(outside_add(l, k, newer ? *at : s, "another sector has the same number"));
            if (!newer)
                continue;
        }
        *at = s;
    }
    for (int n = 0; n < NUMBERS; n++)
        *foreign = *foreign || (of[n] != NULL && !of_size(of[n], c->size_code));
    return ERR_OK;
}

static enum err slot_add(struct archive_layout *l, const struct archive_slot *s)
{
    TRY(array_grow((void **)&l->slot, &l->cap, l->count + 1, sizeof l->slot[0], SLOTS_MAX));
    l->slot[l->count] = *s;
    l->slot[l->count].offset = l->bytes;
    l->count++;
    l->bytes += (size_t)128 << s->size_code;
    return ERR_OK;
}

/* Where a sector of another size lies on a track, that track is no track of the format: it has
 * what was read of it. */
static enum err place_add(struct archive_layout *l, const struct common *c,
                          const struct archive_tracks *t, int32_t cylinder, int32_t side)
{
    const struct archive_track *k = archive_track_find(t, cylinder, side);
    const struct archive_sector *of[NUMBERS] = {NULL};
    bool foreign = false;
    size_t before = l->count;
    TRY(by_number(l, c, k, of, &foreign));
    for (int n = 0; n < NUMBERS; n++) {
        struct archive_slot s = {cylinder,   side,
                                 (uint8_t)n, of[n] != NULL ? of[n]->size_code : c->size_code,
                                 of[n],      0};
        if (of[n] != NULL || (!foreign && c->wanted[n]))
            TRY(slot_add(l, &s));
    }
    bool same = !foreign;
    for (size_t i = before; i < l->count; i++)
        same = same && c->wanted[l->slot[i].number];
    l->uniform = l->uniform && same;
    l->blank += k != NULL && k->count == 0 && k->turns >= 1;
    return ERR_OK;
}

static void extent_of(const struct archive_tracks *t, const struct common *c,
                      struct archive_layout *l)
{
    for (size_t i = 0; i < t->count; i++) {
        const struct archive_track *k = &t->track[i];
        for (size_t n = 0; n < k->count; n++) {
            if (why_outside(c, k, &k->sector[n]) != NULL)
                continue;
            l->cylinders = k->key.at[0] >= l->cylinders ? k->key.at[0] + 1 : l->cylinders;
            l->sides = k->key.at[1] >= l->sides ? k->key.at[1] + 1 : l->sides;
            l->encoding = k->sector[n].encoding;
        }
    }
}

/* Tracks that the image does not reach hold nothing but such sectors. */
static enum err outside_tracks(struct archive_layout *l, const struct common *c,
                               const struct archive_tracks *t)
{
    for (size_t i = 0; i < t->count; i++) {
        const struct archive_track *k = &t->track[i];
        if (k->key.at[0] < l->cylinders && k->key.at[1] < l->sides)
            continue;
        for (size_t n = 0; n < k->count; n++)
            TRY(outside_add(l, k, &k->sector[n], why_outside(c, k, &k->sector[n])));
    }
    return ERR_OK;
}

/* Places that were to be read and never were: whether the disk goes on there is not known, so
 * that it does until somebody looks. */
static void extent_planned(const struct archive *a, struct archive_layout *l)
{
    for (size_t i = 0; i < a->pass_count; i++) {
        const struct archive_pass *p = &a->pass[i];
        for (int32_t c = p->planned_first; c <= p->planned_last; c++)
            for (int32_t side = 0; side < 2; side++) {
                const struct archive_track *k = archive_track_find(&a->tracks, c, side);
                if (!(p->planned_sides >> side & 1) || (k != NULL && k->turns > 0))
                    continue;
                l->cylinders = c >= l->cylinders ? c + 1 : l->cylinders;
                l->sides = side >= l->sides ? side + 1 : l->sides;
            }
    }
}

enum err archive_layout_make(const struct archive *a, const struct archive_extent *least,
                             struct archive_layout *out)
{
    struct common c = {.tracks = 0};
    struct archive_layout l = {.uniform = true};
    enum err e = ERR_OK;
    common_names(&a->tracks, &c);
    common_sides(&a->tracks, &c);
    common_numbers(&a->tracks, &c);
    extent_of(&a->tracks, &c, &l);
    if (l.cylinders > 0) {
        extent_planned(a, &l);
        l.cylinders = least->cylinders > l.cylinders ? least->cylinders : l.cylinders;
        l.sides = least->sides > l.sides ? least->sides : l.sides;
    }
    for (int32_t cylinder = 0; e == ERR_OK && cylinder < l.cylinders; cylinder++)
        for (int32_t side = 0; e == ERR_OK && side < l.sides; side++)
            e = place_add(&l, &c, &a->tracks, cylinder, side);
    if (e == ERR_OK)
        e = outside_tracks(&l, &c, &a->tracks);
    for (int n = NUMBERS; n-- > 0;) {
        l.sectors += c.wanted[n];
        l.first_number = c.wanted[n] ? (uint8_t)n : l.first_number;
    }
    l.size_code = c.size_code;
    l.uniform = l.uniform && l.count > 0;
    if (e != ERR_OK) {
        archive_layout_release(&l);
        return e;
    }
    *out = l;
    return ERR_OK;
}

void archive_layout_release(struct archive_layout *l)
{
    free(l->slot);
    free(l->outside);
    *l = (struct archive_layout){.slot = NULL};
}
