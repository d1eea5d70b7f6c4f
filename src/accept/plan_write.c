/* Written, written over, erased, and read back: on a scratch disk, when asked. Nothing is
 * written before everything that guards a disk holds (session_write). */
#include "accept/plan_private.h"
#include "accept/test_track.h"
#include "evidence/survey.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PLACES      3
#define WRITE_TURNS 2
#define LOW_CURRENT                                                                            \
    43 /* cylinder of an 8-inch disk from which LOWCUR is active; common practice */

struct writing {
    struct test_layout layout;
    int cylinder[PLACES];
    int32_t seen[PLACES]; /* cylinder in the identifiers read there; -1: none */
    char typed[ARM_NAME_MAX + 1];
    struct write_permit permit;
};

static enum err refused(struct run *r, const char *why)
{
    (void)snprintf(r->out->write_why, sizeof r->out->write_why, "%.190s", why);
    return ERR_OK;
}

/* Every place on both sides, as it is. */
static enum err read_places(struct run *r, const struct writing *w, const char *name,
                            struct err_msg *e)
{
    TRY(block_begin(r, name, r->b->lines, e));
    TRY(run_turns(r, 1, e));
    for (int i = 0; i < PLACES && !r->lost; i++) {
        TRY(run_seek_settled(r, w->cylinder[i], e));
        for (int side = 0; side < r->sides && !r->lost; side++) {
            TRY(run_side(r, side, e));
            TRY(run_turns(r, WRITE_TURNS, e));
        }
        TRY(run_side(r, 0, e));
    }
    return block_end(r, e);
}

/* Identifiers of the capture taken last. */
static enum err identifiers(struct run *r, struct writing *w, struct err_msg *e)
{
    struct survey_options o = {.drive = r->b->drive, .stop = r->b->stop};
    struct capture *c = NULL;
    struct survey *s = calloc(1, sizeof *s);
    if (s == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    enum err err = capture_open(r->out->path[r->out->count - 1], NULL, &c, e);
    if (err == ERR_OK)
        err = survey_run(c, &o, s, e);
    capture_close(c);
    for (int i = 0; i < PLACES; i++)
        w->seen[i] = -1;
    /* the places were visited in their order: each holds more than one identifier */
    int place = -1;
    for (size_t i = 0; err == ERR_OK && i < s->visit_count; i++) {
        const struct visit *v = &s->visit[i];
        for (int k = 0; k < PLACES; k++)
            place = v->id_cylinder == w->cylinder[k] && v->ids_good > 1 ? k : place;
        if (place >= 0)
            w->seen[place] = w->cylinder[place];
        w->permit.recorded = w->permit.recorded || v->ids_good > 0;
    }
    if (err == ERR_OK)
        survey_release(s);
    free(s);
    return err;
}

static int32_t millivolts(double volt)
{
    return (int32_t)(1000 * volt);
}

static void permit_of(struct run *r, struct writing *w)
{
    static const char *const rail[WIRE_RAILS] = {"v5_v", "v12_v", "v24_v"};
    const struct profile *d = r->b->drive;
    struct write_permit *p = &w->permit;
    p->disk = r->b->scratch;
    p->scratch = true;
    p->wprot_trusted = r->wprot_right[0] && r->wprot_right[1];
    p->medium_fits = true; /* the recorded disk of this drive's own class read well before */
    p->turn_low_us = (uint32_t)(60e6 / profile_max(d, "speed_rpm", 304.5));
    p->turn_high_us = (uint32_t)(60e6 / profile_min(d, "speed_rpm", 295.5)) + 1;
    for (int i = 0; i < WIRE_RAILS; i++) {
        p->low_mv[i] = millivolts(profile_min(d, rail[i], 0));
        p->high_mv[i] = millivolts(profile_max(d, rail[i], 0));
    }
}

static enum err write_one(struct run *r, struct writing *w, enum test_pattern pattern,
                          int place, int side, struct err_msg *e)
{
    struct err_msg why = {0};
    uint32_t *delta = NULL;
    size_t count = 0;
    int cylinder = w->cylinder[place];
    bool low = (r->b->lines & LINE_BIT(LINE_LOWCUR)) && cylinder >= LOW_CURRENT;
    TRY(test_track_make(&w->layout, pattern, cylinder, side, r->s->caps.tick_hz, &delta,
                        &count));
    enum err err = ERR_OK;
    if (r->b->lines & LINE_BIT(LINE_LOWCUR))
        err = session_drive(r->s, WIRE_BIT(WIRE_LOWCUR), low ? WIRE_BIT(WIRE_LOWCUR) : 0, e);
    w->permit.low_current = low;
    w->permit.cylinder = w->seen[place];
    if (err == ERR_OK)
        err = session_write(r->s, &w->permit, delta, count, &why);
    free(delta);
    if (err == ERR_USAGE || (err == ERR_ADAPTER && !r->s->gone))
        return refused(r, why.text);
    return err == ERR_OK ? ERR_OK : err_set(e, err, "%s", why.text);
}

static enum err write_places(struct run *r, struct writing *w, enum test_pattern pattern,
                             struct err_msg *e)
{
    TRY(block_begin(r, "writing", r->b->lines & ~LINE_BIT(LINE_RDATA), e));
    for (int i = 0; i < PLACES && !r->lost; i++) {
        TRY(run_seek_settled(r, w->cylinder[i], e));
        if (r->at != w->cylinder[i])
            TRY(refused(r, "steps get lost"));
        for (int side = 0; side < r->sides && !r->lost && r->out->write_why[0] == '\0';
             side++) {
            TRY(run_side(r, side, e));
            TRY(write_one(r, w, pattern, i, side, e));
            if (pattern != TEST_ERASED)
                w->seen[i] = w->cylinder[i];
        }
        TRY(run_side(r, 0, e));
    }
    return block_end(r, e);
}

static enum err prepare(struct run *r, struct writing *w, struct err_msg *e)
{
    const int part[PLACES] = {50, 80, 100};
    for (int i = 0; i < PLACES; i++) /* inward, where bits lie closest */
        w->cylinder[i] = r->last * part[i] / 100;
    permit_of(r, w);
    if (!test_layout_of(r->b->drive, &w->layout))
        return refused(r, "no layout of sectors for this drive");
    TRY(read_places(r, w, "before", e));
    TRY(identifiers(r, w, e));
    if (w->permit.recorded && r->b->type_back != NULL)
        TRY(r->b->type_back(r->b->hand_ctx, r->b->scratch, w->typed, sizeof w->typed, e));
    w->permit.typed = w->typed;
    return ERR_OK;
}

enum err block_write(struct run *r, struct err_msg *e)
{
    static const char *const after[TEST_PATTERNS] = {"written", "written-over", "erased"};
    struct writing w = {.typed = ""};
    TRY(run_restore(r, e));
    if (r->lost)
        return refused(r, "track 0 was not found");
    TRY(prepare(r, &w, e));
    for (int p = 0; p < TEST_PATTERNS && r->out->write_why[0] == '\0' && !r->lost; p++) {
        TRY(write_places(r, &w, (enum test_pattern)p, e));
        if (r->out->write_why[0] == '\0')
            TRY(read_places(r, &w, after[p], e));
    }
    return ERR_OK;
}
