/* Rehearsed sessions that were once laid to the wrong end. The simulator shares nothing with
 * the judge's model.
 */
#include "judge_bench.h"
#include "sim_options.h"

#define PROFILES TEST_SOURCE_DIR "/profiles"

/* The drive's end alone, and a disk that nobody knows. */
static struct sim_options session_of(const struct parts *p, const char *fault, uint64_t seed)
{
    struct sim_options o = options_of(p, fault, seed);

    o.machine_end = o.both_one_clock = o.known_good_disk = false;
    return o;
}

/* Judges a rehearsed session, taken through leads that are known to be good. */
static void judge_session(const struct sim_options *o, const char *profiles, struct verdict *v)
{
    char folder[] = "/tmp/whichend-rehearsed-XXXXXX", text[4096];
    struct err_msg e = {0};
    size_t length;

    assert_non_null(mkdtemp(folder));
    if (sim_rehearse(o, folder, &e) != ERR_OK)
        fail_msg("%s", e.text);
    read_case(folder, text, sizeof text);
    length = strlen(text);
    snprintf(text + length, sizeof text - length, "\n[selfcheck]\nresult = passed\n");
    judge_with(text, folder, profiles, v);
    run("rm -r %s", folder);
}

/* A conductor is open and the taps pull nothing up: at the drive's side of the break RDATA
 * floats. That is no dead head. */
static void without_pull_ups_a_floating_line_proves_nothing(void **state)
{
    struct parts p;
    struct sim_options o;
    struct verdict v;

    (void)state;
    load_parts(&p, "controller-wd179x", "drive-525-dd-40", "ribbon-34-straight");
    o = session_of(&p, "cable.RDATA.open", 5);
    o.machine_end = true;
    o.both_one_clock = true;
    o.pull_up_ohm = 0;
    judge_session(&o, PROFILES, &v);
    assert_int_equal(v.leading, END_CABLE);
    assert_true(fault_share(&v, "drive.head.dead") < 0.1);
    verdict_release(&v);
    free_parts(&p);
}

/* The disk drags behind the hub, so the bit cell is long, and not the same at two visits: no
 * writer wrote so. */
static void a_disk_that_slips_is_no_other_density(void **state)
{
    struct parts p;
    struct sim_options o;
    struct verdict v;

    (void)state;
    load_parts(&p, "controller-wd177x", "drive-35-dd", "ribbon-34-straight");
    o = session_of(&p, "drive.hub.slips", 1);
    judge_session(&o, PROFILES, &v);
    assert_int_equal(v.leading, END_DRIVE);
    assert_true(fault_share(&v, "disk.density.wrong") < 0.1);
    verdict_release(&v);
    o.fault[0] = "disk.density.wrong";
    judge_session(&o, PROFILES, &v);
    assert_int_equal(v.leading, END_DISK);
    verdict_release(&v);
    free_parts(&p);
}

/* A dead chip drives no line, and neither does a plug that is out: without the chip in the list
 * the plug must not be accused. */
static void what_silences_an_end_is_a_suspect_though_no_list_names_it(void **state)
{
    char folder[] = "/tmp/whichend-unlisted-XXXXXX";
    struct parts p;
    struct sim_options o;
    struct verdict v;

    (void)state;
    assert_non_null(mkdtemp(folder));
    run("cp -r " PROFILES "/* %s/", folder);
    run("cd %s/faults && awk '/^\\[/ { out = $0 == \"[controller.chip.dead]\"; n += out } !out "
        "{ "
        "print } END { exit n != 1 }' controller.ini >new && mv new controller.ini",
        folder);
    load_parts(&p, "controller-wd179x", "drive-525-dd-40", "ribbon-34-straight");
    o = session_of(&p, "controller.chip.dead", 1);
    judge_session(&o, folder, &v);
    assert_int_not_equal(v.grade, GRADE_DECIDED);
    verdict_release(&v);
    free_parts(&p);
    run("rm -r %s", folder);
}

/* TRK00 stuck and a protected disk: both are on whenever the drive is selected. That shows no
 * short between them; one would look the same, so nothing is decided. */
static void outputs_that_go_with_select_do_not_touch(void **state)
{
    struct parts p;
    struct sim_options o;
    struct verdict v;

    (void)state;
    load_parts(&p, "controller-wd177x", "drive-35-dd", "ribbon-34-straight");
    o = session_of(&p, "drive.track0.stuck", 3);
    judge_session(&o, PROFILES, &v);
    for (size_t i = 0; i < v.finding_count; i++)
        assert_null(strstr(v.finding[i].text, "at the same times"));
    assert_string_equal(v.fault, "drive.track0.stuck");
    assert_true(fault_share(&v, "cable.TRK00+WPROT.short") < 0.1);
    assert_int_not_equal(v.grade, GRADE_DECIDED);
    verdict_release(&v);
    free_parts(&p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(without_pull_ups_a_floating_line_proves_nothing),
        cmocka_unit_test(a_disk_that_slips_is_no_other_density),
        cmocka_unit_test(outputs_that_go_with_select_do_not_touch),
        cmocka_unit_test(what_silences_an_end_is_a_suspect_though_no_list_names_it),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
