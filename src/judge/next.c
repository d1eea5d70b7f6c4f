#include "judge/next.h"

#include "judge/ask.h"
#include "judge/hypotheses.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TESTS_MAX 64
#define SHOWN_MAX 5
#define BITS_MIN  0.005
/* Answers rarer than this are not worth a line. */
#define OUTCOME_MIN 0.05
/* A look at the suspect (our own guess). */
#define CONFIRM_MINUTES 5

static const char *answer_word(const struct feature *f, int k, char out[CASE_WORD_MAX])
{
    static const char *const swaps[] = {"it works", "it fails", "it works sometimes"};
    static const char *const rails[] = {"in limits", "it dips", "it is missing"};
    static const char *const checks[] = {"it passes", "it fails"};

    if (f->kind == FEATURE_TOLD)
        return told_word((enum told_question)f->sig2, k, out);
    if (f->kind == FEATURE_SELFCHECK)
        return checks[k];
    if (f->kind == FEATURE_EXAMINED)
        return k ? "it is there" : "it is not";
    return f->kind == FEATURE_RAIL ? rails[k] : swaps[k];
}

/* What an answer would then mean: the end that it would leave in front. */
static void say_outcome(const struct inference *n, const struct feature *f,
                        const double *answer, int k, struct next_test *t)
{
    double end[END_COUNT] = {0}, chance = 0;
    char word[CASE_WORD_MAX];
    enum end best;

    for (size_t h = 0; h < n->hyp_count; h++) {
        double p = n->posterior[h] * answer[h * (size_t)f->answers + (size_t)k];

        end[n->end_of[h]] += p;
        chance += p;
    }
    best = ends_leader(end);
    if (chance < OUTCOME_MIN || t->outcome_count == OUTCOMES_MAX)
        return;
    t->then[t->outcome_count] = best;
    snprintf(t->outcome[t->outcome_count++], sizeof t->outcome[0], "%s: then %s, %.0f %%",
             answer_word(f, k, word), end_shown(best), 100 * end[best] / chance);
}

static double weigh_question(const struct asking *q, const struct feature *f,
                             struct next_test *t)
{
    double *answer = asking_answers(q, f);
    double bits = asking_bits(q, f, answer);

    for (int k = 0; answer && k < f->answers; k++)
        say_outcome(q->n, f, answer, k, t);
    free(answer);
    return bits;
}

static bool asked_already(const struct inference *n, const struct feature *f)
{
    for (size_t i = 0; i < n->g->features.count; i++) {
        const struct feature *k = &n->g->features.item[i];

        if (k->kind == f->kind && k->sig2 == f->sig2)
            return true;
    }
    return false;
}

/* The untapped end: the one line there that tells most. */
static double tap_gain(const struct case_file *c, const struct asking *q, struct next_test *t)
{
    const struct wiring *w = &q->n->g->wiring;
    bool machine = false, drive = false;
    double best = 0;

    for (size_t i = 0; i < c->capture_count; i++) {
        machine = machine || c->capture[i].tap == TAP_MACHINE_END;
        drive = drive || c->capture[i].tap != TAP_MACHINE_END;
    }
    if (machine == drive)
        return 0;
    for (enum sig s = 0; s < SIG_COUNT; s++) {
        struct feature f = {.kind = FEATURE_LINE,
                            .sig = s,
                            .answers = STATE_COUNT,
                            .tap = machine ? TAP_DRIVE_END : TAP_MACHINE_END};
        double bits, *answer;

        if (w->at_machine[s] == LINE_NONE || s == SIG_DIR)
            continue;
        answer = asking_answers(q, &f);
        bits = asking_bits(q, &f, answer);
        free(answer);
        if (bits > best) {
            best = bits;
            snprintf(t->why, sizeof t->why, "%s at the %s end tells the ends apart best",
                     line_name((machine ? w->at_drive : w->at_machine)[s]),
                     machine ? "drive" : "machine");
        }
    }
    return best;
}

static double test_gain(const struct case_file *c, const struct asking *q, const char *asks,
                        struct next_test *t)
{
    struct feature f = {.group = GROUP_PERSON,
                        .sig = SIG_COUNT,
                        .sig2 = -1,
                        .tap = TAP_DRIVE_END,
                        .known_good = true,
                        .reseated = true,
                        .run = -1,
                        .count = 1};
    char word[16] = "", what[32] = "";

