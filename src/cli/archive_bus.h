/* The drive under the adapter, as archive works it: seeks, and tracks read and decoded as they
 * come.
 */
#ifndef WHICHEND_CLI_ARCHIVE_BUS_H
#define WHICHEND_CLI_ARCHIVE_BUS_H

#include "adapter/recorder.h"
#include "archive/archive.h"
#include "cli/adapter_use.h"

/* Flux of the track at hand, a stretch without a break. */
struct archive_flux {
    bool on;
    uint64_t from; /* device tick from which it counts */
    bool begun;
    uint64_t first, last; /* transitions, device ticks */
    uint32_t *interval;   /* ps */
    size_t count, cap;
};

/* What one reading of a track gave. */
struct archive_seen {
    int32_t good, failed; /* data fields */
    int32_t ids;
    int32_t id_cylinder;     /* that most identifiers name; -1 none */
    enum encoding code;      /* of its longest stretch */
    double margin, margin_u; /* percent, of the same */
    size_t transitions;      /* of the same */
};

struct archive_bus {
    struct adapter_use *u;
    struct recorder recorder; /* in use where `recording` */
    struct frame_sink to;
    bool recording;
    int at; /* cylinder under the head; -1 not known */
    uint8_t level[LINE_COUNT];
    uint64_t falls;  /* of INDEX */
    bool write_gate; /* WGATE was seen active */
    struct archive_flux flux;
    /* of the reading at hand */
    struct archive_tracks *into;
    struct archive_track *track;
    int32_t pass;
    struct archive_seen *seen;
    int32_t votes[256];
    struct progress *progress;
    double share;
};

/* Role, limits and two seconds of listening; the stream goes nowhere but here. */
enum err archive_bus_begin(struct archive_bus *b, struct err_msg *e);
/* From here on, or no longer, the stream goes to a capture file too. */
enum err archive_bus_record(struct archive_bus *b, const char *path, bool replace,
                            struct err_msg *e);
/* Unit selected, motor on, up to speed, head at track 0. */
enum err archive_bus_start(struct archive_bus *b, struct err_msg *e);
/* Motor off, nothing selected. */
enum err archive_bus_rest(struct archive_bus *b, struct err_msg *e);
/* Everything released, the stream ended, also after a failure; the capture file, if there is
 * one, is whole, with *seconds in it. An error is the file's. */
enum err archive_bus_end(struct archive_bus *b, double *seconds, struct err_msg *e);

enum err archive_bus_restore(struct archive_bus *b, struct err_msg *e);
/* slow: twice the time from step to step. */
enum err archive_bus_seek(struct archive_bus *b, int cylinder, bool slow, struct err_msg *e);
/* So many whole turns of a track into a store; the head stands there. ERR_INTERRUPTED,
 * ERR_ADAPTER also where WGATE becomes active. */
enum err archive_bus_read(struct archive_bus *b, int cylinder, int side, int turn_count,
                          struct archive_tracks *into, int32_t pass, struct archive_seen *out,
                          struct err_msg *e);

#endif
