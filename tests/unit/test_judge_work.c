/* What to put right first: handbook, diagnosis, 1.12 (what cures most for its cost) and W15.
 * The cases are invented.
 */
#include "judge_bench.h"
#include "report/report.h"

#define PROFILES TEST_SOURCE_DIR "/profiles"

/* A sample's captures: an open conductor. To push the plugs home costs least and often helps.
 */
static void the_cheap_work_that_often_helps_comes_first(void **state)
{
    char text[4096];
    const char *folder = TEST_SOURCE_DIR "/flux-samples/heron-index-conductor";
    struct verdict v;

    (void)state;
    read_case(folder, text, sizeof text);
    judge_with(text, folder, PROFILES, &v);
    assert_true(v.work_count >= 2);
    for (size_t i = 0; i < v.work_count; i++) {
        assert_int_equal(v.work[i].part, END_CABLE);
        assert_true(v.work[i].chance > 0 && v.work[i].chance < 1);
        assert_true(i == 0 || v.work[i].minutes >= v.work[0].minutes);
    }
    assert_non_null(strstr(v.work[0].text, "push plugs"));
    assert_true(v.work_minutes >= v.work[0].minutes);
    verdict_release(&v);
}

/* Work that did not help is not what to do next. */
static void work_that_failed_is_offered_less(void **state)
{
    static const char base[] = "[case]\ndrive = drive-3\nmachine = controller-upd765\ncable = "
                               "ribbon-26\n[observed]\nspindle = turns-slowly\nbelt-looks = "
                               "slack\n";
    char text[600];
    struct verdict v;
    double before = 0, after = 0;

    (void)state;
    judge_with(base, "/", PROFILES, &v);
    assert_non_null(strstr(v.work[0].text, "new belt"));
    before = v.work[0].chance;
    verdict_release(&v);
    snprintf(text, sizeof text,
             "%s[repair b]\npart = drive\ndid = new-belt\noutcome = failed\n", base);
    judge_with(text, "/", PROFILES, &v);
    for (size_t i = 0; i < v.work_count; i++)
        if (strstr(v.work[i].text, "new belt"))
            after = v.work[i].chance;
    assert_true(after < before / 2);
    verdict_release(&v);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_cheap_work_that_often_helps_comes_first),
        cmocka_unit_test(work_that_failed_is_offered_less),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
