#include "adapter/session.h"

#include "adapter/session_private.h"
#include "adapter/wire.h"

#include <string.h>

#define ALIVE_MS     100  /* well within any watchdog */
#define SILENCE_MS   3000 /* a stream sends something every PROTO_HEARTBEAT_MS */
#define STOP_MS      2000 /* without anything new */
#define STOP_MOST_MS 30000
#define STEP_WAIT_MS 12000
#define BLOCK_MS     250 /* bulk OUT waits: less than the watchdog */
#define TROUBLES_MAX 100 /* of the stream; a link that has more is no link */

static enum err was_released(struct session *s, enum release why, struct err_msg *e)
{
    return err_set(e, ERR_ADAPTER, "%s: the adapter released all outputs: %s", s->link.name,
                   release_text(why));
}

/* Not by session_status: an adapter that refuses this too must not be asked why for ever. */
static bool why_refused(struct session *s, struct adapter_status *st)
{
    uint8_t reply[CAP_READ_MAX];
    size_t got = 0;
    struct err_msg ignored = {0};
    return s->link.ops->control_in(s->link.state, REQ_STATUS, 0, reply, sizeof reply, &got,
                                   &ignored) == LINK_OK &&
           status_read(reply, got, st, &ignored) == ERR_OK;
}

/* Any result but LINK_OK, as an error. A refusal is looked up. */
static enum err failed(struct session *s, enum link_result r, const char *what,
                       const struct err_msg *why, struct err_msg *e)
{
    if (r == LINK_REFUSED) {
        struct adapter_status st = {.role = WIRE_ROLE_NONE};
        bool known = why_refused(s, &st);
        if (known && st.refusal == REFUSE_ROLE && st.role == WIRE_ROLE_NONE)
            return was_released(s, st.released, e);
        if (known)
            return err_set(e, ERR_ADAPTER, "%s: %s refused: %s", s->link.name, what,
                           refusal_text(st.refusal));
    }
    if (r == LINK_GONE)
        s->gone = true;
    return err_set(e, ERR_ADAPTER, "%s: %s: %s", s->link.name, what,
                   why->text[0] != '\0' ? why->text : link_result_text(r));
}

static enum err ask(struct session *s, uint8_t request, uint8_t *reply, size_t room,
                    size_t *got, const char *what, struct err_msg *e)
{
    struct err_msg why = {0};
    if (s->gone)
        return err_set(e, ERR_ADAPTER, "%s: the adapter is gone", s->link.name);
    enum link_result r =
        s->link.ops->control_in(s->link.state, request, 0, reply, room, got, &why);
    return r == LINK_OK ? ERR_OK : failed(s, r, what, &why, e);
}

enum err session_tell(struct session *s, uint8_t request, uint16_t value, const uint8_t *data,
                      size_t len, const char *what, struct err_msg *e)
{
    struct err_msg why = {0};
    if (s->gone)
        return err_set(e, ERR_ADAPTER, "%s: the adapter is gone", s->link.name);
    enum link_result r =
        s->link.ops->control_out(s->link.state, request, value, data, len, &why);
    s->alive_ms = s->link.ops->now_ms(s->link.state);
    return r == LINK_OK ? ERR_OK : failed(s, r, what, &why, e);
}

enum err session_open(struct session *s, struct link *link, struct err_msg *e)
{
    uint8_t reply[CAP_READ_MAX];
    size_t got = 0;
    struct err_msg why = {0};
    *s = (struct session){.link = *link};
    *link = (struct link){0};
    enum err err = ask(s, REQ_IDENTIFY, reply, sizeof reply, &got, "capabilities", e);
    if (err == ERR_OK)
        err = caps_read(reply, got, &s->caps, &why);
    if (why.code != ERR_OK)
        err_set(e, err, "%s: %s", s->link.name, why.text);
    if (err == ERR_OK)
        err = session_release(s, e); /* whatever the last program left */
    if (err == ERR_OK)
        err = session_tell(s, REQ_STOP, 0, NULL, 0, "stop", e);
    if (err == ERR_OK) {
        /* Frames of a stream that a program left behind bear another number. */
        s->stream = (uint8_t)s->link.ops->now_ms(s->link.state);
        return ERR_OK;
    }
    link_close(&s->link);
    return err;
}

