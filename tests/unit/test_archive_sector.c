/* What a sector counts as, from all its turns. */
#include "unit/archive_make.h"

static void expect(const struct archive *a, enum field_state state, bool sure)
{
    const struct archive_sector *s = sector_at(a, 3, 0, 1);
    assert_int_equal(archive_sector_state(s), state);
    assert_int_equal(archive_sector_sure(s), sure);
}

static void one_turn_is_good_and_two_alike_are_sure(void **state)
{
    struct archive a = {.pass_count = 0};
    (void)state;
    take_read(&a, 3, 0, made(3, 0, 1, 0, 7, true), 0);
    expect(&a, FIELD_GOOD, false);
    take_read(&a, 3, 0, made(3, 0, 1, 1, 7, true), 0);
    expect(&a, FIELD_GOOD, true);
    assert_int_equal(sector_at(&a, 3, 0, 1)->first.turn, 1);
    assert_int_equal(sector_at(&a, 3, 0, 1)->second.turn, 2);
    archive_release(&a);
}

static void one_turn_decoded_twice_is_one_turn(void **state)
{
    struct archive a = {.pass_count = 0};
    (void)state;
    take_read(&a, 3, 0, made(3, 0, 1, 0, 7, true), 0);
    take_read(&a, 3, 0, made(3, 0, 1, 0, 7, true), 0);
    expect(&a, FIELD_GOOD, false);
    assert_int_equal(sector_at(&a, 3, 0, 1)->seen, 1);
    archive_release(&a);
}

static void turns_of_two_passes_are_two_turns(void **state)
{
    struct archive a = {.pass_count = 0};
    (void)state;
    take_read(&a, 3, 0, made(3, 0, 1, 0, 7, true), 0);
    take_read(&a, 3, 0, made(3, 0, 1, 0, 7, true), 1);
    expect(&a, FIELD_GOOD, true);
    assert_int_equal(sector_at(&a, 3, 0, 1)->second.pass, 1);
    archive_release(&a);
}

static void turns_that_agree_with_other_bytes_make_nothing_good(void **state)
{
    struct archive a = {.pass_count = 0};
    (void)state;
    take_read(&a, 3, 0, made(3, 0, 1, 0, 7, true), 0);
    take_read(&a, 3, 0, made(3, 0, 1, 1, 9, true), 0);
    expect(&a, FIELD_DAMAGED, false);
    assert_string_not_equal(archive_sector_doubt(sector_at(&a, 3, 0, 1)), "");
    take_read(&a, 3, 0, made(3, 0, 1, 2, 9, true), 0);
    expect(&a, FIELD_GOOD, true); /* two alike against one */
    assert_int_equal(sector_at(&a, 3, 0, 1)->bytes[100], 9);
    take_read(&a, 3, 0, made(3, 0, 1, 3, 7, true), 0);
    expect(&a, FIELD_DAMAGED, false);
    archive_release(&a);
}

static void a_field_that_never_agrees_is_damaged_and_keeps_its_bytes(void **state)
{
    struct archive a = {.pass_count = 0};
    (void)state;
    for (int turn = 0; turn < 20; turn++)
        take_read(&a, 3, 0, made(3, 0, 1, turn, 7, false), 0);
    expect(&a, FIELD_DAMAGED, false);
    assert_int_equal(sector_at(&a, 3, 0, 1)->failed, 20);
    assert_int_equal(sector_at(&a, 3, 0, 1)->bytes[100], 7);
    archive_release(&a);
}

static void an_identifier_without_its_field_is_absent(void **state)
{
    struct archive a = {.pass_count = 0};
    struct made_read m = made(3, 0, 1, 0, 7, true);
    (void)state;
    m.read.data = FIELD_ABSENT;
    take_read(&a, 3, 0, m, 0);
    expect(&a, FIELD_ABSENT, false);
    assert_int_equal(sector_at(&a, 3, 0, 1)->seen, 1);
    archive_release(&a);
}

/* Sixteen check bits agree by chance in one damaged field of 65,536: a turn in which the code's
 * rules had to decide much proves nothing alone. */
static void a_turn_that_the_rules_decided_is_repaired_until_another_says_the_same(void **state)
{
    struct archive a = {.pass_count = 0};
    struct made_read m = made(3, 0, 1, 0, 7, true);
    (void)state;
    m.read.forced = 40;
    take_read(&a, 3, 0, m, 0);
    expect(&a, FIELD_REPAIRED, false);
    m = made(3, 0, 1, 1, 7, true);
    m.read.forced = 35;
    take_read(&a, 3, 0, m, 0);
    expect(&a, FIELD_GOOD, true);
    archive_release(&a);
}

static void an_identifier_whose_check_bytes_disagree_makes_no_sector(void **state)
{
    struct archive a = {.pass_count = 0};
    struct made_read m = made(3, 0, 1, 0, 7, true);
    (void)state;
    m.read.id_good = false;
    take_read(&a, 3, 0, m, 0);
    assert_int_equal(archive_track_find(&a.tracks, 3, 0)->count, 0);
    archive_release(&a);
}

static void merging_adds_up_what_both_know(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive b = {.pass_count = 0};
    struct archive_track *into = NULL;
    struct archive_key key = archive_place(3, 0);
    (void)state;
    take_read(&a, 3, 0, made(3, 0, 1, 0, 7, false), 0);
    take_read(&b, 3, 0, made(3, 0, 1, 5, 8, true), 1);
    take_read(&b, 3, 0, made(3, 0, 1, 6, 8, true), 1);
    take_read(&b, 3, 0, made(3, 0, 2, 6, 8, true), 1);
    assert_int_equal(archive_track_at(&a.tracks, &key, &into), ERR_OK);
    assert_int_equal(archive_track_merge(&a.tracks, into, &b.tracks.track[0]), ERR_OK);
    expect(&a, FIELD_GOOD, true);
    const struct archive_sector *s = sector_at(&a, 3, 0, 1);
    assert_int_equal(s->seen, 3);
    assert_int_equal(s->failed, 1);
    assert_int_equal(s->first.pass, 1);
    assert_int_equal(s->bytes[100], 8);
    assert_int_equal(archive_sector_state(sector_at(&a, 3, 0, 2)), FIELD_GOOD);
    archive_release(&a);
    archive_release(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_turn_is_good_and_two_alike_are_sure),
        cmocka_unit_test(one_turn_decoded_twice_is_one_turn),
        cmocka_unit_test(turns_of_two_passes_are_two_turns),
        cmocka_unit_test(turns_that_agree_with_other_bytes_make_nothing_good),
        cmocka_unit_test(a_field_that_never_agrees_is_damaged_and_keeps_its_bytes),
        cmocka_unit_test(an_identifier_without_its_field_is_absent),
        cmocka_unit_test(a_turn_that_the_rules_decided_is_repaired_until_another_says_the_same),
        cmocka_unit_test(an_identifier_whose_check_bytes_disagree_makes_no_sector),
        cmocka_unit_test(merging_adds_up_what_both_know),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
