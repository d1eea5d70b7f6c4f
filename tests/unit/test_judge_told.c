/* What a person told, and swaps, with no capture at all. The cases are invented. */
#include "judge/judge.h"
#include "judge/priors.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static void judge_text(const char *text, struct verdict *v)
{
    char folder[] = "/tmp/whichend-told-XXXXXX", path[64];
    struct err_msg e = {0};
    struct profile_path *profiles = NULL;
    struct case_file c;
    struct judge_options o = {0};
    FILE *f;

    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/case.ini", folder);
    f = fopen(path, "w");
    assert_non_null(f);
    fputs(text, f);
    assert_int_equal(fclose(f), 0);
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &profiles, &e), ERR_OK);
    if (case_file_read(folder, profiles, &c, &e) != ERR_OK)
        fail_msg("%s", e.text);
    o.profiles = profiles;
    if (judge_case(&c, &o, v, &e) != ERR_OK)
        fail_msg("%s", e.text);
    case_file_release(&c);
    profile_path_free(profiles);
    unlink(path);
    rmdir(folder);
}

#define HEAD                                                                                   \
    "[case]\ntitle = told\nmachine = controller-generic\ndrive = drive-35-dd\ncable = "        \
    "ribbon-34-straight\n"

/* Handbook, repair reports, 2.1: lamp or motor on as soon as the ribbon is plugged, host
 * unpowered: the ribbon is reversed. */
static void lamp_lit_with_the_machine_off_points_at_the_plug(void **state)
{
    struct verdict v;

    (void)state;
    judge_text(HEAD "[observed]\nlamp = always\nlamp-host-off = yes\nmotor-host-off = yes\n",
               &v);
    assert_int_equal(v.leading, END_CABLE);
    assert_string_equal(v.fault, "cable.plug.reversed");
    assert_int_not_equal(v.grade, GRADE_DECIDED); /* one person's word is one group */
    verdict_release(&v);
}

static double cable_after(const char *swap)
{
    char text[1024];
    struct verdict v;
    double p;

    snprintf(text, sizeof text, HEAD "[observed]\nlamp = on-access\n%s", swap);
    judge_text(text, &v);
    assert_int_not_equal(v.grade, GRADE_DECIDED);
    p = v.also[END_CABLE];
    verdict_release(&v);
    return p;
}

/* The test that the judge names for its suspect has an answer to be noted: found, it goes far;
 * not found, the suspicion falls. */
static void a_look_for_the_suspect_moves_it_either_way(void **state)
{
    static const char told[] = HEAD "[observed]\nspindle = still\nlamp = on-access\n";
    static const char *const found[] = {"", "[examined drive.motor.dead]\nfound = yes\n",
                                        "[examined drive.motor.dead]\nfound = no\n"};
    bool named = false;
    double p[3];

    (void)state;
    for (int i = 0; i < 3; i++) {
        char text[1024];
        struct verdict v;

        snprintf(text, sizeof text, "%s%s", told, found[i]);
        judge_text(text, &v);
        p[i] = v.end[END_DRIVE];
        for (size_t k = 0; k < v.next_count && i == 0; k++)
            named =
                named || !strcmp(v.next[k].note, "examined drive.motor.dead.found=yes or no");
        verdict_release(&v);
    }
    assert_true(named);
    assert_true(p[1] > p[0] + 0.05);
    assert_true(p[2] < p[0] - 0.05);
}

/* The unit in use is what later captures show; a look for a fault of another unit is no
 * mistake. */
static void a_look_at_another_unit_says_nothing(void **state)
{
    static const char told[] = HEAD "[observed]\nspindle = still\nlamp = on-access\n";
    struct verdict v[2];
    bool said = false;

    (void)state;
    judge_text(told, &v[0]);
    judge_text(HEAD "[observed]\nspindle = still\nlamp = on-access\n"
                    "[examined drive.SELECT3.dead]\nfound = yes\n",
               &v[1]);
    for (size_t i = 0; i < v[1].warning_count; i++)
        said = said || strstr(v[1].warning[i], "drive.SELECT3.dead is not of the unit in use");
    assert_true(said);
    for (int e = 0; e < END_COUNT; e++)
        assert_true(fabs(v[0].end[e] - v[1].end[e]) < 1e-9);
    verdict_release(&v[0]);
    verdict_release(&v[1]);
}

/* Handbook, diagnosis, 1.6: a swap that cures raises its part; put back, the fault's return
 * raises it further and its staying away lowers it again. */
