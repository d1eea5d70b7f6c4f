/* Sectors of one disk, merged from any number of passes, drives and days, with a record of
 * where each came from.
 *
 * What a sector counts as follows from all its turns: see archive_sector_state(). A sector lies
 * under the track at which the head stood, whatever its identifier says.
 */
#ifndef WHICHEND_ARCHIVE_ARCHIVE_H
#define WHICHEND_ARCHIVE_ARCHIVE_H

#include "archive/object.h"
#include "base/err.h"
#include "signal/repair.h"
#include "signal/signal.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define ARCHIVE_CYLINDERS_MAX     256
#define ARCHIVE_PASSES_MAX        1000
#define ARCHIVE_TRACK_SECTORS_MAX 128

/* One turn that a sector was read in. */
struct archive_turn {
    int32_t pass; /* index; -1: none */
    int32_t turn; /* the how manieth reading of this sector in that pass, from 1 */
    int64_t ns;   /* of its identifier, in that pass's recording */
};

enum archive_content {
    CONTENT_NONE,
    CONTENT_AS_READ,  /* of the turn that lay best; its check bytes did not agree */
    CONTENT_REPAIRED, /* put together from turns */
    CONTENT_AGREED,   /* the check bytes of a turn alone agreed */
};

struct archive_sector {
    uint8_t number, id_cylinder, id_side, size_code;
    uint8_t mark; /* data mark byte, 0 none; F8: deleted */
    enum encoding encoding;
    enum archive_content content;
    uint8_t *bytes;       /* 128 << size_code; NULL where content is CONTENT_NONE */
    int32_t seen;         /* turns in which its identifier was read */
    int32_t agreed;       /* turns whose check bytes agreed, with these bytes */
    int32_t failed;       /* turns whose data field did not agree */
    int32_t contradicted; /* turns that agreed with other bytes */
    uint32_t forced;      /* of the agreeing turn that was surest: sector_read.forced */
    struct archive_turn first, second; /* of the turns that gave these bytes */
    struct archive_turn last;
    int32_t changed; /* cells that repair changed */
    double odds_false;
    uint8_t *rival; /* the other bytes */
    struct archive_turn rival_first;
    struct field_sum sum; /* while no turn agreed */
};

enum field_state archive_sector_state(const struct archive_sector *s);
/* Two different turns gave the same bytes. */
bool archive_sector_sure(const struct archive_sector *s);
/* Why a sector whose check bytes agreed does not count as good; "" else. */
const char *archive_sector_doubt(const struct archive_sector *s);

size_t archive_sector_bytes(const struct archive_sector *s);

/* Where in the track store a sector lies: cylinder and side, or a spot not yet resolved. */
struct archive_key {
    int32_t at[4];
};

struct archive_track {
    struct archive_key key;
    double turns;       /* read there, as far as known */
    enum encoding code; /* of the flux there; ENC_NONE: none was read */
    struct archive_sector *sector;
    size_t count, cap;
};

struct archive_tracks {
    struct archive_track *track;
    size_t count, cap;
    size_t bytes;     /* of all contents */
    size_t sum_bytes; /* of all field sums */
    bool full;        /* more than can be kept */
};

/* The track of a key, made if need be; NULL with `full` set past the ceiling. */
enum err archive_track_at(struct archive_tracks *t, const struct archive_key *key,
                          struct archive_track **out);
const struct archive_track *archive_track_find(const struct archive_tracks *t, int32_t cylinder,
                                               int32_t side);
struct archive_key archive_place(int32_t cylinder, int32_t side);
/* One identifier as it was read once. Only those whose check bytes agree count. */
enum err archive_read(struct archive_tracks *t, struct archive_track *track,
                      const struct sector_read *read, int32_t pass);
/* All that is known of a track into another, which may hold the same sectors. */
enum err archive_track_merge(struct archive_tracks *t, struct archive_track *into,
                             const struct archive_track *from);
/* Put one sector into a track, as archive_track_merge does; copied. */
enum err archive_sector_merge(struct archive_tracks *t, struct archive_track *into,
                              const struct archive_sector *from);
/* A whole track, in place of what is known of it; copied. */
enum err archive_track_set(struct archive_tracks *t, const struct archive_track *track);
/* Nothing that was read there counts any more. */
void archive_track_forget(struct archive_tracks *t, struct archive_track *track);
void archive_tracks_release(struct archive_tracks *t);

/* One recording that sectors came from. */
#define ARCHIVE_TEXT_MAX 200
struct archive_pass {
    char file[ARCHIVE_TEXT_MAX];     /* name as given */
    char from[16];                   /* "capture" or "adapter" */
    char affirmed[ARCHIVE_TEXT_MAX]; /* adapter: what the person said of drive and disk */
    char checked[ARCHIVE_TEXT_MAX];  /* adapter: what was seen of them */
    char risk[ARCHIVE_TEXT_MAX];     /* why it went on without; "" where it did not */
    char utc[24];                    /* when it was taken in, 2001-02-03T04:05:06Z */
    char detail[ARCHIVE_TEXT_MAX];
    int32_t planned_first, planned_last; /* adapter: cylinders that were to be read */
    uint8_t planned_sides;               /* bit a side; 0: nothing was planned */
    double seconds;
    uint64_t print; /* of the times of its identifiers: the same recording again has the same */
};

struct archive {
    struct archive_tracks tracks;
    struct archive_pass *pass;
    size_t pass_count, pass_cap;
    struct archive_object object;
    char **warning;
    size_t warning_count, warning_cap;
};

/* A new pass; its index. ERR_MEMORY past the ceiling. */
enum err archive_pass_add(struct archive *a, const struct archive_pass *pass, int32_t *out);
enum err archive_warn(struct archive *a, const char *fmt, ...) PRINTF_LIKE(2, 3);
void archive_release(struct archive *a);

#endif