void session_close(struct session *s)
{
    struct err_msg ignored = {0};
    if (s->link.ops == NULL)
        return;
    if (!s->gone)
        (void)session_release(s, &ignored);
    if (s->streaming && !s->gone)
        (void)session_tell(s, REQ_STOP, 0, NULL, 0, "stop", &ignored);
    if (s->streaming)
        s->link.ops->stream_stop(s->link.state);
    link_close(&s->link);
}

struct tick session_tick(const struct session *s)
{
    int64_t a = FS_PER_S;
    int64_t b = s->caps.tick_hz;
    while (b != 0) {
        int64_t rest = a % b;
        a = b;
        b = rest;
    }
    return (struct tick){FS_PER_S / a, (int64_t)s->caps.tick_hz / a};
}

enum err session_status(struct session *s, struct adapter_status *out, struct err_msg *e)
{
    uint8_t reply[CAP_READ_MAX];
    size_t got = 0;
    TRY(ask(s, REQ_STATUS, reply, sizeof reply, &got, "status", e));
    return status_read(reply, got, out, e);
}

enum err session_role(struct session *s, enum wire_role role, unsigned unit, struct err_msg *e)
{
    if (!(s->caps.roles & (1u << role)))
        return err_set(e, ERR_ADAPTER, "%s: this adapter cannot take the role %s", s->link.name,
                       role_word(role));
    TRY(session_tell(s, REQ_ROLE, (uint16_t)((unsigned)role | unit << 8), NULL, 0, "the role",
                     e));
    s->released = false;
    return ERR_OK;
}

enum err session_limits(struct session *s, const struct adapter_limits *l, struct err_msg *e)
{
    uint8_t p[LIMITS_BYTES];
    s->erase_us = l->erase_us;
    put_u16(p + LIMITS_LAST_CYLINDER, l->last_cylinder);
    put_u32(p + LIMITS_STEP_US, l->step_us);
    put_u32(p + LIMITS_TURN_US, l->turn_us);
    put_u16(p + LIMITS_STEP_LOW_US, l->step_low_us);
    put_u32(p + LIMITS_SETTLE_US, l->settle_us);
    put_u32(p + LIMITS_ERASE_US, l->erase_us);
    put_u32(p + LIMITS_GATE_US, l->gate_us);
    return session_tell(s, REQ_LIMITS, 0, p, sizeof p, "limits", e);
}

enum err session_pull_ups(struct session *s, bool *on, struct err_msg *e)
{
    struct err_msg why = {0};
    *on = false;
    if (s->gone || !(s->caps.flags & CAPF_PULL_UPS))
        return ERR_OK;
    enum link_result r =
        s->link.ops->control_out(s->link.state, REQ_PULL_UPS, 1, NULL, 0, &why);
    *on = r == LINK_OK;
    return r == LINK_OK || r == LINK_REFUSED ? ERR_OK : failed(s, r, "pull-ups", &why, e);
}

enum err session_release(struct session *s, struct err_msg *e)
{
    return session_tell(s, REQ_RELEASE, 0, NULL, 0, "release", e);
}

/* ---- stream ---- */

/* The last two turns in a row. */
static void note_index(struct session *s, uint64_t tick, enum line line, enum level level)
{
    if (line != LINE_INDEX || (uint8_t)level == s->index_level)
        return;
    bool falls = level == LEVEL_LOW && s->index_level == LEVEL_HIGH;
    s->index_level = (uint8_t)level;
    if (!falls)
        return;
    s->index_at[0] = s->index_at[1];
    s->index_at[1] = s->index_at[2];
    s->index_at[2] = tick;
    s->index_falls++;
}

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct session *s = ctx;
    note_index(s, tick, line, level);
    return s->sink.edge != NULL ? s->sink.edge(s->sink.ctx, tick, line, level, e) : ERR_OK;
}

static enum err on_lost(void *ctx, const struct frame_loss *loss, struct err_msg *e)
{
    struct session *s = ctx;
    if (loss->lines & WIRE_BIT(WIRE_INDEX)) {
        s->index_level = LEVEL_UNKNOWN;
        s->index_falls = 0;
    }
    return s->sink.lost != NULL ? s->sink.lost(s->sink.ctx, loss, e) : ERR_OK;
}

static enum err on_rails(void *ctx, uint64_t tick, const int32_t mv[WIRE_RAILS],
                         struct err_msg *e)
{
    struct session *s = ctx;
    return s->sink.rails != NULL ? s->sink.rails(s->sink.ctx, tick, mv, e) : ERR_OK;
}

