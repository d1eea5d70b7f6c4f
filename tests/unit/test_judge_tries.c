/* Counted tries of a recorded session: faults that come and go (handbook, diagnosis, 1.7). The
 * captures are those of a sound bench; the counts are invented.
 */
#include "judge_bench.h"

#define SAMPLE TEST_SOURCE_DIR "/flux-samples/heron-sound"

static void counted(const char *tries, struct verdict *v)
{
    char text[1024];

    snprintf(text, sizeof text,
             "[case]\nmachine = controller-wd177x\ndrive = drive-35-dd\ncable = "
             "ribbon-34-straight\ndisk = known-good\n[selfcheck]\nresult = passed\n"
             "[capture m]\nfile = machine-end.wec\ntap = machine-end\npull-up = 2200\nrun = "
             "one\nasked = read, write\n%s[capture d]\nfile = drive-end.wec\ntap = "
             "drive-end\npull-up = 2200\nrun = one\nasked = read, write\n%s",
             tries, tries);
    judge_with(text, SAMPLE, TEST_SOURCE_DIR "/profiles", v);
}

static void clean_tries_leave_nothing_at_fault(void **state)
{
    struct verdict v;

    (void)state;
    counted("worked-times = 20/20\n", &v);
    assert_int_equal(v.leading, END_NONE);
    assert_string_equal(v.explains_complaint, "no-complaint");
    verdict_release(&v);
}

/* A clean recording of a set that fails three times in ten is no sound set: the fault was away
 * when it was recorded. */
static void tries_that_fail_now_and_then_point_at_what_comes_and_goes(void **state)
{
    struct verdict all, some;

    (void)state;
    counted("worked-times = 20/20\n", &all);
    counted("worked-times = 7/10\n", &some);
    assert_true(some.end[END_NONE] < all.end[END_NONE] / 2);
    assert_true(fault_share(&some, "controller.socket.contact") >
                10 * fault_share(&all, "controller.socket.contact"));
    assert_int_not_equal(some.grade, GRADE_DECIDED);
    verdict_release(&all);
    verdict_release(&some);
}

/* Told at both taps of one run it is still one count. */
static void a_count_is_said_once_a_run(void **state)
{
    struct verdict v;
    int said = 0;

    (void)state;
    counted("worked-times = 7/10\n", &v);
    for (size_t i = 0; i < v.finding_count; i++)
        said += !strcmp(v.finding[i].id, "outcome.tries");
    assert_int_equal(said, 1);
    verdict_release(&v);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(clean_tries_leave_nothing_at_fault),
        cmocka_unit_test(tries_that_fail_now_and_then_point_at_what_comes_and_goes),
        cmocka_unit_test(a_count_is_said_once_a_run),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
