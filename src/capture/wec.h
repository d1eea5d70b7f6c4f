// clang-format off
/* The .wec container: layout, and what its reader and writer share.
 *
 * All numbers are little endian. A file is the magic (7 bytes), the version of the layout (1
 * byte, 1 here) and chunks. A chunk is a head of 40 bytes and a packed payload:
 *
 *    0  type           4 letters
 *    4  sequence       u32, 0 in the first chunk, one more in each that follows
 *    8  packed length  u32, bytes of the payload as they lie in the file
 *   12  plain length   u32, bytes of the payload after inflating (a zlib stream)
 *   16  first tick     i64
 *   24  last tick      i64, not before the first; a chunk does not begin before the last tick
 *                      of the one before
 *   32  payload check  u32, CRC-32 (zlib) of the packed payload
 *   36  head check     u32, CRC-32 of bytes 0 to 35
 *
 * "HEAD" comes first, "END " last (no payload; its last tick is the end of the capture), "EDGE"
 * between them; chunks of any other type are skipped. A file without "END " was cut short and
 * is read up to its last whole chunk.
 *
 * HEAD is text, a key, a space and a value a line; keys that are not known are skipped:
 *
 *   tick NUM/DEN (femtoseconds) | lines NAME... | rails NAME... | role WORD | tap WORD |
 *   sample-fs N | detail TEXT
 *
 * The lines and then the rails, in their order, are the channels 0, 1, ...
 *
 * EDGE is a count of groups and as many groups. A varint has 7 bits a byte, low ones first; the
 * top bit says that more follow.
 *
 *   line:  channel u8, form u8, count varint, levels, deltas
 *          form 0 or 1: that is the first level and each edge turns it over (no levels are
 *          listed); form 2: one byte an edge, 0 low, 1 high, 2 not recorded
 *          deltas: ticks since the edge before (the first: since the chunk's first tick). First
 *          all of the 1st, 3rd, 5th... edge, then those of the 2nd, 4th...: pulse widths and
 *          gaps, which differ. Of each series first the low byte of every varint, then the
 *          second byte of those that have one, and so on: jitter sits in the low bytes, and
 *          deflate does better with like beside like.
 *   rail:  channel u8, 0 u8, count varint, and for each sample: ticks since the one before
 *          varint, millivolts as a varint of 2n, or of -2n-1 where n is negative
 */
// clang-format on
#ifndef WHICHEND_CAPTURE_WEC_H
#define WHICHEND_CAPTURE_WEC_H

#include "base/buf.h"
#include "capture/names.h"
#include "capture/reader.h"

#define WEC_MAGIC       "\x8aWEC\r\n\x1a"
#define WEC_MAGIC_BYTES 7u
#define WEC_VERSION     1
#define WEC_FRAME_BYTES 40u
/* An EDGE chunk at its fullest (65536 edges of 9 + 1 bytes, 8192 samples of 9 + 5) is smaller.
 */
#define WEC_PLAIN_MAX  (1u << 20)
#define WEC_PLAIN_PAD  1u /* bytes behind a payload that are there to be looked at */
#define WEC_PACKED_MAX (WEC_PLAIN_MAX + (64u << 10))
/* Chunks of other types: read past, never held. */
#define WEC_SKIP_MAX      (1u << 30)
#define WEC_HEAD_TEXT_MAX (16u << 10)

struct wec_frame {
    char type[4];
    uint32_t sequence;
    uint32_t packed_len;
    uint32_t plain_len;
    int64_t first_tick;
    int64_t last_tick;
    uint32_t payload_crc;
};

bool wec_is_magic(const uint8_t *p, size_t len);

/* The frame's bytes with their check; false where the check fails. */
void wec_frame_put(const struct wec_frame *f, uint8_t out[WEC_FRAME_BYTES]);
bool wec_frame_get(const uint8_t in[WEC_FRAME_BYTES], struct wec_frame *f);

/* What the channels of a file are. */
struct wec_channels {
    enum line line[LINE_COUNT];
    size_t lines;
    enum rail rail[RAIL_COUNT];
    size_t rails;
};

void wec_channels_of(const struct capture_info *info, struct wec_channels *c);

/* HEAD as text. get: *why says what is wrong with it where the result is ERR_FORMAT. */
enum err wec_head_put(const struct capture_info *info, struct buf *out);
enum err wec_head_get(const char *text, size_t len, struct capture_info *info,
                      struct wec_channels *c, const char **why);

/* Edges and rail samples of one chunk, in order of time; edges offset from `first`. */
struct wec_batch {
    int64_t first;
    int64_t last;
    packed_edge *edge;
    size_t count;
    struct rail_sample *rail;
    size_t rail_count;
};

/* Room for one chunk's deltas while they are packed or unpacked. */
struct wec_scratch {
    uint64_t delta[CHUNK_EDGES_MAX];
    uint8_t level[CHUNK_EDGES_MAX];
};

/* EDGE payload of a batch into out (WEC_PLAIN_MAX bytes); returns its length. */
size_t wec_pack(const struct wec_batch *batch, const struct wec_channels *c,
                struct wec_scratch *scratch, uint8_t *out);

/* EDGE payload, WEC_PLAIN_PAD bytes of room behind it, to a chunk. Channel k is target[k], NULL
 * where nobody wants it. false where the payload contradicts itself or its frame; the chunk
 * then holds nothing of it. */
bool wec_unpack(const uint8_t *plain, size_t len, const struct wec_frame *f,
                const struct wec_channels *c,
                const struct name_target *const target[NAME_TARGETS_MAX],
                struct wec_scratch *scratch, struct build *b);

#endif