static void swapping_back_tells_a_part_from_its_contact(void **state)
{
    double none = cable_after("");
    double cured =
        cable_after("[swap c]\npart = cable\ncondition = known-good\noutcome = worked\n");
    double returned = cable_after("[swap c]\npart = cable\ncondition = known-good\noutcome = "
                                  "worked\nback = fault-returned\n");
    double away = cable_after("[swap c]\npart = cable\ncondition = known-good\noutcome = "
                              "worked\nback = stayed-away\n");

    (void)state;
    assert_true(cured > none + 0.1);
    assert_true(returned > cured);
    assert_true(away < cured);
}

/* Handbook, repair reports, 2.2: another part in its place that fails too speaks against the
 * part. */
static void a_swap_that_fails_clears_its_part(void **state)
{
    double none = cable_after("");
    double failed =
        cable_after("[swap c]\npart = cable\ncondition = known-good\noutcome = failed\n");

    (void)state;
    assert_true(failed < none / 3);
}

/* Common practice: a supply too weak for its load looks like a dead machine; rails are measured
 * loaded. */
static void a_rail_that_collapses_points_at_the_supply(void **state)
{
    struct verdict v;

    (void)state;
    judge_text(HEAD "[observed]\nspindle = turns-slowly\n[meter five]\nwhat = rail\nline = "
                    "V5\nvalue = 3.9 V\n"
                    "when = motor-start\n",
               &v);
    assert_int_equal(v.leading, END_POWER);
    assert_int_not_equal(v.grade, GRADE_DECIDED);
    verdict_release(&v);
}

static void nothing_told_leaves_everything_open(void **state)
{
    struct verdict v;

    (void)state;
    judge_text(HEAD, &v);
    assert_int_equal(v.grade, GRADE_UNDECIDED);
    assert_true(v.next_count > 0);
    for (size_t i = 0; i < v.next_count; i++) { /* each says what its answers would mean */
        assert_true(v.next[i].outcome_count > 0);
        assert_non_null(strstr(v.next[i].outcome[0], ": then "));
    }
    verdict_release(&v);
}

/* Handbook, repair reports, 2.8: what fails only here, closed up, is mounting or place. */
static void what_fails_only_in_its_bay_is_no_electronics(void **state)
{
    struct verdict v;

    (void)state;
    judge_text(HEAD "[observed]\nplace = here-only\ncase = closed\n"
                    "[swap d]\npart = drive\ncondition = known-good\noutcome = failed\n",
               &v);
    assert_int_equal(v.leading, END_SETUP);
    verdict_release(&v);
}

/* Handbook, repair reports, 7: better but not well after a repair is two faults. */
static void a_repair_that_helps_in_part_raises_a_second_fault(void **state)
{
    struct verdict v;

    (void)state;
    judge_text(HEAD "[observed]\nbelt-looks = broken\n[repair b]\npart = drive\n"
                    "did = new-belt\noutcome = partly\n",
               &v);
    assert_true(v.also[END_DRIVE] > 0.6);
    assert_int_not_equal(v.grade, GRADE_DECIDED);
    verdict_release(&v);
}

/* Common practice: a part that works in another set is sound. */
static void a_part_that_works_elsewhere_is_cleared(void **state)
{
    double none = cable_after("");
    double elsewhere = cable_after("[swap c]\npart = cable\ncondition = unknown\n"
                                   "outcome = worked\ninto = good-chain\n");

    (void)state;
    assert_true(elsewhere < none / 2);
}

static int place_of(const struct verdict *v, bool exchange)
{
    for (size_t i = 0; i < v->next_count; i++)
        if (exchange ? v->next[i].exchange : v->next[i].rail)
            return (int)i;
    return -1;
}

/* Bench practice, 7: rails are measured before a known-good drive or machine joins the set. */
static void no_exchange_before_the_rails_are_known(void **state)
{
    struct verdict v;

    (void)state;
    judge_text(HEAD "[observed]\nlamp = on-access\nspindle = turns\nhead-at-start = moves\n"
                    "lamp-host-off = no\nplugs-look = sound\nheads-look = clean\n"
                    "moves-with = nothing\nwarm = both\n",
               &v);
    if (place_of(&v, true) >= 0)
        assert_in_range(place_of(&v, false), 0, place_of(&v, true) - 1);
    else
        assert_true(place_of(&v, false) >= 0);
    verdict_release(&v);
}

