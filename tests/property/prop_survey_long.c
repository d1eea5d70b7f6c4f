/* A recording longer than one stretch: no sector is lost where stretches meet, and none counted
 * twice. */
#include "evidence/survey.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define CELL_NS   2000 /* MFM, 250 kbit/s; source: ISO/ECMA MFM track formats */
#define SECTORS   9
#define TURNS     60
#define GAP_BYTES 80
#define TURN_TAIL 182 /* to 6250 bytes: 250 kbit/s at 300 rpm */

struct track_writer {
    struct capture_writer *w;
    struct err_msg e;
    int64_t now_ns;
    unsigned last_bit;
    int64_t falls;
};

static void cell(struct track_writer *t, unsigned one)
{
    if (one) {
        assert_int_equal(capture_writer_edge(t->w, t->now_ns, LINE_RDATA, LEVEL_LOW, &t->e),
                         ERR_OK);
        assert_int_equal(
            capture_writer_edge(t->w, t->now_ns + 400, LINE_RDATA, LEVEL_HIGH, &t->e), ERR_OK);
        t->falls++;
    }
    t->now_ns += CELL_NS;
}

/* One byte in MFM; the clock of a sync mark's bit 2 (from 0) is left out. */
static void byte(struct track_writer *t, unsigned value, bool mark)
{
    for (int i = 7; i >= 0; i--) {
        unsigned bit = value >> i & 1;
        bool missing = mark && i == 2;
        cell(t, !bit && !t->last_bit && !missing);
        cell(t, bit);
        t->last_bit = bit;
    }
}

static void bytes(struct track_writer *t, unsigned value, int count)
{
    for (int i = 0; i < count; i++) {
        byte(t, value, false);
    }
}

static void field(struct track_writer *t, const uint8_t *body, size_t len)
{
    static const uint8_t sync[3] = {0xa1, 0xa1, 0xa1};
    uint16_t crc = crc16_update(0xffff, sync, 3);
    bytes(t, 0, 12);
    for (int i = 0; i < 3; i++) {
        byte(t, 0xa1, true);
    }
    for (size_t i = 0; i < len; i++) {
        byte(t, body[i], false);
    }
    crc = crc16_update(crc, body, len);
    byte(t, crc >> 8, false);
    byte(t, crc & 0xff, false);
}

static void turn(struct track_writer *t)
{
    static uint8_t data[513];
    for (uint8_t s = 1; s <= SECTORS; s++) {
        uint8_t id[5] = {0xfe, 7, 0, s, 2};
        field(t, id, sizeof id);
        bytes(t, 0x4e, 22);
        data[0] = 0xfb;
        for (size_t i = 1; i < sizeof data; i++) {
            data[i] = (uint8_t)(i * 7 + s);
        }
        field(t, data, sizeof data);
        bytes(t, 0x4e, GAP_BYTES);
    }
    bytes(t, 0x4e, TURN_TAIL);
}

static void sectors_are_counted_once_over_many_stretches(void **state)
{
    (void)state;
    static const char path[] = TEST_BINARY_DIR "/long-survey-test.wec";
    struct capture_info info = {.tick = {FS_PER_NS, 1}, .lines = LINE_BIT(LINE_RDATA)};
    struct track_writer t = {.now_ns = 1000};
    struct survey_options o = {0};
    struct survey *s = calloc(1, sizeof *s);
    struct capture *c = NULL;
    assert_non_null(s);
    assert_int_equal(capture_writer_open(path, CAPTURE_WEC, &info, true, &t.w, &t.e), ERR_OK);
    assert_int_equal(capture_writer_edge(t.w, 0, LINE_RDATA, LEVEL_HIGH, &t.e), ERR_OK);
    bytes(&t, 0x4e, 100);
    for (int i = 0; i < TURNS; i++) {
        turn(&t);
    }
    assert_int_equal(capture_writer_finish(t.w, t.now_ns, &t.e), ERR_OK);
    assert_true(t.falls > (int64_t)1 << 21); /* more than one stretch holds */

    assert_int_equal(capture_open(path, NULL, &c, &t.e), ERR_OK);
    assert_int_equal(survey_run(c, &o, s, &t.e), ERR_OK);
    capture_close(c);
    (void)remove(path);
    assert_int_equal(s->flux.transitions, t.falls);
    assert_true(fabs(s->sample_ns - 1) < 1e-9); /* round times are no sampling grid */
    assert_int_equal(s->visit_count, 1);
    assert_int_equal(s->visit[0].ids_good, TURNS * SECTORS);
    assert_int_equal(s->visit[0].data_good, TURNS * SECTORS);
    assert_int_equal(s->track_count, 1);
    assert_int_equal(s->track[0].cylinder, 7);
    assert_int_equal(s->track[0].sector_count, SECTORS);
    for (size_t i = 0; i < SECTORS; i++) {
        assert_int_equal(s->track[0].sector[i].sector, i + 1);
        assert_int_equal(s->track[0].sector[i].seen, TURNS);
        assert_int_equal(s->track[0].sector[i].good, TURNS);
    }
    assert_true(fabs(s->track[0].revolutions - TURNS) < 0.1);
    assert_int_equal(s->rotation.from, ROTATION_SECTORS);
    double turn_ns = (double)(t.now_ns - 1000 - 100 * 16 * CELL_NS) / TURNS;
    assert_true(fabs(s->rotation.rpm - 60e9 / turn_ns) < 0.001);
    survey_release(s);
    free(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sectors_are_counted_once_over_many_stretches),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
