/* No sector that an archive calls good is another than the one that was written. Damage of many
 * kinds, three turns of every track; a sector counts as damaged when some turn's check bytes
 * did not agree. WHICHEND_DAMAGED says how many such sectors are looked at: 400 where it is not
 * set.
 */
#include "unit/archive_make.h"
#include "unit/flux_make.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>

#define TURNS      3
#define SECTORS    9
#define TURN_CELLS 100000
#define FEW        400

static const struct layout DD9 = {
    .sectors = SECTORS, .size_code = 2, .gap3 = 80, .index_mark = true};

enum damage { NOISE, LOST, ADDED, ALL_OF_IT, WRITTEN_WRONG, ARC, DAMAGES };
static const char *const damage_name[DAMAGES] = {"noise",     "pulses lost",   "pulses added",
                                                 "all of it", "written wrong", "arcs"};

struct score {
    long damaged, good, sure, good_wrong, repaired, repaired_wrong;
};

static struct play play_of(enum damage kind, struct dice *d)
{
    struct play p = {.cell_ns = 2000, .speed = 1, .jitter_ns = 90, .shift_ns = 60};
    double much = dice_unit(d);
    p.speed = 1 + 0.02 * (dice_unit(d) - 0.5);
    if (kind == NOISE || kind == ALL_OF_IT)
        p.jitter_ns = 240 + 200 * much;
    if (kind == LOST || kind == ALL_OF_IT)
        p.lost = 0.0002 + 0.003 * much;
    if (kind == ADDED || kind == ALL_OF_IT)
        p.added = 0.0002 + 0.003 * dice_unit(d);
    return p;
}

/* Transitions put a cell aside: read alike in every turn. */
static void write_wrong(struct made *m, struct dice *d)
{
    for (int i = 0; i < 60; i++) {
        size_t c = 2000 + (size_t)dice_below(d, TURN_CELLS - 4000);
        while (m->cell[c] == 0)
            c++;
        bool on = dice_below(d, 2) != 0;
        m->cell[c] = 0;
        m->cell[on ? c + 1 : c - 1] = 1;
    }
}

/* Some stretches read otherwise in every turn. */
static void arcs(struct made *m, const size_t *from, struct dice *d)
{
    for (int i = 0; i < 4; i++)
        for (size_t c = from[i]; c < from[i] + 300; c++)
            if (dice_below(d, 12) == 0)
                m->cell[c] = (uint8_t)!m->cell[c];
}

static void one_turn(struct archive *a, const struct made *m, const struct play *p, int turn,
                     struct dice *d)
{
    struct archive_key key = archive_place(3, 0);
    struct archive_track *track = NULL;
    struct flux_made f = {.count = 0};
    struct flux_read read;
    const struct flux_options o = {.keep_bytes = true, .keep_quality = true};
    make_flux(m, p, d, &f);
    struct flux flux = {turn * TURN_NS, f.interval_ps, f.count};
    assert_int_equal(flux_decode(&flux, &o, &read), ERR_OK);
    assert_int_equal(archive_track_at(&a->tracks, &key, &track), ERR_OK);
    for (size_t i = 0; i < read.sector_count; i++)
        assert_int_equal(archive_read(&a->tracks, track, &read.sector[i], 0), ERR_OK);
    flux_read_release(&read);
    free(f.interval_ps);
}

static void count(const struct archive *a, const struct track_made *t, struct score *s)
{
    const struct archive_track *k = archive_track_find(&a->tracks, 3, 0);
    for (size_t i = 0; i < k->count; i++) {
        const struct archive_sector *x = &k->sector[i];
        const struct truth *y =
            x->number >= 1 && x->number <= SECTORS ? &t->sector[x->number - 1] : NULL;
        enum field_state state = archive_sector_state(x);
        bool wrong = y == NULL || x->id_cylinder != 3 || x->size_code != 2 ||
                     x->bytes == NULL || memcmp(x->bytes, y->bytes, 512) != 0;
        s->damaged += x->failed > 0;
        s->good += state == FIELD_GOOD && x->failed > 0;
        s->sure += archive_sector_sure(x) && x->failed > 0;
        s->good_wrong += state == FIELD_GOOD && wrong;
        s->repaired += state == FIELD_REPAIRED;
        s->repaired_wrong += state == FIELD_REPAIRED && wrong;
        if (state == FIELD_GOOD && wrong)
            printf("sector %d of %d/%d: %d agreed, %d failed, %u forced\n", x->number,
                   x->id_cylinder, x->id_side, x->agreed, x->failed, x->forced);
    }
}

static void one_track(enum damage kind, uint64_t seed, struct score *s)
{
    struct dice d = {seed};
    struct archive a = {.pass_count = 0};
    struct archive_pass pass = {.print = 1};
    struct track_made t = {.sectors = 0};
    struct layout layout = DD9;
    int32_t index = 0;
    size_t from[4];
    layout.cylinder = 3;
    make_truth(&t, &layout, &d);
    make_turn(&t, &layout, &d, TURN_CELLS);
    for (int i = 0; i < 4; i++)
        from[i] = 2000 + (size_t)dice_below(&d, TURN_CELLS - 4000);
    if (kind == WRITTEN_WRONG)
        write_wrong(&t.m, &d);
    struct play p = play_of(kind, &d);
    assert_int_equal(archive_pass_add(&a, &pass, &index), ERR_OK);
    struct made whole = t.m;
    for (int turn = 0; turn < TURNS; turn++) {
        struct made m = whole;
        m.cell = malloc(whole.cap);
        assert_non_null(m.cell);
        memcpy(m.cell, whole.cell, whole.count);
        if (kind == ARC)
            arcs(&m, from, &d);
        one_turn(&a, &m, &p, turn, &d);
        free(m.cell);
    }
    count(&a, &t, s);
    make_release(&t);
    archive_release(&a);
}

static void what_is_called_good_is_what_was_written(void **state)
{
    const char *many = getenv("WHICHEND_DAMAGED");
    long want = many != NULL ? strtol(many, NULL, 10) : FEW;
    struct score all = {0};
    (void)state;
    for (int kind = 0; kind < DAMAGES; kind++) {
        struct score s = {0};
        for (uint64_t seed = 1; s.damaged < want / DAMAGES + 1; seed++) {
            assert_true(seed < 100000);
            one_track((enum damage)kind, seed * 1000003 + (uint64_t)kind, &s);
        }
        printf("%-14s %6ld damaged: %6ld good (%ld sure), %ld of them wrong; %5ld repaired, "
               "%ld of "
               "them wrong\n",
               damage_name[kind], s.damaged, s.good, s.sure, s.good_wrong, s.repaired,
               s.repaired_wrong);
        all.damaged += s.damaged;
        all.good_wrong += s.good_wrong;
        all.repaired += s.repaired;
        all.repaired_wrong += s.repaired_wrong;
    }
    printf("%ld damaged sectors: %ld called good and wrong; %ld repaired, %ld of them wrong\n",
           all.damaged, all.good_wrong, all.repaired, all.repaired_wrong);
    assert_true(all.damaged >= want);
    assert_int_equal(all.good_wrong, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_called_good_is_what_was_written),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
