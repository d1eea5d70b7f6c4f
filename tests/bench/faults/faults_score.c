/* What the verdicts were worth, as tables. */
#include "faults.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static unsigned bit(enum end e)
{
    return 1u << e;
}

/* The class of the verdict's partition that came true. */
static enum end truth_of(const struct record *r)
{
    if (r->ends == 0 || r->silent)
        return END_NONE;
    for (enum end e = END_DRIVE; e < END_TWO; e++)
        if (r->ends == bit(e))
            return e;
    return END_TWO;
}

/* Nothing at fault means: nothing that the captures exercised (contract). Where all worked and
 * nobody complains that is right, also where a fault sleeps in what was not asked for. */
bool record_hit(const struct record *r)
{
    switch (r->leading) {
    case END_NONE:
        return truth_of(r) == END_NONE || !r->complains;
    case END_TWO:
        return truth_of(r) == END_TWO;
    case END_UNEXPLAINED:
        return r->kind == KIND_UNLISTED;
    case END_DRIVE:
    case END_CABLE:
    case END_CONTROLLER:
    case END_DISK:
    case END_POWER:
    case END_SETUP:
    case END_COUNT:
        break;
    }
    return (r->ends & bit(r->leading)) != 0;
}

const char *const WORTH_NAMES[WORTHS] = {"right",   "wrong",  "cleared",
                                         "leaning", "astray", "undecided"};

enum worth record_worth(const struct record *r)
{
    if (r->grade == GRADE_UNDECIDED)
        return WORTH_OPEN;
    if (r->grade == GRADE_LEANING)
        return record_hit(r) ? WORTH_LEANING : WORTH_ASTRAY;
    if (record_hit(r))
        return WORTH_RIGHT;
    return r->leading == END_NONE ? WORTH_CLEARED : WORTH_WRONG;
}

static bool both(const struct record *r)
{
    return r->shown[0] && r->shown[1];
}

/* Calibration error that a sample of this size shows on average where every forecast is exact,
 * and twice its spread on top: what cannot be told from none. */
static double chance_error(const double *forecast, int count)
{
    struct rng rng;
    double sum = 0, squares = 0;
    bool *hit = calloc((size_t)count + 1, sizeof *hit);
    sim_rng_seed(&rng, 1, 77);
    for (int i = 0; hit != NULL && i < 200; i++) {
        for (int k = 0; k < count; k++)
            hit[k] = sim_rng_chance(&rng, forecast[k]);
        double e = measure_calibration(forecast, hit, count, BINS, NULL);
        sum += e / 200;
        squares += e * e / 200;
    }
    free(hit);
    return sum + 2 * sqrt(fmax(squares - sum * sum, 0));
}

/* The fault named against those that are there, each a section of the catalogue. */
static double utility(const struct record *r, bool silent)
{
    int blamed = !silent && r->named[0] != '\0', there = 0, hit = 0;
    for (int i = 0; i < 2; i++) {
        there += r->fault[i][0] != '\0';
        hit += blamed && strcmp(r->fault[i], r->named) == 0;
    }
    return measure_utility(blamed, blamed - hit, there - hit, r->sections);
}

enum err score(const struct record *r, int count, struct summary *out)
{
    double *forecast = calloc((size_t)count + 1, sizeof *forecast);
    bool *hit = calloc((size_t)count + 1, sizeof *hit);
    int n = 0;
    *out = (struct summary){0};
    if (forecast == NULL || hit == NULL) {
        free(forecast);
        free(hit);
        return ERR_MEMORY;
    }
    for (int i = 0; i < count; i++) {
        if (r[i].failed) {
            out->failed++;
            continue;
        }
        bool decided = r[i].grade == GRADE_DECIDED;
        out->worth[record_worth(&r[i])]++;
        out->both += both(&r[i]);
        out->both_decided += both(&r[i]) && decided;
        out->quadratic += measure_quadratic(r[i].end, END_COUNT, (int)truth_of(&r[i]));
        out->log_bits += measure_log(r[i].end, (int)truth_of(&r[i])) / log(2);
        out->utility += utility(&r[i], false);
        out->utility_silent += utility(&r[i], true);
        out->ms_mean += r[i].ms;
        out->ms_max = fmax(out->ms_max, r[i].ms);
        hit[n] = record_hit(&r[i]);
        forecast[n++] = r[i].p;
    }
    out->count = n;
    if (n > 0) {
        out->quadratic /= n;
        out->log_bits /= n;
        out->utility /= n;
        out->utility_silent /= n;
        out->ms_mean /= n;
        out->calibration = measure_calibration(forecast, hit, n, BINS, &out->bins);
        out->spread = chance_error(forecast, n);
        out->by_count = measure_calibration_by_count(forecast, hit, n, BINS);
    }
    free(forecast);
    free(hit);
    return ERR_OK;
}

