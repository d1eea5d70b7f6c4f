/* Readings of sectors made by hand, for tests of the archive. */
#ifndef TESTS_UNIT_ARCHIVE_MAKE_H
#define TESTS_UNIT_ARCHIVE_MAKE_H

#include "archive/archive.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#define TURN_NS INT64_C(200000000)

/* One reading of sector `number` in turn `turn`, all of it one byte; agrees or not. */
struct made_read {
    struct sector_read read;
    uint8_t bytes[512];
};

static inline struct made_read made(int cylinder, int side, int number, int turn, uint8_t byte,
                                    bool agrees)
{
    struct made_read m = {.read = {.id_ns = turn * TURN_NS + number * 20000000,
                                   .cylinder = (uint8_t)cylinder,
                                   .side = (uint8_t)side,
                                   .sector = (uint8_t)number,
                                   .size_code = 2,
                                   .mark = 0xFB,
                                   .id_good = true,
                                   .data = agrees ? FIELD_GOOD : FIELD_DAMAGED,
                                   .encoding = ENC_MFM}};
    memset(m.bytes, byte, sizeof m.bytes);
    m.bytes[0] = (uint8_t)number;
    return m;
}

/* Into the archive, at the head's place. */
static inline void take_read(struct archive *a, int cylinder, int side, struct made_read m,
                             int pass)
{
    struct archive_key key = archive_place(cylinder, side);
    struct archive_track *track = NULL;
    m.read.bytes = m.bytes;
    while (a->pass_count <= (size_t)pass) {
        struct archive_pass p = {.print = a->pass_count + 1};
        int32_t index = 0;
        assert_int_equal(archive_pass_add(a, &p, &index), ERR_OK);
    }
    assert_int_equal(archive_track_at(&a->tracks, &key, &track), ERR_OK);
    assert_non_null(track);
    assert_int_equal(archive_read(&a->tracks, track, &m.read, pass), ERR_OK);
}

static inline const struct archive_sector *sector_at(const struct archive *a, int cylinder,
                                                     int side, int number)
{
    const struct archive_track *t = archive_track_find(&a->tracks, cylinder, side);
    assert_non_null(t);
    for (size_t i = 0; i < t->count; i++)
        if (t->sector[i].number == number)
            return &t->sector[i];
    fail_msg("no sector %d", number);
    return NULL;
}

#endif
