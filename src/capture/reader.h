/* Between capture.c and the readers of each format: the chunk being built, and what a reader
 * is. */
#ifndef WHICHEND_CAPTURE_READER_H
#define WHICHEND_CAPTURE_READER_H

#include "capture/capture.h"
#include "capture/window.h"

#define CHUNK_RAILS_MAX 8192
/* A reader ends a chunk when less than this is left, so that one word of input always finds
 * room. */
#define CHUNK_RESERVE 64
/* Offsets of a chunk have 56 bits. */
#define CHUNK_OFFSET_BITS 56

/* A chunk being built. Levels live on from chunk to chunk. */
struct build {
    packed_edge *edge; /* CHUNK_EDGES_MAX of them */
    size_t count;
    struct rail_sample *rail; /* CHUNK_RAILS_MAX of them */
    size_t rail_count;
    int64_t base; /* tick that the offsets count from */
    int64_t now;  /* tick in force */
    bool last;
    bool cut_short; /* the input ended before its own end mark */
    uint8_t level[LINE_COUNT];
    int32_t millivolt[RAIL_COUNT];
    bool rail_known[RAIL_COUNT];
};

static inline bool build_full(const struct build *b)
{
    return b->count + CHUNK_RESERVE > CHUNK_EDGES_MAX ||
           b->rail_count + CHUNK_RESERVE > CHUNK_RAILS_MAX;
}

static inline bool build_empty(const struct build *b)
{
    return b->count == 0 && b->rail_count == 0;
}

/* Go on to `tick` (not before now). false where the chunk must end first, because the offset
 * would not fit. */
static inline bool build_advance(struct build *b, int64_t tick)
{
    if (((uint64_t)(tick - b->base) >> CHUNK_OFFSET_BITS) != 0) {
        if (!build_empty(b))
            return false;
        b->base = tick;
    }
    b->now = tick;
    return true;
}

/* A line takes a level now; nothing where it has it already. The chunk must not be full. */
static inline void build_edge(struct build *b, enum line line, enum level level)
{
    if (b->level[line] == (uint8_t)level)
        return;
    b->level[line] = (uint8_t)level;
    b->edge[b->count++] = edge_pack((uint64_t)(b->now - b->base), line, level);
}

/* A rail has a voltage now; nothing where it had it already. */
static inline void build_rail(struct build *b, enum rail rail, int32_t millivolt)
{
    if (b->rail_known[rail] && b->millivolt[rail] == millivolt)
        return;
    b->rail_known[rail] = true;
    b->millivolt[rail] = millivolt;
    b->rail[b->rail_count++] = (struct rail_sample){b->now, millivolt, rail};
}

/* One format. open reads the header through the window, fills in info and gives the reader's
 * own state; fill adds to the chunk until it is full or the input ends (then it sets last). A
 * fill that fails leaves what came before the damage in the chunk. */
struct reader {
    enum err (*open)(struct window *w, const struct line_map *map, struct capture_info *info,
                     void **state, struct err_msg *e);
    enum err (*fill)(void *state, struct build *b, struct err_msg *e);
    void (*close)(void *state); /* NULL allowed */
};

extern const struct reader VCD_READER;
extern const struct reader CSV_READER;
extern const struct reader WEC_READER;

#endif
