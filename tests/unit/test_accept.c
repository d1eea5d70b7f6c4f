/* The acceptance sheet: a good drive passes, a faulty one fails in its line. */
#include "accept/accept_bench.h"

#include <math.h>

static void good_drive_fails_in_no_line(void **state)
{
    (void)state;
    struct accepted *t = accept_drive("drive-35-dd", "none", 7, true);
    assert_int_equal(t->err, ERR_OK);
    for (int i = 0; i < ACCEPT_ITEMS; i++)
        if (t->sheet.line[i].state == ACCEPT_FAIL)
            fail_msg("%s: %s", accept_item_id((enum accept_item)i), t->sheet.line[i].text);
    const struct accept_line *speed = &t->sheet.line[ACCEPT_SPEED];
    assert_int_equal(speed->state, ACCEPT_PASS);
    assert_true(fabs(speed->value - t->truth.rpm) <= speed->uncertainty);
    assert_int_equal(t->sheet.line[ACCEPT_REACH].state, ACCEPT_PASS);
    free(t);
}

static void fast_drive_fails_in_its_speed_alone(void **state)
{
    (void)state;
    struct accepted *t = accept_drive("drive-35-dd", "drive.speed.fast", 7, true);
    assert_int_equal(t->err, ERR_OK);
    assert_int_equal(accept_sheet_outcome(&t->sheet), ACCEPT_FAILED);
    for (int i = 0; i < ACCEPT_ITEMS; i++)
        if (i != ACCEPT_SPEED && t->sheet.line[i].state == ACCEPT_FAIL)
            fail_msg("%s: %s", accept_item_id((enum accept_item)i), t->sheet.line[i].text);
    free(t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(good_drive_fails_in_no_line),
        cmocka_unit_test(fast_drive_fails_in_its_speed_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