static void on_mark(void *ctx, uint64_t tick, enum mark kind, uint32_t value)
{
    struct session *s = ctx;
    if (kind == MARK_RELEASED && value != RELEASE_ASKED && value < RELEASES) {
        s->released = true;
        s->released_why = (enum release)value;
    }
    if (kind == MARK_UNDERRUN)
        s->underruns++;
    if (kind == MARK_WRITTEN) {
        s->written = true;
        s->written_us = value;
    }
    if (s->sink.mark != NULL)
        s->sink.mark(s->sink.ctx, tick, kind, value);
}

enum err session_start(struct session *s, uint32_t lines, const struct frame_sink *sink,
                       struct err_msg *e)
{
    uint8_t p[4];
    struct err_msg why = {0};
    s->sink = *sink;
    s->stream++;
    s->index_level = LEVEL_UNKNOWN;
    s->index_falls = 0;
    if (s->gone)
        return err_set(e, ERR_ADAPTER, "%s: the adapter is gone", s->link.name);
    const struct frame_sink own = {s, on_edge, on_lost, on_rails, on_mark};
    frame_begin(&s->frames, &own, s->stream, s->caps.pulse);
    enum link_result r = s->link.ops->stream_start(s->link.state, &why);
    if (r != LINK_OK)
        return failed(s, r, "the stream", &why, e);
    put_u32(p, lines & s->caps.lines_in);
    enum err err = session_tell(s, REQ_START, s->stream, p, sizeof p, "start", e);
    if (err != ERR_OK) {
        s->link.ops->stream_stop(s->link.state);
        return err;
    }
    s->streaming = true;
    s->progress_ms = s->link.ops->now_ms(s->link.state);
    s->progress_tick = 0;
    return ERR_OK;
}

static enum err sign_of_life(struct session *s, struct err_msg *e)
{
    if (s->link.ops->now_ms(s->link.state) - s->alive_ms < ALIVE_MS)
        return ERR_OK;
    return session_tell(s, REQ_ALIVE, 0, NULL, 0, "a sign of life", e);
}

static enum err silence(struct session *s, struct err_msg *e)
{
    int64_t now = s->link.ops->now_ms(s->link.state);
    if (s->frames.end != s->progress_tick || s->frames.ended) {
        s->progress_tick = s->frames.end;
        s->progress_ms = now;
    }
    if (now - s->progress_ms < SILENCE_MS)
        return ERR_OK;
    s->gone = true;
    return err_set(e, ERR_ADAPTER, "%s: the adapter has sent nothing new for %d ms",
                   s->link.name, SILENCE_MS);
}

enum err session_read(struct session *s, int timeout_ms, struct err_msg *e)
{
    const uint8_t *bytes = NULL;
    size_t len = 0;
    struct err_msg why = {0};
    TRY(sign_of_life(s, e));
    if (!s->streaming) {
        s->link.ops->pause(s->link.state, timeout_ms);
        return ERR_OK;
    }
    enum link_result r = s->link.ops->read(s->link.state, timeout_ms, &bytes, &len, &why);
    if (len > 0 && (r == LINK_OK || r == LINK_TIMEOUT))
        TRY(frame_feed(&s->frames, bytes, len, e));
    switch (r) {
    case LINK_OK:
    case LINK_TIMEOUT:
        return silence(s, e);
    case LINK_STALLED: /* cleared already; what is missing shows in the sequence */
    case LINK_BABBLE:
    case LINK_FAILED: /* and the link stands */
        if (++s->troubles <= TROUBLES_MAX)
            return silence(s, e);
        break;
    case LINK_REFUSED:
    case LINK_GONE:
        break;
    }
    return failed(s, r, "the stream", &why, e);
}

enum err session_wait(struct session *s, int ms, struct err_msg *e)
{
    int64_t until = s->link.ops->now_ms(s->link.state) + ms;
    for (;;) {
        int64_t left = until - s->link.ops->now_ms(s->link.state);
        if (left <= 0)
            return ERR_OK;
        TRY(session_read(s, left < 50 ? (int)left : 50, e));
    }
}

