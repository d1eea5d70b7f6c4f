/* The decoder on captures that nobody here made. Skipped where the folder of shared data is
 * absent. */
#include "capture/capture.h"
#include "unit/flux_check.h"

#include <stdio.h>
#include <unistd.h>

#define STRETCHES_MAX 64
#define BREAK_PS      INT64_C(4000000000) /* a new stretch after 4 ms of nothing */

struct stretch {
    int64_t start_ps;
    uint32_t *interval_ps;
    size_t count, cap;
};
struct recorded {
    struct stretch stretch[STRETCHES_MAX];
    size_t count;
};

static void pulse_add(struct recorded *r, int64_t ps, int64_t before_ps)
{
    if (before_ps < 0 || ps - before_ps > BREAK_PS) {
        assert_true(r->count < STRETCHES_MAX);
        r->stretch[r->count++] = (struct stretch){.start_ps = ps};
        return;
    }
    struct stretch *s = &r->stretch[r->count - 1];
    if (s->count == s->cap) {
        s->cap = s->cap == 0 ? 65536 : 2 * s->cap;
        s->interval_ps = realloc(s->interval_ps, s->cap * sizeof *s->interval_ps);
        assert_non_null(s->interval_ps);
    }
    s->interval_ps[s->count++] = (uint32_t)(ps - before_ps);
}

/* Falling edges of RDATA, split where it was not recorded. */
static void record(const char *path, const char *map_spec, struct recorded *r)
{
    struct line_map map = {0};
    struct capture *c = NULL;
    struct chunk chunk = {0};
    struct err_msg e = {.code = ERR_OK};
    enum level before = LEVEL_UNKNOWN;
    int64_t last_ps = -1;
    if (access(path, R_OK) != 0) {
        print_message("skipped: %s is not there\n", path);
        skip();
    }
    if (map_spec != NULL) {
        assert_int_equal(line_map_add(&map, "RDATA", map_spec, 0, &e), ERR_OK);
    }
    if (capture_open(path, &map, &c, &e) != ERR_OK) {
        fail_msg("%s", e.text);
    }
    while (!chunk.last) {
        if (capture_next(c, &chunk, &e) != ERR_OK) {
            fail_msg("%s", e.text);
        }
        for (size_t i = 0; i < chunk.count; i++) {
            int64_t ps = 0;
            if (edge_line(chunk.edge[i]) != LINE_RDATA) {
                continue;
            }
            enum level now = edge_level(chunk.edge[i]);
            assert_true(ticks_to_ps(edge_tick(&chunk, i), capture_info(c)->tick, &ps));
            if (now == LEVEL_UNKNOWN) {
                last_ps = -1;
            } else if (now == LEVEL_LOW && before == LEVEL_HIGH) {
                pulse_add(r, ps, last_ps);
                last_ps = ps;
            }
            before = now;
        }
    }
    capture_close(c);
    line_map_release(&map);
}

static void recorded_release(struct recorded *r)
{
    for (size_t i = 0; i < r->count; i++) {
        free(r->stretch[i].interval_ps);
    }
}

static void stretch_decode(const struct stretch *s, double sample_ns, struct flux_read *out)
{
    const struct flux f = {s->start_ps / 1000, s->interval_ps, s->count};
    const struct flux_options o = {.sample_ns = sample_ns, .keep_bytes = true};
    assert_int_equal(flux_decode(&f, &o, out), ERR_OK);
}

static double mean_rpm(const int64_t *period_ns, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++) {
        sum += (double)period_ns[i];
    }
    return 60e9 * (double)n / sum;
}

/* Source: repository raszpl/sigrok-disk, commit 0946386, GPL-3.0; a real drive sampled at 15
 * MS/s. An independent script found 47,033 pulses, 21 identifiers with right check bytes, 20 of
 * 21 data fields right, the last one cut off, and sectors 8, 10 and 12 twice, 199.27 ms apart.
 */
