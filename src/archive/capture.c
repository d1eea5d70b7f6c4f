/* One survey over a capture, told sector by sector; at its end the places are known. */
#include "archive/capture.h"

#include "archive/archive_private.h"

#include <stdlib.h>
#include <string.h>

#define FNV_START UINT64_C(14695981039346656037)
#define FNV_PRIME UINT64_C(1099511628211)

struct gather {
    struct archive_tracks raw;
    int32_t pass;
    uint64_t print;
    int32_t written;
};

static struct archive_key key_of(const struct survey_spot *spot)
{
    return (struct archive_key){{spot->epoch, spot->side, spot->id_cylinder, spot->id_side}};
}

static struct survey_spot spot_of(const struct archive_key *key)
{
    return (struct survey_spot){key->at[0], key->at[1], key->at[2], key->at[3]};
}

static void print_add(uint64_t *print, uint64_t value)
{
    for (int i = 0; i < 8; i++) {
        *print ^= value >> (8 * i) & 0xff;
        *print *= FNV_PRIME;
    }
}

static enum err on_sector(void *ctx, const struct survey_spot *spot,
                          const struct sector_read *read)
{
    struct gather *g = ctx;
    struct archive_key key = key_of(spot);
    struct archive_track *track = NULL;
    print_add(&g->print, (uint64_t)read->id_ns);
    TRY(archive_track_at(&g->raw, &key, &track));
    return track != NULL ? archive_read(&g->raw, track, read, g->pass) : ERR_OK;
}

/* Sectors that were rewritten and those that were not cannot be told apart for sure: only what
 * is read from here on counts. */
static enum err on_written(void *ctx, int32_t epoch, int32_t side)
{
    struct gather *g = ctx;
    for (size_t i = 0; i < g->raw.count; i++) {
        struct archive_track *t = &g->raw.track[i];
        if (t->key.at[0] == epoch && t->key.at[1] == side)
            archive_track_forget(&g->raw, t);
    }
    g->written++;
    return ERR_OK;
}

static bool known(const struct archive *a, uint64_t print, size_t *which)
{
    for (*which = 0; *which < a->pass_count; (*which)++)
        if (a->pass[*which].print == print)
            return true;
    return false;
}

/* Identifiers that count half the head's cylinders: a disk of half the track density. Its
 * tracks go by their identifiers. */
static bool half_density(const struct gather *g, const struct survey *s)
{
    int32_t half = 0;
    int32_t whole = 0;
    for (size_t i = 0; i < g->raw.count; i++) {
        struct survey_spot spot = spot_of(&g->raw.track[i].key);
        int32_t cylinder = 0;
        int32_t side = 0;
        if (!survey_place(s, &spot, &cylinder, &side) || cylinder < 2 || spot.id_cylinder < 0)
            continue;
        half += spot.id_cylinder == cylinder / 2 || spot.id_cylinder == (cylinder + 1) / 2;
        whole += spot.id_cylinder == cylinder;
    }
    return half > 2 * whole + 1;
}

static enum err merge_placed(struct archive *a, const struct gather *g, const struct survey *s)
{
    bool half = half_density(g, s);
    if (half)
        TRY(archive_warn(a, "identifiers count half the head's cylinders: a disk of half the "
                            "track density; tracks go by their identifiers"));
    for (size_t i = 0; i < g->raw.count; i++) {
        struct survey_spot spot = spot_of(&g->raw.track[i].key);
        struct archive_track *into = NULL;
        int32_t cylinder = 0;
        int32_t side = 0;
        if (!survey_place(s, &spot, &cylinder, &side) || cylinder >= ARCHIVE_CYLINDERS_MAX)
            continue;
        struct archive_key key =
            archive_place(half && spot.id_cylinder >= 0 ? spot.id_cylinder : cylinder, side);
        TRY(archive_track_at(&a->tracks, &key, &into));
        if (into != NULL)
            TRY(archive_track_merge(&a->tracks, into, &g->raw.track[i]));
    }
    for (size_t i = 0; i < s->track_count; i++) {
        const struct track *t = &s->track[i];
        struct archive_key key = archive_place(half ? t->cylinder / 2 : t->cylinder, t->side);
        struct archive_track looked = {
            .key = key, .turns = t->revolutions, .code = t->quality.encoding};
        struct archive_track *into = NULL;
        if (t->cylinder >= ARCHIVE_CYLINDERS_MAX)
            continue;
        TRY(archive_track_at(&a->tracks, &key, &into));
        if (into != NULL)
            TRY(archive_track_merge(&a->tracks, into, &looked));
    }
    return ERR_OK;
}

static enum err warnings(struct archive *a, const struct gather *g, const struct survey *s,
                         const struct archive_pass *pass)
{
    for (size_t i = 0; i < s->warning_count; i++)
        TRY(archive_warn(a, "%s: %s", pass->file, s->warning[i]));
    if (g->written > 0)
        TRY(archive_warn(a,
                         "%s: the machine wrote: of tracks it wrote on, only what was read "
                         "afterwards counts",
                         pass->file));
    if (!s->flux_recorded)
        TRY(archive_warn(a, "%s: RDATA is not recorded: nothing to save", pass->file));
    if (g->raw.full)
        TRY(archive_warn(a, "%s: more sectors than can be kept", pass->file));
    return ERR_OK;
}

static enum err take(struct archive *a, const struct gather *g, const struct survey *s,
                     const struct archive_pass *pass)
{
    struct archive_pass p = *pass;
    size_t which = 0;
    int32_t index = 0;
    p.seconds = s->seconds;
    p.print = g->print;
    if (known(a, g->print, &which) && g->raw.count > 0)
        return archive_warn(a, "%s: the same recording as %s, passed over", pass->file,
                            a->pass[which].file);
    TRY(archive_pass_add(a, &p, &index));
    TRY(warnings(a, g, s, pass));
    return merge_placed(a, g, s);
}

enum err archive_capture(struct archive *a, struct capture *c,
                         const struct survey_options *options, const struct archive_pass *pass,
                         struct err_msg *e)
{
    struct gather g = {.pass = (int32_t)a->pass_count, .print = FNV_START};
    struct survey_listener listener = {&g, on_sector, on_written};
    struct survey_options o = *options;
    struct survey *s = calloc(1, sizeof *s);
    if (s == NULL)
        return err_set(e, ERR_MEMORY, "out of memory");
    o.listener = &listener;
    enum err code = survey_run(c, &o, s, e);
    if (code == ERR_OK) {
        code = take(a, &g, s, pass);
        if (code != ERR_OK)
            (void)err_set(e, code, "%s", err_text(code));
        survey_release(s);
    }
    archive_tracks_release(&g.raw);
    free(s);
    return code;
}
