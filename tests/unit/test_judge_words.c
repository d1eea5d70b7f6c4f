/* What a verdict says to a person, and in which words: handbook, diagnosis, 1.13. */
#include "judge_bench.h"
#include "report/report.h"

#include <math.h>

#define PROFILES TEST_SOURCE_DIR "/profiles"

static const char *const folders[] = {"flux-samples/heron-index-conductor",
                                      "flux-samples/heron-sound",
                                      "flux-samples/curlew-twist",
                                      "flux-samples/tern-slow-spindle",
                                      "tests/reports/C03",
                                      "tests/reports/C39",
                                      "tests/reports/U07"};

static void judge_folder(const char *folder, struct verdict *v)
{
    char where[300], text[4096];

    snprintf(where, sizeof where, TEST_SOURCE_DIR "/%s", folder);
    read_case(where, text, sizeof text);
    judge_with(text, where, PROFILES, v);
}

static void as_text(const struct verdict *v, bool verbose, struct buf *out)
{
    struct text_style style = {.verbose = verbose};

    buf_init(out, 1u << 20);
    assert_int_equal(report_verdict_text(v, &style, out), ERR_OK);
}

static void no_jargon_of_statistics_unless_asked_for(void **state)
{
    static const char *const jargon[] = {"deciban",    "bits",    "bit)",       "prior",
                                         "posterior",  "odds",    "likelihood", "hypothes",
                                         "probabilit", "entropy", "spread",     "%+"};

    (void)state;
    for (size_t i = 0; i < sizeof folders / sizeof *folders; i++) {
        struct verdict v;
        struct buf plain, loud;

        judge_folder(folders[i], &v);
        as_text(&v, false, &plain);
        as_text(&v, true, &loud);
        for (size_t k = 0; k < sizeof jargon / sizeof *jargon; k++)
            if (strstr(plain.data, jargon[k]))
                fail_msg("%s: says \"%s\"", folders[i], jargon[k]);
        assert_non_null(strstr(loud.data, " decibans"));
        assert_non_null(strstr(loud.data, " hardly "));
        buf_release(&plain);
        buf_release(&loud);
        verdict_release(&v);
    }
}

/* Strongest for and against, what was not tested, what would change it, what would disprove it.
 */
static void a_verdict_says_what_it_hangs_on(void **state)
{
    struct verdict v;
    struct buf text;

    (void)state;
    judge_folder("flux-samples/heron-index-conductor", &v);
    as_text(&v, false, &text);
    assert_non_null(strstr(text.data, "for      strong"));
    assert_non_null(
        strstr(text.data, "\nThe one swap that would disprove it\n  - another cable"));
    assert_non_null(strstr(text.data, "\nWhat would change the verdict\n"));
    assert_non_null(strstr(text.data, "\nWhat to do next\n"));
    assert_non_null(strstr(text.data, "\nNot tested\n"));
    buf_release(&text);
    verdict_release(&v);
}

static double after_swap(const char *more, char *disproof, size_t max)
{
    char text[600];
    struct verdict v;
    double p;

    snprintf(text, sizeof text,
             "[case]\ndrive = drive-35-dd\n[observed]\nlamp = on-access\nspindle = still\n"
             "belt-looks = broken\n%s",
             more);
    judge_with(text, "/", PROFILES, &v);
    assert_int_equal(v.leading, END_DRIVE);
    snprintf(disproof, max, "%s", v.disproof);
    p = v.end[END_DRIVE];
    verdict_release(&v);
    return p;
}

/* First another part, then the old one back, then the part in a set that works: each is the
 * next that could prove it wrong (handbook, diagnosis, 1.6). */
static void the_swap_that_would_disprove_is_the_one_not_made_yet(void **state)
{
    static const char swap[] =
        "[swap d]\npart = drive\ncondition = known-good\noutcome = worked\n";
    char said[VERDICT_TEXT_MAX], more[200];

    (void)state;
    after_swap("", said, sizeof said);
    assert_non_null(strstr(said, "another drive that is known good"));
    after_swap(swap, said, sizeof said);
    assert_non_null(strstr(said, "the old drive put back"));
    snprintf(more, sizeof more, "%sback = fault-returned\n", swap);
    after_swap(more, said, sizeof said);
    assert_non_null(strstr(said, "this drive in a set that works"));
}

/* What it says the swap would leave is about what is left once it is made. */
static void the_disproof_says_what_it_would_leave(void **state)
{
    char said[VERDICT_TEXT_MAX], then[VERDICT_TEXT_MAX];
    const char *number;
    double p;

    (void)state;
    after_swap("", said, sizeof said);
    number = strstr(said, " to ");
    assert_non_null(number);
    p = after_swap("[swap d]\npart = drive\ncondition = known-good\noutcome = failed\n", then,
                   sizeof then);
    if (fabs(100 * p - strtod(number + 4, NULL)) > 5)
        fail_msg("%s, and it left %.1f", said, 100 * p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_jargon_of_statistics_unless_asked_for),
        cmocka_unit_test(a_verdict_says_what_it_hangs_on),
        cmocka_unit_test(the_swap_that_would_disprove_is_the_one_not_made_yet),
        cmocka_unit_test(the_disproof_says_what_it_would_leave),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
