/* Writing a track: what must hold is looked at first, and what came of it last. */
#include "adapter/items.h"
#include "adapter/session_private.h"
#include "adapter/wire.h"

#include <string.h>

#define SHORT_OF_US   200 /* a gate that shuts so much earlier than asked has not written all */
#define BLOCKS_A_TIME 8
#define ENDS_MS       3000 /* INDEX awaited, a turn, and some */
#define STEADY_PART   50   /* two turns in a row are alike within a fiftieth */

static enum err may_not(const char *why, struct err_msg *e)
{
    return err_set(e, ERR_USAGE, "nothing is written: %s", why);
}

static enum err permitted(const struct write_permit *p, struct err_msg *e)
{
    size_t len = p->disk != NULL ? strlen(p->disk) : 0;
    if (!p->scratch)
        return may_not("the disk is not named scratch", e);
    if (len == 0 || len > ARM_NAME_MAX)
        return may_not("the scratch disk has no name of 1 to 32 bytes", e);
    bool recorded = p->recorded || p->cylinder >= 0;
    if (recorded && (p->typed == NULL || strcmp(p->typed, p->disk) != 0))
        return may_not("the disk holds data, and its name was not typed back as shown", e);
    if (!p->wprot_trusted)
        return may_not("the write-protect sensor is a suspect, and nothing else protects", e);
    if (!p->medium_fits)
        return may_not("density and medium do not agree", e);
    if (p->turn_low_us == 0 || p->turn_high_us < p->turn_low_us)
        return may_not("there are no limits for the speed", e);
    return ERR_OK;
}

static enum err is_not(struct session *s, const char *why, struct err_msg *e)
{
    return err_set(e, ERR_ADAPTER, "%s: nothing is written: %s", s->link.name, why);
}

static uint64_t turn_us(const struct session *s, unsigned i)
{
    return (s->index_at[i + 1] - s->index_at[i]) * 1000000u / s->caps.tick_hz;
}

/* Two turns from now, at speed and alike: two spindles on one select would give pulses of both.
 */
static enum err turns_well(struct session *s, const struct write_permit *p, struct err_msg *e)
{
    int64_t until =
        s->link.ops->now_ms(s->link.state) + 4 * ((int64_t)p->turn_high_us / 1000 + 1);
    if (!s->streaming)
        return is_not(s, "no stream tells of the index", e);
    s->index_falls = 0;
    while (s->index_falls < 3) {
        if (s->link.ops->now_ms(s->link.state) >= until)
            return is_not(s, "the index does not come round twice", e);
        TRY(session_read(s, 10, e));
    }
    uint64_t a = turn_us(s, 0);
    uint64_t b = turn_us(s, 1);
    uint64_t apart = a > b ? a - b : b - a;
    if (a < p->turn_low_us || a > p->turn_high_us || b < p->turn_low_us ||
        b > p->turn_high_us || apart > b / STEADY_PART)
        return is_not(s, "the speed is out of limits, or two units answer", e);
    return ERR_OK;
}

static enum err rails_well(struct session *s, const struct write_permit *p,
                           const struct adapter_status *st, struct err_msg *e)
{
    for (unsigned i = 0; i < WIRE_RAILS; i++) {
        bool metered = (s->caps.rails & WIRE_BIT(i)) != 0 && st->rail_mv[i] != WIRE_NO_METER;
        if (p->high_mv[i] == 0 || !metered)
            continue;
        if (st->rail_mv[i] < p->low_mv[i] || st->rail_mv[i] > p->high_mv[i])
            return err_set(e, ERR_ADAPTER, "%s: nothing is written: %s is at %.2f V",
                           s->link.name, rail_name((enum rail)i),
                           (double)st->rail_mv[i] * 1e-3);
    }
    return ERR_OK;
}

static enum err stands_well(struct session *s, const struct write_permit *p, struct err_msg *e)
{
    struct adapter_status st;
    TRY(session_status(s, &st, e));
    TRY(rails_well(s, p, &st, e));
    uint32_t selects = ~st.levels & WIRE_SELECTS;
    if (!(st.levels & WIRE_BIT(WIRE_WPROT)))
        return is_not(s, "the disk is write protected", e);
    if (selects == 0 || (selects & (selects - 1)) != 0)
        return is_not(s, "not exactly one unit is selected", e);
    if (st.cylinder < 0)
        return is_not(s, "nobody knows where the head is", e);
    if (p->cylinder >= 0 && p->cylinder != st.cylinder)
        return err_set(
            e, ERR_ADAPTER,
            "%s: nothing is written: the head is at cylinder %d by its steps, and the "
            "identifiers under it say %d",
            s->link.name, st.cylinder, p->cylinder);
    if (p->low_current && !(st.driven & WIRE_BIT(WIRE_LOWCUR)))
        return is_not(s, "this track wants low write current, and LOWCUR is not active", e);
    return ERR_OK;
}

