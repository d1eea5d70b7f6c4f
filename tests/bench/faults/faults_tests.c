/* Test after test until a verdict: the judge's own order beside others. Every answer is what
 * the simulated bench gives. */
#include "base/ini_file.h"
#include "faults.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define KNOWN_MAX 40
#define CASE_MAX  (1u << 16)

const char *const POLICY_NAMES[POLICIES] = {"the judge's", "most bits", "as listed", "random"};
enum policy { POLICY_JUDGE, POLICY_BITS, POLICY_FIXED, POLICY_RANDOM };

/* One test of profiles/tests. */
struct known {
    char text[160], word[16], what[FAULT_WORD_MAX];
    double minutes;
    bool done;
};

struct round {
    const struct scenario *s;
    struct known test[KNOWN_MAX];
    struct known look; /* for a fault, as the judge names it */
    int tests;
    struct buf text;
    bool shown[PLUGS];
    struct rng rng; /* of the answers */
    struct rng order;
};

static enum err read_tests(struct round *t, struct err_msg *e)
{
    char *path = NULL;
    struct ini_file f;
    TRY(profile_file_find(t->s->stock->path, "tests", "bench", &path, e));
    enum err err = ini_file_read(path, &f, e);
    free(path);
    TRY(err);
    for (size_t i = 0; i < f.count && t->tests < KNOWN_MAX; i++) {
        const char *section = f.entry[i].section;
        const char *asks = ini_file_get(&f, section, "asks");
        const char *text = ini_file_get(&f, section, "text");
        const char *minutes = ini_file_get(&f, section, "minutes");
        if (f.entry[i].key != NULL || asks == NULL || text == NULL)
            continue;
        struct known *k = &t->test[t->tests++];
        snprintf(k->text, sizeof k->text, "%s", text);
        k->minutes = minutes != NULL ? strtod(minutes, NULL) : 5;
        k->word[0] = k->what[0] = '\0';
        (void)sscanf(asks, "%15s %31s", k->word, k->what);
    }
    ini_file_release(&f);
    return ERR_OK;
}

/* Can it be made here, and has it not been? */
static bool open_to_us(const struct round *t, const struct known *k)
{
    const struct set *set = &t->s->stock->set[t->s->set];
    if (k->done)
        return false;
    if (strcmp(k->word, "tap") == 0)
        return t->shown[0] != t->shown[1];
    if (strcmp(k->word, "rail") == 0)
        return strcmp(k->what, "V12") != 0 || profile_limit(set->drive, "v12_v") != NULL;
    if (strcmp(k->word, "told") == 0) {
        struct rng r = t->rng;
        return told_truth(t->s, k->what, &r) != NULL;
    }
    if (strcmp(k->word, "selfcheck") == 0)
        return t->s->scene[0].wec;
    return strcmp(k->word, "swap") == 0;
}

static enum err set_key(struct round *t, const char *section, const char *key,
                        const char *value, struct err_msg *e)
{
    struct buf to;
    buf_init(&to, CASE_MAX);
    enum err err = case_text_set(t->text.data, section, key, value, &to, e);
    if (err != ERR_OK) {
        buf_release(&to);
        return err;
    }
    buf_release(&t->text);
    t->text = to;
    return ERR_OK;
}

static enum err make_swap(struct round *t, const struct known *k, struct err_msg *e)
{
    char section[80];
    const char *back = NULL;
    const char *outcome = swap_truth(t->s, k->what, true, &t->rng, &back);
    snprintf(section, sizeof section, "swap %s", k->what);
    TRY(set_key(t, section, "part", k->what, e));
    TRY(set_key(t, section, "condition", "known-good", e));
    TRY(set_key(t, section, "outcome", outcome, e));
    return back != NULL ? set_key(t, section, "back", back, e) : ERR_OK;
}

static enum err make_rail(struct round *t, const struct known *k, struct err_msg *e)
{
    char section[80], value[24];
    snprintf(section, sizeof section, "meter %s", k->what);
    snprintf(value, sizeof value, "%.2f V", rail_truth(t->s, rail_by_name(k->what), &t->rng));
    TRY(set_key(t, section, "what", "rail", e));
    TRY(set_key(t, section, "at", "power-plug", e));
    TRY(set_key(t, section, "line", k->what, e));
    TRY(set_key(t, section, "value", value, e));
    return set_key(t, section, "when", "motor-start", e);
}

