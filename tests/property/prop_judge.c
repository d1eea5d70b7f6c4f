/* What must hold of every verdict, whatever the case: handbook, diagnosis, 1.9. Cases are drawn
 * at random and invented; SEED=n draws others.
 */
#include "report/report.h"
#include "sim/rng.h"
#include "unit/judge_bench.h"

#include <math.h>

#define SAMPLE   TEST_SOURCE_DIR "/flux-samples/heron-read-conductor"
#define PROFILES TEST_SOURCE_DIR "/profiles"
#define CASES    12

static uint64_t seed(void)
{
    const char *text = getenv("SEED");

    return text ? strtoull(text, NULL, 10) : 1;
}

#define SECTIONS 12
#define LINES    14

struct section {
    char head[64], line[LINES][96];
    size_t lines;
};

struct drawn {
    struct section section[SECTIONS];
    size_t count;
};

static struct section *section_new(struct drawn *d, const char *head)
{
    struct section *s = &d->section[d->count++];

    *s = (struct section){.lines = 0};
    snprintf(s->head, sizeof s->head, "[%s]\n", head);
    return s;
}

static void put(struct section *s, const char *key, const char *value)
{
    snprintf(s->line[s->lines++], sizeof s->line[0], "%s = %s\n", key, value);
}

static const char *one_of(struct rng *r, const char *const *words, int count)
{
    return words[sim_rng_between(r, 0, count - 1)];
}

static const char *const parts[] = {"drive", "cable", "controller", "disk", "power"};

/* Some answers of [observed], each a word that the key allows. */
static void draw_observed(struct rng *r, struct drawn *d)
{
    const struct case_key *keys;
    size_t count = case_keys(&keys);
    struct section *s = section_new(d, "observed");

    put(s, "lamp", "on-access");
    for (size_t i = 0; i < count && s->lines < 7; i++) {
        char word[CASE_WORD_MAX];

        if (strcmp(keys[i].section, "observed") || !strcmp(keys[i].key, "lamp") ||
            !sim_rng_chance(r, 0.15))
            continue;
        put(s, keys[i].key, case_word(&keys[i], (int)sim_rng_between(r, 0, 1), word));
    }
}

static void draw_told(struct rng *r, struct drawn *d)
{
    static const char *const disks[] = {"known-good", "unknown"},
                             *const outcomes[] = {"worked", "failed", "sometimes"},
                             *const works[] = {"reseated", "new-chip", "cleaned-heads",
                                               "adjusted"};
    struct section *s;

    *d = (struct drawn){.count = 0};
    s = section_new(d, "case");
    put(s, "machine", "controller-wd177x");
    put(s, "drive", "drive-35-dd");
    put(s, "cable", "ribbon-34-straight");
    put(s, "disk", one_of(r, disks, 2));
    draw_observed(r, d);
    for (int i = 0; i < 2; i++) {
        s = section_new(d, i ? "swap later" : "swap first");
        put(s, "part", one_of(r, parts, 5));
        put(s, "condition", sim_rng_chance(r, 0.5) ? "known-good" : "unknown");
        put(s, "outcome", one_of(r, outcomes, 3));
    }
    s = section_new(d, "repair it");
    put(s, "part", one_of(r, parts, 5));
    put(s, "did", one_of(r, works, 4));
    put(s, "outcome", one_of(r, outcomes, 3));
    s = section_new(d, "meter five");
    put(s, "what", "rail");
    put(s, "line", "V5");
    put(s, "value", sim_rng_chance(r, 0.7) ? "5.02 V" : "4.1 V");
}

static void add_captures(struct drawn *d, const char *first, const char *second)
{
    static const char *const file[] = {"machine-end.wec", "drive-end.wec"}, *const tap[] = {
                                                                                "machine-end",
                                                                                "drive-end"};

    for (int i = 0; i < 2; i++) {
        char head[48];
        struct section *s;

        snprintf(head, sizeof head, "capture %s", i ? second : first);
        s = section_new(d, head);
        put(s, "file", file[i]);
        put(s, "tap", tap[i]);
        put(s, "pull-up", "2200");
        put(s, "run", "one");
        put(s, "asked", "read, write");
        put(s, "outcome", "failed");
    }
}

static void shuffle(struct rng *r, size_t *order, size_t count)
{
    for (size_t i = 0; i < count; i++)
        order[i] = i;
    for (size_t i = count; i > 1; i--) {
        size_t k = (size_t)sim_rng_between(r, 0, (int64_t)i - 1), was = order[i - 1];

        order[i - 1] = order[k];
        order[k] = was;
    }
}

