#include "sim/tap.h"

/* A recorder looks at its lines at k * interval: what came and went between two looks is lost.
 */

static int64_t sample_of(const struct tap *t, int64_t now_ns)
{
    int64_t own = now_ns + now_ns / 1000 * t->drift_ppb / 1000000 + t->offset_ns;
    int64_t fs = own * FS_PER_NS;
    return (fs + t->info.sample_fs - 1) / t->info.sample_fs;
}

static int64_t tick_of(const struct tap *t, int64_t sample)
{
    int64_t tick_fs = t->info.tick.fs_num / t->info.tick.fs_den;
    return (sample * t->info.sample_fs + tick_fs / 2) / tick_fs;
}

static enum err flush(struct tap *t)
{
    int64_t tick = tick_of(t, t->last_sample);
    for (int i = 0; t->touched != 0 && i < LINE_COUNT; i++) {
        enum line line = (enum line)i;
        bool told = t->told & LINE_BIT(line);
        if (!(t->touched & LINE_BIT(line)) || (told && t->pending[i] == t->written[i]))
            continue;
        t->told |= LINE_BIT(line);
        t->written[i] = t->pending[i];
        t->last_tick = tick;
        TRY(t->sink->edge(t->sink->ctx, t->index, tick, line, t->pending[i]));
    }
    t->touched = 0;
    return ERR_OK;
}

static enum err note(struct tap *t, int64_t now_ns, enum line line, enum level level)
{
    int64_t sample = sample_of(t, now_ns);
    if (sample > t->last_sample) {
        TRY(flush(t));
        t->last_sample = sample;
    }
    t->pending[line] = level;
    t->touched |= LINE_BIT(line);
    return ERR_OK;
}

enum err sim_tap_start(struct tap *t, const bool low[LINE_COUNT])
{
    t->last_sample = 0;
    t->told = 0;
    t->touched = t->info.lines; /* the first look gives every line's state */
    for (int i = 0; i < LINE_COUNT; i++) {
        bool open = t->open_leads & LINE_BIT(i);
        t->pending[i] = low[i] && !open ? LEVEL_LOW : LEVEL_HIGH;
        if (i == LINE_RDATA) {
            t->rdata = t->pending[i];
            t->pending[i] = t->flux_open ? t->rdata : LEVEL_UNKNOWN;
        }
    }
    return ERR_OK;
}

enum err sim_tap_edge(struct tap *t, int64_t now_ns, enum line line, enum level level)
{
    if (!t->info.used || !(t->info.lines & LINE_BIT(line)) || (t->open_leads & LINE_BIT(line)))
        return ERR_OK;
    if (line == LINE_RDATA) {
        t->rdata = level;
        if (!t->flux_open)
            return ERR_OK;
    }
    return note(t, now_ns, line, level);
}

enum err sim_tap_flux_window(struct tap *t, int64_t now_ns, bool open)
{
    if (!t->info.used || t->flux_open == open)
        return ERR_OK;
    t->flux_open = open;
    return note(t, now_ns, LINE_RDATA, open ? t->rdata : LEVEL_UNKNOWN);
}

enum err sim_tap_finish(struct tap *t, int64_t now_ns, int64_t *end_tick)
{
    if (!t->info.used)
        return ERR_OK;
    TRY(flush(t));
    int64_t end = tick_of(t, sample_of(t, now_ns));
    *end_tick = end > t->last_tick ? end : t->last_tick;
    return ERR_OK;
}
