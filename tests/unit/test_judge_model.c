/* The judge's model and its sums: chances that add up, effects that are known, and properties
 * of the whole (handbook, diagnosis, 1.9): the order of evidence and the splitting of a fault
 * change nothing.
 */
#include "base/buf.h"
#include "base/file.h"
#include "judge/catalogue.h"
#include "judge/catalogue_check.h"
#include "judge/world.h"
#include "judge_bench.h"
#include "report/report.h"

#include <math.h>

#define SAMPLE TEST_SOURCE_DIR "/flux-samples/heron-read-conductor"

struct bench {
    struct profile_path *profiles;
    struct case_file c;
    struct wiring w;
    struct catalogue faults;
};

static int set_up(void **state)
{
    struct bench *b = calloc(1, sizeof *b);
    struct err_msg e = {0};

    assert_non_null(b);
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &b->profiles, &e), ERR_OK);
    assert_int_equal(case_file_read(SAMPLE, b->profiles, &b->c, &e), ERR_OK);
    wiring_make(&b->c, 0, &b->w);
    if (catalogue_load(&b->c, &b->w, b->profiles, &b->faults, &e) != ERR_OK)
        fail_msg("%s", e.text);
    *state = b;
    return 0;
}

static int tear_down(void **state)
{
    struct bench *b = *state;

    catalogue_release(&b->faults);
    case_file_release(&b->c);
    profile_path_free(b->profiles);
    free(b);
    return 0;
}

static const struct setting settings[] = {
    {.asked = ASKED_READ,
     .role = ROLE_INLINE,
     .has_ready = true,
     .ready_sure = true,
     .has_motor = true,
     .two_sided = true,
     .tap_pull_up = true,
     .no_index_timer = 0.3},
    {.asked = ASKED_READ | ASKED_WRITE,
     .role = ROLE_INLINE,
     .has_ready = true,
     .waits_ready = true,
     .has_motor = true,
     .two_sided = true,
     .rotor_index = true,
     .no_index_timer = 0.5},
    {.asked = ASKED_MOTOR, .role = ROLE_INLINE, .has_motor = true},
};

static void state_of(const struct fault *f, struct state *out)
{
    state_init(out);
    assert_int_equal(state_apply(out, f->effect, f->sig, f->sig2, f->tap), ERR_OK);
}

static void choices_of_one_state_sum_to_one(void **state)
{
    const struct bench *b = *state;

    for (size_t i = 0; i < b->faults.count; i++) {
        for (size_t s = 0; s < sizeof settings / sizeof *settings; s++) {
            struct state broken;
            struct play begun;
            double sum = 0;

            state_of(&b->faults.fault[i], &broken);
            world_begin(&broken, &settings[s], &begun);
            for (unsigned u = 0; u < UNTOLD_COMBINATIONS; u++) {
                struct world w;

                sum += world_play(&begun, u, &w);
            }
            if (fabs(sum - 1) > 1e-9)
                fail_msg("%s, setting %zu: %.12f", b->faults.fault[i].name, s, sum);
        }
    }
}

static void every_answer_has_a_chance_and_all_sum_to_one(void **state)
{
    const struct bench *b = *state;

    for (size_t i = 0; i < b->faults.count; i++) {
        struct state broken;
        struct play begun;
        struct world w;

        state_of(&b->faults.fault[i], &broken);
        world_begin(&broken, &settings[1], &begun);
        for (unsigned u = 0; u < UNTOLD_COMBINATIONS; u++) {
            if (world_play(&begun, u, &w) <= 0)
                continue;
            for (int k = 0; k < FEATURE_SWAP + TOLD_QUESTIONS; k++) {
                bool told = k >= FEATURE_TOLD;
                int question = told ? (k - FEATURE_TOLD) % TOLD_QUESTIONS : -1;
                struct feature f = {.kind = told ? FEATURE_TOLD : (enum feature_kind)k,
                                    .sig = SIG_INDEX,
                                    .sig2 = question,
                                    .tap = TAP_MACHINE_END,
                                    .answers =
                                        told ? told_row((enum told_question)question)->answers
                                             : feature_answers((enum feature_kind)k)};
                double answer[FEATURE_ANSWERS_MAX], sum = 0;

                world_predict(&w, &f, answer);
                for (int a = 0; a < f.answers; a++) {
                    assert_true(answer[a] > 0);
                    sum += answer[a];
                }
                assert_true(fabs(sum - 1) < 1e-9);
            }
        }
    }
}

static double line_chance(const struct world *w, enum sig s, enum tap tap, int answer)
{
    struct feature f = {.kind = FEATURE_LINE, .sig = s, .tap = tap, .answers = STATE_COUNT};
    double p[FEATURE_ANSWERS_MAX];

    world_predict(w, &f, p);
    return p[answer];
}

