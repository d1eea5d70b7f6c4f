/* Figures that need the bit clock by angle: a second look at the first turns of each visit. */
#include "evidence/survey_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define INTERVALS_MAX ((size_t)1 << 20) /* some 30 turns of a double-density track */
#define IDS_MAX       ((size_t)1 << 18)
#define CURVES_MAX    512
#define ALL_KEPT      32 /* visits with whole turns, behind which one in SPARSE will do */
#define SPARSE        5  /* odd: both sides have their share */
#define TURN_MIN_NS   (100 * NS_PER_MS)
#define TURN_MAX_NS   (300 * NS_PER_MS)
#define AT_SPEED      0.01 /* turns differ by less than this from the one before */
#define JOINED        0.7  /* of a turn: a nearer pulse is no index */

/* Starts of turns within a visit. */
struct turn_starts {
    int64_t ns[SPEED_TURNS_MAX + 1];
    int32_t turns;
    bool by_index;
};

/* One pulse more. A turn unlike the one before begins a new run. */
static void start_add(struct turn_starts *now, int64_t ns)
{
    int64_t last = now->ns[now->turns];
    int64_t apart = ns - last;
    int64_t before = now->turns > 0 ? last - now->ns[now->turns - 1] : apart;
    bool turn = apart > TURN_MIN_NS && apart < TURN_MAX_NS;
    if (turn && now->turns < SPEED_TURNS_MAX &&
        fabs((double)apart / (double)before - 1) < AT_SPEED) {
        now->ns[++now->turns] = ns;
        return;
    }
    now->turns = turn ? 1 : 0;
    now->ns[0] = turn ? last : ns;
    now->ns[now->turns] = ns;
}

/* The longest run of turns at speed, from the index pulses between two times. */
static void starts_by_index(const struct index_gather *g, int64_t from_ns, int64_t to_ns,
                            struct turn_starts *out)
{
    struct turn_starts now = {.by_index = true};
    int32_t joined = 0;
    int32_t counted = 0;
    for (size_t i = 0; i < g->count && g->pulse[i].fall_ns <= to_ns; i++) {
        int64_t ns = g->pulse[i].fall_ns;
        if (ns < from_ns) {
            continue;
        }
        int64_t before = now.turns > 0 ? now.ns[now.turns] - now.ns[now.turns - 1] : 0;
        double nearest = fmax(JOINED * (double)before, (double)TURN_MIN_NS);
        if (counted > 0 && (double)(ns - now.ns[now.turns]) < nearest) {
            joined++;
            continue;
        }
        if (counted++ == 0) {
            now.ns[0] = ns;
        } else {
            start_add(&now, ns);
        }
        if (now.turns > out->turns) {
            *out = now;
        }
    }
    if (joined >
        counted) { /* holes of sectors: which of them begins the turn is not told here */
        out->turns = 0;
    }
}

/* Without an index the sectors that came round again, or the drive's rated speed, tell how long
 * a turn is. */
static void starts_by_period(const struct survey_run *r, int64_t from_ns, int64_t to_ns,
                             struct turn_starts *out)
{
    const struct sector_turns *t = &r->turns;
    double rated = profile_number(r->o->drive, "speed_rpm", 0);
    double period = rated > 0 ? 60e9 / rated : 0;
    int32_t most = SPLIT_TURNS_MIN - 1; /* what repeats is not told by a rated speed */
    double sum = 0;
    for (size_t i = r->figures.turns_seen; i < t->count; i++) {
        sum += (double)t->period_ns[i];
    }
    if (t->count > r->figures.turns_seen) {
        period = sum / (double)(t->count - r->figures.turns_seen);
        most = SPEED_TURNS_MAX;
    }
    out->by_index = false;
    out->turns = 0;
    while (period > 0 && out->turns <= most &&
           (double)from_ns + out->turns * period <= (double)to_ns) {
        out->ns[out->turns] = from_ns + (int64_t)(out->turns * period);
        out->turns++;
    }
    out->turns -= out->turns > 0;
}

