/* Edges into frames, frames into a queue, the queue into bulk IN. What finds no room is counted
 * and told with its place. */
#include "adapter/device_private.h"

#define FLUSH_MS    10   /* an edge waits at most so long */
#define STATE_MS    1000 /* levels are told again, for a host that missed some */
#define RAILS_MS    100
#define QUEUE_AGAIN 4 /* after a loss, go on when a quarter of the queue is free */
#define WIDTH_MOST  0xffffu

static void open_frame(struct device *d, uint64_t first)
{
    frame_open(&d->stream.frame, first, (d->config->flags & CAPF_WIDTHS) != 0);
}

static uint32_t queue_free(const struct device *d)
{
    return d->config->queue_bytes - d->stream.queued;
}

static bool enqueue(struct device *d, const uint8_t *bytes, size_t len)
{
    struct device_stream *s = &d->stream;
    if (queue_free(d) < len)
        return false;
    uint32_t at = (s->head + s->queued) % d->config->queue_bytes;
    for (size_t i = 0; i < len; i++) {
        d->config->queue[at] = bytes[i];
        at = at + 1 == d->config->queue_bytes ? 0 : at + 1;
    }
    s->queued += (uint32_t)len;
    if (s->queued > s->peak)
        s->peak = s->queued;
    return true;
}

/* Close the frame at `end`; the next begins there. */
static void close_frame(struct device *d, uint64_t end, uint8_t flags)
{
    struct device_stream *s = &d->stream;
    uint8_t out[PROTO_FRAME_MAX];
    size_t len = frame_close(&s->frame, end, s->sequence, s->number, flags, out);
    if (enqueue(d, out, len)) {
        s->sequence++;
        s->end = end;
    } else {
        s->losing = true;
        s->lost += s->frame.items;
    }
    open_frame(d, end);
}

static void room(struct device *d, uint64_t tick)
{
    if (!frame_room(&d->stream.frame))
        close_frame(d, tick, 0);
}

static void put_line(struct device *d, uint64_t tick, unsigned line, bool high)
{
    room(d, tick);
    if (d->stream.losing)
        d->stream.lost++;
    else
        frame_line(&d->stream.frame, tick, line, high);
}

/* The pulse at hand is not over, but something else must be said first. */
static void split_pulse(struct device *d)
{
    if (!d->stream.low)
        return;
    d->stream.low = false;
    put_line(d, d->stream.fell_at, d->stream.low_line, false);
}

static void put_pulse(struct device *d, uint16_t width)
{
    struct device_stream *s = &d->stream;
    s->low = false;
    room(d, s->fell_at);
    if (s->losing) {
        s->lost++;
        return;
    }
    frame_pulses_of(&s->frame, s->low_line);
    frame_fall(&s->frame, s->fell_at, width);
}

/* Of RDATA or WDATA: a pulse is told as one, once it is over. */
static void pulse_edge(struct device *d, uint64_t tick, unsigned line, bool high)
{
    struct device_stream *s = &d->stream;
    if (!high) {
        split_pulse(d); /* of the other line */
        s->low = true;
        s->low_line = line;
        s->fell_at = tick;
    } else if (s->low && s->low_line == line && tick - s->fell_at <= WIDTH_MOST) {
        put_pulse(d, (uint16_t)(tick - s->fell_at));
    } else {
        split_pulse(d);
        put_line(d, tick, line, true);
    }
}

void device_stream_edge(struct device *d, uint64_t tick, unsigned line, bool high)
{
    struct device_stream *s = &d->stream;
    if (!s->on || !(s->lines & WIRE_BIT(line)))
        return;
    if (tick < s->frame.first)
        tick = s->frame.first;
    if (line == WIRE_RDATA || line == WIRE_WDATA) {
        pulse_edge(d, tick, line, high);
        return;
    }
    split_pulse(d);
    put_line(d, tick, line, high);
}

