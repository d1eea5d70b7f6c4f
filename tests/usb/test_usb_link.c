/* The USB link against a device model whose stream is a count (plain.h), below unmodified
 * libusb: whatever happens, no byte is lost, doubled or out of place without a word.
 *
 *   umockdev-wrapper usb_bench plain:ONE,replug=100 -- test_usb_link */
#include "adapter/protocol.h"
#include "adapter/usb_link.h"
#include "faults.h"
#include "plain.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#define OPEN_TRIES 100

static void wait_ms(long ms)
{
    nanosleep(&(struct timespec){.tv_sec = ms / 1000, .tv_nsec = ms % 1000 * 1000000}, NULL);
}

/* A model that was pulled out comes back by itself. */
static int plug(void **state)
{
    static struct link link;
    struct err_msg e;
    for (int i = 0; i < OPEN_TRIES; i++) {
        e = (struct err_msg){0};
        if (usb_link_open("ONE", &link, &e) == ERR_OK) {
            *state = &link;
            return 0;
        }
        wait_ms(20);
    }
    fprintf(stderr, "%s\n", e.text);
    return -1;
}

static int unplug(void **state)
{
    link_close(*state);
    return 0;
}

static void tell(struct link *l, const char *words)
{
    assert_int_equal(l->ops->control_out(l->state, REQ_FAULTS, 0, words, strlen(words), NULL),
                     LINK_OK);
}

/* A stream that still ran is ended first: this device does not number its streams. */
static void start(struct link *l, uint32_t rate, uint64_t total)
{
    uint8_t data[12];
    for (int i = 0; i < 4; i++)
        data[i] = (uint8_t)(rate >> 8 * i);
    for (int i = 0; i < 8; i++)
        data[4 + i] = (uint8_t)(total >> 8 * i);
    assert_int_equal(l->ops->control_out(l->state, REQ_STOP, 0, NULL, 0, NULL), LINK_OK);
    assert_int_equal(l->ops->stream_start(l->state, NULL), LINK_OK);
    assert_int_equal(l->ops->control_out(l->state, REQ_START, 0, data, sizeof data, NULL),
                     LINK_OK);
}

/* Reads until `until` bytes are there or something happens; all that came is what was sent. */
static enum link_result take(struct link *l, uint64_t *at, uint64_t until, struct err_msg *e)
{
    while (*at < until) {
        const uint8_t *bytes;
        size_t n;
        enum link_result r = l->ops->read(l->state, 1000, &bytes, &n, e);
        if (r != LINK_OK)
            return r;
        assert_true(n > 0);
        for (size_t i = 0; i < n; i++)
            if (bytes[i] != plain_byte(*at + i))
                fail_msg("byte %llu is wrong", (unsigned long long)(*at + i));
        *at += n;
    }
    return LINK_OK;
}

static void answers_requests_and_passes_refusals_on(void **state)
{
    struct link *l = *state;
    uint8_t reply[CAP_READ_MAX];
    size_t got;
    struct err_msg e = {0};
    assert_string_equal(l->name, "usb:ONE");
    assert_int_equal(
        l->ops->control_in(l->state, REQ_IDENTIFY, 0, reply, sizeof reply, &got, &e), LINK_OK);
    assert_int_equal(got, CAP_BYTES);
    assert_memory_equal(reply, PROTO_MAGIC, PROTO_MAGIC_BYTES);
    assert_int_equal(l->ops->control_in(l->state, 0x7f, 0, reply, sizeof reply, &got, &e),
                     LINK_REFUSED);
    assert_string_equal(e.text, "usb:ONE: control request: refused by the adapter");
    assert_int_equal(l->ops->control_out(l->state, REQ_STOP, 0, NULL, 0, NULL), LINK_OK);
}

