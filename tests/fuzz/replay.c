/* Feeds a fuzz target what lies in the folders and files named: each whole, cut short at places
 * spread over it, and with single bytes changed. The same inputs on every run.
 *
 *   replay_vcd tests/fuzz/corpus/vcd
 *
 * A finding is a crash, a sanitizer's stop or a hang (ctest's time limit). No input at all is a
 * failure.
 */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#define INPUT_BYTES_MAX (16u << 20)
#define CUTS            24
#define FLIPS           96
#define FILES_MAX       4096

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static size_t inputs;

/* From a block of exactly this size, so that a sanitizer sees a read past its end. */
static int feed(const uint8_t *data, size_t size)
{
    uint8_t *copy = malloc(size ? size : 1);

    if (!copy)
        return -1;
    memcpy(copy, data, size);
    LLVMFuzzerTestOneInput(copy, size);
    free(copy);
    inputs++;
    return 0;
}

static int feed_changed(uint8_t *data, size_t size)
{
    static const uint8_t turn[] = {0x01, 0x80, 0xff, 0x20};

    for (size_t i = 0; i < CUTS; i++)
        if (feed(data, size * i / CUTS))
            return -1;
    if (size > 0 && feed(data, size - 1))
        return -1;
    for (size_t i = 0; size > 0 && i < FLIPS; i++) {
        /* Half of them near the start, where headers are. */
        size_t span = i % 2 && size > 256 ? 256 : size;
        size_t at = (size_t)((uint64_t)i * 2654435761u % span);
        uint8_t before = data[at];

        data[at] ^= turn[i % sizeof turn];
        if (feed(data, size))
            return -1;
        data[at] = before;
    }
    return 0;
}

static int replay_file(const char *path)
{
    FILE *f = fopen(path, "rb");
    uint8_t *data = malloc(INPUT_BYTES_MAX);
    size_t size = 0;
    int bad = !f || !data;

    if (!bad) {
        size = fread(data, 1, INPUT_BYTES_MAX, f);
        bad = ferror(f) || !feof(f);
    }
    if (bad)
        fprintf(stderr, "%s: cannot be read, or is over %u bytes\n", path, INPUT_BYTES_MAX);
    else
        bad = feed(data, size) || feed_changed(data, size);
    free(data);
    if (f)
        fclose(f);
    return bad ? -1 : 0;
}

static int replay_folder(const char *path)
{
    struct dirent **entry;
    int count = scandir(path, &entry, NULL, alphasort);
    int bad = count < 0 || count > FILES_MAX;

    for (int i = 0; i < count; i++) {
        char name[4096];
        int len = snprintf(name, sizeof name, "%s/%s", path, entry[i]->d_name);

        if (entry[i]->d_name[0] != '.' && !bad)
            bad = len < 0 || (size_t)len >= sizeof name || replay_file(name);
        free(entry[i]);
    }
    if (count >= 0)
        free(entry);
    if (bad)
        fprintf(stderr, "%s: not replayed\n", path);
    return bad ? -1 : 0;
}

int main(int argc, char **argv)
{
    for (int i = 1; i < argc; i++) {
        struct stat st;

        if (stat(argv[i], &st)) {
            fprintf(stderr, "%s: not there\n", argv[i]);
            return 1;
        }
        if (S_ISDIR(st.st_mode) ? replay_folder(argv[i]) : replay_file(argv[i]))
            return 1;
    }
    printf("%zu inputs replayed\n", inputs);
    return inputs ? 0 : 1;
}
