/* Data fields that no turn gives whole: the cells of several turns put together, and the
 * likeliest sequence under the code's rules held against the check bytes.
 *
 * A cell's quality is the log of how much likelier a transition in it is than none, from the
 * transition's distance to the middle of its cell. Qualities of several turns, aligned on the
 * field's mark, add up. What comes out so is FIELD_REPAIRED, never FIELD_GOOD: sixteen check
 * bits agree by chance in one try of 65536, so that tries are few, and counted.
 */
#ifndef WHICHEND_SIGNAL_REPAIR_H
#define WHICHEND_SIGNAL_REPAIR_H

#include "signal/signal.h"

/* How often the check bytes of one field are asked at most, over all turns. */
#define REPAIR_TRIES_MAX 40

/* One field over the turns read so far; zero it to begin. */
struct field_sum {
    int8_t *quality;  /* of each cell, summed over turns up to a ceiling; yours, see release */
    uint8_t *surest;  /* cells of the surest turn alone, one bit each */
    size_t cells;     /* of both */
    int64_t sureness; /* of that turn */
    int32_t turns;
    int32_t tries; /* check bytes asked so far */
    enum encoding encoding;
    uint8_t size_code, mark;
};

/* One more turn: s->quality of a damaged field. Nothing happens where there is none, or where
 * code, length or mark differ from those of the turns before. ERR_MEMORY. */
enum err field_sum_add(struct field_sum *f, const struct sector_read *s);

struct field_repair {
    bool agreed;       /* some sequence's check bytes agreed; only then the rest holds */
    int32_t turns;     /* put together */
    int32_t changed;   /* cells that differ from those of the surest turn alone */
    int32_t tries;     /* check bytes asked until they agreed, turns before included */
    double odds_false; /* that so many tries agree by chance: 2^-16 a try */
    uint8_t mark;
};

/* Ask the check bytes for the likeliest sequence and a few that are nearly as likely. Called
 * after every turn; most calls after the first few do nothing, so that REPAIR_TRIES_MAX is
 * kept. bytes: room for 128 << size_code, or NULL. ERR_MEMORY. */
enum err field_sum_repair(struct field_sum *f, uint8_t *bytes, struct field_repair *out);

/* Memory held, in bytes. */
size_t field_sum_size(const struct field_sum *f);
void field_sum_release(struct field_sum *f);

#endif
