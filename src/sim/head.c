#include "base/buf.h"
#include "sim/drive.h"
#include "sim/world.h"

#include <math.h>

#define READ_DELAY_NS   1200
#define WRITE_JITTER_NS 12.0
#define JITTER_MAX_NS   1000.0

static int side_of(const struct drive *d)
{
    return (d->active & LINE_BIT(LINE_SIDE)) && d->disk->format.sides > 1 ? 1 : 0;
}

bool sim_head_reads(const struct drive *d)
{
    const struct drive_spec *s = d->spec;
    bool loaded = !(s->lines & LINE_BIT(LINE_HLOAD)) || (d->active & LINE_BIT(LINE_HLOAD));
    return d->powered && d->selected && !d->writer.gate && d->read_ok_at == NEVER && loaded &&
           (!s->gate_ready || d->ready) && (!s->gate_seek || d->settled_at == NEVER);
}

/* Signal at the head, 1 in a sound drive. */
static double amplitude(const struct drive *d)
{
    const struct drive_spec *s = d->spec;
    double a = s->amplitude[side_of(d)];
    bool own_density = s->density_acts && s->low_rpm <= 0;
    bool low_density = ((d->active & LINE_BIT(LINE_DENSITY)) != 0) == s->density_low_is_low;
    if (sim_drive_has(d, FAULT_HEAD_DIRTY))
        a *= 1.0 + 0.6 * d->head.dirt;
    if (d->head.off_track)
        a *= 0.4;
    if (s->sheds_s > 0)
        a *= exp2(-(double)d->w->now / (s->sheds_s * 1e9));
    if (d->settled_at != NEVER)
        a *= 0.6;
    if (own_density && low_density == d->w->spec.high_density)
        a *= 0.42; /* read filter for the other density */
    double v = d->spindle.speed;
    return v < 0.3 ? 0 : a * (v < 0.7 ? v / 0.7 : 1.0);
}

static bool makes_noise(const struct drive *d)
{
    bool signal = d->disk->present && d->head.track != NULL && amplitude(d) > 0;
    return d->spindle.speed > 0.05 && (signal || d->spec->noisy_when_empty);
}

static double cell_of(const struct drive *d)
{
    return d->w->spec.format.cell_ns;
}

/* Angle of the next transition under the head, taking the next turn where this one is at its
 * end. */
static double next_transition(const struct drive *d)
{
    const struct head *h = &d->head;
    if (h->next < h->track->count)
        return h->turn_base + h->track->pos[h->next];
    return h->turn_base + d->disk->format.turn_ns + h->track->pos[0];
}

void sim_head_plan(struct drive *d)
{
    struct head *h = &d->head;
    h->transition_at = NEVER;
    if (h->track == NULL || h->track->count == 0 || d->spindle.disk_rate <= 0.05)
        return;
    double ahead = next_transition(d) - d->spindle.disk;
    int64_t t =
        d->spindle.slice_start + (int64_t)((ahead > 0 ? ahead : 0) / d->spindle.disk_rate);
    h->transition_at = t < d->spindle.slice_end ? t : NEVER;
}

void sim_head_sync(struct drive *d)
{
    struct head *h = &d->head;
    struct track *was = h->track;
    h->noise_at = NEVER;
    if (!sim_head_reads(d)) {
        h->track = NULL;
        h->transition_at = NEVER;
        return;
    }
    enum err err = sim_disk_track(d->disk, d->cylinder, side_of(d), &h->track, &h->off_track);
    if (err != ERR_OK && d->w->err == ERR_OK)
        d->w->err = err;
    int64_t now = d->w->now;
    if (h->track != NULL && h->track->count > 0) {
        double turn = d->disk->format.turn_ns;
        double angle = sim_drive_angle(d, now);
        h->turn_base = turn * (double)(int64_t)(angle / turn);
        h->next = sim_track_find(h->track, angle - h->turn_base);
    }
    sim_head_plan(d);
    if (makes_noise(d))
        h->noise_at = now + (was == h->track ? 12 : 3) * (int64_t)cell_of(d);
}

int64_t sim_head_next(const struct drive *d)
{
    const struct head *h = &d->head;
    int64_t next = h->transition_at;
    next = h->noise_at < next ? h->noise_at : next;
    if (h->pulses > 0 && h->pulse_at[0] < next)
        next = h->pulse_at[0];
    return h->rise_at < next ? h->rise_at : next;
}

/* Put a pulse in the queue. Two that touch are one. */
static void emit(struct drive *d, int64_t t)
{
    struct head *h = &d->head;
    if (t <= h->last_pulse + d->spec->pulse_ns + 60 || h->pulses >= PULSES_MAX)
        return;
    h->pulse_at[h->pulses++] = t;
    h->last_pulse = t;
}

static bool worn_here(const struct track *t, int32_t pos)
{
    for (int i = 0; i < 3; i++) {
        if (pos >= t->worn_from[i] && pos < t->worn_to[i])
            return true;
    }
    return false;
}

