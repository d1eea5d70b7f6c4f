/* Fields that no turn gives whole, put together from several. */
#include "unit/flux_check.h"
#include "unit/flux_several.h"

#include <stdio.h>

#define SECTORS SEVERAL_SECTORS

/* Jitter of 300 ns in cells of 2 us: a single turn gives a third of the sectors. */
static void five_turns_give_every_sector(void **state)
{
    (void)state;
    static const double speed[] = {1, 1.03, 0.94, 1};
    for (size_t k = 0; k < sizeof speed / sizeof speed[0]; k++) {
        struct dice d = {700 + k};
        const struct play p = {.cell_ns = 2000,
                               .speed = speed[k],
                               .wow = k == 3 ? 0.02 : 0,
                               .wow_hz = k == 3 ? 5 : 0,
                               .jitter_ns = 300};
        int repaired = 0;
        for (int track = 0; track < 4; track++) {
            struct several s;
            several_begin(&s, false, &d);
            for (int turn = 0; turn < 5; turn++) {
                turn_add(&s, &p, &d);
            }
            assert_int_equal(count_state(&s, NEITHER), 0);
            assert_int_equal(s.wrong, 0);
            repaired += count_state(&s, REPAIRED);
            several_end(&s);
        }
        printf("speed %.2f: %d of %d repaired, the others good by themselves\n", speed[k],
               repaired, 4 * SECTORS);
        assert_true(repaired > 0);
    }
}

static void fm_fields_are_put_together_too(void **state)
{
    (void)state;
    struct dice d = {710};
    struct several s;
    const struct play p = {
        .cell_ns = 4000, .speed = 1, .jitter_ns = 400, .lost = 0.002, .added = 0.002};
    several_begin(&s, true, &d);
    for (int turn = 0; turn < 5; turn++) {
        turn_add(&s, &p, &d);
    }
    printf("%d repaired, %d good\n", count_state(&s, REPAIRED), count_state(&s, GOOD));
    assert_true(count_state(&s, REPAIRED) > 0);
    assert_true(count_state(&s, NEITHER) < 3);
    assert_int_equal(s.wrong, 0);
    several_end(&s);
}

static void pulses_lost_in_every_turn_are_found_in_another(void **state)
{
    (void)state;
    struct dice d = {720};
    struct several s;
    const struct play p = {
        .cell_ns = 2000, .speed = 1, .jitter_ns = 100, .lost = 0.002, .added = 0.002};
    several_begin(&s, false, &d);
    for (int turn = 0; turn < 5; turn++) {
        turn_add(&s, &p, &d);
    }
    assert_int_equal(count_state(&s, NEITHER), 0);
    assert_int_equal(s.wrong, 0);
    several_end(&s);
}

/* Every turn read the field as it stands on the disk: its check bytes are wrong there. */
static void a_field_written_wrong_stays_damaged(void **state)
{
    (void)state;
    struct dice d = {730};
    struct several s;
    struct layout l = several_layout(false);
    const struct play p = {.cell_ns = 2000, .speed = 1, .jitter_ns = 100};
    memset(&s, 0, sizeof s);
    make_truth(&s.t, &l, &d);
    s.t.sector[4].data_wrong = true;
    make_turn(&s.t, &l, &d, TURN_CELLS);
    for (int turn = 0; turn < 50; turn++) {
        turn_add(&s, &p, &d);
    }
    assert_int_equal(count_state(&s, GOOD), SECTORS - 1);
    assert_int_equal(s.state[4], NEITHER);
    assert_true(s.sum[4].turns >= 49);
    assert_in_range(s.sum[4].tries, 1, REPAIR_TRIES_MAX);
    several_end(&s);
}

/* Noise in place of a field: its check bytes agree by chance no oftener than the odds say. */
static void the_odds_of_a_false_agreement_are_as_said(void **state)
{
    (void)state;
    struct dice d = {740};
    double odds = 0;
    int agreed = 0;
    for (int field = 0; field < 3000; field++) {
        int8_t quality[16 * (1 + 128 + 2)];
        struct sector_read r = {.mark = 0xFB,
                                .encoding = ENC_MFM,
                                .data = FIELD_DAMAGED,
                                .quality = quality,
                                .cells = sizeof quality};
        struct field_sum sum = {0};
        struct field_repair repair;
        for (size_t i = 0; i < sizeof quality; i++) {
            quality[i] = (int8_t)(dice_below(&d, 33) - 16);
        }
        static const int8_t mark[16] = {-16, 16, -16, 16,  -16, 16, -16, 16,
                                        -16, 16, -16, -16, -16, 16, -16, 16};
        memcpy(quality, mark, sizeof mark); /* FB behind a one */
        assert_int_equal(field_sum_add(&sum, &r), ERR_OK);
        assert_int_equal(field_sum_repair(&sum, NULL, &repair), ERR_OK);
        agreed += repair.agreed;
        odds += sum.tries / 65536.0;
        field_sum_release(&sum);
    }
    printf("%d agreed by chance, %.2f expected\n", agreed, odds);
    assert_true(agreed < 4 * odds + 4);
    assert_true(odds > 0.1);
}

static void the_number_of_changed_cells_is_told(void **state)
{
    (void)state;
    struct dice d = {750};
    struct several s;
    const struct play p = {.cell_ns = 2000, .speed = 1, .jitter_ns = 330};
    several_begin(&s, false, &d);
    for (int turn = 0; turn < 5; turn++) {
        turn_add(&s, &p, &d);
    }
    for (int i = 0; i < SECTORS; i++) {
        if (s.state[i] != REPAIRED) {
            continue;
        }
        assert_in_range(s.repair[i].changed, 1, 200);
        assert_in_range(s.repair[i].turns, 1, 5);
        assert_in_range(s.repair[i].tries, 1, REPAIR_TRIES_MAX);
        assert_true(fabs(s.repair[i].odds_false - s.repair[i].tries / 65536.0) < 1e-12);
    }
    assert_true(count_state(&s, REPAIRED) > 4);
    several_end(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(five_turns_give_every_sector),
        cmocka_unit_test(fm_fields_are_put_together_too),
        cmocka_unit_test(pulses_lost_in_every_turn_are_found_in_another),
        cmocka_unit_test(a_field_written_wrong_stays_damaged),
        cmocka_unit_test(the_odds_of_a_false_agreement_are_as_said),
        cmocka_unit_test(the_number_of_changed_cells_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
