/* Index, speed, steps, track 0 and the head's place as features. */
#include "evidence/feature_make.h"

#include <math.h>
#include <stdlib.h>

/* Speed bins in percent off nominal: maker's limit, where controllers begin to lose the clock,
 * where a profile for another speed is likelier (bench practice 15). */
static const double speed_edges[] = {1.5, 3.0, 8.0, 14.0};
#define UNSTEADY_PERCENT 2.0

static enum err add_index(const struct feature_from *f, struct feature_list *l)
{
    const struct index_stats *x = &f->s->index;
    const struct limit *width = profile_limit(f->c->drive, "index_width_us");
    struct feature *n;
    int answer = 0;

    if (!feature_recorded(f, SIG_INDEX) || x->pulses < 2)
        return ERR_OK;
    if (x->sector_holes)
        answer = 3;
    else if (x->missing * 10 > x->pulses)
        answer = 1;
    else if (x->extra * 10 > x->pulses)
        answer = 2;
    TRY(feature_add(l, f, FEATURE_INDEX, GROUP_MOTOR, SIG_INDEX, answer, &n,
                    answer == 3   ? "index.sector-holes"
                    : answer == 1 ? "index.missing-pulses"
                    : answer == 2 ? "index.extra-pulses"
                                  : "index.regular",
                    "%d index pulses, %d missing, %d extra, %.2f ms wide", x->pulses,
                    x->missing, x->extra, x->width_us / 1000));
    feature_value(n, x->width_us, x->width_sd_us, "us");
    feature_limit(n, width);
    return ERR_OK;
}

static enum err add_speed(const struct feature_from *f, struct feature_list *l)
{
    const struct rotation *r = &f->s->rotation;
    const struct limit *lim = profile_limit(f->c->drive, "speed_rpm");
    double nominal = profile_number(f->c->drive, "speed_rpm", 0);
    double off, sd;
    struct feature *n;

    if (r->from == ROTATION_NONE || r->from == ROTATION_FLUX || r->revolutions < 2 ||
        nominal <= 0)
        return ERR_OK;
    off = fabs(r->rpm - nominal) / nominal * 100;
    sd = r->uncertainty_rpm / nominal * 100 + 0.02;
    TRY(feature_add(l, f, FEATURE_SPEED, GROUP_MOTOR, SIG_INDEX, 0, &n, "speed.mean",
                    "the disk turns at %.2f rpm, %.2f %% %s nominal, over %d turns", r->rpm,
                    off, r->rpm >= nominal ? "above" : "below", r->revolutions));
    if (r->revolutions >= 3 && r->spread_percent > UNSTEADY_PERCENT) {
        n->soft[0] = 0;
        n->soft[SPEED_UNSTEADY] = 1;
        feature_value(n, r->spread_percent, 0.05, "%");
        return ERR_OK;
    }
    feature_soften(n, off, sd, speed_edges, 5);
    if (r->rpm < nominal) {
        for (int i = 0; i < 3; i++) {
            n->soft[SPEED_SLOW_3 + i] = n->soft[SPEED_FAST_3 + i];
            n->soft[SPEED_FAST_3 + i] = 0;
        }
    }
    feature_value(n, r->rpm, r->uncertainty_rpm, "rpm");
    feature_limit(n, lim);
    return ERR_OK;
}

static enum err add_steps(const struct feature_from *f, struct feature_list *l)
{
    const struct bus_story *b = &f->s->story;
    int answer;

    if (!feature_recorded(f, SIG_STEP) || !feature_recorded(f, SIG_DIR))
        return ERR_OK;
    if (b->steps_in + b->steps_out == 0)
        return ERR_OK;
    answer = !b->steps_in ? 0 : !b->steps_out ? 1 : 2;
    return feature_add(l, f, FEATURE_DIRECTION, GROUP_HEAD, SIG_DIR, answer, NULL,
                       answer == 0   ? "steps.outward-only"
                       : answer == 1 ? "steps.inward-only"
                                     : "steps.both-ways",
                       "%d steps inward, %d outward", b->steps_in, b->steps_out);
}

/* Steps as quick as the quickest of a train, against the drive's limit. A tap places an edge
 * to a sample, and a maker's figure is no knife edge: a fortieth is let go. */
#define STEP_LIMIT_SLACK 40

static enum err add_step_rate(const struct feature_from *f, struct feature_list *l)
{
    const struct bus_story *b = &f->s->story;
    const struct limit *limit = profile_limit(f->c->drive, "step_interval_ms");
    int64_t quickest = 0;
    struct feature *n;

