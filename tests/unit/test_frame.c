/* Frames of the adapter protocol: built as a device does, read back as the host does. */
#include "adapter/frame.h"
#include "adapter/frame_build.h"
#include "adapter/wire.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <zlib.h>

#define TICK_HZ 48000000u
#define TOLD    8000

struct told {
    uint64_t tick;
    enum line line;
    enum level level;
};

struct heard {
    struct told edge[TOLD];
    size_t edges;
    struct frame_loss loss[16];
    size_t losses;
    int rails, marks;
};

static enum err on_edge(void *ctx, uint64_t tick, enum line line, enum level level,
                        struct err_msg *e)
{
    struct heard *h = ctx;
    (void)e;
    if (h->edges > 0)
        assert_true(h->edge[h->edges - 1].tick <= tick);
    if (h->edges < TOLD)
        h->edge[h->edges++] = (struct told){tick, line, level};
    return ERR_OK;
}

static enum err on_lost(void *ctx, const struct frame_loss *loss, struct err_msg *e)
{
    struct heard *h = ctx;
    (void)e;
    assert_true(h->losses < 16);
    h->loss[h->losses++] = *loss;
    return ERR_OK;
}

static enum err on_rails(void *ctx, uint64_t tick, const int32_t mv[WIRE_RAILS],
                         struct err_msg *e)
{
    struct heard *h = ctx;
    (void)tick;
    (void)e;
    assert_int_equal(mv[0], 5020);
    assert_int_equal(mv[2], WIRE_NO_METER);
    h->rails++;
    return ERR_OK;
}

static void on_mark(void *ctx, uint64_t tick, enum mark kind, uint32_t value)
{
    struct heard *h = ctx;
    (void)tick;
    assert_int_equal(kind, MARK_STEPPED);
    assert_int_equal(value, 40);
    h->marks++;
}

static void begin(struct frame_parser *p, struct heard *h)
{
    memset(h, 0, sizeof *h);
    struct frame_sink sink = {h, on_edge, on_lost, on_rails, on_mark};
    frame_begin(p, &sink, 7, 10);
}

/* A frame of one fall, a line and what else goes in, at 1000 * sequence. */
static size_t one(uint8_t *out, uint32_t sequence, uint64_t first, uint64_t span)
{
    struct frame_build f;
    frame_open(&f, first, true);
    frame_state(&f, WIRE_ALL, WIRE_ALL);
    frame_fall(&f, first + 100, 9);
    frame_line(&f, first + 400, WIRE_INDEX, false);
    frame_line(&f, first + 500, WIRE_INDEX, true);
    return frame_close(&f, first + span, sequence, 7, 0, out);
}

static void feed(struct frame_parser *p, const uint8_t *bytes, size_t len)
{
    struct err_msg e = {0};
    assert_int_equal(frame_feed(p, bytes, len, &e), ERR_OK);
}

static void test_check_word_is_that_of_zlib(void **state)
{
    (void)state;
    uint8_t bytes[512];
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (uint8_t)(i * 37 + 11);
    for (size_t len = 0; len <= sizeof bytes; len += 73)
        assert_int_equal(wire_crc32(0, bytes, len), crc32(0, bytes, (uInt)len));
    /* ISO 3309's usual example. */
    assert_int_equal(wire_crc32(0, (const uint8_t *)"123456789", 9), 0xcbf43926u);
}