static void sends_every_byte_out(void **state)
{
    static uint8_t data[100000];
    static const size_t sizes[] = {1, 511, 512, 1000, 1024, sizeof data};
    struct link *l = *state;
    uint32_t bytes = 0, sum = 0;
    for (size_t i = 0; i < sizeof data; i++)
        data[i] = plain_byte(i);
    for (size_t k = 0; k < sizeof sizes / sizeof sizes[0]; k++) {
        assert_int_equal(l->ops->write(l->state, 1000, data, sizes[k], NULL), LINK_OK);
        bytes += (uint32_t)sizes[k];
        for (size_t i = 0; i < sizes[k]; i++)
            sum += data[i];
    }
    uint8_t reply[12];
    size_t got;
    assert_int_equal(
        l->ops->control_in(l->state, REQ_STATUS, 0, reply, sizeof reply, &got, NULL), LINK_OK);
    for (int i = 0; i < 4; i++) {
        assert_int_equal(reply[i], bytes >> 8 * i & 0xff);
        assert_int_equal(reply[4 + i], sum >> 8 * i & 0xff);
    }
}

static void a_silent_device_is_a_time_out_and_no_more(void **state)
{
    struct link *l = *state;
    const uint8_t *bytes;
    size_t n;
    assert_int_equal(l->ops->stream_start(l->state, NULL), LINK_OK);
    int64_t before = l->ops->now_ms(l->state);
    assert_int_equal(l->ops->read(l->state, 50, &bytes, &n, NULL), LINK_TIMEOUT);
    int64_t waited = l->ops->now_ms(l->state) - before;
    assert_true(waited >= 49 && waited < 1000);
    assert_int_equal(l->ops->read(l->state, 0, &bytes, &n, NULL), LINK_TIMEOUT);
    uint64_t at = 0;
    start(l, 0, 5000);
    assert_int_equal(take(l, &at, 5000, NULL), LINK_OK);
}

static void a_stream_comes_whole_and_in_order(void **state)
{
    static const uint64_t totals[] = {((uint64_t)8 << 20) + 77, 1 << 20, 0, 1, 512, 16384};
    struct link *l = *state;
    for (size_t k = 0; k < sizeof totals / sizeof totals[0]; k++) {
        uint64_t at = 0;
        const uint8_t *bytes;
        size_t n;
        start(l, 0, totals[k]);
        assert_int_equal(take(l, &at, totals[k], NULL), LINK_OK);
        assert_int_equal(at, totals[k]);
        assert_int_equal(l->ops->read(l->state, 20, &bytes, &n, NULL), LINK_TIMEOUT);
    }
}

static void a_slow_stream_loses_nothing_between_time_outs(void **state)
{
    struct link *l = *state;
    uint64_t at = 0;
    start(l, 200000, 60001); /* 0.3 s */
    for (int i = 0; at < 60001 && i < 1000; i++) {
        const uint8_t *bytes;
        size_t n;
        if (l->ops->read(l->state, 7, &bytes, &n, NULL) != LINK_OK)
            continue;
        for (size_t k = 0; k < n; k++)
            assert_int_equal(bytes[k], plain_byte(at + k));
        at += n;
    }
    assert_int_equal(at, 60001);
}

/* More than the queue holds: the link stops asking, and the device has to wait. */
static void a_late_reader_holds_the_device_back(void **state)
{
    struct link *l = *state;
    const uint64_t total = 3 * USB_QUEUE_BYTES + 5;
    uint64_t at = 0;
    start(l, 0, total);
    l->ops->pause(l->state, 700);
    assert_int_equal(take(l, &at, USB_QUEUE_BYTES + 1000, NULL), LINK_OK);
    l->ops->pause(l->state, 300);
    assert_int_equal(take(l, &at, total, NULL), LINK_OK);
}

static void a_stall_is_told_at_its_place_and_cleared(void **state)
{
    static const char *const places[] = {"stall=0", "stall=65536", "stall=100352"};
    static const uint64_t before[] = {0, 65536, 100352};
    struct link *l = *state;
    for (size_t k = 0; k < sizeof before / sizeof before[0]; k++) {
        struct err_msg e = {0};
        uint64_t at = 0;
        tell(l, places[k]);
        start(l, 0, 300000);
        assert_int_equal(take(l, &at, 300000, &e), LINK_STALLED);
        assert_int_equal(at, before[k]);
        assert_string_equal(e.text,
                            "usb:ONE: reading the stream: the adapter halted its endpoint");
        assert_int_equal(take(l, &at, 300000, NULL), LINK_OK);
    }
}

