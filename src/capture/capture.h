/* A capture: edges of lines, and supply rails, on one clock, read as a stream of chunks.
 *
 * Nothing here ever needs all edges at once. An edge takes 8 bytes. Times are ticks of the
 * capture's own clock; the first chunk may begin with the state of the lines at the start.
 */
#ifndef WHICHEND_CAPTURE_CAPTURE_H
#define WHICHEND_CAPTURE_CAPTURE_H

#include "base/err.h"
#include "base/line.h"
#include "base/units.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define CHUNK_EDGES_MAX 65536

/* One edge, packed: tick offset from the chunk's base (bits 8..63), line (bits 2..7), new level
 * (0..1). Level LEVEL_UNKNOWN: not recorded from here on. A repeated level is never delivered.
 * Several edges of one line at one tick are delivered in their order: a file whose ticks are
 * coarser than its pulses holds them. */
typedef uint64_t packed_edge;

/* A voltage that holds until the next sample of that rail; a repeated one is never delivered.
 */
struct rail_sample {
    int64_t tick;
    int32_t millivolt;
    enum rail rail;
};

struct chunk {
    int64_t base_tick;
    const packed_edge *edge; /* borrowed until the next capture_next or capture_close */
    size_t count;
    const struct rail_sample *rail; /* borrowed likewise, rising in time */
    size_t rail_count;
    int64_t end_tick; /* the stream is known up to here */
    bool last;        /* no more chunks; end_tick is the end of the capture */
};

static inline int64_t edge_tick(const struct chunk *c, size_t i)
{
    return c->base_tick + (int64_t)(c->edge[i] >> 8);
}
static inline enum line edge_line(packed_edge e)
{
    return (enum line)((e >> 2) & 63u);
}
static inline enum level edge_level(packed_edge e)
{
    return (enum level)(e & 3u);
}
static inline packed_edge edge_pack(uint64_t offset, enum line line, enum level level)
{
    return offset << 8 | (packed_edge)line << 2 | (packed_edge)level;
}

enum capture_format { CAPTURE_WEC, CAPTURE_VCD, CAPTURE_CSV };

/* Names in a file mapped by hand: "RDATA=D3" or "RDATA=D3:high". */
struct line_map_entry {
    enum line line; /* LINE_NONE where rail is set */
    enum rail rail;
    char *name;       /* variable, or scope.name with any number of scopes; yours through
                         line_map_release */
    bool active_high; /* 1 in the file is active: levels are turned over on reading */
    int place;        /* line in the case file, for messages; 0: command line */
};
struct line_map {
    struct line_map_entry *entry;
    size_t count;
    const char *from; /* file name for messages, or NULL for the command line; borrowed */
};

/* Add "RDATA" = "D3:high". ERR_FORMAT (a case) or ERR_USAGE (from NULL) for an unknown line or
 * a line mapped twice. */
enum err line_map_add(struct line_map *m, const char *line, const char *spec, int place,
                      struct err_msg *e);
void line_map_release(struct line_map *m);

struct capture_info {
    enum capture_format format;
    struct tick tick;
    line_set lines; /* lines that the file names */
    unsigned rails; /* bit per enum rail */
    size_t ignored; /* variables or columns that are neither */
    char role[16];  /* .wec: as recorded; "" where the file does not say */
    char tap[16];   /* "machine-end", "drive-end" or "" */
    bool cut_short; /* .wec: the file ended before its last chunk; known after the last chunk */
    int64_t sample_fs; /* sampling interval where the file says it, else 0 */
    char detail[160];  /* one line on where it came from, may be "" */
};

struct capture;

/* Open by content (gzip, .wec, VCD, CSV). map may be NULL; it is read during this call only.
 * ERR_NO_INPUT, ERR_FORMAT ("path:line: reason"; a capture that names no line says which names
 * it has and how to map them; two variables for one line), ERR_USAGE for a --line that names
 * nothing in the file (ERR_FORMAT where the map came from a case). */
enum err capture_open(const char *path, const struct line_map *map, struct capture **out,
                      struct err_msg *e);
/* From memory, for tests and fuzzing; bytes are borrowed until capture_close. */
enum err capture_open_memory(const char *name, const void *data, size_t len,
                             const struct line_map *map, struct capture **out,
                             struct err_msg *e);
/* Valid until close; lines, rails and ignored are final after open. */
const struct capture_info *capture_info(const struct capture *c);
/* The next chunk. Not to be called again after one with `last`. A damaged file gives ERR_FORMAT
 * with its place, after the chunks before the damage were delivered. */
enum err capture_next(struct capture *c, struct chunk *out, struct err_msg *e);
void capture_close(struct capture *c); /* NULL allowed */

/* Share of the input consumed, 0..1, for progress. */
double capture_progress(const struct capture *c);

/* Writing. A path that ends in .gz is deflated (VCD and CSV); bytes depend on the input alone.
 */
struct capture_writer;

/* info: tick, lines, rails, role, tap, sample_fs, detail are used. ERR_CREATE. */
enum err capture_writer_open(const char *path, enum capture_format format,
                             const struct capture_info *info, bool replace,
                             struct capture_writer **out, struct err_msg *e);
/* Times must not run backwards over edges and rails together: ERR_INTERNAL. */
enum err capture_writer_edge(struct capture_writer *w, int64_t tick, enum line line,
                             enum level level, struct err_msg *e);
enum err capture_writer_rail(struct capture_writer *w, int64_t tick, enum rail rail,
                             int32_t millivolt, struct err_msg *e);
/* For a recording that may end at any moment (.wec alone, else ERR_INTERNAL): the file appears
 * under its own name with the first call, and what was written so far can be read from it
 * whatever happens. After it abort leaves the file there, cut short. */
enum err capture_writer_flush(struct capture_writer *w, struct err_msg *e);
/* Write the end time and make the file appear. Frees w, also on failure. */
enum err capture_writer_finish(struct capture_writer *w, int64_t end_tick, struct err_msg *e);
void capture_writer_abort(struct capture_writer *w); /* NULL allowed; frees w */

/* Copy the rest of a stream and finish `out`, which is freed, also on failure (import, export).
 */
enum err capture_copy(struct capture *in, struct capture_writer *out, struct err_msg *e);

#endif