    if (!feature_recorded(f, SIG_STEP) || !limit || !limit->has_min)
        return ERR_OK;
    for (size_t i = 0; i < b->seek_count; i++) {
        int64_t ns = b->seek[i].min_interval_ns;

        if (b->seek[i].steps > 3 && ns > 0 && (!quickest || ns < quickest))
            quickest = ns;
    }
    if (!quickest)
        return ERR_OK;
    int64_t least = (int64_t)(limit->min * 1e6 * (1 - 1.0 / STEP_LIMIT_SLACK));
    TRY(feature_add(l, f, FEATURE_STEP_RATE, GROUP_HEAD, SIG_STEP, quickest < least, &n,
                    quickest < least ? "steps.too-quick" : "steps.slow-enough",
                    "the machine steps every %.2f ms at the quickest", (double)quickest / 1e6));
    feature_value(n, (double)quickest / 1e6, 0, "ms");
    feature_limit(n, limit);
    return ERR_OK;
}

/* Outward steps without TRK00 that no restore from within the drive's travel needs. */
static int limit_run(const struct feature_from *f)
{
    double cylinders = profile_number(f->c->drive, "cylinders", 80);
    double limit = profile_number(f->c->machine, "step_limit", 255);

    return (int)(cylinders + 5 < limit ? cylinders + 5 : limit) - 1;
}

/* The first outward train, where nothing had shown TRK00 before, came to rest without it: a
 * machine that seeks track 0 goes on to its limit. Steps that make this many milliseconds' rest
 * have ended. */
#define AT_REST_NS 250000000

static bool ends_early(const struct bus_story *b)
{
    for (size_t i = 0; i < b->seek_count; i++) {
        const struct seek *k = &b->seek[i];
        bool rests = i + 1 == b->seek_count || b->seek[i + 1].start_ns - k->end_ns > AT_REST_NS;

        if (k->direction > 0 || k->trk00_before == LEVEL_LOW || k->trk00_after == LEVEL_LOW ||
            k->trk00_step > 0)
            return false;
        if (rests && b->end_ns - k->end_ns > AT_REST_NS)
            return true;
    }
    return false;
}

static enum err add_restore(const struct feature_from *f, struct feature_list *l)
{
    static const char *const id[] = {"trk00.not-sought", "trk00.found", "trk00.never-found",
                                     "trk00.given-up"};
    const struct bus_story *b = &f->s->story;
    int answer = 0;
    struct feature *n;

    if (!feature_recorded(f, SIG_STEP) || !feature_recorded(f, SIG_DIR) ||
        !feature_recorded(f, SIG_TRK00))
        return ERR_OK;
    if (b->longest_out_without_trk00 >= limit_run(f))
        answer = 2;
    else if (b->restores > b->restores_failed)
        answer = 1;
    else if (ends_early(b))
        answer = 3;
    else if (b->steps_out > 0)
        return ERR_OK;
    TRY(feature_add(l, f, FEATURE_RESTORE, GROUP_HEAD, SIG_TRK00, answer, &n, id[answer],
                    answer == 0 ? "no outward steps were made (%d)"
                    : answer == 1
                        ? "a restore found TRK00 (at most %d outward steps without it)"
                    : answer == 2 ? "%d outward steps in a row and TRK00 never came"
                                  : "outward steps end after %d though TRK00 never came",
                    b->longest_out_without_trk00));
    feature_value(n, b->longest_out_without_trk00, 0, "steps");
    return ERR_OK;
}

static enum err add_release(const struct feature_from *f, struct feature_list *l)
{
    const struct bus_story *b = &f->s->story;
    bool released = false;

    if (!feature_recorded(f, SIG_STEP) || !feature_recorded(f, SIG_TRK00))
        return ERR_OK;
    for (size_t i = 0; i < b->seek_count; i++)
        released = released || b->seek[i].trk00_release_step > 0;
    if (b->longest_in_with_trk00 >= 2)
        return feature_add(l, f, FEATURE_RELEASE, GROUP_HEAD, SIG_TRK00, 1, NULL, "trk00.stays",
                           "TRK00 stays active after %d inward steps",
                           b->longest_in_with_trk00);
    if (released)
        return feature_add(l, f, FEATURE_RELEASE, GROUP_HEAD, SIG_TRK00, 0, NULL,
                           "trk00.releases", "TRK00 goes away when the head steps inward");
    return ERR_OK;
}

/* The machine goes on stepping outward though TRK00 is active here: it does not see it. */
static enum err add_overrun(const struct feature_from *f, struct feature_list *l)
{
    const struct bus_story *b = &f->s->story;
    int worst = 0, found = 0;

    if (!feature_recorded(f, SIG_STEP) || !feature_recorded(f, SIG_TRK00))
        return ERR_OK;
    for (size_t i = 0; i < b->seek_count; i++) {
        const struct seek *k = &b->seek[i];
        int over = k->trk00_after != LEVEL_LOW    ? 0
                   : k->trk00_before == LEVEL_LOW ? k->steps
                   : k->trk00_step > 0            ? k->steps - k->trk00_step
                                                  : 0;

        if (k->direction >= 0 || (k->trk00_before != LEVEL_LOW && k->trk00_step <= 0))
            continue;
        found = 1;
        worst = over > worst ? over : worst;
    }
    if (!found)
        return ERR_OK;
    return feature_add(
        l, f, FEATURE_OVERRUN, GROUP_HEAD, SIG_TRK00, worst >= 10, NULL,
        worst >= 10 ? "trk00.ignored" : "trk00.heeded",
        worst >= 10 ? "the machine makes %d outward steps more though TRK00 is active here"
                    : "the machine stops stepping outward when TRK00 comes (%d more)",
        worst);
}

