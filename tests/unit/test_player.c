/* A turn taken out of a capture and played round and round: no seam, no time lost, and begun
 * anywhere. The capture is made here: one track of invented pulses, its turns a little apart in
 * length, as real ones are. */
#include "adapter/player.h"
#include "adapter/wire.h"
#include "capture/capture.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#define FILE_NAME TEST_BINARY_DIR "/test_player.wec"
#define HZ        48000000u
#define PULSES    5000

/* ns; the disk is a little slower each turn */
static const int64_t turn_ns[] = {199990000, 199994000, 200001000, 200007000};

static void put(struct capture_writer *w, int64_t ns, enum line line, enum level level)
{
    struct err_msg e = {0};
    assert_int_equal(capture_writer_edge(w, ns, line, level, &e), ERR_OK);
}

/* Selected from `from` on, with index pulses before: 4 turns, pulses 40 us apart save where the
 * index is. */
static void make_capture(int64_t seen_from, int64_t seen_to)
{
    struct err_msg e = {0};
    struct capture_writer *w = NULL;
    struct capture_info info = {.format = CAPTURE_WEC, .tick = {1000000, 1}};
    static const enum line lines[] = {LINE_SELECT0, LINE_STEP,  LINE_DIR,
                                      LINE_TRK00,   LINE_INDEX, LINE_RDATA};
    info.lines = 0;
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
        info.lines |= LINE_BIT(lines[i]);
    assert_int_equal(capture_writer_open(FILE_NAME, CAPTURE_WEC, &info, true, &w, &e), ERR_OK);
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
        put(w, 0, lines[i], lines[i] == LINE_RDATA ? LEVEL_UNKNOWN : LEVEL_HIGH);
    put(w, 1000, LINE_TRK00, LEVEL_LOW);
    int64_t at = 100000;
    bool known = false;
    for (int t = 0; t < 4; t++) {
        put(w, at, LINE_INDEX, LEVEL_LOW);
        for (int k = 0; k < PULSES; k++) {
            int64_t ns = at + 10000 + k * (turn_ns[t] / PULSES);
            if (k == 80)
                put(w, at + 3205000, LINE_INDEX, LEVEL_HIGH);
            if (known && ns >= seen_to) {
                put(w, ns, LINE_RDATA, LEVEL_UNKNOWN);
                known = false;
            }
            if (ns < seen_from || ns >= seen_to)
                continue;
            if (!known)
                put(w, ns - 5000, LINE_RDATA, LEVEL_HIGH);
            known = true;
            put(w, ns, LINE_RDATA, LEVEL_LOW);
            put(w, ns + 200, LINE_RDATA, LEVEL_HIGH);
        }
        at += turn_ns[t];
    }
    put(w, at, LINE_INDEX, LEVEL_LOW);
    assert_int_equal(capture_writer_finish(w, at + 1000, &e), ERR_OK);
}

/* Items of `blocks` blocks from a phase on: their ticks and pulses added up. */
struct sums {
    uint64_t ticks, first_index;
    uint32_t pulses, index_falls, shortest;
};

static struct sums play(const struct player_track *t, uint32_t phase, uint32_t pulses)
{
    struct sums s = {.shortest = UINT32_MAX};
    uint64_t last = 0; /* pulse */
    uint8_t first[PLAYER_ITEM_MAX];
    uint8_t block[PROTO_FRAME_MAX];
    size_t at = player_seek(t, phase, first);
    for (uint32_t n = 0; s.pulses < pulses; n++) {
        size_t len = player_block(t, &at, n == 0 ? first : NULL, n, block);
        assert_int_equal(get_u32(block + 4), n);
        for (const uint8_t *p = block + PROTO_BLOCK_HEAD;
             p < block + len - PROTO_FRAME_CHECK && s.pulses < pulses;) {
            uint32_t ticks = *p;
            bool line = *p == EVENT_LINE;
            if (*p >= EVENT_MIDDLE && *p <= EVENT_MIDDLE_TOP) {
                ticks = EVENT_SHORT + ((uint32_t)(*p - EVENT_MIDDLE) << 8) + p[1];
                p++;
            } else if (*p >= EVENT_LONG) {
                ticks = 0;
                for (unsigned i = 0; i == 0 || (*p & 0x80) != 0; i++)
                    ticks |= (uint32_t)(*++p & 0x7f) << (7 * i);
                p += line;
            }
            s.ticks += ticks;
            s.pulses += !line;
            if (line && (*p & 1) == 0 && s.index_falls++ == 0)
                s.first_index = s.ticks;
            if (!line && s.pulses > 1 && s.ticks - last < s.shortest)
                s.shortest = (uint32_t)(s.ticks - last);
            last = line ? last : s.ticks;
            p++;
        }
    }
    return s;
}

