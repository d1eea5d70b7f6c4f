#include "cli/archive_plan.h"

#include "archive/layout.h"

#include <stdio.h>
#include <stdlib.h>

#define LOOK_EVERY                                                                             \
    10 /* cylinders between two looks at the reference. Source: bench practice 28 */
#define AGAIN_TURNS 3
#define AWAY        3 /* cylinders, to come back from */

/* ---- one track ---- */

static enum err read_here(struct archive_plan *p, int cylinder, int side, int turns,
                          struct archive_seen *seen, struct err_msg *e)
{
    struct archive *a = &p->folder->archive;
    TRY(archive_bus_read(&p->bus, cylinder, side, turns, &a->tracks, p->pass, seen, e));
    const struct archive_track *t = archive_track_find(&a->tracks, cylinder, side);
    return t != NULL ? journal_track(&p->folder->journal, t, e) : ERR_OK;
}

/* The identifiers name another cylinder, and those of other tracks did not: the head stands
 * elsewhere. */
static bool astray(const struct archive_plan *p, int cylinder, const struct archive_seen *seen)
{
    return p->named_right > 0 && seen->id_cylinder >= 0 && seen->id_cylinder != cylinder;
}

static enum err read_track(struct archive_plan *p, int cylinder, int side, int turns,
                           struct archive_seen *seen, struct err_msg *e)
{
    TRY(read_here(p, cylinder, side, turns, seen, e));
    if (astray(p, cylinder, seen)) {
        TRY(archive_bus_restore(&p->bus, e));
        TRY(archive_bus_seek(&p->bus, cylinder, false, e));
        TRY(read_here(p, cylinder, side, turns, seen, e));
    }
    p->named_right += seen->id_cylinder == cylinder && cylinder > 0;
    return ERR_OK;
}

/* ---- the reference ---- */

static void reference_take(struct archive_plan *p, int cylinder, int side,
                           const struct archive_seen *seen)
{
    if (p->reference.known || seen->good == 0 || seen->failed > 0)
        return;
    p->reference = (struct archive_reference){true, cylinder, side, *seen, 0};
}

/* Beyond the uncertainty of both. */
static bool worse(const struct archive_seen *first, const struct archive_seen *now)
{
    return now->margin < first->margin - first->margin_u - now->margin_u || now->failed > 0 ||
           now->good == 0;
}

static enum err reference_read(struct archive_plan *p, struct archive_seen *seen,
                               struct err_msg *e)
{
    const struct archive_reference *r = &p->reference;
    TRY(archive_bus_seek(&p->bus, r->cylinder, false, e));
    return read_here(p, r->cylinder, r->side, p->turns, seen, e);
}

/* Read it again where it is time; twice worse is worse. */
static enum err reference_look(struct archive_plan *p, struct err_msg *e)
{
    struct archive_reference *r = &p->reference;
    struct archive_seen now;
    if (!r->known || ++r->since < LOOK_EVERY)
        return ERR_OK;
    r->since = 0;
    for (int tries = 0; tries < 2; tries++) {
        TRY(reference_read(p, &now, e));
        if (!worse(&r->first, &now))
            return ERR_OK;
    }
    p->stopped = true;
    enum err err = archive_warn(
        &p->folder->archive,
        "stopped: track %d/%d reads worse than at first (margin %.1f %% +/- %.1f, it was %.1f "
        "%% "
        "+/- %.1f). Disk out; heads cleaned and looked at; a scratch disk first; then --resume",
        r->cylinder, r->side, now.margin, now.margin_u, r->first.margin, r->first.margin_u);
    (void)fprintf(stderr, "whichend: the heads foul: take the disk out now\n");
    return err == ERR_OK ? ERR_OK : err_set(e, err, "%s", err_text(err));
}

/* ---- once through ---- */

static bool read_already(const struct archive_plan *p, int cylinder, int side)
{
    const struct archive_track *t =
        archive_track_find(&p->folder->archive.tracks, cylinder, side);
    return t != NULL && t->turns >= p->turns;
}