static void test_what_goes_in_comes_out_whatever_the_cuts(void **state)
{
    (void)state;
    static const uint32_t delta[] = {1, 239, 240, 2287, 2288, 100000, 96, 3, 250, 70000};
    static const uint16_t width[] = {9, 9, 2, 16, 17, 1, 9, 200, 9, 65535};
    uint8_t out[PROTO_FRAME_MAX];
    for (size_t cut = 1; cut < 40; cut += 3) {
        struct frame_build f;
        struct frame_parser p;
        struct heard *h = calloc(1, sizeof *h);
        uint64_t tick = 5000;
        assert_non_null(h);
        begin(&p, h);
        frame_open(&f, tick, true);
        for (size_t i = 0; i < 10; i++) {
            tick += delta[i];
            frame_fall(&f, tick, width[i]);
        }
        frame_line(&f, tick + 70000, WIRE_STEP, false);
        assert_true(frame_mark(&f, tick, MARK_STEPPED, 40));
        assert_true(frame_rails(&f, (const int32_t[]){5020, 12000, WIRE_NO_METER}));
        size_t len = frame_close(&f, tick + 80000, 0, 7, FRAME_LAST, out);
        for (size_t i = 0; i < len; i += cut)
            feed(&p, out + i, len - i < cut ? len - i : cut);
        tick = 5000;
        assert_int_equal(h->edges, 21);
        for (size_t i = 0; i < 10; i++) {
            tick += delta[i];
            assert_int_equal(h->edge[2 * i].tick, tick);
            assert_int_equal(h->edge[2 * i].level, LEVEL_LOW);
            uint64_t rise = tick + width[i];
            if (i < 9 && rise > tick + delta[i + 1])
                rise = tick + delta[i + 1]; /* a device that lies: never out of order */
            assert_int_equal(h->edge[2 * i + 1].tick, rise);
        }
        assert_int_equal(h->edge[20].line, LINE_STEP);
        assert_int_equal(h->marks, 1);
        assert_int_equal(h->rails, 1);
        assert_true(p.ended);
        assert_int_equal(p.damaged, 0);
        free(h);
    }
}

/* A machine that writes: as many pulses, of another line. */
static void test_pulses_of_write_data_cost_as_little(void **state)
{
    (void)state;
    struct frame_build f;
    struct frame_parser p;
    struct heard *h = calloc(1, sizeof *h);
    uint8_t out[PROTO_FRAME_MAX];
    assert_non_null(h);
    begin(&p, h);
    frame_open(&f, 1000, true);
    frame_fall(&f, 1100, 9);
    frame_line(&f, 1150, WIRE_WGATE, false);
    for (uint64_t i = 0; i < 200; i++) {
        assert_true(frame_room(&f));
        frame_pulses_of(&f, WIRE_WDATA);
        frame_fall(&f, 1200 + 100 * i, 12);
    }
    frame_pulses_of(&f, WIRE_RDATA);
    frame_fall(&f, 30000, 9);
    size_t len = frame_close(&f, 40000, 0, 7, 0, out);
    assert_true(len < 24 + 4 + 4 + 8 + 204 + 101 + 12);
    feed(&p, out, len);
    assert_int_equal(p.damaged, 0);
    assert_int_equal(h->edges,
                     2 + 1 + 400 + 1); /* the last rise is told with what comes next */
    assert_int_equal(h->edge[3].line, LINE_WDATA);
    assert_int_equal(h->edge[3].tick, 1200);
    assert_int_equal(h->edge[4].level, LEVEL_HIGH);
    assert_int_equal(h->edge[4].tick, 1212);
    assert_int_equal(h->edge[403].line, LINE_RDATA);
    assert_int_equal(h->edge[403].tick, 30000);
    free(h);
}

static void test_a_pulse_ends_before_one_of_the_other_line_begins(void **state)
{
    (void)state;
    struct frame_build f;
    struct frame_parser p;
    struct heard h;
    uint8_t out[PROTO_FRAME_MAX];
    begin(&p, &h);
    frame_open(&f, 1000, true);
    frame_fall(&f, 1100, 500); /* a device that lies: it says two at once */
    frame_pulses_of(&f, WIRE_WDATA);
    frame_fall(&f, 1200, 9);
    feed(&p, out, frame_close(&f, 2000, 0, 7, 0, out));
    assert_int_equal(h.edges, 3);
    assert_int_equal(h.edge[1].line, LINE_RDATA);
    assert_int_equal(h.edge[1].level, LEVEL_HIGH);
    assert_int_equal(h.edge[1].tick, 1200);
    /* "of WDATA" with nothing behind it is damage */
    frame_open(&f, 2000, true);
    frame_fall(&f, 2100, 9);
    frame_pulses_of(&f, WIRE_WDATA);
    feed(&p, out, frame_close(&f, 3000, 1, 7, 0, out));
    assert_int_equal(p.damaged, 1);
}