/* Track 0, side 0 of the whole capture. */
static const struct player_track *whole_track(struct player *p)
{
    struct err_msg e = {0};
    make_capture(0, INT64_MAX);
    assert_int_equal(player_load(p, FILE_NAME, HZ, &e), ERR_OK);
    return player_find(p, 0, 0);
}

static void test_a_turn_from_index_to_index_is_taken_where_there_is_one(void **state)
{
    (void)state;
    struct player p;
    const struct player_track *t = whole_track(&p);
    assert_non_null(t);
    assert_int_equal(t->pulses, PULSES);
    assert_int_equal(t->turn,
                     turn_ns[1] / 1000 * 48); /* the first that is whole once settled */
    player_release(&p);
}

static void test_a_turn_that_begins_elsewhere_is_better_than_none(void **state)
{
    (void)state;
    struct player p;
    struct err_msg e = {0};
    make_capture(500000000, 705000000); /* one index, a turn and a little */
    assert_int_equal(player_load(&p, FILE_NAME, HZ, &e), ERR_OK);
    const struct player_track *t = player_find(&p, 0, 0);
    assert_non_null(t);
    assert_in_range(t->pulses, PULSES - 1, PULSES + 1);
    struct sums s = play(t, 0, 3 * t->pulses);
    assert_in_range(s.ticks, 3ull * t->turn - 96 * 48, 3ull * t->turn + 96 * 48);
    player_release(&p);
}

static void test_less_than_a_turn_is_refused(void **state)
{
    (void)state;
    struct player p;
    struct err_msg e = {0};
    make_capture(500000000, 690000000);
    assert_int_equal(player_load(&p, FILE_NAME, HZ, &e), ERR_FORMAT);
    player_release(&p);
}

static void test_going_round_loses_no_time_and_no_pulse(void **state)
{
    (void)state;
    struct player p;
    const struct player_track *t = whole_track(&p);
    struct sums once = play(t, 0, t->pulses);
    struct sums ten = play(t, 0, 10 * t->pulses);
    assert_int_equal(ten.ticks - once.ticks, 9ull * t->turn);
    assert_int_equal(ten.index_falls, 9);
    assert_true(ten.shortest > 30 * 48);
    player_release(&p);
}

static void test_it_can_begin_anywhere_in_the_turn(void **state)
{
    (void)state;
    struct player p;
    const struct player_track *t = whole_track(&p);
    for (uint32_t phase = t->turn / 97; phase < t->turn; phase += t->turn / 97) {
        struct sums s = play(t, phase, t->pulses);
        assert_int_equal(s.index_falls, 1);
        assert_int_equal(s.first_index, t->turn - phase);
    }
    player_release(&p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_turn_from_index_to_index_is_taken_where_there_is_one),
        cmocka_unit_test(test_a_turn_that_begins_elsewhere_is_better_than_none),
        cmocka_unit_test(test_less_than_a_turn_is_refused),
        cmocka_unit_test(test_going_round_loses_no_time_and_no_pulse),
        cmocka_unit_test(test_it_can_begin_anywhere_in_the_turn),
    };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    (void)unlink(FILE_NAME);
    return failed;
}
