/* Captures from before and after a work on the set. The sessions are those of the sample cases;
 * what was done between them is invented.
 */
#include "judge_bench.h"

#define SAMPLES  TEST_SOURCE_DIR "/flux-samples"
#define PROFILES TEST_SOURCE_DIR "/profiles"

#define HEAD                                                                                   \
    "[case]\nmachine = controller-wd177x\ndrive = drive-35-dd\ncable = ribbon-34-straight\n"   \
    "disk = known-good\n[selfcheck]\nresult = passed\n"

struct text {
    char at[4096];
    size_t len;
};

/* Both taps of a sample's session. */
static void session(struct text *t, const char *sample, const char *kind, const char *asked,
                    const char *outcome, const char *after)
{
    static const char *const taps[] = {"machine-end", "drive-end"};

    for (int i = 0; i < 2; i++)
        t->len += (size_t)snprintf(
            t->at + t->len, sizeof t->at - t->len,
            "[capture %s %s]\nfile = %s/%s.%s\ntap = %s\npull-up = 2200\nrun = %s\n"
            "asked = %s\noutcome = %s\n%s%s%s",
            sample, taps[i], sample, taps[i], kind, taps[i], sample, asked, outcome,
            after ? "after = " : "", after ? after : "", after ? "\n" : "");
}

static void add(struct text *t, const char *more)
{
    t->len += (size_t)snprintf(t->at + t->len, sizeof t->at - t->len, "%s", more);
}

static void what_was_cured_was_at_fault_and_nothing_remains(void **state)
{
    struct text t = {0};
    struct verdict v;

    (void)state;
    add(&t, HEAD);
    session(&t, "heron-index-conductor", "vcd.gz", "read", "failed", NULL);
    session(&t, "heron-sound", "wec", "read, write", "worked", "new plug");
    add(&t, "[repair new plug]\npart = cable\ndid = rewired\n");
    judge_with(t.at, SAMPLES, PROFILES, &v);
    assert_int_equal(v.leading, END_CABLE);
    assert_int_equal(v.grade, GRADE_DECIDED);
    assert_true(v.worked_on);
    assert_true(v.remaining[END_NONE] > 0.9);
    assert_non_null(strstr(v.remains, "nothing that was exercised"));
    verdict_release(&v);
}

static void a_second_fault_behind_the_first_is_what_remains(void **state)
{
    struct text t = {0};
    struct verdict v;

    (void)state;
    add(&t, HEAD);
    session(&t, "heron-index-conductor", "vcd.gz", "read", "failed", NULL);
    session(&t, "heron-upper-head", "wec", "read", "failed", "new plug");
    add(&t, "[repair new plug]\npart = cable\ndid = rewired\noutcome = partly\n");
    judge_with(t.at, SAMPLES, PROFILES, &v);
    assert_int_equal(v.leading, END_TWO);
    assert_int_not_equal(v.grade, GRADE_DECIDED);
    assert_true(v.remaining[END_DRIVE] > 0.8);
    assert_true(v.remaining[END_CABLE] < 0.1);
    assert_non_null(strstr(v.summary, "INDEX"));
    verdict_release(&v);
}

/* The same is seen after a drive was repaired: it was not the drive, and it is there still. */
static void a_work_elsewhere_leaves_the_fault(void **state)
{
    struct text t = {0};
    struct verdict v;

    (void)state;
    add(&t, HEAD);
    session(&t, "heron-index-conductor", "vcd.gz", "read", "failed", "new motor");
    add(&t, "[repair new motor]\npart = drive\ndid = new-part\noutcome = failed\n");
    judge_with(t.at, SAMPLES, PROFILES, &v);
    assert_int_equal(v.leading, END_CABLE);
    assert_true(v.remaining[END_CABLE] > 0.9);
    verdict_release(&v);
}

/* Without captures of after, what the person says came of it is all there is. */
static void a_work_that_helped_leaves_little(void **state)
{
    struct text t = {0};
    struct verdict v;

    (void)state;
    add(&t, HEAD);
    session(&t, "heron-index-conductor", "vcd.gz", "read", "failed", NULL);
    add(&t, "[repair new plug]\npart = cable\ndid = rewired\noutcome = worked\n");
    judge_with(t.at, SAMPLES, PROFILES, &v);
    assert_int_equal(v.leading, END_CABLE);
    assert_true(v.remaining[END_NONE] > 0.8);
    verdict_release(&v);
}

static void the_order_of_works_and_sessions_changes_nothing(void **state)
{
    static const char works[][80] = {"[repair b]\npart = cable\ndid = rewired\n",
                                     "[repair a]\npart = drive\noutcome = failed\n"};
    struct verdict v[2];

    (void)state;
    for (int k = 0; k < 2; k++) {
        struct text t = {0};

        add(&t, HEAD);
        add(&t, works[k]);
        if (k)
            session(&t, "heron-sound", "wec", "read, write", "worked", "b, a");
        session(&t, "heron-index-conductor", "vcd.gz", "read", "failed", NULL);
        if (!k)
            session(&t, "heron-sound", "wec", "read, write", "worked", "a,b");
        add(&t, works[1 - k]);
        judge_with(t.at, SAMPLES, PROFILES, &v[k]);
    }
    assert_memory_equal(v[0].end, v[1].end, sizeof v[0].end);
    assert_memory_equal(v[0].remaining, v[1].remaining, sizeof v[0].remaining);
    assert_string_equal(v[0].remains, v[1].remains);
    verdict_release(&v[0]);
    verdict_release(&v[1]);
}

static void a_work_that_is_not_told_is_refused(void **state)
{
    struct case_file c;
    struct err_msg e = {0};
    struct text t = {0};

    (void)state;
    add(&t, HEAD);
    session(&t, "heron-sound", "wec", "read, write", "worked", "new plug, belt");
    add(&t, "[repair new plug]\npart = cable\n");
    assert_int_equal(case_file_parse("case.ini", SAMPLES, t.at, t.len, NULL, &c, &e),
                     ERR_FORMAT);
    assert_string_equal(e.text, "case.ini:15: there is no [repair belt] with a part");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_cured_was_at_fault_and_nothing_remains),
        cmocka_unit_test(a_second_fault_behind_the_first_is_what_remains),
        cmocka_unit_test(a_work_elsewhere_leaves_the_fault),
        cmocka_unit_test(a_work_that_helped_leaves_little),
        cmocka_unit_test(the_order_of_works_and_sessions_changes_nothing),
        cmocka_unit_test(a_work_that_is_not_told_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