/* As text, with `more` behind it; r: sections and keys in any order. */
static void write_case(const struct drawn *d, struct rng *r, const char *more, char *out,
                       size_t max)
{
    size_t order[SECTIONS], keys[LINES], len = 0;

    for (size_t i = 0; i < SECTIONS; i++)
        order[i] = i;
    if (r)
        shuffle(r, order, d->count);
    out[0] = 0;
    for (size_t i = 0; i < d->count; i++) {
        const struct section *s = &d->section[order[i]];

        for (size_t k = 0; k < LINES; k++)
            keys[k] = k;
        if (r)
            shuffle(r, keys, s->lines);
        len += (size_t)snprintf(out + len, max - len, "%s", s->head);
        for (size_t k = 0; k < s->lines; k++)
            len += (size_t)snprintf(out + len, max - len, "%s", s->line[keys[k]]);
    }
    snprintf(out + len, max - len, "%s", more);
}

static void judge_drawn(const struct drawn *d, struct rng *order, const char *more,
                        struct verdict *v)
{
    char text[8192];

    write_case(d, order, more, text, sizeof text);
    judge_with(text, SAMPLE, PROFILES, v);
}

static void same_bytes(const struct drawn *d, struct rng *r)
{
    struct verdict a, b;
    struct buf ja, jb;

    judge_drawn(d, NULL, "", &a);
    judge_drawn(d, r, "", &b);
    buf_init(&ja, 1u << 22);
    buf_init(&jb, 1u << 22);
    assert_int_equal(report_verdict_json(&a, &ja), ERR_OK);
    assert_int_equal(report_verdict_json(&b, &jb), ERR_OK);
    assert_string_equal(ja.data, jb.data);
    buf_release(&ja);
    buf_release(&jb);
    verdict_release(&a);
    verdict_release(&b);
}

static void the_order_of_the_evidence_changes_no_byte(void **state)
{
    struct rng r;
    struct drawn d;

    (void)state;
    sim_rng_seed(&r, seed(), 5);
    for (int i = 0; i < CASES; i++) {
        draw_told(&r, &d);
        same_bytes(&d, &r);
    }
    add_captures(&d, "one", "other");
    for (int i = 0; i < 2; i++)
        same_bytes(&d, &r);
}

static double ends_apart(const struct verdict *a, const struct verdict *b)
{
    double most = 0;

    for (int e = 0; e < END_COUNT; e++) {
        most = fmax(most, fabs(a->end[e] - b->end[e]));
        most = fmax(most, fabs(a->also[e] - b->also[e]));
    }
    return most;
}

/* What is not known, not done or not said is evidence of nothing. */
static void evidence_that_is_absent_changes_nothing(void **state)
{
    static const char *const nothing =
        "back = not-tried\nelsewhere = not-tried\n[probe idle]\nline = INDEX\n[meter off]\n"
        "what = rail\nline = V12\nvalue = 0 V\nwhen = off\n[have]\nmeter = yes\n";
    struct rng r;
    struct drawn d;

    (void)state;
    sim_rng_seed(&r, seed(), 6);
    for (int i = 0; i < CASES; i++) {
        struct section *s;
        struct verdict a, b;

        draw_told(&r, &d);
        s = section_new(&d, "swap last"); /* `nothing` goes on where this ends */
        put(s, "part", one_of(&r, parts, 5));
        put(s, "condition", "known-good");
        put(s, "outcome", "failed");
        judge_drawn(&d, NULL, "", &a);
        put(&d.section[0], "terminator", "unknown");
        put(&d.section[0], "other-drive", "unknown");
        judge_drawn(&d, NULL, nothing, &b);
        for (int e = 0; e < END_COUNT; e++)
            assert_true(fabs(a.end[e] - b.end[e]) < 1e-12);
        assert_int_equal(a.grade, b.grade);
        verdict_release(&a);
        verdict_release(&b);
    }
}

static void other_names_change_nothing(void **state)
{
    struct rng r;
    struct drawn d;
    struct verdict a, b;

    (void)state;
    sim_rng_seed(&r, seed(), 7);
    draw_told(&r, &d);
    add_captures(&d, "one", "other");
    judge_drawn(&d, NULL, "", &a);
    snprintf(d.section[2].head, sizeof d.section[2].head, "[swap zebra]\n");
    snprintf(d.section[3].head, sizeof d.section[3].head, "[swap ant]\n");
    snprintf(d.section[4].head, sizeof d.section[4].head, "[repair of old]\n");
    d.count -= 2;
    add_captures(&d, "zz", "aa");
    judge_drawn(&d, NULL, "", &b);
    assert_true(ends_apart(&a, &b) < 1e-9);
    assert_int_equal(a.grade, b.grade);
    assert_int_equal(a.finding_count, b.finding_count);
    verdict_release(&a);
    verdict_release(&b);
}

