/* What an archive is resumed from: a journal, or a map (disk.json) with an image of zeros. */
#include "archive/journal.h"
#include "archive/layout.h"
#include "report/archive.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#define IMAGE_BYTES 65536

/* Whatever was read can be laid out, and no sector is good that has no bytes. */
static void look(const struct archive *a)
{
    const struct archive_extent least = {0, 0};
    struct archive_layout l;
    uint8_t *image = NULL;
    if (archive_layout_make(a, &least, &l) != ERR_OK)
        return;
    for (size_t i = 0; i < l.count; i++)
        assert(archive_slot_state(&l.slot[i]) != FIELD_GOOD || l.slot[i].sector->bytes != NULL);
    if (archive_image(&l, &image) == ERR_OK)
        (void)archive_crc32(image, l.bytes);
    free(image);
    archive_layout_release(&l);
}

static void as_map(const uint8_t *data, size_t size, struct archive *a)
{
    struct err_msg e = {0};
    size_t lost = 0;
    uint8_t *image = calloc(IMAGE_BYTES, 1);
    if (image == NULL)
        return;
    if (archive_json_read("input", (const char *)data, size, image, IMAGE_BYTES, a, &lost,
                          &e) != ERR_OK)
        assert(e.text[0] != '\0');
    free(image);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct archive a = {.pass_count = 0};
    struct err_msg e = {0};
    bool cut = false;
    if (size > 0 && data[0] == 0x8a)
        (void)journal_parse("input", data, size, &a, &cut, &e);
    else
        as_map(data, size, &a);
    look(&a);
    archive_release(&a);
    return 0;
}
