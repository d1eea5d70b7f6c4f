/* Tracks and the sectors on them, with ceilings. */
#include "archive/archive_private.h"
#include "base/buf.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define TRACKS_MAX    8192
#define WARNINGS_MAX  100
#define WARNING_BYTES 300

struct archive_key archive_place(int32_t cylinder, int32_t side)
{
    return (struct archive_key){{cylinder, side, -1, -1}};
}

static bool same_key(const struct archive_key *a, const struct archive_key *b)
{
    return memcmp(a->at, b->at, sizeof a->at) == 0;
}

enum err archive_track_at(struct archive_tracks *t, const struct archive_key *key,
                          struct archive_track **out)
{
    *out = NULL;
    for (size_t i = t->count; i-- > 0;) {
        if (same_key(&t->track[i].key, key)) {
            *out = &t->track[i];
            return ERR_OK;
        }
    }
    if (t->count == TRACKS_MAX) {
        t->full = true;
        return ERR_OK;
    }
    TRY(array_grow((void **)&t->track, &t->cap, t->count + 1, sizeof t->track[0], TRACKS_MAX));
    t->track[t->count] = (struct archive_track){.key = *key};
    *out = &t->track[t->count++];
    return ERR_OK;
}

const struct archive_track *archive_track_find(const struct archive_tracks *t, int32_t cylinder,
                                               int32_t side)
{
    struct archive_key key = archive_place(cylinder, side);
    for (size_t i = 0; i < t->count; i++)
        if (same_key(&t->track[i].key, &key))
            return &t->track[i];
    return NULL;
}

static bool same_sector(const struct archive_sector *a, const struct archive_sector *b)
{
    return a->number == b->number && a->id_cylinder == b->id_cylinder &&
           a->id_side == b->id_side && a->size_code == b->size_code;
}

static enum err sector_at(struct archive_tracks *t, struct archive_track *track,
                          const struct archive_sector *like, struct archive_sector **out)
{
    *out = NULL;
    for (size_t i = 0; i < track->count; i++) {
        if (same_sector(&track->sector[i], like)) {
            *out = &track->sector[i];
            return ERR_OK;
        }
    }
    if (track->count == ARCHIVE_TRACK_SECTORS_MAX) {
        t->full = true;
        return ERR_OK;
    }
    TRY(array_grow((void **)&track->sector, &track->cap, track->count + 1,
                   sizeof track->sector[0], ARCHIVE_TRACK_SECTORS_MAX));
    *out = &track->sector[track->count++];
    archive_sector_begin(*out, like);
    return ERR_OK;
}

enum err archive_read(struct archive_tracks *t, struct archive_track *track,
                      const struct sector_read *read, int32_t pass)
{
    struct archive_sector like = {.number = read->sector,
                                  .id_cylinder = read->cylinder,
                                  .id_side = read->side,
                                  .size_code = read->size_code,
                                  .encoding = read->encoding};
    struct archive_sector *s = NULL;
    if (!read->id_good)
        return ERR_OK;
    TRY(sector_at(t, track, &like, &s));
    return s != NULL ? archive_sector_read(t, s, read, pass) : ERR_OK;
}

enum err archive_sector_merge(struct archive_tracks *t, struct archive_track *into,
                              const struct archive_sector *from)
{
    struct archive_sector *s = NULL;
    TRY(sector_at(t, into, from, &s));
    return s != NULL ? archive_sector_take(t, s, from) : ERR_OK;
}

enum err archive_track_merge(struct archive_tracks *t, struct archive_track *into,
                             const struct archive_track *from)
{
    into->turns += from->turns;
    if (into->code == ENC_NONE || from->code == ENC_MFM || from->code == ENC_FM)
        into->code = from->code;
    for (size_t i = 0; i < from->count; i++)
        TRY(archive_sector_merge(t, into, &from->sector[i]));
    return ERR_OK;
}

enum err archive_track_set(struct archive_tracks *t, const struct archive_track *track)
{
    struct archive_track *into = NULL;
    TRY(archive_track_at(t, &track->key, &into));
    if (into == NULL)
        return ERR_OK;
    archive_track_forget(t, into);
    into->turns = 0;
    return archive_track_merge(t, into, track);
}

void archive_track_forget(struct archive_tracks *t, struct archive_track *track)
{
    for (size_t i = 0; i < track->count; i++)
        archive_sector_release(t, &track->sector[i]);
    track->count = 0;
}

void archive_tracks_release(struct archive_tracks *t)
{
    for (size_t i = 0; i < t->count; i++) {
        archive_track_forget(t, &t->track[i]);
        free(t->track[i].sector);
    }
    free(t->track);
    *t = (struct archive_tracks){0};
}

enum err archive_pass_add(struct archive *a, const struct archive_pass *pass, int32_t *out)
{
    TRY(array_grow((void **)&a->pass, &a->pass_cap, a->pass_count + 1, sizeof a->pass[0],
                   ARCHIVE_PASSES_MAX));
    a->pass[a->pass_count] = *pass;
    *out = (int32_t)a->pass_count++;
    return ERR_OK;
}

enum err archive_warn(struct archive *a, const char *fmt, ...)
{
    char text[WARNING_BYTES];
    va_list ap;
    if (a->warning_count == WARNINGS_MAX)
        return ERR_OK;
    va_start(ap, fmt);
    (void)vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    for (size_t i = 0; i < a->warning_count; i++)
        if (strcmp(a->warning[i], text) == 0)
            return ERR_OK;
    TRY(array_grow((void **)&a->warning, &a->warning_cap, a->warning_count + 1,
                   sizeof a->warning[0], WARNINGS_MAX));
    char *copy = strdup(text);
    if (copy == NULL)
        return ERR_MEMORY;
    a->warning[a->warning_count++] = copy;
    return ERR_OK;
}

void archive_release(struct archive *a)
{
    archive_tracks_release(&a->tracks);
    for (size_t i = 0; i < a->warning_count; i++)
        free(a->warning[i]);
    archive_object_release(&a->object);
    free(a->warning);
    free(a->pass);
    *a = (struct archive){0};
}