static double end_after(const struct drawn *base, const char *part, const char *condition,
                        const char *outcome)
{
    struct drawn d = *base;
    struct section *s = section_new(&d, "swap now");
    struct verdict v;
    double p;

    put(s, "part", part);
    put(s, "condition", condition);
    put(s, "outcome", outcome);
    judge_drawn(&d, NULL, "", &v);
    p = v.end[end_by_name(part)];
    verdict_release(&v);
    return p;
}

/* A spare that cures never speaks for the part that came out, one that fails never against; a
 * spare that is known good says more either way. */
static void swaps_speak_the_way_they_went(void **state)
{
    struct rng r;
    struct drawn d;

    (void)state;
    sim_rng_seed(&r, seed(), 8);
    for (int i = 0; i < CASES / 2; i++) {
        const char *part = one_of(&r, parts, 5);
        struct verdict v;
        double before, good[2], any[2];

        draw_told(&r, &d);
        judge_drawn(&d, NULL, "", &v);
        before = v.end[end_by_name(part)];
        verdict_release(&v);
        good[0] = end_after(&d, part, "known-good", "worked");
        any[0] = end_after(&d, part, "unknown", "worked");
        good[1] = end_after(&d, part, "known-good", "failed");
        any[1] = end_after(&d, part, "unknown", "failed");
        assert_true(any[0] >= before - 1e-9 && good[0] >= any[0] - 1e-9);
        assert_true(any[1] <= before + 1e-9 && good[1] <= any[1] + 1e-9);
    }
}

static void ends_sum_to_one(void **state)
{
    struct rng r;
    struct drawn d;

    (void)state;
    sim_rng_seed(&r, seed(), 9);
    for (int i = 0; i < CASES; i++) {
        struct verdict v;
        double sum = 0;

        draw_told(&r, &d);
        judge_drawn(&d, NULL, "", &v);
        for (int e = 0; e < END_COUNT; e++) {
            sum += v.end[e];
            assert_true(v.also[e] >= 0 && v.also[e] <= 1);
        }
        assert_true(fabs(sum - 1) < 1e-12);
        for (size_t k = 0; k < v.next_count; k++)
            assert_true(v.next[k].bits >= 0);
        verdict_release(&v);
    }
}

/* A section of the catalogue written down twice, each with half of its weight. */
static void a_fault_split_in_two_changes_no_end(void **state)
{
    static const char *const split[][2] = {{"drive", "drive.head.dead"},
                                           {"cable", "cable.plug.unplugged"}};
    char folder[] = "/tmp/whichend-split-XXXXXX", profiles[64];
    struct rng r;
    struct drawn d;

    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(profiles, sizeof profiles, "%s/profiles", folder);
    run("cp -r " PROFILES " %s", folder);
    for (size_t i = 0; i < sizeof split / sizeof *split; i++)
        run("cd %s/faults && awk -v name='[%s]' 'function twin() { if (kept) printf \"%%s\", "
            "kept; kept = \"\" } /^\\[/ { twin(); in_it = $0 == name } in_it { if "
            "($1 == \"weight\") $0 = \"weight = \" $3 / 2; line = $0; sub(/\\]$/, "
            "\"-twin]\", line); kept = kept line \"\\n\" } { print } END { twin() }' %s.ini "
            ">new && mv new %s.ini && grep -q twin %s.ini",
            profiles, split[i][1], split[i][0], split[i][0], split[i][0]);
    sim_rng_seed(&r, seed(), 10);
    for (int i = 0; i < CASES / 2; i++) {
        char text[8192];
        struct verdict a, b;

        draw_told(&r, &d);
        if (i == 0)
            add_captures(&d, "one", "other");
        write_case(&d, NULL, "", text, sizeof text);
        judge_with(text, SAMPLE, PROFILES, &a);
        judge_with(text, SAMPLE, profiles, &b);
        assert_true(ends_apart(&a, &b) < 1e-9);
        assert_int_equal(a.grade, b.grade);
        verdict_release(&a);
        verdict_release(&b);
    }
    run("rm -r %s", folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_order_of_the_evidence_changes_no_byte),
        cmocka_unit_test(evidence_that_is_absent_changes_nothing),
        cmocka_unit_test(other_names_change_nothing),
        cmocka_unit_test(swaps_speak_the_way_they_went),
        cmocka_unit_test(ends_sum_to_one),
        cmocka_unit_test(a_fault_split_in_two_changes_no_end),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
