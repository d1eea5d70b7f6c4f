/* Images of FAT volumes, sound and with parts that are not good: whatever the numbers in them
 * say, every file's figures stay within the image. */
#include "archive/fat.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void look(const struct fat_image *image)
{
    struct fat_volume v;
    if (fat_read(image, &v) != ERR_OK)
        return;
    uint64_t clusters = 0;
    for (size_t i = 0; i < v.count; i++) {
        const struct fat_file *f = &v.file[i];
        assert(memchr(f->path, '\0', sizeof f->path) != NULL);
        clusters += f->clusters;
    }
    assert(v.bits == 0 || clusters <= v.clusters); /* no cluster is two files' */
    assert(v.used + v.free + v.bad == v.clusters);
    fat_release(&v);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct fat_image image = {data, size, NULL};
    uint8_t *state = malloc(size / FAT_STATE_UNIT + 1);
    if (state == NULL)
        return 0;
    look(&image);
    for (size_t i = 0; i <= size / FAT_STATE_UNIT; i++)
        state[i] = i < 8 ? FIELD_GOOD : (data[i * 31 % (size > 0 ? size : 1)] & 3);
    image.state = state;
    if (size > 0)
        look(&image);
    free(state);
    return 0;
}