/* Handbook, faults.csv: an open conductor is live at its driver's side and quiet at the other;
 * a short to ground is low at both. */
static void a_broken_conductor_shows_at_the_far_side_only(void **state)
{
    static const enum sig lines[] = {SIG_SEL, SIG_MOT, SIG_INDEX, SIG_RDATA};

    (void)state;
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        enum sig s = lines[i];
        enum tap driver = s < SIG_FROM_DRIVE ? TAP_MACHINE_END : TAP_DRIVE_END;
        enum tap far = s < SIG_FROM_DRIVE ? TAP_DRIVE_END : TAP_MACHINE_END;
        struct state broken;
        struct play begun;
        struct world w;

        state_init(&broken);
        assert_int_equal(state_apply(&broken, "conductor * open", s, SIG_COUNT, TAP_DRIVE_END),
                         ERR_OK);
        world_begin(&broken, &settings[0], &begun);
        assert_true(world_play(&begun, UNTOLD_SEEKS_IN, &w) > 0 ||
                    world_play(&begun, UNTOLD_SEEKS_IN | UNTOLD_SILENT, &w) > 0);
        assert_true(line_chance(&w, s, far, STATE_NEVER) > 0.9);
        assert_true(line_chance(&w, s, driver, STATE_TOGGLES) > 0.9);
        state_init(&broken);
        assert_int_equal(
            state_apply(&broken, "conductor * ground", s, SIG_COUNT, TAP_DRIVE_END), ERR_OK);
        world_begin(&broken, &settings[0], &begun);
        assert_true(world_play(&begun, UNTOLD_SEEKS_IN, &w) > 0);
        assert_true(line_chance(&w, s, far, STATE_ALWAYS) > 0.9);
        assert_true(line_chance(&w, s, driver, STATE_ALWAYS) > 0.9);
    }
}

/* Bench practice 10: with no disk in, missing INDEX and RDATA are evidence of nothing. */
static void without_a_disk_silence_is_expected(void **state)
{
    struct setting s = settings[0];
    struct state whole;
    struct play begun;
    struct world w;

    (void)state;
    s.disk_none = true;
    state_init(&whole);
    world_begin(&whole, &s, &begun);
    assert_true(world_play(&begun, UNTOLD_SEEKS_IN | UNTOLD_SILENT, &w) > 0);
    assert_true(line_chance(&w, SIG_INDEX, TAP_DRIVE_END, STATE_NEVER) > 0.5);
    assert_true(line_chance(&w, SIG_RDATA, TAP_DRIVE_END, STATE_NEVER) > 0.9);
}

/* A part that the adapter stands in for is not in circuit: whatever is wrong with it changes
 * nothing. */
static void a_part_out_of_circuit_changes_nothing(void **state)
{
    struct setting s = settings[0];
    struct state broken, whole;
    struct play a, b;
    struct world wa, wb;

    (void)state;
    s.role = ROLE_AS_MACHINE;
    state_init(&whole);
    state_init(&broken);
    assert_int_equal(
        state_apply(&broken, "machine-out * dead", SIG_STEP, SIG_COUNT, TAP_DRIVE_END), ERR_OK);
    world_begin(&whole, &s, &a);
    world_begin(&broken, &s, &b);
    assert_true(world_play(&a, UNTOLD_SEEKS_IN, &wa) > 0);
    assert_true(world_play(&b, UNTOLD_SEEKS_IN, &wb) > 0);
    for (enum sig g = 0; g < SIG_COUNT; g++)
        for (int k = 0; k < STATE_COUNT; k++)
            assert_true(fabs(line_chance(&wa, g, TAP_DRIVE_END, k) -
                             line_chance(&wb, g, TAP_DRIVE_END, k)) < 1e-12);
}

static void effects_that_are_not_known_are_refused(void **state)
{
    static const char *const bad[] = {"",
                                      "motor",
                                      "motor singing",
                                      "conductor * bent",
                                      "conductor INDEX",
                                      "conductor NOSUCH open",
                                      "lead * shorted",
                                      "join *"};
    struct state s;

    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        state_init(&s);
        assert_int_equal(state_apply(&s, bad[i], SIG_COUNT, SIG_COUNT, TAP_DRIVE_END),
                         ERR_FORMAT);
    }
}

static void shares_of_an_end_sum_to_one(void **state)
{
    const struct bench *b = *state;
    double sum[END_COUNT] = {0};

    for (size_t i = 0; i < b->faults.count; i++)
        sum[b->faults.fault[i].end] += b->faults.fault[i].share;
    for (int e = 0; e < END_TWO; e++)
        assert_true(fabs(sum[e] - 1) < 1e-9);
}

static void judge_to_json(const char *folder, const char *profiles, struct verdict *v,
                          struct buf *json)
{
    struct err_msg e = {0};
    struct profile_path *p = NULL;
    struct case_file c;
    struct judge_options o = {0};