static void a_babble_is_told_and_the_stream_goes_on(void **state)
{
    struct link *l = *state;
    uint64_t at = 0;
    tell(l, "babble=51200");
    start(l, 0, 300000);
    assert_int_equal(take(l, &at, 300000, NULL), LINK_BABBLE);
    assert_int_equal(take(l, &at, 300000, NULL), LINK_OK);
}

static void a_garbled_packet_is_told_and_the_link_stands(void **state)
{
    struct link *l = *state;
    uint64_t at = 0;
    tell(l, "error=51200");
    start(l, 2000000, 102400 + 7);
    /* The packets behind the lost one come with the transfers that were asked for already. */
    const uint8_t *bytes;
    size_t n, all = 0;
    enum link_result r;
    while ((r = l->ops->read(l->state, 1000, &bytes, &n, NULL)) == LINK_OK)
        all += n;
    assert_int_equal(r, LINK_FAILED);
    assert_true(all >= 51200);
    tell(l, "");
    assert_int_equal(l->ops->control_out(l->state, REQ_STOP, 0, NULL, 0, NULL), LINK_OK);
    start(l, 0, 1000);
    assert_int_equal(take(l, &at, 1000, NULL), LINK_OK);
}

static void gone_for_every_call(struct link *l)
{
    struct err_msg e = {0};
    uint8_t reply[12];
    size_t got;
    assert_int_equal(l->ops->control_in(l->state, REQ_STATUS, 0, reply, sizeof reply, &got, &e),
                     LINK_GONE);
    assert_string_equal(e.text,
                        "usb:ONE: control request: the adapter was unplugged, or reset itself");
    assert_int_equal(e.code, ERR_ADAPTER);
    assert_int_equal(l->ops->write(l->state, 100, "x", 1, NULL), LINK_GONE);
    assert_int_equal(l->ops->stream_start(l->state, NULL), LINK_GONE);
}

static void unplugged_in_mid_stream(void **state)
{
    struct link *l = *state;
    uint64_t at = 0;
    tell(l, "unplug=1000448");
    start(l, 0, 4000000);
    assert_int_equal(take(l, &at, 4000000, NULL), LINK_GONE);
    /* All that was sent, but for a transfer that a kernel may not have handed up. */
    assert_true(at <= 1000448 && at + 16384 > 1000448);
    gone_for_every_call(l);
}

static void unplugged_while_a_stream_is_waited_for(void **state)
{
    struct link *l = *state;
    uint64_t at = 0;
    assert_int_equal(l->ops->stream_start(l->state, NULL), LINK_OK);
    tell(l, "unplug=0");
    assert_int_equal(take(l, &at, 1, NULL), LINK_GONE);
    gone_for_every_call(l);
}

static void unplugged_while_idle(void **state)
{
    struct link *l = *state;
    tell(l, "unplug=0");
    l->ops->pause(l->state, 50);
    gone_for_every_call(l);
}

static size_t sent(struct link *l)
{
    uint8_t reply[12];
    size_t got;
    assert_int_equal(
        l->ops->control_in(l->state, REQ_STATUS, 0, reply, sizeof reply, &got, NULL), LINK_OK);
    return reply[8] | (size_t)reply[9] << 8 | (size_t)reply[10] << 16 | (size_t)reply[11] << 24;
}

static void unplugged_while_the_reader_is_late(void **state)
{
    struct link *l = *state;
    uint64_t at = 0;
    tell(l, "unplug=8388608");
    start(l, 0, 9000000);
    /* The queue is full, and nothing is in flight, once the device gets no more away. */
    for (int i = 0; i < 100 && sent(l) < USB_QUEUE_BYTES - 16384; i++)
        l->ops->pause(l->state, 50);
    l->ops->pause(l->state, 50);
    tell(l, "unplug=0");
    l->ops->pause(l->state, 50);
    assert_int_equal(take(l, &at, 9000000, NULL), LINK_GONE);
    assert_true(at >= USB_QUEUE_BYTES - 16384 &&
                at <= USB_QUEUE_BYTES); /* and all of it was right */
}

static void unplugged_during_a_control_request(void **state)
{
    struct link *l = *state;
    size_t got;
    uint8_t reply[12];
    tell(l, "unplug-request=2");
    assert_int_equal(
        l->ops->control_in(l->state, REQ_STATUS, 0, reply, sizeof reply, &got, NULL),
        LINK_GONE);
    gone_for_every_call(l);
}

