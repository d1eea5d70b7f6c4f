/* The judge on bus traces whose controller nobody here wrote.
 *
 * Source: ../shared/data/traces, an HDL controller core by others working a simulated drive;
 * each folder's label.json names the end at fault and the ends that its taps cannot rule out.
 * The judge never sees the label.
 */
#include "base/file.h"
#include "judge/judge.h"

#include <jansson.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#define TRACES TEST_SHARED_DIR "/data/traces"

struct expectation {
    const char *folder;
    bool decided; /* its taps leave one end only, and two groups of evidence say so */
};

static const struct expectation traces[] = {
    {"carriage-stuck", true},
    {"dir-open", true},
    {"dir-stuck-high", false},
    {"disk-unformatted", false},
    {"healthy-10-early-read", true},
    {"healthy-9", true},
    {"healthy-write-protected", false},
    {"index-open", true},
    {"motor-never-starts", false},
    {"rdata-jitter", false},
    {"rdata-open", true},
    {"select-never", false},
    {"separator-no-lock", false},
    {"speed-plus-6", true},
    {"step-open-at-track0", true},
    {"trk00-stuck-high", true},
    {"wgate-stuck-during-read", false},
};

/* Ends that a label allows: its own, and those that some tap of the case alone cannot rule out.
 */
static bool allowed(const json_t *label, const char *end)
{
    const char *tap;
    json_t *t;

    json_object_foreach((json_t *)(uintptr_t)label, tap, t)
    {
        size_t i;
        json_t *other;

        if (!strcmp(json_string_value(json_object_get(t, "end")), end))
            return true;
        json_array_foreach(json_object_get(t, "not_excluded_by_this_tap"), i, other)
        {
            if (!strcmp(json_string_value(other), end))
                return true;
        }
    }
    return false;
}

static bool labelled(const json_t *label, const char *end)
{
    const char *tap;
    json_t *t;

    json_object_foreach((json_t *)(uintptr_t)label, tap, t)
    {
        if (strcmp(json_string_value(json_object_get(t, "end")), end))
            return false;
    }
    return true;
}

static void judge_folder(const char *folder, struct verdict *out)
{
    struct err_msg e = {0};
    struct profile_path *profiles = NULL;
    struct case_file c;
    struct judge_options o = {0};
    char path[512];

    snprintf(path, sizeof path, TRACES "/%s", folder);
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &profiles, &e), ERR_OK);
    assert_int_equal(case_file_read(path, profiles, &c, &e), ERR_OK);
    o.profiles = profiles;
    if (judge_case(&c, &o, out, &e) != ERR_OK)
        fail_msg("%s: %s", folder, e.text);
    case_file_release(&c);
    profile_path_free(profiles);
}

static void no_trace_is_decided_for_a_wrong_end(void **state)
{
    int wrong = 0;

    (void)state;
    if (access(TRACES, R_OK)) {
        print_message("skipped: ../shared/data/traces is not here\n");
        skip();
    }
    for (size_t i = 0; i < sizeof traces / sizeof *traces; i++) {
        char path[512];
        struct verdict v;
        json_t *label;

        snprintf(path, sizeof path, TRACES "/%s/label.json", traces[i].folder);
        label = json_load_file(path, 0, NULL);
        assert_non_null(label);
        judge_folder(traces[i].folder, &v);
        print_message("%-26s %-10s %-12s %.3f %s\n", traces[i].folder, grade_name(v.grade),
                      end_name(v.leading), v.probability, v.fault);
        if (v.grade == GRADE_DECIDED)
            wrong += !labelled(label, end_name(v.leading));
        else if (v.grade == GRADE_LEANING)
            wrong += !allowed(label, end_name(v.leading));
        if (traces[i].decided)
            assert_int_equal(v.grade, GRADE_DECIDED);
        verdict_release(&v);
        json_decref(label);
    }
    assert_int_equal(wrong, 0);
}

static void weights_and_shares_add_up(void **state)
{
    struct verdict v;
    double sum = 0;

    (void)state;
    if (access(TRACES, R_OK)) {
        print_message("skipped: ../shared/data/traces is not here\n");
        skip();
    }
    judge_folder("rdata-open", &v);
    for (int e = 0; e < END_COUNT; e++) {
        assert_true(v.end[e] >= 0 && v.end[e] <= 1);
        if (e < END_TWO)
            assert_true(v.also[e] >= v.end[e] - 1e-12 && v.also[e] <= 1);
        sum += v.end[e];
    }
    assert_true(sum > 1 - 1e-9 && sum < 1 + 1e-9);
    assert_string_equal(v.fault, "cable.RDATA.open");
    assert_int_equal(v.line, LINE_RDATA);
    assert_string_equal(v.explains_complaint, "yes");
    verdict_release(&v);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_trace_is_decided_for_a_wrong_end),
        cmocka_unit_test(weights_and_shares_add_up),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