    assert_int_equal(profile_path_make(profiles, &p, &e), ERR_OK);
    if (case_file_read(folder, p, &c, &e) != ERR_OK)
        fail_msg("%s", e.text);
    o.profiles = p;
    if (judge_case(&c, &o, v, &e) != ERR_OK)
        fail_msg("%s", e.text);
    buf_init(json, 1u << 22);
    assert_int_equal(report_verdict_json(v, json), ERR_OK);
    case_file_release(&c);
    profile_path_free(p);
}

static void make_temp(char *path)
{
    snprintf(path, 64, "/tmp/whichend-judge-XXXXXX");
    assert_non_null(mkdtemp(path));
}

static void order_of_captures_changes_no_byte(void **state)
{
    char folder[64];
    struct verdict a, b;
    struct buf ja, jb;

    (void)state;
    make_temp(folder);
    run("cp " SAMPLE "/* %s/", folder);
    /* the last capture's section goes before the first one's */
    run("awk 'BEGIN{n=0} /^\\[/{n++} {s[n]=s[n] $0 \"\\n\"} END{printf \"%%s%%s\", s[0], s[1]; "
        "for(i=n;i>1;i--) printf "
        "\"%%s\", s[i]}' " SAMPLE "/case.ini > %s/case.ini",
        folder);
    judge_to_json(SAMPLE, TEST_SOURCE_DIR "/profiles", &a, &ja);
    judge_to_json(folder, TEST_SOURCE_DIR "/profiles", &b, &jb);
    assert_string_equal(ja.data, jb.data);
    verdict_release(&a);
    verdict_release(&b);
    buf_release(&ja);
    buf_release(&jb);
    run("rm -r %s", folder);
}

static size_t problems_of(const char *profiles, char *first, size_t max)
{
    struct profile_path *p = NULL;
    struct err_msg e = {0};
    struct buf problems;
    size_t count = 0, files = 0;

    buf_init(&problems, 1u << 16);
    assert_int_equal(profile_path_make(profiles, &p, &e), ERR_OK);
    assert_int_equal(catalogue_check(p, &problems, &count, &files, &e), ERR_OK);
    assert_true(files >= 8);
    snprintf(first, max, "%s", problems.data ? problems.data : "");
    buf_release(&problems);
    profile_path_free(p);
    return count;
}

static void a_fault_without_source_weight_or_known_effect_is_found(void **state)
{
    char folder[64], profiles[96], first[512];

    (void)state;
    assert_int_equal(problems_of(TEST_SOURCE_DIR "/profiles", first, sizeof first), 0);
    make_temp(folder);
    snprintf(profiles, sizeof profiles, "%s/profiles", folder);
    run("cp -r " TEST_SOURCE_DIR "/profiles %s", profiles);
    run("printf '[drive.head.singing]\\nweight = many\\neffect = head sings\\ntext = "
        "invented\\n' >> "
        "%s/faults/drive.ini",
        profiles);
    assert_int_equal(problems_of(profiles, first, sizeof first), 3);
    assert_non_null(strstr(first, "drive.ini:"));
    run("rm -r %s", folder);
}

/* A shop's counts are held to the same care as the catalogue. */
static void a_count_without_source_is_found(void **state)
{
    char folder[64], profiles[96], first[512];

    (void)state;
    make_temp(folder);
    snprintf(profiles, sizeof profiles, "%s/profiles", folder);
    run("cp -r " TEST_SOURCE_DIR "/profiles %s", profiles);
    run("printf '[drive]\nclosed = 4\n' > %s/priors.ini", profiles);
    assert_int_equal(problems_of(profiles, first, sizeof first), 1);
    assert_non_null(strstr(first, "priors.ini: [drive] has no source"));
    run("printf '[drive]\nclosed = 1.5\nsource = invented\n' > %s/priors.ini", profiles);
    assert_int_equal(problems_of(profiles, first, sizeof first), 1);
    run("rm -r %s", folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(choices_of_one_state_sum_to_one),
        cmocka_unit_test(every_answer_has_a_chance_and_all_sum_to_one),
        cmocka_unit_test(a_broken_conductor_shows_at_the_far_side_only),
        cmocka_unit_test(without_a_disk_silence_is_expected),
        cmocka_unit_test(a_part_out_of_circuit_changes_nothing),
        cmocka_unit_test(effects_that_are_not_known_are_refused),
        cmocka_unit_test(shares_of_an_end_sum_to_one),
        cmocka_unit_test(order_of_captures_changes_no_byte),
        cmocka_unit_test(a_fault_without_source_weight_or_known_effect_is_found),
        cmocka_unit_test(a_count_without_source_is_found),
    };

    return cmocka_run_group_tests(tests, set_up, tear_down);
}
