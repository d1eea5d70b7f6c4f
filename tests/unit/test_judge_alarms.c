/* Signs that nothing listed explains the evidence (handbook, diagnosis, 1.10). Cases are
 * invented; the captures are those of a sound bench.
 */
#include "judge_bench.h"

#define SAMPLE   TEST_SOURCE_DIR "/flux-samples/heron-sound"
#define PROFILES TEST_SOURCE_DIR "/profiles"

#define HEAD                                                                                   \
    "[case]\nmachine = controller-wd177x\ndrive = drive-35-dd\ncable = ribbon-34-straight\n"   \
    "disk = known-good\n[selfcheck]\nresult = passed\n"
#define CAPTURES                                                                               \
    "[capture m]\nfile = machine-end.wec\ntap = machine-end\npull-up = 2200\nrun = one\n"      \
    "asked = read, write\noutcome = failed\n[capture d]\nfile = drive-end.wec\ntap = "         \
    "drive-end\npull-up = 2200\nrun = one\nasked = read, write\noutcome = failed\n"

static bool says(char text[][VERDICT_TEXT_MAX], size_t count, const char *a, const char *b)
{
    for (size_t i = 0; i < count; i++)
        if (strstr(text[i], a) && strstr(text[i], b))
            return true;
    return false;
}

/* Every line lives and the disk reads, yet a meter finds no +5 V at the drive's plug, and two
 * different spares cured it. */
static void what_contradicts_the_rest_is_named_and_nothing_is_decided(void **state)
{
    struct verdict v;

    (void)state;
    judge_with(HEAD CAPTURES
               "[meter five]\nwhat = rail\nline = V5\nvalue = 0.1 V\nwhen = motor-runs\n"
               "[swap a]\npart = drive\ncondition = known-good\noutcome = worked\nback = "
               "fault-returned\n[swap c]\npart = cable\ncondition = known-good\noutcome = "
               "worked\nback = fault-returned\n",
               SAMPLE, PROFILES, &v);
    assert_int_not_equal(v.grade, GRADE_DECIDED);
    assert_true(says(v.gate, v.gate_count, "contradicts", ""));
    assert_true(says(v.warning, v.warning_count, "\"V5 reads 0.10 V", "does not go with \""));
    assert_true(says(v.warning, v.warning_count, "wrong reading", "take the readings again"));
    verdict_release(&v);
}

static void evidence_that_agrees_raises_no_alarm(void **state)
{
    static const char *const samples[] = {"heron-sound", "heron-read-conductor",
                                          "tern-slow-spindle", "tern-step-driver"};

    (void)state;
    for (size_t i = 0; i < sizeof samples / sizeof *samples; i++) {
        char folder[256], text[4096];
        struct verdict v;

        snprintf(folder, sizeof folder, TEST_SOURCE_DIR "/flux-samples/%s", samples[i]);
        read_case(folder, text, sizeof text);
        judge_with(text, folder, PROFILES, &v);
        assert_false(says(v.warning, v.warning_count, "take the readings again", ""));
        verdict_release(&v);
    }
}

/* An open conductor, with no open conductors in the catalogue. */
static void a_cause_in_no_list_holds_the_verdict_back(void **state)
{
    char folder[] = "/tmp/whichend-alarm-XXXXXX", text[4096];
    struct verdict v;

    (void)state;
    assert_non_null(mkdtemp(folder));
    run("cp -r " PROFILES "/* %s/", folder);
    run("cd %s/faults && awk '/^\\[/ { out = $0 == \"[cable.*.open]\"; n += out } !out { "
        "print } END { exit n != 1 }' cable.ini >new && mv new cable.ini",
        folder);
    read_case(TEST_SOURCE_DIR "/flux-samples/heron-read-conductor", text, sizeof text);
    judge_with(text, TEST_SOURCE_DIR "/flux-samples/heron-read-conductor", folder, &v);
    assert_int_not_equal(v.grade, GRADE_DECIDED);
    assert_true(says(v.gate, v.gate_count, "in no list", "%"));
    verdict_release(&v);
    run("rm -r %s", folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_contradicts_the_rest_is_named_and_nothing_is_decided),
        cmocka_unit_test(evidence_that_agrees_raises_no_alarm),
        cmocka_unit_test(a_cause_in_no_list_holds_the_verdict_back),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