static void unplugged_while_sending(void **state)
{
    static const uint8_t data[20000];
    struct link *l = *state;
    tell(l, "unplug-out=10000");
    assert_int_equal(l->ops->write(l->state, 1000, data, sizeof data, NULL), LINK_GONE);
    gone_for_every_call(l);
}

static void unplugged_while_stopping(void **state)
{
    struct link *l = *state;
    start(l, 0, 100000000);
    l->ops->pause(l->state, 20);
    tell(l, "unplug-request=7");
    assert_int_equal(l->ops->control_out(l->state, REQ_STOP, 0, NULL, 0, NULL), LINK_GONE);
    l->ops->stream_stop(l->state);
}

static void a_request_without_an_answer_times_out(void **state)
{
    struct link *l = *state;
    uint8_t reply[12];
    size_t got;
    tell(l, "mute=2");
    assert_int_equal(
        l->ops->control_in(l->state, REQ_STATUS, 0, reply, sizeof reply, &got, NULL),
        LINK_TIMEOUT);
    tell(l, "");
    assert_int_equal(
        l->ops->control_in(l->state, REQ_STATUS, 0, reply, sizeof reply, &got, NULL), LINK_OK);
}

static void a_halted_out_endpoint_is_told_and_cleared(void **state)
{
    static const uint8_t data[4096];
    struct link *l = *state;
    tell(l, "stall-out=1024");
    assert_int_equal(l->ops->write(l->state, 1000, data, sizeof data, NULL), LINK_STALLED);
    assert_int_equal(l->ops->write(l->state, 1000, data, sizeof data, NULL), LINK_OK);
}

static void started_and_stopped_many_times(void **state)
{
    struct link *l = *state;
    for (int i = 0; i < 40; i++) {
        uint64_t at = 0;
        start(l, 0, 100000000);
        assert_int_equal(take(l, &at, (uint64_t)i * 1000, NULL), LINK_OK);
        l->ops->stream_stop(l->state);
    }
}

static void closed_in_mid_stream(void **state)
{
    struct link *l = *state;
    uint64_t at = 0;
    start(l, 0, 100000000);
    assert_int_equal(take(l, &at, 100000, NULL), LINK_OK);
    link_close(l);
    assert_int_equal(plug(state), 0);
}

static void a_device_with_another_answer_is_no_adapter(void **state)
{
    struct link *l = *state;
    struct link other;
    struct err_msg e = {0};
    tell(l, "lie=magic");
    link_close(l);
    assert_int_equal(usb_link_open("ONE", &other, &e), ERR_ADAPTER);
    assert_string_equal(e.text,
                        "usb:ONE: the device looks like an adapter but answers something "
                        "else to the capability request");
}

#define PLUGGED(test) cmocka_unit_test_setup_teardown(test, plug, unplug)

int main(void)
{
    const struct CMUnitTest tests[] = {
        PLUGGED(answers_requests_and_passes_refusals_on),
        PLUGGED(sends_every_byte_out),
        PLUGGED(a_silent_device_is_a_time_out_and_no_more),
        PLUGGED(a_stream_comes_whole_and_in_order),
        PLUGGED(a_slow_stream_loses_nothing_between_time_outs),
        PLUGGED(a_late_reader_holds_the_device_back),
        PLUGGED(a_stall_is_told_at_its_place_and_cleared),
        PLUGGED(a_babble_is_told_and_the_stream_goes_on),
        PLUGGED(a_garbled_packet_is_told_and_the_link_stands),
        PLUGGED(unplugged_in_mid_stream),
        PLUGGED(unplugged_while_a_stream_is_waited_for),
        PLUGGED(unplugged_while_idle),
        PLUGGED(unplugged_while_the_reader_is_late),
        PLUGGED(unplugged_during_a_control_request),
        PLUGGED(unplugged_while_sending),
        PLUGGED(unplugged_while_stopping),
        PLUGGED(a_request_without_an_answer_times_out),
        PLUGGED(a_halted_out_endpoint_is_told_and_cleared),
        PLUGGED(started_and_stopped_many_times),
        PLUGGED(closed_in_mid_stream),
        PLUGGED(a_device_with_another_answer_is_no_adapter),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