static void add_angles(struct survey_run *r, const struct clock_runs *runs,
                       const struct turn_starts *t)
{
    struct figures_gather *g = &r->figures;
    double turn_ns = (double)(t->ns[t->turns] - t->ns[0]) / t->turns;
    int32_t turn = 0;
    r->out->angle_known = true;
    for (size_t i = 0; i < runs->count; i++) {
        const struct clock_run *run = &runs->run[i];
        double ns = run->ns + (double)runs->start_ns;
        while (turn < t->turns && ns >= (double)t->ns[turn + 1]) {
            turn++;
        }
        double angle = (ns - (double)t->ns[turn]) / turn_ns;
        int part = (int)floor((angle - floor(angle)) * ANGLE_PARTS) % ANGLE_PARTS;
        struct angle_figures *a = &r->out->angle[g->side][part];
        a->transitions += run->transitions;
        a->shorter += run->shorter;
        a->longer += run->longer;
        if (run->cells > 0) {
            a->jitter_percent += run->transitions;
            g->jitter_sq[g->side][part] += (double)run->jitter_sq * run->transitions;
        }
    }
}

/* The same visit's turns by index and by sectors. */
static void add_slip(struct survey_run *r, const struct turn_starts *t)
{
    struct figures_gather *g = &r->figures;
    size_t n = r->turns.count - g->turns_seen;
    double sum = 0;
    if (!t->by_index || n == 0) {
        return;
    }
    for (size_t i = g->turns_seen; i < r->turns.count; i++) {
        sum += (double)r->turns.period_ns[i];
    }
    double index_ns = (double)(t->ns[t->turns] - t->ns[0]) / t->turns;
    double slip = 100 * (sum / (double)n / index_ns - 1);
    g->slips += 1;
    g->slip_sum += slip;
    g->slip_square += slip * slip;
    g->slip_turns += (double)n;
}

static enum err keep(struct figures_gather *g, struct speed_curve *c)
{
    enum err e = ERR_OK;
    if (c->percent == NULL) {
        return ERR_OK;
    }
    e = array_grow((void **)&g->kept, &g->kept_cap, g->kept_count + 1, sizeof g->kept[0],
                   CURVES_MAX);
    if (e == ERR_OK) {
        g->kept[g->kept_count++] = (struct kept_curve){*c, g->visit_ns};
    } else {
        speed_curve_release(c);
    }
    return e;
}

static enum err measure(struct survey_run *r, const struct flux_quality *q)
{
    struct figures_gather *g = &r->figures;
    struct ticked t = {g->interval, g->count, tick_ns(r->tick), g->first_ns};
    struct cell_hint hint = {q->cell_ns, q->interval_ratio[0], 0};
    struct clock_runs runs;
    struct speed_curve curve;
    struct turn_starts starts = {0};
    for (int i = 0; i < 8 && q->interval_ratio[i] > 0; i++) {
        hint.step_max = q->interval_ratio[i];
    }
    TRY(clock_runs_find(&t, &hint, &runs));
    int64_t end_ns =
        runs.count > 0 ? g->first_ns + (int64_t)runs.run[runs.count - 1].ns : g->first_ns;
    starts_by_index(&r->index, g->first_ns, end_ns, &starts);
    if (starts.turns == 0) {
        starts_by_period(r, g->first_ns, end_ns, &starts);
    }
    enum err e = ERR_OK;
    if (starts.turns > 0) {
        if (starts.by_index) {
            add_angles(r, &runs, &starts);
        }
        add_slip(r, &starts);
        e = speed_curve_make(&runs, starts.ns, starts.turns, &curve);
        e = e == ERR_OK ? keep(g, &curve) : e;
    }
    clock_runs_release(&runs);
    return e;
}

/* The visit that was gathered has ended. */
static enum err visit_ended(struct survey_run *r)
{
    struct figures_gather *g = &r->figures;
    const struct survey *s = r->out;
    const struct visit *v = s->visit_count > 0 ? &s->visit[s->visit_count - 1] : NULL;
    enum err e = ERR_OK;
    if (g->count > 0 && v != NULL && v->start_ns == g->visit_ns && v->quality.cell_ns > 0 &&
        g->kept_count < CURVES_MAX) {
        e = measure(r, &v->quality);
    }
    g->turns_seen = r->turns.count;
    return e;
}

