/* Which question would help a case most. The cases are invented. */
#include "judge/questions.h"
#include "judge_bench.h"

#define HEAD                                                                                   \
    "[case]\nmachine = controller-wd177x\ndrive = drive-525-dd-40\ncable = "                   \
    "ribbon-34-straight\n"

static double bits_of(const char *text, const char *folder, const char *key)
{
    struct err_msg e = {0};
    struct profile_path *path = NULL;
    struct case_file c;
    struct judge_options o = {0};
    struct question_rank rank[TOLD_QUESTIONS];
    size_t count = 0;
    double bits = -1;

    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    if (case_file_parse("case.ini", folder, text, strlen(text), path, &c, &e) != ERR_OK)
        fail_msg("%s", e.text);
    o.profiles = path;
    if (judge_questions(&c, &o, rank, &count, &e) != ERR_OK)
        fail_msg("%s", e.text);
    for (size_t i = 0; i < count; i++)
        if (!strcmp(rank[i].row->key, key))
            bits = rank[i].bits;
    case_file_release(&c);
    profile_path_free(path);
    return bits;
}

/* A spindle that stands still makes the belt worth a look; one that turns does not. */
static void what_was_told_sharpens_what_to_ask(void **state)
{
    double still =
        bits_of(HEAD "[observed]\nlamp = on-access\nspindle = still\n", "/", "belt-looks");
    double turns =
        bits_of(HEAD "[observed]\nlamp = on-access\nspindle = turns\n", "/", "belt-looks");

    (void)state;
    assert_true(turns >= 0 && still > 2 * turns);
}

/* The same beside captures: what was told counts as well as what was recorded. */
static void told_evidence_counts_beside_captures(void **state)
{
    static const char base[] =
        HEAD "[capture m]\nfile = machine-end.wec\ntap = machine-end\nasked = "
             "read\noutcome = failed\n";
    const char *folder = TEST_SOURCE_DIR "/flux-samples/heron-read-conductor";
    char text[1000];
    double plain = bits_of(base, folder, "moves-with"), told;

    (void)state;
    snprintf(text, sizeof text, "%s[observed]\ncomes-and-goes = yes\n", base);
    told = bits_of(text, folder, "moves-with");
    assert_true(told > plain);
}

static void a_question_that_is_answered_is_not_put(void **state)
{
    (void)state;
    assert_true(bits_of(HEAD "[observed]\nlamp = never\n", "/", "lamp") < 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_told_sharpens_what_to_ask),
        cmocka_unit_test(told_evidence_counts_beside_captures),
        cmocka_unit_test(a_question_that_is_answered_is_not_put),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