struct place_count {
    int n[PLACE_COUNT];
    int id;
    int half_at;     /* the last cylinder of which half was read, */
    int half_places; /* and how many there were */
};

/* One place that reads as half its number may do so by chance: a head that lost half its steps
 * stands there too. Where half is no whole number chance is likelier. */
#define HALF_OF_ONE_EVEN 0.95
#define HALF_OF_ONE_ODD  0.5

static int place_of(const struct visit *v)
{
    if (v->id_cylinder == v->cylinder)
        return PLACE_AGREE;
    if (v->id_cylinder == 0 && v->cylinder >= 2)
        return PLACE_ZERO_AFTER_IN;
    if (v->cylinder >= 4 && abs(2 * v->id_cylinder - v->cylinder) <= 1)
        return PLACE_HALF;
    return PLACE_OFF;
}

static void count_places(const struct feature_from *f, struct place_count *p)
{
    const struct bus_story *b = &f->s->story;
    int first_id = -1, first_cylinder = -1;
    bool moved = false, id_moved = false;

    for (size_t i = 0; i < f->s->visit_count; i++) {
        const struct visit *v = &f->s->visit[i];
        int place;

        if (v->ids_good < 2 || v->id_cylinder < 0 || !v->settled)
            continue;
        p->id = v->id_cylinder;
        if (!v->cylinder_known) {
            if (b->longest_out_without_trk00 >= limit_run(f))
                p->n[v->id_cylinder ? PLACE_NOT_ZERO_AFTER_OUT : PLACE_ZERO_NO_TRK00]++;
            continue;
        }
        place = place_of(v);
        p->n[place]++;
        if (place == PLACE_HALF && v->cylinder != p->half_at) {
            p->half_at = v->cylinder;
            p->half_places++;
        }
        if (first_id < 0) {
            first_id = v->id_cylinder;
            first_cylinder = v->cylinder;
        }
        moved = moved || abs(v->cylinder - first_cylinder) >= 2;
        id_moved = id_moved || v->id_cylinder != first_id;
    }
    if (moved && !id_moved && first_id > 0)
        p->n[PLACE_STUCK] += p->n[PLACE_OFF] + p->n[PLACE_AGREE] + p->n[PLACE_HALF];
}

static enum err add_place(const struct feature_from *f, struct feature_list *l)
{
    static const struct {
        const char *id, *text;
    } words[PLACE_COUNT] = {
        [PLACE_AGREE] = {"place.agrees",
                         "identifiers name the cylinder that the steps lead to"},
        [PLACE_ZERO_NO_TRK00] = {"place.zero-without-trk00",
                                 "identifiers say cylinder 0, yet TRK00 is not reported"},
        [PLACE_NOT_ZERO_AFTER_OUT] =
            {"place.head-did-not-move",
             "after a long outward run identifiers still name another cylinder"},
        [PLACE_ZERO_AFTER_IN] = {"place.stays-at-zero",
                                 "after inward steps identifiers still say cylinder 0"},
        [PLACE_STUCK] = {"place.stuck",
                         "identifiers name the same cylinder whatever the steps"},
        [PLACE_HALF] = {"place.half", "identifiers name half the head's cylinder"},
        [PLACE_OFF] = {"place.off", "identifiers name another cylinder than the steps lead to"},
    };
    struct place_count p = {0};
    int best = 0;
    struct feature *n;

    count_places(f, &p);
    for (int i = 1; i < PLACE_COUNT; i++)
        if (p.n[i] > p.n[best])
            best = i;
    if (p.n[best] == 0)
        return ERR_OK;
    TRY(feature_add(l, f, FEATURE_PLACE, GROUP_HEAD, SIG_COUNT, best, &n, words[best].id,
                    "%s (identifier %d)", words[best].text, p.id));
    if (best == PLACE_HALF && p.half_places < 2) {
        n->soft[PLACE_HALF] = p.half_at % 2 ? HALF_OF_ONE_ODD : HALF_OF_ONE_EVEN;
        n->soft[PLACE_OFF] = 1 - n->soft[PLACE_HALF];
    }
    feature_value(n, p.id, 0, "cylinder");
    return ERR_OK;
}

enum err features_motion(const struct feature_from *f, struct feature_list *l)
{
    TRY(add_index(f, l));
    TRY(add_speed(f, l));
    TRY(add_steps(f, l));
    TRY(add_restore(f, l));
    TRY(add_release(f, l));
    TRY(add_step_rate(f, l));
    TRY(add_overrun(f, l));
    return f->s->flux_usable ? add_place(f, l) : ERR_OK;
}