enum err session_stop(struct session *s, struct err_msg *e)
{
    if (!s->streaming)
        return ERR_OK;
    enum err err = session_tell(s, REQ_STOP, 0, NULL, 0, "stop", e);
    int64_t most = s->link.ops->now_ms(s->link.state) + STOP_MOST_MS;
    int64_t until = s->link.ops->now_ms(s->link.state) + STOP_MS;
    while (err == ERR_OK && !s->frames.ended && s->link.ops->now_ms(s->link.state) < until) {
        uint64_t end = s->frames.end;
        err = session_read(s, 20, e);
        if (s->frames.end != end) /* what had piled up is still coming */
            until = s->link.ops->now_ms(s->link.state) + STOP_MS;
        until = until < most ? until : most;
    }
    if (err == ERR_OK && !s->frames.ended)
        err = err_set(e, ERR_ADAPTER, "%s: the adapter did not bring its stream to an end",
                      s->link.name);
    s->link.ops->stream_stop(s->link.state);
    s->streaming = false;
    enum err late = frame_end(&s->frames, e); /* also of a stream that broke off */
    return err == ERR_OK ? late : err;
}

/* ---- outputs ---- */

enum err session_drive(struct session *s, uint32_t mask, uint32_t active, struct err_msg *e)
{
    uint8_t p[8];
    put_u32(p, mask);
    put_u32(p + 4, active);
    return session_tell(s, REQ_DRIVE, 0, p, sizeof p, "lines", e);
}

enum err session_step(struct session *s, bool outward, unsigned steps, int *cylinder,
                      struct err_msg *e)
{
    uint8_t p[2];
    struct adapter_status st = {.role = WIRE_ROLE_NONE};
    if (steps > UINT16_MAX)
        return err_set(e, ERR_INTERNAL, "too many steps");
    put_u16(p, steps);
    TRY(session_tell(s, REQ_STEP, outward, p, sizeof p, "steps", e));
    int64_t until = s->link.ops->now_ms(s->link.state) + STEP_WAIT_MS;
    do {
        TRY(session_read(s, 10, e));
        TRY(session_status(s, &st, e));
    } while ((st.flags & STATF_STEPPING) != 0 && s->link.ops->now_ms(s->link.state) < until);
    if (st.role == WIRE_ROLE_NONE)
        return was_released(s, st.released, e);
    if ((st.flags & STATF_STEPPING) != 0)
        return err_set(e, ERR_ADAPTER, "%s: the steps do not come to an end", s->link.name);
    *cylinder = st.cylinder;
    return ERR_OK;
}

enum err session_arm(struct session *s, const char *disk, struct err_msg *e)
{
    size_t len = strlen(disk);
    struct adapter_status st;
    uint8_t challenge[4];
    uint8_t p[4];
    if (len == 0 || len > ARM_NAME_MAX)
        return err_set(e, ERR_USAGE, "the scratch disk's name has 1 to %d bytes", ARM_NAME_MAX);
    TRY(session_tell(s, REQ_ARM_ONE, 0, (const uint8_t *)disk, len, "the first arming", e));
    TRY(session_status(s, &st, e));
    put_u32(challenge, st.challenge);
    uint32_t answer = wire_crc32(0, challenge, sizeof challenge);
    put_u32(p, wire_crc32(answer, (const uint8_t *)disk, len));
    return session_tell(s, REQ_ARM_TWO, 0, p, sizeof p, "the second arming", e);
}

enum err session_pin(struct session *s, unsigned plug, unsigned pin, bool low,
                     struct err_msg *e)
{
    uint8_t p = low;
    return session_tell(s, REQ_PIN, (uint16_t)(plug | pin << 8), &p, 1, "a pin", e);
}

enum err session_pin_levels(struct session *s, uint8_t out[PIN_LEVELS_BYTES], struct err_msg *e)
{
    size_t got = 0;
    TRY(ask(s, REQ_PIN_LEVELS, out, PIN_LEVELS_BYTES, &got, "the pins' levels", e));
    return got == PIN_LEVELS_BYTES
               ? ERR_OK
               : err_set(e, ERR_ADAPTER, "%s: the pins' levels are cut short", s->link.name);
}

enum err session_play(struct session *s, bool on, struct err_msg *e)
{
    return session_tell(s, REQ_PLAY, on, NULL, 0, "playing", e);
}

enum err session_block(struct session *s, const uint8_t *blocks, size_t len, struct err_msg *e)
{
    struct err_msg why = {0};
    if (s->gone)
        return err_set(e, ERR_ADAPTER, "%s: the adapter is gone", s->link.name);
    enum link_result r = s->link.ops->write(s->link.state, BLOCK_MS, blocks, len, &why);
    return r == LINK_OK ? ERR_OK : failed(s, r, "pulses to play", &why, e);
}