/* ---- pulses to blocks ---- */

struct source {
    const uint32_t *delta;
    size_t pulses, at;
    uint32_t sequence;
};

static size_t next_block(struct source *f, uint8_t *out)
{
    size_t items = 0;
    while (f->at < f->pulses && items + ITEM_BYTES_MAX <= BLOCK_ITEMS_MAX)
        items += item_put_fall(out + PROTO_BLOCK_HEAD + items, f->delta[f->at++]);
    return block_close(out, items, f->sequence++);
}

/* As many blocks as the adapter has room for. */
static enum err feed(struct session *s, struct source *f, const struct adapter_status *st,
                     struct err_msg *e)
{
    uint8_t blocks[BLOCKS_A_TIME * PROTO_FRAME_MAX];
    size_t room = st->play_free;
    while (f->at < f->pulses && room >= PROTO_FRAME_MAX) {
        size_t len = 0;
        for (int i = 0; i < BLOCKS_A_TIME && f->at < f->pulses && room >= len + PROTO_FRAME_MAX;
             i++)
            len += next_block(f, blocks + len);
        TRY(session_block(s, blocks, len, e));
        room -= len;
    }
    return ERR_OK;
}

/* Until the gate is shut again, or never opened. */
static enum err until_over(struct session *s, struct source *f, struct err_msg *e)
{
    struct adapter_status st;
    int64_t until = s->link.ops->now_ms(s->link.state) + ENDS_MS;
    do {
        TRY(session_status(s, &st, e));
        if (st.role == WIRE_ROLE_NONE)
            return err_set(e, ERR_ADAPTER, "%s: the adapter released all outputs: %s",
                           s->link.name, release_text(st.released));
        if (st.flags & STATF_WRITING)
            TRY(feed(s, f, &st, e));
        TRY(session_read(s, 2, e));
    } while ((st.flags & STATF_WRITING) != 0 && s->link.ops->now_ms(s->link.state) < until);
    for (int i = 0; i < 50 && !s->written; i++)
        TRY(session_read(s, 10, e));
    if (s->written && s->written_us == 0)
        return err_set(e, ERR_ADAPTER, "%s: nothing was written: %s", s->link.name,
                       refusal_text(st.refusal));
    return s->written ? ERR_OK
                      : err_set(e, ERR_ADAPTER, "%s: the adapter does not say what was written",
                                s->link.name);
}

static enum err gate(struct session *s, const struct write_permit *p, struct source *f,
                     uint32_t gate_us, struct err_msg *e)
{
    struct adapter_status st;
    uint8_t us[4];
    uint32_t underruns = s->underruns;
    s->written = false;
    s->written_us = 0;
    TRY(session_arm(s, p->disk, e));
    TRY(session_status(s, &st, e));
    TRY(feed(s, f, &st, e));
    put_u32(us, gate_us);
    TRY(session_tell(s, REQ_WRITE, 1, us, sizeof us, "writing", e));
    TRY(until_over(s, f, e));
    if (s->underruns != underruns || s->written_us + SHORT_OF_US < gate_us)
        return err_set(e, ERR_ADAPTER,
                       "%s: the write gate was active for %u us, not %u: the track is spoilt",
                       s->link.name, s->written_us, gate_us);
    return ERR_OK;
}

enum err session_write(struct session *s, const struct write_permit *permit,
                       const uint32_t *delta, size_t pulses, struct err_msg *e)
{
    struct err_msg late = {0};
    struct source f = {.delta = delta, .pulses = pulses};
    uint64_t ticks = 0;
    for (size_t i = 0; i < pulses; i++)
        ticks += delta[i];
    uint64_t us = ticks * 1000000u / s->caps.tick_hz + SHORT_OF_US / 2;
    if (pulses == 0 || us > UINT32_MAX / 2)
        return may_not("there are no pulses, or far too many", e);
    TRY(permitted(permit, e));
    TRY(turns_well(s, permit, e));
    TRY(stands_well(s, permit, e));
    enum err err = gate(s, permit, &f, (uint32_t)us, e);
    if (!s->gone)
        (void)session_tell(s, REQ_DISARM, 0, NULL, 0, "disarming", &late);
    if (err == ERR_OK)
        err = session_wait(s, (int)(s->erase_us / 1000) + 2, e);
    return err;
}