/* What the case says is not at hand is not asked for. */
static void a_test_without_its_means_is_not_offered(void **state)
{
    struct verdict v;

    (void)state;
    judge_text(HEAD "[have]\nmeter = no\nspare-drive = no\nspare-machine = no\n", &v);
    for (size_t i = 0; i < v.next_count; i++) {
        assert_false(v.next[i].rail);
        assert_null(strstr(v.next[i].test, "another drive"));
    }
    verdict_release(&v);
}

/* Handbook, diagnosis, 1.9: the order of the evidence does not matter, to the bit. */
static void the_order_of_the_evidence_does_not_matter(void **state)
{
    struct verdict one, other;

    (void)state;
    judge_text(HEAD "[observed]\nlamp = never\nspindle = still\nplugs-look = loose\n"
                    "[swap a]\npart = drive\ncondition = unknown\noutcome = failed\n"
                    "[swap b]\npart = cable\ncondition = known-good\noutcome = worked\n"
                    "[repair r]\npart = power\ndid = new-part\noutcome = failed\n",
               &one);
    judge_text(HEAD "[repair r]\npart = power\ndid = new-part\noutcome = failed\n"
                    "[swap b]\npart = cable\ncondition = known-good\noutcome = worked\n"
                    "[observed]\nplugs-look = loose\nspindle = still\nlamp = never\n"
                    "[swap a]\npart = drive\ncondition = unknown\noutcome = failed\n",
               &other);
    assert_memory_equal(one.end, other.end, sizeof one.end);
    assert_int_equal(one.finding_count, other.finding_count);
    for (size_t i = 0; i < one.finding_count; i++) {
        assert_string_equal(one.finding[i].id, other.finding[i].id);
        assert_memory_equal(one.finding[i].weight, other.finding[i].weight,
                            sizeof one.finding[i].weight);
    }
    verdict_release(&one);
    verdict_release(&other);
}

/* Handbook, diagnosis, 1.3: b' = (A b + n) / (A + n), A = 20. The counts are invented. */
static void closed_cases_of_the_shop_tilt_the_shares(void **state)
{
    char folder[] = "/tmp/whichend-priors-XXXXXX", path[64];
    double share[END_COUNT] = {[END_DRIVE] = 30, [END_CABLE] = 10};
    struct profile_path *profiles = NULL;
    struct err_msg e = {0};
    FILE *f;

    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/priors.ini", folder);
    f = fopen(path, "w");
    assert_non_null(f);
    fputs("[cable]\nclosed = 10\nsource = invented\n", f);
    assert_int_equal(fclose(f), 0);
    assert_int_equal(profile_path_make(folder, &profiles, &e), ERR_OK);
    assert_int_equal(priors_tilt(profiles, share, &e), ERR_OK);
    assert_float_equal(share[END_DRIVE], 15.0 / 30, 1e-9);
    assert_float_equal(share[END_CABLE], 15.0 / 30, 1e-9);
    f = fopen(path, "w");
    assert_non_null(f);
    fputs("[cable]\nclosed = ten\nsource = invented\n", f);
    assert_int_equal(fclose(f), 0);
    assert_int_equal(priors_tilt(profiles, share, &e), ERR_FORMAT);
    profile_path_free(profiles);
    unlink(path);
    rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_look_at_another_unit_says_nothing),
        cmocka_unit_test(a_look_for_the_suspect_moves_it_either_way),
        cmocka_unit_test(lamp_lit_with_the_machine_off_points_at_the_plug),
        cmocka_unit_test(swapping_back_tells_a_part_from_its_contact),
        cmocka_unit_test(a_swap_that_fails_clears_its_part),
        cmocka_unit_test(a_rail_that_collapses_points_at_the_supply),
        cmocka_unit_test(what_fails_only_in_its_bay_is_no_electronics),
        cmocka_unit_test(a_repair_that_helps_in_part_raises_a_second_fault),
        cmocka_unit_test(a_part_that_works_elsewhere_is_cleared),
        cmocka_unit_test(no_exchange_before_the_rails_are_known),
        cmocka_unit_test(a_test_without_its_means_is_not_offered),
        cmocka_unit_test(the_order_of_the_evidence_does_not_matter),
        cmocka_unit_test(closed_cases_of_the_shop_tilt_the_shares),
        cmocka_unit_test(nothing_told_leaves_everything_open),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