    (void)sscanf(asks, "%15s %31s", word, what);
    if (!strcmp(word, "tap"))
        return tap_gain(c, q, t);
    if (!strcmp(word, "swap")) {
        f.kind = FEATURE_SWAP;
        f.sig2 = (int)end_by_name(what);
    } else if (!strcmp(word, "selfcheck")) {
        f.kind = FEATURE_SELFCHECK;
        if (!q->n->g->adapter)
            return 0;
    } else if (!strcmp(word, "rail")) {
        f.kind = FEATURE_RAIL;
        f.sig2 = (int)rail_by_name(what);
        if (f.sig2 == RAIL_V12 && !profile_limit(c->drive, "v12_v"))
            return 0;
    } else {
        f.kind = FEATURE_TOLD;
        f.sig2 = (int)told_question_by_key("observed", what);
        if (f.sig2 == TOLD_QUESTIONS)
            return 0;
    }
    f.answers = f.kind == FEATURE_TOLD ? told_row((enum told_question)f.sig2)->answers
                                       : feature_answers(f.kind);
    return asked_already(q->n, &f) ? 0 : weigh_question(q, &f, t);
}

static void put(char *out, size_t max, const char *text)
{
    snprintf(out, max, "%s", text ? text : "");
}

static void describe(const struct ini_file *f, const char *name, struct next_test *t)
{
    const char *minutes = ini_file_get(f, name, "minutes");
    const char *needs = ini_file_get(f, name, "needs"), *first = ini_file_get(f, name, "first");

    put(t->test, sizeof t->test, ini_file_get(f, name, "text"));
    put(t->caution, sizeof t->caution, ini_file_get(f, name, "caution"));
    put(t->risk, sizeof t->risk, ini_file_get(f, name, "risk"));
    t->minutes = minutes ? strtod(minutes, NULL) : 5;
    if (t->minutes < 0.5)
        t->minutes = 0.5;
    if (needs)
        put(t->needs[t->need_count++], sizeof t->needs[0], needs);
    if (first)
        put(t->first[t->first_count++], sizeof t->first[0], first);
}

/* The likeliest fault that has a test of its own which nobody made yet. */
static const struct fault *suspect(const struct inference *n, enum end e)
{
    const struct fault *best = NULL;
    double most = 0;

    for (size_t h = 0; h < n->hyp_count; h++) {
        const struct hypothesis *y = &n->hyp[h];
        const struct fault *f = y->kind == HYP_SINGLE ? &n->c->fault[y->a] : NULL;

        if (!f || y->left_out || y->end != e || !f->next[0] || n->posterior[h] <= most ||
            fault_examined(n, f))
            continue;
        best = f;
        most = n->posterior[h];
    }
    return best;
}

/* Look at the suspect itself: what the catalogue says for the likeliest fault of an end. */
static size_t confirm(const struct asking *a, enum end e, struct next_test *t)
{
    const struct fault *f = suspect(a->n, e);
    struct feature q = {.kind = FEATURE_EXAMINED,
                        .group = GROUP_SWAP,
                        .sig = SIG_COUNT,
                        .run = -1,
                        .answers = feature_answers(FEATURE_EXAMINED)};

    if (!f)
        return 0;
    q.fault = f->name;
    *t = (struct next_test){.minutes = CONFIRM_MINUTES};
    t->bits = weigh_question(a, &q, t);
    put(t->test, sizeof t->test, f->next);
    snprintf(t->why, sizeof t->why, "shows whether %s", f->text);
    snprintf(t->note, sizeof t->note, "examined %s.found=yes or no", f->name);
    put(t->caution, sizeof t->caution, f->caution);
    put(t->risk, sizeof t->risk, "none");
    put(t->first[t->first_count++], sizeof t->first[0],
        "disk out, power off before anything is moved");
    return 1;
}

static int by_rate(const void *a, const void *b)
{
    const struct next_test *x = a, *y = b;
    double rx = x->bits / x->minutes, ry = y->bits / y->minutes;

    if (x->leads != y->leads) /* the test gear before the machine */
        return x->leads ? -1 : 1;
    if (rx > ry || rx < ry)
        return rx < ry ? 1 : -1;
    return strcmp(x->test, y->test);
}

