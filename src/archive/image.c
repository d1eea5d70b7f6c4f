/* The image's bytes, and what stands where nothing was read. */
#include "archive/archive_private.h"
#include "archive/layout.h"

#include <stdlib.h>
#include <string.h>

#include <zlib.h>

const char ARCHIVE_PATTERN[] = "-sector absent--";

enum field_state archive_slot_state(const struct archive_slot *s)
{
    return s->sector != NULL ? archive_sector_state(s->sector) : FIELD_ABSENT;
}

enum archive_fill archive_slot_fill(const struct archive_slot *s)
{
    if (s->sector == NULL || s->sector->bytes == NULL)
        return FILL_PATTERN;
    return archive_slot_state(s) == FIELD_DAMAGED ? FILL_AS_READ : FILL_NONE;
}

enum err archive_image(const struct archive_layout *l, uint8_t **out)
{
    const size_t period = strlen(ARCHIVE_PATTERN);
    uint8_t *image = malloc(l->bytes > 0 ? l->bytes : 1);
    if (image == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < l->count; i++) {
        const struct archive_slot *s = &l->slot[i];
        size_t len = (size_t)128 << s->size_code;
        if (archive_slot_fill(s) != FILL_PATTERN) {
            memcpy(image + s->offset, s->sector->bytes, len);
            continue;
        }
        for (size_t at = 0; at < len; at++)
            image[s->offset + at] = (uint8_t)ARCHIVE_PATTERN[at % period];
    }
    *out = image;
    return ERR_OK;
}

uint32_t archive_crc32(const uint8_t *bytes, size_t len)
{
    return (uint32_t)crc32_z(0, bytes, len);
}

struct archive_totals archive_count(const struct archive_layout *l)
{
    struct archive_totals t = {.sectors = (int64_t)l->count};
    for (size_t i = 0; i < l->count; i++) {
        const struct archive_slot *s = &l->slot[i];
        enum field_state state = archive_slot_state(s);
        t.state[state]++;
        t.sure += state == FIELD_GOOD && archive_sector_sure(s->sector);
        t.seen_absent += state == FIELD_ABSENT && s->sector != NULL;
    }
    return t;
}