static void test_missing_frame_is_a_hole_with_its_place(void **state)
{
    (void)state;
    struct frame_parser p;
    struct heard h;
    uint8_t out[PROTO_FRAME_MAX];
    begin(&p, &h);
    feed(&p, out, one(out, 0, 1000, 1000));
    feed(&p, out, one(out, 2, 3000, 1000));
    assert_int_equal(h.losses, 1);
    assert_int_equal(h.loss[0].from, 2000);
    assert_int_equal(h.loss[0].to, 3000);
    assert_int_equal(h.loss[0].lines, WIRE_ALL);
    assert_int_equal(h.loss[0].cause, LOSS_FRAMES);
}

static void test_damaged_frame_is_a_hole_and_the_next_is_found(void **state)
{
    (void)state;
    uint8_t all[3 * PROTO_FRAME_MAX];
    size_t len[3];
    size_t n = 0;
    for (uint32_t i = 0; i < 3; i++)
        n += len[i] = one(all + n, i, 1000 + 1000 * (uint64_t)i, 1000);
    for (size_t at = len[0]; at < len[0] + len[1]; at++) {
        struct frame_parser p;
        struct heard h;
        begin(&p, &h);
        all[at] ^= 0x20;
        feed(&p, all, n);
        all[at] ^= 0x20;
        assert_int_equal(h.losses, 1);
        assert_int_equal(h.loss[0].from, 2000);
        assert_int_equal(h.loss[0].to, 3000);
        assert_true(p.damaged >= 1);
        assert_int_equal(p.end, 4000);
    }
}

static void test_repeated_and_stale_frames_say_nothing_twice(void **state)
{
    (void)state;
    struct frame_parser p;
    struct heard h;
    uint8_t out[PROTO_FRAME_MAX];
    begin(&p, &h);
    size_t len = one(out, 0, 1000, 1000);
    feed(&p, out, len);
    size_t edges = h.edges;
    feed(&p, out, len);
    assert_int_equal(h.edges, edges);
    assert_int_equal(p.repeated, 1);
    len = one(out, 1, 2000, 1000);
    out[20] = 6;
    put_u32(out + len - 4, wire_crc32(0, out, len - 4));
    feed(&p, out, len);
    assert_int_equal(p.stale, 1);
    assert_int_equal(h.losses, 0);
}

static void test_told_loss_names_its_lines_and_reason(void **state)
{
    (void)state;
    struct frame_parser p;
    struct heard h;
    uint8_t out[PROTO_FRAME_MAX];
    struct frame_build f;
    begin(&p, &h);
    feed(&p, out, one(out, 0, 1000, 1000));
    frame_open(&f, 9000, true);
    frame_lost(&f, 2000, 9000, 321, WIRE_BIT(WIRE_RDATA), LOST_HOST_SLOW);
    frame_state(&f, WIRE_ALL, WIRE_ALL);
    feed(&p, out, frame_close(&f, 9500, 1, 7, 0, out));
    assert_int_equal(h.losses, 1);
    assert_int_equal(h.loss[0].count, 321);
    assert_int_equal(h.loss[0].lines, WIRE_BIT(WIRE_RDATA));
    assert_int_equal(h.loss[0].from, 2000);
    assert_int_equal(h.loss[0].to, 9000);
    assert_int_equal(p.lost_ticks, 7000);
}

static void test_gap_that_nobody_tells_is_a_hole_too(void **state)
{
    (void)state;
    struct frame_parser p;
    struct heard h;
    uint8_t out[PROTO_FRAME_MAX];
    begin(&p, &h);
    feed(&p, out, one(out, 0, 1000, 1000));
    feed(&p, out, one(out, 1, 2500, 1000));
    assert_int_equal(h.losses, 1);
    assert_int_equal(h.loss[0].cause, LOSS_GAP);
}

static void test_unknown_records_are_passed_over(void **state)
{
    (void)state;
    struct frame_parser p;
    struct heard h;
    uint8_t out[PROTO_FRAME_MAX];
    begin(&p, &h);
    size_t len = one(out, 0, 1000, 1000) - PROTO_FRAME_CHECK;
    static const uint8_t news[] = {0x77, 0, 3, 0, 1, 2, 3};
    memcpy(out + len, news, sizeof news);
    len += sizeof news + PROTO_FRAME_CHECK;
    put_u16(out + 2, (uint32_t)len);
    put_u32(out + len - 4, wire_crc32(0, out, len - 4));
    feed(&p, out, len);
    assert_int_equal(p.skipped, 1);
    assert_int_equal(h.losses, 0);
    assert_int_equal(p.damaged, 0);
}