static double percent(int part, int whole)
{
    return whole > 0 ? 100.0 * part / whole : 0;
}

/* Rows: what is wrong. Columns: what was decided, else how far it came. */
static void print_confusion(const struct record *r, int count)
{
    int n[END_COUNT][END_COUNT + 3] = {{0}};
    for (int i = 0; i < count; i++) {
        if (r[i].failed)
            continue;
        enum worth w = record_worth(&r[i]);
        int column = r[i].grade == GRADE_DECIDED ? (int)r[i].leading
                     : w == WORTH_LEANING        ? END_COUNT
                     : w == WORTH_ASTRAY         ? END_COUNT + 1
                                                 : END_COUNT + 2;
        n[truth_of(&r[i])][column]++;
    }
    printf("\nconfusion: rows what is wrong, columns the end decided for, then leaning to the "
           "right end, to another, undecided\n%-12s",
           "");
    for (enum end e = END_DRIVE; e < END_COUNT; e++)
        if (e != END_TWO && e != END_UNEXPLAINED)
            printf("%11s", end_name(e));
    printf("%9s%8s%11s%7s\n", "leaning", "astray", "undecided", "all");
    for (enum end t = END_DRIVE; t < END_COUNT; t++) {
        int all = 0;
        for (int k = 0; k < END_COUNT + 3; k++)
            all += n[t][k];
        if (all == 0)
            continue;
        printf("%-12s", end_name(t));
        for (enum end e = END_DRIVE; e < END_COUNT; e++)
            if (e != END_TWO && e != END_UNEXPLAINED)
                printf("%11d", n[t][e]);
        printf("%9d%8d%11d%7d\n", n[t][END_COUNT], n[t][END_COUNT + 1], n[t][END_COUNT + 2],
               all);
    }
}

static bool in_group(const struct record *r, int group)
{
    int taps = r->shown[0] + r->shown[1];
    if (r->failed)
        return false;
    if (group < KINDS)
        return (int)r->kind == group;
    if (group < KINDS + 3)
        return taps == 2 - (group - KINDS);
    if (group == KINDS + 3)
        return r->kind == KIND_SINGLE && r->full && taps == 2;
    return r->weighted == (group == KINDS + 4);
}

static const char *group_label(int group)
{
    static const char *const more[] = {"both taps",    "one tap",   "no capture",
                                       "single, full", "by weight", "each alike"};
    return group < KINDS ? KIND_NAMES[group] : more[group - KINDS];
}

static enum err print_groups(const struct record *r, int count)
{
    struct record *some = calloc((size_t)count + 1, sizeof *some);
    if (some == NULL)
        return ERR_MEMORY;
    printf("\n%-14s%7s%8s%7s%9s%9s%8s%11s%11s%10s%8s\n", "", "cases", "right", "wrong",
           "cleared", "leaning", "astray", "undecided", "quadratic", "log bits", "calib");
    for (int g = 0; g < KINDS + 6; g++) {
        struct summary s;
        int n = 0;
        for (int i = 0; i < count; i++)
            if (in_group(&r[i], g))
                some[n++] = r[i];
        if (n == 0 || score(some, n, &s) != ERR_OK)
            continue;
        printf("%-14s%7d%8d%7d%9d%9d%8d%11d%11.3f%10.3f%8.3f\n", group_label(g), n,
               s.worth[WORTH_RIGHT], s.worth[WORTH_WRONG], s.worth[WORTH_CLEARED],
               s.worth[WORTH_LEANING], s.worth[WORTH_ASTRAY], s.worth[WORTH_OPEN], s.quadratic,
               s.log_bits, s.calibration);
    }
    free(some);
    return ERR_OK;
}

static void print_bins(const struct summary *s)
{
    printf("\nreliability of the leading end's probability\n%-12s%7s%10s%8s\n", "said", "cases",
           "mean said", "came");
    for (int i = 0; i < BINS; i++)
        if (s->bins.count[i] > 0)
            printf("%.1f to %.1f  %7d%10.3f%8.3f\n", i / (double)BINS, (i + 1) / (double)BINS,
                   s->bins.count[i], s->bins.sum[i] / s->bins.count[i],
                   s->bins.hits[i] / (double)s->bins.count[i]);
}

