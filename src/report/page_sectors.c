/* The sectors of a capture as a map. */
#include "report/page_map.h"
#include "report/page_parts.h"

#include <stdio.h>
#include <stdlib.h>

static enum look look_of(const struct track_sector *s)
{
    static const enum look by_state[] = {[FIELD_ABSENT] = LOOK_ABSENT,
                                         [FIELD_DAMAGED] = LOOK_DAMAGED,
                                         [FIELD_REPAIRED] = LOOK_REPAIRED,
                                         [FIELD_GOOD] = LOOK_GOOD};
    return s->id_good ? by_state[s->data] : LOOK_NO_ID;
}

static size_t sector_count(const struct survey *s)
{
    size_t n = 0;
    for (size_t i = 0; i < s->track_count; i++) {
        n += s->track[i].sector_count;
    }
    return n;
}

enum err page_sectors(struct buf *out, const struct page_capture *c)
{
    const struct survey *s = c->survey;
    size_t count = sector_count(s);
    size_t looks[LOOKS] = {0};
    struct map_sector *list = calloc(count + 1, sizeof *list);
    char text[240];
    if (list == NULL) {
        return ERR_MEMORY;
    }
    for (size_t i = 0, n = 0; i < s->track_count; i++) {
        const struct track *t = &s->track[i];
        for (size_t k = 0; k < t->sector_count; k++, n++) {
            list[n] =
                (struct map_sector){t->cylinder, t->side, (uint32_t)k, look_of(&t->sector[k])};
            looks[list[n].look]++;
        }
    }
    (void)snprintf(
        text, sizeof text,
        "%zu sectors good, %zu repaired, %zu damaged, %zu absent, %zu with a damaged "
        "identifier.",
        looks[LOOK_GOOD], looks[LOOK_REPAIRED], looks[LOOK_DAMAGED], looks[LOOK_ABSENT],
        looks[LOOK_NO_ID]);
    struct sector_map m = {c->id, "Sectors by cylinder and side", text, list, count};
    enum err e = map_draw(out, &m);
    free(list);
    return e;
}