/* The test that the catalogue names for a fault. */
#define LOOK_MISSES   0.1
#define LOOK_MISLEADS 0.05

static enum err make_look(struct round *t, const struct known *k, struct err_msg *e)
{
    char section[96];
    bool there = strcmp(t->s->fault[0], k->what) == 0;
    bool found = sim_rng_chance(&t->rng, there ? 1 - LOOK_MISSES : LOOK_MISLEADS);
    snprintf(section, sizeof section, "examined %s", k->what);
    return set_key(t, section, "found", found ? "yes" : "no", e);
}

static enum err make(struct round *t, struct known *k, struct err_msg *e)
{
    k->done = true;
    if (strcmp(k->word, "swap") == 0)
        return make_swap(t, k, e);
    if (strcmp(k->word, "rail") == 0)
        return make_rail(t, k, e);
    if (strcmp(k->word, "examined") == 0)
        return make_look(t, k, e);
    if (strcmp(k->word, "selfcheck") == 0) {
        bool bad = strncmp(t->s->fault[0], "setup.lead.", 11) == 0;
        return set_key(t, "selfcheck", "result", bad ? "failed" : "passed", e);
    }
    if (strcmp(k->word, "told") == 0)
        return set_key(t, "observed", k->what, told_truth(t->s, k->what, &t->rng), e);
    int tap = t->shown[AT_MACHINE] ? AT_DRIVE : AT_MACHINE;
    t->shown[tap] = true;
    return kit_tap(t->s, tap, true, &t->text);
}

/* The test of the catalogue that stands behind one of the judge's, or NULL where it cannot be
 * made here. */
static struct known *behind(struct round *t, const struct next_test *next)
{
    struct known *k = &t->look;
    *k = (struct known){.minutes = next->minutes, .word = "examined"};
    if (sscanf(next->note, "examined %63[^=]", k->what) == 1) {
        char *dot = strrchr(k->what, '.');
        if (dot != NULL)
            *dot = '\0';
        return k;
    }
    for (int i = 0; i < t->tests; i++)
        if (strcmp(t->test[i].text, next->test) == 0 && open_to_us(t, &t->test[i]))
            return &t->test[i];
    return NULL;
}

/* The first that the judge names, or the one of most bits among those it names. */
static struct known *named(struct round *t, const struct verdict *v, bool bits)
{
    const struct next_test *best = NULL;
    for (size_t i = 0; i < v->next_count; i++) {
        const struct next_test *next = &v->next[i];
        if (behind(t, next) == NULL)
            continue;
        if (best == NULL || (bits && next->bits > best->bits))
            best = next;
    }
    return best != NULL ? behind(t, best) : NULL;
}

/* Where a fixed order or chance has no test left, the suspect is looked at as the judge would.
 */
static struct known *choose(struct round *t, const struct verdict *v, enum policy policy)
{
    struct known *chosen = NULL;
    int open = 0;
    if (policy == POLICY_JUDGE || policy == POLICY_BITS)
        return named(t, v, policy == POLICY_BITS);
    for (int k = 0; k < t->tests; k++) {
        if (!open_to_us(t, &t->test[k]))
            continue;
        open++;
        if (policy == POLICY_FIXED ? open == 1 : sim_rng_between(&t->order, 1, open) == 1)
            chosen = &t->test[k];
    }
    return chosen != NULL ? chosen : named(t, v, false);
}

static enum err go_on(struct round *t, enum policy policy, const char *folder,
                      struct record *out, struct err_msg *e)
{
    struct verdict *v = calloc(1, sizeof *v);
    enum err err = v != NULL ? ERR_OK : ERR_MEMORY;
    while (err == ERR_OK) {
        struct known *next = NULL;
        err = judge_text(t->s->stock->path, folder, &t->text, v, e);
        if (err != ERR_OK)
            break;
        note_verdict(v, out);
        if (v->grade != GRADE_DECIDED && out->tests < TESTS_MAX)
            next = choose(t, v, policy);
        verdict_release(v);
        if (next == NULL)
            break;
        out->tests++;
        out->minutes += next->minutes;
        err = make(t, next, e);
    }
    free(v);
    return err;
}

/* Every other scenario begins with both taps. */
static bool began_both(const struct scenario *s)
{
    return s->index % 2 == 0;
}

