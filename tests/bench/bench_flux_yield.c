/* Sectors that come out of one turn of a jittery track, beside what could be had with the true
 * clock known (unit/flux_reference.h), and out of five turns put together. `--turns N`: turns a
 * row; 200 in the long form.
 *
 * Floors, as shares of the sectors: the cell by cell slicer, and 5 points below the likeliest
 * run lengths.
 */
#include "unit/flux_several.h"
#include "unit/flux_yield.h"

#include <stdio.h>

#define TURNS            20
#define CHANCE           0.5
#define POINTS           5.0
#define PASSES           5 /* turns put together */
#define PASSES_JITTER_NS 300

/* What controllers, drives and standards allow, each with its source; printed beside the
 * tables. */
static const char *const limits[] = {
    "a transition may lie 1000 ns off its cell's middle: half the window at 250 kbit/s "
    "(derived)",
    "3.5-inch drive, 250 kbit/s: 600 ns of margin (from memory; 500 kbit/s: 300 ns, its sheet)",
    "standards: cells of a sector within 2 to 3.5 % of nominal, of eight cells within 8 % of "
    "that; spacings 80 to 120, 130 to 165 and 185 to 225 % of a bit cell (from memory)",
    "writer and reader off by 1.5 % each: 3 % to follow (derived)",
    "82077: +/- 6 %, lock within 64 bits (from memory); WD177x: not published in the sheets "
    "seen",
};

static bool row_print(const struct yield_row *r, double jitter, int turns)
{
    const double whole = (double)turns * YIELD_SECTORS;
    double below_slicer = 100 * (r->reference[REFERENCE_NEAREST] - r->ours) / whole;
    double below_run = 100 * (r->reference[REFERENCE_RUN_LENGTH] - r->ours) / whole;
    bool good = below_slicer <= CHANCE && below_run <= POINTS && r->wrong == 0;
    printf("  %6.0f ns  %6d %8d %8d %8d %8d   %s\n", jitter, r->ours,
           r->reference[REFERENCE_NEAREST], r->reference[REFERENCE_RUN_LENGTH],
           r->reference[REFERENCE_PHASE], (int)whole, good ? "" : "below the floor");
    return good;
}

/* Tracks of five turns each: every sector is to come out. */
static bool together_print(const struct condition *c, int tracks, struct dice *d)
{
    int count[3] = {0};
    int wrong = 0;
    for (int track = 0; track < tracks; track++) {
        struct several s;
        const struct play p = {.cell_ns = 2000,
                               .speed = c->speed,
                               .wow = c->wow,
                               .wow_hz = c->wow_hz,
                               .from_ns = 1e9 * dice_unit(d),
                               .jitter_ns = PASSES_JITTER_NS};
        several_begin(&s, false, d);
        for (int turn = 0; turn < PASSES; turn++) {
            turn_add(&s, &p, d);
        }
        for (int state = NEITHER; state <= GOOD; state++) {
            count[state] += count_state(&s, state);
        }
        wrong += s.wrong;
        several_end(&s);
    }
    printf("  %-18s %6d %8d %8d %8d\n", c->name, count[GOOD], count[REPAIRED], count[NEITHER],
           tracks * SEVERAL_SECTORS);
    return count[NEITHER] == 0 && wrong == 0;
}

int main(int argc, char **argv)
{
    int turns =
        argc == 3 && strcmp(argv[1], "--turns") == 0 ? (int)strtol(argv[2], NULL, 10) : 0;
    bool good = true;
    turns = turns > 0 && turns <= 10000 ? turns : TURNS;
    printf("sectors of 512 bytes, 9 a track, cells of 2 us, one turn, %d turns a row\n", turns);
    for (size_t c = 0; c < YIELD_CONDITIONS; c++) {
        struct dice d = {1000 + c};
        printf("%s\n     jitter    ours  nearest  run-len.    phase       of\n",
               yield_condition[c].name);
        for (size_t j = 0; j < YIELD_JITTERS; j++) {
            struct yield_row row = {0};
            for (int i = 0; i < turns; i++) {
                yield_turn(&yield_condition[c], yield_jitter_ns[j], &d, &row);
            }
            good = row_print(&row, yield_jitter_ns[j], turns) && good;
        }
    }
    printf("beside it:\n");
    for (size_t i = 0; i < sizeof limits / sizeof limits[0]; i++) {
        printf("  %s\n", limits[i]);
    }
    printf("%d turns put together, jitter %d ns\n", PASSES, PASSES_JITTER_NS);
    printf("                       good repaired  neither       of\n");
    for (size_t c = 0; c < YIELD_CONDITIONS; c++) {
        struct dice d = {2000 + c};
        good = together_print(&yield_condition[c], (turns + PASSES - 1) / PASSES, &d) && good;
    }
    return good ? EXIT_SUCCESS : EXIT_FAILURE;
}