enum err figures_fall(struct survey_run *r, int64_t tick, int64_t ns)
{
    struct figures_gather *g = &r->figures;
    if (!g->began || r->visit.v.start_ns != g->visit_ns) {
        TRY(g->began ? visit_ended(r) : ERR_OK);
        g->began = true;
        g->visits++;
        g->full = g->kept_count >= ALL_KEPT && g->visits % SPARSE != 0;
        g->visit_ns = r->visit.v.start_ns;
        g->side = r->place.side == 1;
        g->count = 0;
        g->first_ns = ns;
    } else if (!g->full) {
        int64_t apart = tick - g->last_tick;
        if (g->count == INTERVALS_MAX || apart > UINT32_MAX) {
            g->full = true;
            return ERR_OK;
        }
        if (g->count == g->cap) {
            TRY(array_grow((void **)&g->interval, &g->cap, g->count + 1, sizeof g->interval[0],
                           INTERVALS_MAX));
        }
        g->interval[g->count++] = (uint32_t)apart;
    }
    g->last_tick = tick;
    return ERR_OK;
}

/* Falls that follow the last one without ado. Returns the first that does not. */
static size_t plain_falls(struct figures_gather *g, const struct chunk *c, size_t i, size_t k,
                          size_t n)
{
    const packed_edge *edge = c->edge + i;
    const uint64_t last = (uint64_t)(g->last_tick - c->base_tick);
    uint64_t before = last;
    if ((edge[n - 1] >> 8) - last > UINT32_MAX) {
        return k;
    }
    for (; k < n && g->count < g->cap; k += 2) {
        uint64_t tick = edge[k] >> 8;
        g->interval[g->count++] = (uint32_t)(tick - before);
        before = tick;
    }
    g->last_tick = c->base_tick + (int64_t)before;
    return k;
}

enum err figures_reads(struct survey_run *r, const struct chunk *c, size_t i)
{
    const size_t n = r->row.count;
    struct figures_gather *g = &r->figures;
    size_t k = edge_level(c->edge[i]) == LEVEL_LOW ? 0 : 1;
    while (r->visit.open && k < n) {
        TRY(figures_fall(r, edge_tick(c, i + k), r->row.ns + r->row.after_ns[k]));
        k += 2;
        if (!g->full) {
            k = plain_falls(g, c, i, k, n);
        } else if (k < n) { /* nothing more until the next visit but where the last one was */
            k += (n - 1 - k) / 2 * 2;
            g->last_tick = edge_tick(c, i + k);
            k = n;
        }
    }
    return ERR_OK;
}

/* ---- from index to the first identifier */

static void gap_add(struct gap_figures *f, double us)
{
    f->min_us = f->count == 0 ? us : fmin(f->min_us, us);
    f->max_us = f->count == 0 ? us : fmax(f->max_us, us);
    f->count++;
    double off = us - f->mean_us;
    f->mean_us += off / f->count;
    f->sd_us += off * (us - f->mean_us); /* squares, until the end */
}
static void gap_end(struct gap_figures *f)
{
    f->sd_us = f->count > 1 ? sqrt(f->sd_us / (f->count - 1)) : 0;
}

static int compare_place(const void *a, const void *b)
{
    const struct place_figures *x = a;
    const struct place_figures *y = b;
    int by_cylinder = (x->cylinder > y->cylinder) - (x->cylinder < y->cylinder);
    return by_cylinder != 0 ? by_cylinder : (x->side > y->side) - (x->side < y->side);
}

static struct place_figures *place_of(struct survey *s, const struct visit *v)
{
    int32_t cylinder = v->cylinder_known ? v->cylinder : v->id_cylinder;
    int32_t side = v->side >= 0 ? v->side : v->id_side;
    size_t i = 0;
    while (i < s->place_count &&
           (s->place[i].cylinder != cylinder || s->place[i].side != side)) {
        i++;
    }
    if (i == s->place_count) {
        s->place[s->place_count++] = (struct place_figures){.cylinder = cylinder, .side = side};
    }
    return &s->place[i];
}

/* First identifiers behind the index pulses of one visit; *pulse and *id move on. */
static void first_ids(struct survey_run *r, const struct visit *v, size_t *pulse, size_t *id,
                      struct gap_figures *place)
{
    const struct sector_turns *t = &r->turns;
    for (; *pulse < r->index.count && r->index.pulse[*pulse].fall_ns < v->end_ns; (*pulse)++) {
        int64_t ns = r->index.pulse[*pulse].fall_ns;
        while (*id < t->ids && t->id_ns[*id] <= ns) {
            (*id)++;
        }
        bool joined = *pulse > 0 && ns - r->index.pulse[*pulse - 1].fall_ns < TURN_MIN_NS;
        if (ns >= v->start_ns && !joined && *id < t->ids && t->id_ns[*id] < v->end_ns &&
            t->id_ns[*id] - ns < TURN_MIN_NS) {
            gap_add(&r->out->first_id, (double)(t->id_ns[*id] - ns) / 1e3);
            gap_add(place, (double)(t->id_ns[*id] - ns) / 1e3);
        }
    }
}

