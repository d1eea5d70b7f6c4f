/* Steps against where they led: the head's place by counting, held against TRK00, and against
 * the identifiers that were read there. */
#include "accept/accept_private.h"
#include "base/buf.h"

#include <stdlib.h>

#define MOVES_MAX ((size_t)1 << 20)
#define HALF_FROM 4                 /* cylinder from which half of it is something else */
#define VISIT_IDS 8                 /* from so many on a few strays do not matter */
#define EDGE_NS   (100 * NS_PER_US) /* a visit begins at the one edge of STEP or the other */
#define TRAIN_NS  (60 * NS_PER_MS)  /* steps further apart are single ones */

/* Where the head must be by the steps so far. */
struct reckoning {
    bool known;
    int32_t base; /* where it was last seen */
    int32_t at;   /* by counting from there; the stop at 0 holds it */
    int32_t steps, seeks;
    int8_t direction;
    int64_t last_ns, shortest_ns; /* of the steps since; shortest 0: single ones */
    int32_t outward;              /* steps in a row without TRK00 */
    int64_t train_ns;             /* STEP to STEP of the seek at hand; 0: one step so far */
};

/* A 40-track disk in an 80-track drive: identifiers count every second cylinder. */
static bool half_density(const struct survey *s)
{
    size_t half = 0;
    size_t whole = 0;
    for (size_t i = 0; i < s->visit_count; i++) {
        const struct visit *v = &s->visit[i];
        if (!v->cylinder_known || v->cylinder < HALF_FROM || v->id_cylinder < 0)
            continue;
        half += v->id_cylinder == v->cylinder / 2;
        whole += v->id_cylinder == v->cylinder;
    }
    return half > 2 && whole == 0;
}

static enum err look(struct moves *m, struct reckoning *r, int32_t got, bool track0)
{
    if (r->known && r->steps > 0) {
        TRY(array_grow((void **)&m->move, &m->cap, m->count + 1, sizeof m->move[0], MOVES_MAX));
        m->move[m->count++] = (struct move){track0,
                                            r->base,
                                            r->at,
                                            got,
                                            r->seeks,
                                            r->direction,
                                            (double)r->shortest_ns / (double)NS_PER_MS};
    }
    *r = (struct reckoning){.known = true,
                            .base = got,
                            .at = got,
                            .last_ns = r->last_ns,
                            .direction = r->direction};
    return ERR_OK;
}

/* What TRK00 says of the place where the head is. Its absence is worth a look only where it is
 * due. */
static enum err look_track0(struct moves *m, struct reckoning *r, enum level track0)
{
    if (track0 == LEVEL_LOW)
        return look(m, r, 0, true);
    if (track0 == LEVEL_HIGH && r->known && r->at == 0) {
        TRY(look(m, r, 1, true)); /* somewhere inward */
        r->known = false;
    }
    return ERR_OK;
}

/* More steps outward than the drive has cylinders, and no TRK00: wherever it began, the head
 * did not follow. */
static enum err search_in_vain(struct moves *m, struct reckoning *r, const struct step_seen *s,
                               const struct travel *t)
{
    r->outward = s->direction < 0 && s->track0 == LEVEL_HIGH ? r->outward + 1 : 0;
    if (r->outward != t->stroke)
        return ERR_OK;
    *r = (struct reckoning){.known = true,
                            .base = -1,
                            .steps = t->stroke,
                            .seeks = 1,
                            .direction = -1,
                            .last_ns = r->last_ns,
                            .shortest_ns = r->train_ns,
                            .outward = r->outward};
    TRY(look(m, r, 1, true));
    r->known = false;
    r->outward = t->stroke;
    return ERR_OK;
}

static enum err take_step(struct moves *m, struct reckoning *r, const struct step_seen *s,
                          const struct travel *t)
{
    TRY(look_track0(m, r, s->track0));
    TRY(search_in_vain(m, r, s, t));
    if (s->direction == 0 || !s->selected) {
        r->known = r->known && !s->selected;
        return ERR_OK;
    }
    int64_t gap = s->ns - r->last_ns;
    if (r->steps > 0 && gap < TRAIN_NS && (r->shortest_ns == 0 || gap < r->shortest_ns))
        r->shortest_ns = gap;
    bool same_train = gap < t->seek_ns && (r->train_ns == 0 || 2 * gap < 3 * r->train_ns);
    r->seeks += r->steps == 0 || !same_train || r->direction != s->direction;
    r->train_ns = same_train ? gap : 0;
    r->at += s->direction;
    r->at = r->at < 0 ? 0 : r->at;
    r->steps++;
    r->direction = s->direction;
    r->last_ns = s->ns;
    return ERR_OK;
}

static bool places_itself(const struct visit *v)
{
    return v->id_cylinder >= 0 && v->id_cylinders <= 1 + v->ids_good / VISIT_IDS && v->settled;
}

/* Steps up to a moment; *next goes on behind them. */
static enum err take_steps(struct moves *m, struct reckoning *r, const struct listen *l,
                           size_t *next, int64_t until_ns, const struct travel *t)
{
    for (; *next < l->steps && l->step[*next].ns <= until_ns; ++*next) {
        struct step_seen step = l->step[*next];
        step.track0 = t->track0_tells ? step.track0 : LEVEL_UNKNOWN;
        TRY(take_step(m, r, &step, t));
    }
    return ERR_OK;
}

enum err moves_add(struct moves *m, const struct survey *s, const struct listen *l,
                   const struct travel *t)
{
    struct reckoning r = {0};
    size_t next = 0;
    bool ids = !half_density(s) && s->flux_usable;
    for (size_t i = 0; ids && i < s->visit_count; i++) {
        const struct visit *v = &s->visit[i];
        if (!places_itself(v))
            continue;
        TRY(take_steps(m, &r, l, &next, v->start_ns + EDGE_NS, t));
        TRY(look(m, &r, v->id_cylinder, false));
    }
    TRY(take_steps(m, &r, l, &next, INT64_MAX, t));
    return t->track0_tells ? look_track0(m, &r, l->track0_last) : ERR_OK;
}

void moves_release(struct moves *m)
{
    free(m->move);
    *m = (struct moves){0};
}