static void test_clock_that_runs_backwards_is_refused(void **state)
{
    (void)state;
    struct frame_parser p;
    struct heard h;
    struct err_msg e = {0};
    uint8_t out[PROTO_FRAME_MAX];
    begin(&p, &h);
    feed(&p, out, one(out, 0, 5000, 1000));
    size_t len = one(out, 1, 3000, 1000);
    assert_int_equal(frame_feed(&p, out, len, &e), ERR_ADAPTER);
    assert_non_null(strstr(e.text, "backwards"));
}

/* Bytes a second that a steady row of pulses takes on the wire. */
static double rate(const uint32_t *period, size_t periods, bool widths, double *per_second)
{
    struct frame_build f;
    uint8_t out[PROTO_FRAME_MAX];
    uint64_t tick = 0;
    uint32_t noise = 1;
    size_t bytes = 0;
    size_t falls = 0;
    frame_open(&f, 0, widths);
    for (; tick < TICK_HZ; falls++) {
        noise = noise * 1664525u + 1013904223u;
        uint32_t jitter = noise >> 16 & 15; /* 0.3 us across */
        if (!frame_room(&f)) {
            bytes += frame_close(&f, tick, 0, 0, 0, out);
            frame_open(&f, tick, widths);
        }
        tick += period[falls % periods] + jitter - 8;
        frame_fall(&f, tick, (uint16_t)(10 + (noise >> 24) % 7));
    }
    *per_second = (double)falls;
    return (double)(bytes + frame_close(&f, tick, 0, 0, 0, out));
}

static void test_half_a_million_transitions_a_second_fit_full_speed(void **state)
{
    (void)state;
    /* HD MFM has transitions 2, 3 and 4 us apart (ISO/IEC 9529-2, MFM at 500 kbit/s: two cells
     * of 1 us at least, four at most); every one 2 us apart is the most there can be. */
    static const uint32_t worst[] = {96};
    static const uint32_t threes[] = {144};
    static const uint32_t fours[] = {192};
    double n;
    double bytes = rate(worst, 1, true, &n);
    print_message("2 us: %.0f falls/s, %.0f bytes/s with widths\n", n, bytes);
    assert_true(n >= 500000 && bytes < 900000);
    bytes = rate(worst, 1, false, &n);
    print_message("2 us: %.0f falls/s, %.0f bytes/s without\n", n, bytes);
    assert_true(n >= 500000 && bytes < 560000);
    bytes = rate(threes, 1, true, &n);
    print_message("3 us: %.0f falls/s, %.0f bytes/s with widths\n", n, bytes);
    assert_true(bytes < 600000);
    bytes = rate(fours, 1, true, &n);
    print_message("4 us: %.0f falls/s, %.0f bytes/s with widths\n", n, bytes);
    assert_true(bytes < 450000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_check_word_is_that_of_zlib),
        cmocka_unit_test(test_what_goes_in_comes_out_whatever_the_cuts),
        cmocka_unit_test(test_pulses_of_write_data_cost_as_little),
        cmocka_unit_test(test_a_pulse_ends_before_one_of_the_other_line_begins),
        cmocka_unit_test(test_missing_frame_is_a_hole_with_its_place),
        cmocka_unit_test(test_damaged_frame_is_a_hole_and_the_next_is_found),
        cmocka_unit_test(test_repeated_and_stale_frames_say_nothing_twice),
        cmocka_unit_test(test_told_loss_names_its_lines_and_reason),
        cmocka_unit_test(test_gap_that_nobody_tells_is_a_hole_too),
        cmocka_unit_test(test_unknown_records_are_passed_over),
        cmocka_unit_test(test_clock_that_runs_backwards_is_refused),
        cmocka_unit_test(test_half_a_million_transitions_a_second_fit_full_speed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