static enum err places(struct survey_run *r)
{
    struct survey *s = r->out;
    size_t pulse = 0;
    size_t id = 0;
    struct quality_sum *sum = calloc(s->visit_count + 1, sizeof *sum);
    s->place = calloc(s->visit_count + 1, sizeof *s->place);
    if (sum == NULL || s->place == NULL) {
        free(sum);
        return ERR_MEMORY;
    }
    for (size_t i = 0; i < s->visit_count; i++) {
        const struct visit *v = &s->visit[i];
        if (v->quality.transitions == 0) {
            continue;
        }
        struct place_figures *p = place_of(s, v);
        double n = (double)v->quality.transitions;
        quality_add(&sum[p - s->place], &v->quality);
        p->quality.transitions += v->quality.transitions;
        p->shorter += llround(n * v->quality.short_share);
        p->longer += llround(n * v->quality.long_share);
        first_ids(r, v, &pulse, &id, &p->first_id);
    }
    for (size_t i = 0; i < s->place_count; i++) {
        gap_end(&s->place[i].first_id);
        s->place[i].quality = quality_mean(&sum[i], s->place[i].quality.transitions);
    }
    gap_end(&s->first_id);
    free(sum);
    qsort(s->place, s->place_count, sizeof s->place[0], compare_place);
    return ERR_OK;
}

void identifiers_add(struct sector_turns *t, const struct flux_read *read)
{
    for (size_t i = 0; i < read->sector_count; i++) {
        if (!read->sector[i].id_good ||
            (t->ids > 0 && read->sector[i].id_ns <= t->id_ns[t->ids - 1])) {
            continue;
        }
        if (array_grow((void **)&t->id_ns, &t->id_cap, t->ids + 1, sizeof t->id_ns[0],
                       IDS_MAX) != ERR_OK) {
            return;
        }
        t->id_ns[t->ids++] = read->sector[i].id_ns;
    }
}

static void angles_finish(struct survey_run *r)
{
    for (int side = 0; side < 2; side++) {
        for (int i = 0; i < ANGLE_PARTS; i++) {
            struct angle_figures *a = &r->out->angle[side][i];
            double n = a->jitter_percent;
            a->jitter_percent = n > 0 ? 100 * sqrt(r->figures.jitter_sq[side][i] / n) : 0;
        }
    }
}

static void slip_finish(struct survey_run *r)
{
    const struct figures_gather *g = &r->figures;
    double n = g->slips;
    if (n <= 0) {
        return;
    }
    double mean = g->slip_sum / n;
    double sd = n > 1 ? sqrt(fmax(0, g->slip_square / n - mean * mean) * n / (n - 1)) : 0;
    /* a mark's time and an index pulse's are each read to a jitter or a sample */
    double mark_ns = sqrt(2.0) * fmax(r->out->sample_ns, r->out->flux.jitter_ns);
    double turn_ns = r->out->rotation.rpm > 0 ? 60e9 / r->out->rotation.rpm : 2e8;
    double reading = 100 * mark_ns / turn_ns / sqrt(g->slip_turns) * M_SQRT2;
    double turns = n > 1 ? sd / sqrt(n) : r->out->rotation.spread_percent / 2;
    r->out->slip = (struct slip_figures){(int32_t)n, mean, 2 * hypot(reading, turns)};
}

enum err figures_finish(struct survey_run *r)
{
    if (r->figures.began) {
        TRY(visit_ended(r));
    }
    angles_finish(r);
    TRY(places(r));
    TRY(speed_figures_find(r));
    slip_finish(r);
    figures_profile(r->o->drive, r->out);
    return ERR_OK;
}

void figures_release(struct survey_run *r)
{
    struct figures_gather *g = &r->figures;
    for (size_t i = 0; i < g->kept_count; i++) {
        speed_curve_release(&g->kept[i].curve);
    }
    free(g->kept);
    free(g->interval);
    free(r->turns.id_ns);
}
