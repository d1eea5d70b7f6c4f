/* Where the verdicts are lost: by fault, and by what kept the judge from one. */
#include "faults.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define ROWS_MAX 400

struct row {
    char name[FAULT_NAME_MAX];
    int count, worth[WORTHS];
    double share; /* sum of the true end's probability */
};

static struct row *row_of(struct row *rows, int *count, const char *name)
{
    for (int i = 0; i < *count; i++)
        if (strcmp(rows[i].name, name) == 0)
            return &rows[i];
    if (*count >= ROWS_MAX)
        return &rows[0];
    struct row *new = &rows[(*count)++];
    *new = (struct row){.count = 0};
    snprintf(new->name, sizeof new->name, "%s", name);
    return new;
}

static int by_share(const void *a, const void *b)
{
    const struct row *x = a, *y = b;
    double p = x->share / x->count, q = y->share / y->count;
    return p < q || p > q ? (p > q) - (p < q) : strcmp(x->name, y->name);
}

static int by_count(const void *a, const void *b)
{
    const struct row *x = a, *y = b;
    return x->count != y->count ? (x->count < y->count) - (x->count > y->count)
                                : strcmp(x->name, y->name);
}

static void add(struct row *row, const struct record *r)
{
    row->count++;
    row->worth[record_worth(r)]++;
    for (int e = 0; e < END_COUNT; e++)
        if (r->ends & 1u << e)
            row->share += r->end[e];
}

static void print_faults(const struct record *r, int count, struct row *rows)
{
    int n = 0;
    for (int i = 0; i < count; i++)
        if (!r[i].failed && r[i].kind == KIND_SINGLE && r[i].shown[0] && r[i].shown[1])
            add(row_of(rows, &n, r[i].section), &r[i]);
    qsort(rows, (size_t)n, sizeof *rows, by_share);
    printf("\nsingle faults at both taps, by section\n%-36s%7s%7s%7s%9s%9s%8s%11s%12s\n", "",
           "cases", "right", "wrong", "cleared", "leaning", "astray", "undecided",
           "true end's");
    for (int i = 0; i < n; i++)
        printf("%-36s%7d%7d%7d%9d%9d%8d%11d%12.3f\n", rows[i].name, rows[i].count,
               rows[i].worth[WORTH_RIGHT], rows[i].worth[WORTH_WRONG],
               rows[i].worth[WORTH_CLEARED], rows[i].worth[WORTH_LEANING],
               rows[i].worth[WORTH_ASTRAY], rows[i].worth[WORTH_OPEN],
               rows[i].share / rows[i].count);
}

/* Figures apart, gates of one kind read alike. */
static void without_figures(char *text)
{
    char *to = text;
    for (const char *p = text; *p != '\0'; p++)
        if (strchr("0123456789.", *p) == NULL)
            *to++ = *p;
    *to = '\0';
}

static void print_gates(const struct record *r, int count, struct row *rows)
{
    int n = 0, cases = 0;
    for (int i = 0; i < count; i++) {
        if (r[i].failed || r[i].kind != KIND_SINGLE || !r[i].shown[0] || !r[i].shown[1])
            continue;
        cases += r[i].gate[0][0] != '\0';
        for (int g = 0; g < 3 && r[i].gate[g][0] != '\0'; g++) {
            char text[48];
            snprintf(text, sizeof text, "%s", r[i].gate[g]);
            without_figures(text);
            add(row_of(rows, &n, text), &r[i]);
        }
    }
    qsort(rows, (size_t)n, sizeof *rows, by_count);
    printf("\nwhat kept %d single faults at both taps from a verdict (up to three a case)\n",
           cases);
    for (int i = 0; i < n; i++)
        printf("%7d  %s\n", rows[i].count, rows[i].name);
}

void detail_print(const struct record *r, int count)
{
    struct row *rows = calloc(ROWS_MAX, sizeof *rows);
    if (rows == NULL)
        return;
    print_faults(r, count, rows);
    print_gates(r, count, rows);
    free(rows);
}

void cases_print(const struct record *r, int count)
{
    for (int i = 0; i < count; i++) {
        if (r[i].failed)
            continue;
        printf("%5d/%d %s | %s %s | %s | taps%s%s told %d swaps %d meters %d tests %d | %s %s "
               "%.3f %s |",
               r[i].index, r[i].variant > 0 ? r[i].variant : r[i].kit, KIND_NAMES[r[i].kind],
               r[i].fault[0], r[i].fault[1], r[i].set, r[i].shown[0] ? " machine" : "",
               r[i].shown[1] ? " drive" : "", r[i].told, r[i].swaps, r[i].meters, r[i].tests,
               WORTH_NAMES[record_worth(&r[i])], end_name(r[i].leading), r[i].p, r[i].named);
        for (int e = 0; e < END_COUNT; e++)
            if (r[i].end[e] > 0.01)
                printf(" %s %.2f", end_name((enum end)e), r[i].end[e]);
        printf(" | %s; %s; %s\n", r[i].gate[0], r[i].gate[1], r[i].gate[2]);
    }
}