enum err archive_plan_once(struct archive_plan *p, struct err_msg *e)
{
    const struct places *w = &p->places;
    progress_step(p->bus.progress, "reading", 0);
    for (int c = w->first; c <= w->last && !p->stopped; c++) {
        bool any = false;
        p->bus.share = (double)(c - w->first) / (w->last - w->first + 1);
        for (int side = 0; side < 2; side++) {
            struct archive_seen seen;
            if (!w->side[side] || (p->reference.known && read_already(p, c, side)))
                continue;
            if (!any)
                TRY(archive_bus_seek(&p->bus, c, false, e));
            any = true;
            TRY(read_track(p, c, side, p->turns, &seen, e));
            reference_take(p, c, side, &seen);
        }
        if (any)
            TRY(reference_look(p, e));
    }
    return ERR_OK;
}

/* ---- again ---- */

/* What a retry varies, beside the turn. */
enum way { WAY_FROM_INSIDE, WAY_FROM_OUTSIDE, WAY_SLOWLY, WAY_BY_TRACK_0, WAYS };

static enum err approach(struct archive_plan *p, int cylinder, enum way way, struct err_msg *e)
{
    struct archive_bus *b = &p->bus;
    int last = adapter_use_limits(b->u).last_cylinder;
    int inside = cylinder + AWAY < last ? cylinder + AWAY : last;
    int outside = cylinder > AWAY ? cylinder - AWAY : 0;
    if (way == WAY_FROM_INSIDE)
        TRY(archive_bus_seek(b, inside, false, e));
    if (way == WAY_FROM_OUTSIDE || way == WAY_SLOWLY)
        TRY(archive_bus_seek(b, outside, false, e));
    if (way == WAY_BY_TRACK_0)
        TRY(archive_bus_restore(b, e));
    return archive_bus_seek(b, cylinder, way == WAY_SLOWLY, e);
}

static bool places_has(const struct places *w, int cylinder, int side)
{
    return cylinder >= w->first && cylinder <= w->last && w->side[side];
}

/* Tracks of the plan with a sector that is not sure; one flag a cylinder and side. */
static enum err unsure_tracks(const struct archive_plan *p, bool unsure[][2], int *out_count)
{
    struct archive_extent least = {0, 0};
    struct archive_layout l;
    *out_count = 0;
    TRY(archive_layout_make(&p->folder->archive, &least, &l));
    for (size_t i = 0; i < l.count; i++) {
        const struct archive_slot *s = &l.slot[i];
        bool sure = archive_slot_state(s) == FIELD_GOOD && archive_sector_sure(s->sector);
        if (sure || !places_has(&p->places, s->cylinder, s->side) ||
            unsure[s->cylinder][s->side])
            continue;
        unsure[s->cylinder][s->side] = true;
        (*out_count)++;
    }
    archive_layout_release(&l);
    return ERR_OK;
}

static enum err one_way(struct archive_plan *p, enum way way, bool *more, struct err_msg *e)
{
    bool unsure[ARCHIVE_CYLINDERS_MAX][2] = {{false}};
    int count = 0;
    int done = 0;
    enum err err = unsure_tracks(p, unsure, &count);
    if (err != ERR_OK)
        return err_set(e, err, "%s", err_text(err));
    *more = count > 0;
    for (int c = 0; c < ARCHIVE_CYLINDERS_MAX; c++) {
        for (int side = 0; side < 2 && !p->stopped; side++) {
            struct archive_seen seen;
            if (!unsure[c][side])
                continue;
            p->bus.share = ((double)way + (double)done++ / count) / WAYS;
            TRY(approach(p, c, way, e));
            TRY(read_track(p, c, side, AGAIN_TURNS, &seen, e));
            TRY(reference_look(p, e));
        }
    }
    return ERR_OK;
}

enum err archive_plan_again(struct archive_plan *p, struct err_msg *e)
{
    bool more = true;
    progress_step(p->bus.progress, "reading again", 0);
    for (int way = 0; way < WAYS && more && !p->stopped; way++)
        TRY(one_way(p, (enum way)way, &more, e));
    return ERR_OK;
}

void archive_plan_release(struct archive_plan *p)
{
    free(p->path);
}