void device_stream_mark(struct device *d, enum mark kind, uint32_t value)
{
    struct device_stream *s = &d->stream;
    if (!s->on || s->losing)
        return;
    uint64_t now = d->hw->ticks(d->ctx);
    split_pulse(d); /* else the frame may end at its fall, before the mark */
    if (frame_mark(&s->frame, now, kind, value))
        return;
    close_frame(d, now, 0);
    if (!s->losing)
        frame_mark(&s->frame, now, kind, value);
}

static void tell_state(struct device *d, uint64_t now)
{
    frame_state(&d->stream.frame, d->stream.lines, d->levels);
    d->stream.state_at = now;
}

void device_stream_start(struct device *d, uint8_t number, uint32_t lines)
{
    static const struct device_stream none;
    uint64_t now = d->hw->ticks(d->ctx);
    d->stream = none;
    d->stream.on = true;
    d->stream.number = number;
    d->stream.lines = lines;
    d->stream.end = now;
    d->stream.rails_at = now - device_ms(d, RAILS_MS);
    d->levels = d->hw->levels(d->ctx);
    open_frame(d, now);
    tell_state(d, now);
}

void device_stream_stop(struct device *d, bool at_once)
{
    struct device_stream *s = &d->stream;
    if (at_once) {
        s->on = s->stopping = false;
        s->queued = 0;
    } else if (s->on) {
        s->stopping = true;
    }
}

static void go_on(struct device *d, uint64_t now)
{
    struct device_stream *s = &d->stream;
    if (queue_free(d) < d->config->queue_bytes / QUEUE_AGAIN)
        return;
    s->losing = false;
    s->low = false;
    open_frame(d, now);
    frame_lost(&s->frame, s->end, now, s->lost, s->lines, LOST_HOST_SLOW);
    s->lost_total += s->lost;
    s->lost = 0;
    tell_state(d, now);
}

static bool rails_due(const struct device *d, uint64_t now)
{
    return d->config->rails != 0 && now - d->stream.rails_at >= device_ms(d, RAILS_MS);
}

static void tell_rails(struct device *d, uint64_t now)
{
    int32_t mv[WIRE_RAILS];
    if (!rails_due(d, now))
        return;
    for (unsigned i = 0; i < WIRE_RAILS; i++)
        mv[i] = d->config->rails & WIRE_BIT(i) ? d->hw->rail_mv(d->ctx, i) : WIRE_NO_METER;
    d->stream.rails_at = now;
    frame_rails(&d->stream.frame, mv);
}

static void send(struct device *d)
{
    struct device_stream *s = &d->stream;
    while (s->queued > 0) {
        uint32_t straight = d->config->queue_bytes - s->head;
        uint32_t n = s->queued < straight ? s->queued : straight;
        size_t sent = d->hw->send(d->ctx, d->config->queue + s->head, n);
        s->head = (uint32_t)((s->head + sent) % d->config->queue_bytes);
        s->queued -= (uint32_t)sent;
        if (sent < n)
            return;
    }
}

void device_stream_poll(struct device *d, uint64_t now)
{
    struct device_stream *s = &d->stream;
    send(d);
    if (!s->on)
        return;
    if (s->losing)
        go_on(d, now);
    if (s->losing)
        return;
    uint64_t age = now - s->frame.first;
    bool due = age >= device_ms(d, frame_empty(&s->frame) ? PROTO_HEARTBEAT_MS / 2 : FLUSH_MS);
    /* a busy stream fills its frames before they age: state and rails come all the same */
    due = due || rails_due(d, now) || now - s->state_at >= device_ms(d, STATE_MS);
    if (!due && !s->stopping)
        return;
    split_pulse(d);
    tell_rails(d, now);
    close_frame(d, now, s->stopping ? FRAME_LAST : 0);
    if (s->stopping && !s->losing)
        s->on = s->stopping = false;
    else if (!s->losing && now - s->state_at >= device_ms(d, STATE_MS))
        tell_state(d, now);
    send(d);
}
