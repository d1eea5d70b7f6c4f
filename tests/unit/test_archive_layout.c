/* Which sectors the image holds, and in what order. */
#include "archive/layout.h"
#include "unit/archive_make.h"

#include <stdlib.h>

static const struct archive_extent SEEN = {0, 0};

/* Two turns of cylinders from..to, both sides, nine sectors; each byte tells its place. */
static void fill(struct archive *a, int from, int to)
{
    for (int c = from; c <= to; c++)
        for (int side = 0; side < 2; side++)
            for (int turn = 0; turn < 2; turn++)
                for (int n = 1; n <= 9; n++)
                    take_read(a, c, side,
                              made(c, side, n, turn, (uint8_t)(10 * c + side), true), 0);
}

static void sectors_lie_by_cylinder_side_and_number(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive_layout l;
    uint8_t *image = NULL;
    (void)state;
    fill(&a, 0, 4);
    assert_int_equal(archive_layout_make(&a, &SEEN, &l), ERR_OK);
    assert_int_equal(archive_image(&l, &image), ERR_OK);
    assert_int_equal(l.bytes, 5 * 2 * 9 * 512);
    assert_true(l.uniform);
    assert_int_equal(l.sectors, 9);
    for (int c = 0; c < 5; c++)
        for (int side = 0; side < 2; side++)
            for (int n = 1; n <= 9; n++) {
                const uint8_t *s = image + (((c * 2 + side) * 9) + n - 1) * 512;
                assert_int_equal(s[0], n);
                assert_int_equal(s[511], 10 * c + side);
            }
    free(image);
    archive_layout_release(&l);
    archive_release(&a);
}

static void a_number_that_few_tracks_lack_has_its_place(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive_layout l;
    uint8_t *image = NULL;
    (void)state;
    fill(&a, 0, 2);
    take_read(&a, 3, 0, made(3, 0, 1, 0, 30, true), 0);
    assert_int_equal(archive_layout_make(&a, &SEEN, &l), ERR_OK);
    assert_int_equal(archive_image(&l, &image), ERR_OK);
    assert_int_equal(l.count, 4 * 18);
    struct archive_totals t = archive_count(&l);
    assert_int_equal(t.state[FIELD_GOOD], 3 * 18 + 1);
    assert_int_equal(t.state[FIELD_ABSENT], 17);
    assert_memory_equal(image + (3 * 18 + 1) * 512, ARCHIVE_PATTERN, strlen(ARCHIVE_PATTERN));
    free(image);
    archive_layout_release(&l);
    archive_release(&a);
}

static void a_sector_of_another_cylinder_stays_outside(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive_layout l;
    (void)state;
    fill(&a, 0, 3);
    take_read(&a, 4, 0, made(3, 0, 1, 0, 77, true), 0); /* the head stood elsewhere */
    take_read(&a, 4, 1, made(4, 1, 1, 0, 41, true), 0);
    assert_int_equal(archive_layout_make(&a, &SEEN, &l), ERR_OK);
    assert_int_equal(l.outside_count, 1);
    assert_int_equal(l.outside[0].cylinder, 4);
    assert_int_equal(archive_slot_state(&l.slot[4 * 18]), FIELD_ABSENT);
    assert_int_equal(archive_slot_state(&l.slot[4 * 18 + 9]), FIELD_GOOD);
    archive_layout_release(&l);
    archive_release(&a);
}

static void a_disk_that_numbers_its_cylinders_otherwise_is_whole(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive_layout l;
    (void)state;
    for (int c = 0; c < 5; c++)
        for (int n = 1; n <= 9; n++)
            take_read(&a, c, 0, made(200, 0, n, 0, (uint8_t)c, true), 0);
    assert_int_equal(archive_layout_make(&a, &SEEN, &l), ERR_OK);
    assert_int_equal(l.outside_count, 0);
    assert_int_equal(archive_count(&l).state[FIELD_GOOD], 45);
    archive_layout_release(&l);
    archive_release(&a);
}

/* SIDE that does not reach the drive gives side 0 twice, under identifiers of side 0. */
static void a_second_side_that_repeats_the_first_is_not_believed(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive_layout l;
    (void)state;
    for (int c = 0; c < 5; c++)
        for (int side = 0; side < 2; side++)
            for (int n = 1; n <= 9; n++)
                take_read(&a, c, side, made(c, 0, n, 0, (uint8_t)c, true), 0);
    assert_int_equal(archive_layout_make(&a, &SEEN, &l), ERR_OK);
    assert_int_equal(l.sides, 1);
    assert_int_equal(l.outside_count, 45);
    archive_layout_release(&l);
    archive_release(&a);
}

static void a_track_of_another_format_keeps_its_own_sectors(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive_layout l;
    (void)state;
    fill(&a, 1, 4);
    for (int n = 1; n <= 16; n++) {
        struct made_read m = made(0, 0, n, 0, 5, true);
        m.read.size_code = 1;
        take_read(&a, 0, 0, m, 0);
    }
    assert_int_equal(archive_layout_make(&a, &SEEN, &l), ERR_OK);
    assert_false(l.uniform);
    assert_int_equal(l.slot[15].number, 16);
    assert_int_equal(l.slot[16].offset, 16 * 256);
    assert_int_equal(l.slot[16].side, 1);
    archive_layout_release(&l);
    archive_release(&a);
}

static void nothing_read_gives_an_empty_image(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive_layout l;
    (void)state;
    assert_int_equal(archive_layout_make(&a, &SEEN, &l), ERR_OK);
    assert_int_equal(l.count, 0);
    assert_int_equal(l.bytes, 0);
    archive_layout_release(&l);
    archive_release(&a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sectors_lie_by_cylinder_side_and_number),
        cmocka_unit_test(a_number_that_few_tracks_lack_has_its_place),
        cmocka_unit_test(a_sector_of_another_cylinder_stays_outside),
        cmocka_unit_test(a_disk_that_numbers_its_cylinders_otherwise_is_whole),
        cmocka_unit_test(a_second_side_that_repeats_the_first_is_not_believed),
        cmocka_unit_test(a_track_of_another_format_keeps_its_own_sectors),
        cmocka_unit_test(nothing_read_gives_an_empty_image),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
