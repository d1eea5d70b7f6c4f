/* A profile of any bytes: the INI reader, then the whole check and the load by way of a file.
 */
#include "base/buf.h"
#include "base/ini_file.h"
#include "profile/profile.h"

#include <assert.h>
#include <stdint.h>
#include <stdio.h>
#include <sys/mman.h>
#include <unistd.h>

#define PROBLEM_BYTES_MAX ((size_t)1 << 20)

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_as(const char *path, enum profile_kind kind)
{
    struct buf problems;
    struct err_msg e = {0};
    size_t count = 0;

    buf_init(&problems, PROBLEM_BYTES_MAX);
    enum err code = profile_check_file(path, kind, &problems, &count, &e);
    assert(code == ERR_OK || e.text[0] != '\0');
    assert(code != ERR_OK || (count > 0) == (problems.len > 0));
    buf_release(&problems);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct ini_file ini;
    struct err_msg e = {0};
    char path[64];

    if (ini_file_parse("profile.ini", (const char *)data, size, &ini, &e) != ERR_OK) {
        assert(e.text[0] != '\0');
        return 0;
    }
    ini_file_release(&ini);
    int fd = memfd_create("profile", 0); /* a file without a place on the disk */
    if (fd < 0)
        return 0;
    (void)snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
    if (size == 0 || write(fd, data, size) == (ssize_t)size)
        for (int kind = 0; kind < PROFILE_KINDS; kind++)
            check_as(path, (enum profile_kind)kind);
    close(fd);
    return 0;
}