/* A peak moves away from its nearer neighbour, more so inward. */
static double peak_shift(const struct drive *d, const struct track *t, size_t i)
{
    double turn = d->disk->format.turn_ns;
    double before =
        t->pos[i] - (i > 0 ? (double)t->pos[i - 1] : (double)t->pos[t->count - 1] - turn);
    double after =
        (i + 1 < t->count ? (double)t->pos[i + 1] : (double)t->pos[0] + turn) - t->pos[i];
    if (before < 100 || after < 100)
        return 0;
    double inward = 0.6 + (double)d->cylinder / (double)(d->spec->last_cylinder + 1);
    return d->spec->peak_shift_ns * inward * 2.0 * cell_of(d) * (1.0 / before - 1.0 / after);
}

static void read_transition(struct drive *d, int64_t t)
{
    struct head *h = &d->head;
    size_t i = h->next < h->track->count ? h->next : 0;
    double shift = peak_shift(d, h->track, i);
    bool worn = worn_here(h->track, h->track->pos[i]);
    if (h->next >= h->track->count)
        h->turn_base += d->disk->format.turn_ns;
    h->next = i + 1;
    sim_head_plan(d);
    double a = amplitude(d);
    double lack = a < 0.45 ? 0.45 - a : 0;
    double jitter = d->spec->jitter_ns / (a > 0.05 ? a : 0.05) * (1.0 + 4.0 * lack);
    double g = sim_rng_gauss(&d->noise);
    bool lost = sim_rng_chance(&d->noise, worn ? 0.25 : 0.05 * lack * lack);
    if (a <= 0 || lost)
        return;
    double late = shift + (worn ? 5.0 : 1.0) * jitter * g;
    late = late > JITTER_MAX_NS ? JITTER_MAX_NS : late < -JITTER_MAX_NS ? -JITTER_MAX_NS : late;
    emit(d, t + READ_DELAY_NS + (int64_t)late);
    if (lack > 0.1 && sim_rng_chance(&d->noise, 0.0006))
        emit(d, t + READ_DELAY_NS + (int64_t)(cell_of(d) * sim_rng_range(&d->noise, 0.8, 1.3)));
    if (h->noise_at != NEVER)
        h->noise_at = t + (int64_t)(cell_of(d) * 12);
}

static void pulse_edges(struct drive *d, int64_t now)
{
    struct head *h = &d->head;
    if (h->rise_at <= now) {
        h->rise_at = NEVER;
        sim_drive_rdata(d);
    }
    if (h->pulses > 0 && h->pulse_at[0] <= now) {
        for (int i = 1; i < h->pulses; i++)
            h->pulse_at[i - 1] = h->pulse_at[i];
        h->pulses--;
        if (sim_head_reads(d)) {
            h->rise_at = now + d->spec->pulse_ns;
            sim_drive_rdata(d);
        }
    }
}

void sim_head_event(struct drive *d)
{
    struct head *h = &d->head;
    int64_t now = d->w->now;
    pulse_edges(d, now);
    if (h->transition_at <= now)
        read_transition(d, now);
    if (h->noise_at <= now) {
        emit(d, now + READ_DELAY_NS);
        double cells = sim_rng_range(&d->noise, 1.5, 9.0);
        h->noise_at = now + (int64_t)(cell_of(d) * cells);
    }
}

static void write_begins(struct drive *d)
{
    struct writer *r = &d->writer;
    bool off_track;
    bool refused = d->disk->protected_ || !d->disk->present ||
                   sim_drive_has(d, FAULT_WPROT_STUCK) || sim_drive_has(d, FAULT_WRITE_DEAD) ||
                   d->spindle.speed < 0.3;
    r->count = 0;
    r->from = sim_drive_angle(d, d->w->now);
    enum err err = sim_disk_track(d->disk, d->cylinder, side_of(d), &r->track, &off_track);
    if (err != ERR_OK && d->w->err == ERR_OK)
        d->w->err = err;
    r->on = !refused && r->track != NULL;
}

void sim_head_write_gate(struct drive *d, bool on)
{
    struct writer *r = &d->writer;
    if (on == r->gate)
        return;
    r->gate = on;
    if (on) {
        write_begins(d);
    } else {
        if (r->on) {
            enum err err = sim_track_write(r->track, d->disk->format.turn_ns, r->from,
                                           sim_drive_angle(d, d->w->now), r->pos, r->count);
            if (err != ERR_OK && d->w->err == ERR_OK)
                d->w->err = err;
        }
        r->on = false;
        d->read_ok_at = d->w->now + d->spec->recovery_ns;
    }
    sim_head_sync(d);
}

void sim_head_write_pulse(struct drive *d)
{
    struct writer *r = &d->writer;
    if (!r->on)
        return;
    if (array_grow((void **)&r->pos, &r->cap, r->count + 1, sizeof *r->pos, WRITTEN_MAX) !=
        ERR_OK)
        return; /* a head that has written this long writes nothing new */
    r->pos[r->count++] =
        sim_drive_angle(d, d->w->now) + WRITE_JITTER_NS * sim_rng_gauss(&d->noise);
}
