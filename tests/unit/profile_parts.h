/* Profiles of a machine, a drive and a cable, for tests that need all three. */
#ifndef TEST_PROFILE_PARTS_H
#define TEST_PROFILE_PARTS_H

#include "profile/profile.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

struct parts {
    struct profile *machine, *drive, *cable;
};

static inline void load_parts(struct parts *p, const char *machine, const char *drive,
                              const char *cable)
{
    struct err_msg e = {0};
    struct profile_path *path = NULL;
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_CONTROLLER, machine, &p->machine, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_DRIVE, drive, &p->drive, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_CABLE, cable, &p->cable, &e), ERR_OK);
    profile_path_free(path);
}

static inline void free_parts(struct parts *p)
{
    profile_free(p->machine);
    profile_free(p->drive);
    profile_free(p->cable);
}

#endif