/* All policies begin with the same captures, and a test has the same answer for each. */
static enum err one_policy(const struct plan *p, const struct scenario *s, enum policy policy,
                           const char *folder, struct record *out, struct err_msg *e)
{
    struct round *t = calloc(1, sizeof *t);
    struct rng kit;
    struct kit k = {.told = 0};
    if (t == NULL)
        return ERR_MEMORY;
    t->s = s;
    sim_rng_seed(&kit, p->seed, UINT64_C(3000000000) + (uint64_t)s->index);
    sim_rng_seed(&t->rng, p->seed, UINT64_C(3100000000) + (uint64_t)s->index);
    sim_rng_seed(&t->order, p->seed, UINT64_C(3200000000) + (uint64_t)s->index);
    buf_init(&t->text, CASE_MAX);
    enum err err = read_tests(t, e);
    if (err == ERR_OK)
        err = kit_write(s, &kit, began_both(s) ? START_BOTH_TAPS : START_ONE_TAP, &k, &t->text,
                        e);
    memcpy(t->shown, k.shown, sizeof t->shown);
    *out = (struct record){.kit = (int)policy, .variant = (int)policy};
    note_scenario(s, out);
    note_kit(s, &k, out);
    out->began_both = began_both(s);
    if (err == ERR_OK)
        err = go_on(t, policy, folder, out, e);
    if (err == ERR_OK && p->keep != NULL)
        err = keep_case(folder, "tested", (int)policy, &t->text, e);
    memcpy(out->shown, t->shown, sizeof out->shown);
    buf_release(&t->text);
    free(t);
    return err;
}

int run_tests(const struct plan *p, const struct stock *stock, int index, const char *folder,
              struct record *out)
{
    struct scenario *s = calloc(1, sizeof *s);
    struct err_msg e = {.code = ERR_OK};
    int count = 0;
    enum err err = s != NULL
                       ? scenario_make(s, stock, p->seed, index, KIND_SINGLE, 1, folder, &e)
                       : ERR_MEMORY;
    for (int i = 0; i < POLICIES && err == ERR_OK; i++)
        if (p->order < 0 || p->order == i)
            err = one_policy(p, s, (enum policy)i, folder, &out[count++], &e);
    free(s);
    if (err == ERR_OK)
        return count;
    out[0] = (struct record){.index = index, .failed = true};
    snprintf(out[0].why, sizeof out[0].why, "%.100s", e.text);
    return 1;
}

void tests_count(const struct record *r, int count, int policy, bool both,
                 struct test_count *out)
{
    int ended = 0;
    *out = (struct test_count){.cases = 0};
    for (int i = 0; i < count; i++) {
        if (r[i].failed || r[i].variant != policy || r[i].began_both != both)
            continue;
        bool decided = r[i].grade == GRADE_DECIDED;
        out->cases++;
        out->right += record_worth(&r[i]) == WORTH_RIGHT;
        out->wrong += record_worth(&r[i]) == WORTH_WRONG;
        out->cleared += record_worth(&r[i]) == WORTH_CLEARED;
        out->tests_all += decided ? r[i].tests : TESTS_MAX;
        if (!decided)
            continue;
        ended++;
        out->tests += r[i].tests;
        out->minutes += r[i].minutes;
    }
    out->tests /= ended > 0 ? ended : 1;
    out->minutes /= ended > 0 ? ended : 1;
    out->tests_all /= out->cases > 0 ? out->cases : 1;
}

static void start_print(const struct record *r, int count, bool both)
{
    printf("\ntests to a verdict from %s, %d tests at most (single faults by weight)\n"
           "%-14s%7s%8s%7s%9s%10s%14s%16s%20s\n",
           both ? "both taps" : "one tap or none", TESTS_MAX, "order", "cases", "right",
           "wrong", "cleared", "decided", "tests, mean", "minutes, mean", "tests of all, mean");
    for (int i = 0; i < POLICIES; i++) {
        struct test_count t;
        tests_count(r, count, i, both, &t);
        if (t.cases == 0)
            continue;
        printf("%-14s%7d%8d%7d%9d%9.1f%%%14.2f%16.1f%20.2f\n", POLICY_NAMES[i], t.cases,
               t.right, t.wrong, t.cleared,
               t.cases > 0 ? 100.0 * (t.right + t.wrong + t.cleared) / t.cases : 0, t.tests,
               t.minutes, t.tests_all);
    }
}

void tests_print(const struct record *r, int count)
{
    start_print(r, count, true);
    start_print(r, count, false);
}