/* Answers that need no judge: their figures show what the sample itself gives away. */
static void print_baselines(const struct record *r, int count)
{
    double base[END_COUNT] = {0}, quadratic = 0, bits = 0;
    int n = 0, drive = 0, none = 0;
    for (int i = 0; i < count; i++) {
        if (r[i].failed)
            continue;
        base[truth_of(&r[i])]++;
        none += truth_of(&r[i]) == END_NONE;
        drive += (r[i].ends & bit(END_DRIVE)) != 0;
        n++;
    }
    for (int e = 0; e < END_COUNT; e++)
        base[e] /= n > 0 ? n : 1;
    for (int e = 0; e < END_COUNT; e++) {
        quadratic += base[e] * measure_quadratic(base, END_COUNT, e);
        bits += base[e] > 0 ? base[e] * measure_log(base, e) / log(2) : 0;
    }
    printf(
        "\nbaselines      decided   right when decided   wrong accusations\n"
        "says nothing      0.0 %%                   -               0.0 %%\n"
        "always none     100.0 %%              %5.1f %%               0.0 %%\n"
        "always drive    100.0 %%              %5.1f %%             %5.1f %%\n"
        "how often each end is at fault here, said every time: quadratic %.3f, log %.3f bits\n",
        percent(none, n), percent(drive, n), percent(n - drive, n), quadratic, bits);
}

static void print_wrong(const struct record *r, int count)
{
    for (int i = 0; i < count; i++) {
        enum worth w = r[i].failed ? WORTH_OPEN : record_worth(&r[i]);
        if (w != WORTH_WRONG && w != WORTH_CLEARED && w != WORTH_ASTRAY)
            continue;
        printf("%s: scenario %d kit %d, %s, %s%s%s at %s%s%s, %s: %s %s %.3f%s%s%s%s\n",
               w == WORTH_WRONG     ? "accused"
               : w == WORTH_CLEARED ? "cleared"
                                    : "astray",
               r[i].index, r[i].kit, KIND_NAMES[r[i].kind],
               r[i].fault[0][0] != '\0' ? r[i].fault[0] : "nothing",
               r[i].fault[1][0] != '\0' ? " and " : "", r[i].fault[1],
               r[i].shown[0] ? "machine" : "", both(&r[i]) ? "+" : "",
               r[i].shown[1]   ? "drive"
               : r[i].shown[0] ? ""
                               : "no tap",
               r[i].set, grade_name(r[i].grade), end_name(r[i].leading), r[i].p,
               r[i].named[0] != '\0' ? " " : "", r[i].named, r[i].lied ? " (lied to)" : "",
               r[i].silent ? " (silent)" : "");
    }
}

void score_print(const struct record *r, int count, const struct summary *s)
{
    int decided = s->worth[WORTH_RIGHT] + s->worth[WORTH_WRONG] + s->worth[WORTH_CLEARED];
    print_wrong(r, count);
    print_confusion(r, count);
    (void)print_groups(r, count);
    print_bins(s);
    print_baselines(r, count);
    printf("\n%d cases, %d failed; judged in %.0f ms on average, %.0f ms at most\n", s->count,
           s->failed, s->ms_mean, s->ms_max);
    printf("decided             %6.2f %%   (both taps recorded: %.2f %% of %d)\n",
           percent(decided, s->count), percent(s->both_decided, s->both), s->both);
    printf("right when decided  %6.2f %%   (%.2f %% without those cleared)\n",
           percent(s->worth[WORTH_RIGHT], decided),
           percent(s->worth[WORTH_RIGHT], decided - s->worth[WORTH_CLEARED]));
    printf("wrong accusations   %6.2f %%   (%d; up to %.2f %% at 95 %% confidence)\n",
           percent(s->worth[WORTH_WRONG], s->count), s->worth[WORTH_WRONG],
           100 * measure_rate_bound(s->worth[WORTH_WRONG], s->count));
    printf("abstentions         %6.2f %%\n",
           percent(s->worth[WORTH_OPEN] + s->worth[WORTH_LEANING] + s->worth[WORTH_ASTRAY],
                   s->count));
    printf("quadratic score     %6.3f\nlog score           %6.3f bits\n", s->quadratic,
           s->log_bits);
    printf("utility             %6.3f     of the fault named; naming none %.3f\n", s->utility,
           s->utility_silent);
    printf("calibration error   %6.3f     (%.3f over bins of equal counts; up to %.3f is "
           "chance)\n",
           s->calibration, s->by_count, s->spread);
}