/* The case says that what a test needs is not there. */
static bool not_at_hand(const struct case_file *c, const char *thing)
{
    const char *have = thing ? case_told(c, "have", thing) : NULL;

    return have && !strcmp(have, "no");
}

/* A test of two drives where the case says that there is one. */
static bool needs_another(const struct case_file *c, const char *only)
{
    return only && !strcmp(only, "two-drives") && c->drives_attached == 1;
}

static bool rails_known(const struct inference *n)
{
    for (size_t i = 0; i < n->g->features.count; i++)
        if (n->g->features.item[i].kind == FEATURE_RAIL)
            return true;
    return false;
}

/* No drive, machine or supply joins this set before its rails are known (bench practice, 7):
 * what measures a rail goes before the first such exchange. */
static void rails_first(struct next_test *list, size_t count)
{
    size_t to = 0;

    while (to < count && !list[to].exchange)
        to++;
    for (size_t i = to + 1; i < count; i++) {
        struct next_test rail = list[i];

        if (!rail.rail)
            continue;
        memmove(list + to + 1, list + to, (i - to) * sizeof *list);
        list[to++] = rail;
    }
}

/* One section of the catalogue of tests; false where it is not offered. */
static bool consider(const struct case_file *c, const struct asking *q,
                     const struct ini_file *f, const char *section, struct next_test *t)
{
    const char *asks = ini_file_get(f, section, "asks");

    *t = (struct next_test){.bits = 0};
    if (!asks || not_at_hand(c, ini_file_get(f, section, "have")) ||
        needs_another(c, ini_file_get(f, section, "only")))
        return false;
    t->rail = !strncmp(asks, "rail ", 5);
    t->exchange = !strcmp(asks, "swap drive") || !strcmp(asks, "swap controller") ||
                  !strcmp(asks, "swap power");
    t->leads = !strcmp(asks, "selfcheck");
    t->bits = test_gain(c, q, asks, t);
    describe(f, section, t);
    if (t->leads)
        put(t->why, sizeof t->why, "what unchecked leads recorded can only lean");
    else if (!t->why[0] && t->bits >= BITS_MIN)
        put(t->why, sizeof t->why, "its answer tells the ends that are left apart");
    else if (!t->why[0])
        snprintf(t->why, sizeof t->why,
                 "nothing good joins this set before its rails are known");
    return t->bits >= BITS_MIN || (t->leads && t->bits > 0) ||
           (t->rail && t->bits > 0 && !rails_known(q->n));
}

static enum err rank(const struct case_file *c, const struct asking *q,
                     const struct ini_file *f, struct verdict *v)
{
    struct next_test *list = calloc(TESTS_MAX, sizeof *list), own;
    size_t count = 0, looks;

    if (!list)
        return ERR_MEMORY;
    for (size_t i = 0; i < f->count && count < TESTS_MAX; i++)
        if (!f->entry[i].key && consider(c, q, f, f->entry[i].section, &list[count]))
            count++;
    looks = confirm(q, v->leading, &own);
    if (looks && v->grade != GRADE_DECIDED && count < TESTS_MAX)
        list[count++] = own;
    qsort(list, count, sizeof *list, by_rate);
    if (!rails_known(q->n))
        rails_first(list, count);
    if (looks && v->grade == GRADE_DECIDED) { /* what is left is to see it */
        memmove(list + 1, list, (count < TESTS_MAX - 1 ? count : TESTS_MAX - 1) * sizeof *list);
        list[0] = own;
        count += count < TESTS_MAX;
    }
    v->next = list;
    v->next_count = count < SHOWN_MAX ? count : SHOWN_MAX;
    return ERR_OK;
}

enum err next_tests(const struct case_file *c, const struct inference *n,
                    const struct profile_path *path, struct verdict *v, struct err_msg *e)
{
    struct asking q;
    struct ini_file f;
    char *where = NULL;
    enum err err;

    TRY(profile_file_find(path, "tests", "bench", &where, e));
    err = ini_file_read(where, &f, e);
    free(where);
    if (err != ERR_OK)
        return err;
    err = asking_begin(n, &q);
    if (err == ERR_OK)
        err = rank(c, &q, &f, v);
    asking_release(&q);
    ini_file_release(&f);
    return err;
}