static void a_real_mfm_track_is_read(void **state)
{
    (void)state;
    struct recorded rec = {0};
    struct flux_read r;
    int64_t period[16];
    record(TEST_SHARED_DIR "/data/captures/fdd_mfm.vcd.gz", "0:high", &rec);
    assert_int_equal(rec.count, 1);
    assert_int_equal(rec.stretch[0].count + 1, 47033);
    stretch_decode(&rec.stretch[0], 1000.0 / 15, &r);
    struct counted c = count_read(&r, NULL);
    assert_int_equal(r.quality.encoding, ENC_MFM);
    assert_int_equal(r.quality.data_rate, 250000);
    assert_int_equal(c.ids_good, 21);
    assert_int_equal(c.ids_bad, 0);
    assert_int_equal(c.good, 20);
    assert_int_equal(c.cut, 1);
    assert_int_equal(c.damaged + c.absent, 0);
    for (size_t i = 0; i < r.sector_count; i++) {
        assert_int_equal(r.sector[i].cylinder, 1);
        assert_int_equal(r.sector[i].side, 0);
        assert_int_equal(r.sector[i].size_code, 1);
        assert_in_range(r.sector[i].sector, 1, 18);
    }
    assert_int_equal(rotation_from_sectors(&r, period, 16), 3);
    assert_true(fabs(mean_rpm(period, 3) - 301.1) < 0.05);
    flux_read_release(&r);
    recorded_release(&rec);
}

/* The same source. What it holds was not known before: FM at 125 kbit/s, cylinder 0 side 0,
 * sectors 1 to 10 of 256 bytes laid out 1 3 5 7 9 2 4 6 8 10, an index mark; 3 and 5 come
 * twice, and the last data field is cut. */
static void a_real_fm_track_is_read(void **state)
{
    (void)state;
    static const uint8_t order[] = {3, 5, 7, 9, 2, 4, 6, 8, 10, 1, 3, 5};
    struct recorded rec = {0};
    struct flux_read r;
    int64_t period[16];
    record(TEST_SHARED_DIR "/data/captures/fdd_fm.vcd.gz", "0:high", &rec);
    assert_int_equal(rec.count, 1);
    assert_int_equal(rec.stretch[0].count + 1, 35137);
    stretch_decode(&rec.stretch[0], 1000.0 / 15, &r);
    struct counted c = count_read(&r, NULL);
    assert_int_equal(r.quality.encoding, ENC_FM);
    assert_int_equal(r.quality.data_rate, 125000);
    assert_int_equal(r.sector_count, sizeof order);
    assert_int_equal(c.ids_good, 12);
    assert_int_equal(c.good, 11);
    assert_int_equal(c.cut, 1);
    assert_int_equal(r.index_marks, 1);
    for (size_t i = 0; i < r.sector_count; i++) {
        assert_int_equal(r.sector[i].sector, order[i]);
        assert_int_equal(r.sector[i].size_code, 1);
        assert_int_equal(r.sector[i].mark, 0xFB);
    }
    assert_true(r.quality.short_share > 0.0001); /* the pulses that come far too soon */
    assert_int_equal(rotation_from_sectors(&r, period, 16), 2);
    assert_true(fabs(mean_rpm(period, 2) - 301.1) < 0.05);
    flux_read_release(&r);
    recorded_release(&rec);
}

/* Traces of a controller core that others wrote, working a simulated drive; counts of a
 * separate script with its own decoder (label.json, read_back). At least as much must be read.
 */
struct trace {
    const char *name;
    int ids, data;
    enum encoding encoding;
};

static void trace_is_read(const struct trace *t)
{
    char path[512];
    struct recorded rec = {0};
    struct counted sum = {0};
    snprintf(path, sizeof path, "%s/data/traces/%s/drive-end.vcd.gz", TEST_SHARED_DIR, t->name);
    record(path, NULL, &rec);
    for (size_t i = 0; i < rec.count; i++) {
        struct flux_read r;
        stretch_decode(&rec.stretch[i], 10, &r);
        struct counted c = count_read(&r, NULL);
        sum.ids_good += c.ids_good;
        sum.good += c.good;
        assert_int_equal(r.quality.encoding, t->encoding);
        flux_read_release(&r);
    }
    recorded_release(&rec);
    print_message("%s: %d identifiers (label %d), %d data fields (label %d)\n", t->name,
                  sum.ids_good, t->ids, sum.good, t->data);
    assert_true(sum.ids_good >= t->ids);
    assert_true(sum.good >= t->data);
}

static void traces_hold_what_their_labels_say(void **state)
{
    (void)state;
    static const struct trace trace[] = {
        {"healthy-9", 38, 38, ENC_MFM},
        {"speed-plus-6", 38, 37, ENC_MFM},
        {"healthy-10-early-read", 35, 32, ENC_MFM},
        {"rdata-jitter", 11, 0, ENC_MFM},
        {"disk-unformatted", 0, 0, ENC_UNSTEADY},
        {"wgate-stuck-during-read", 4, 4, ENC_MFM},
    };
    for (size_t i = 0; i < sizeof trace / sizeof trace[0]; i++) {
        trace_is_read(&trace[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_real_mfm_track_is_read),
        cmocka_unit_test(a_real_fm_track_is_read),
        cmocka_unit_test(traces_hold_what_their_labels_say),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
