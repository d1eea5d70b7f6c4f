/* The .wec container: what goes in comes out, a cut file reads up to its last whole chunk, a
 * damaged one is told. */
#include "base/file.h"
#include "capture/wec.h"
#include "capture_text.h"

#include <zlib.h>

#define PATH TEST_BINARY_DIR "/test_wec_file.tmp.wec"

static struct capture_info made_info(void)
{
    struct capture_info info = {.format = CAPTURE_WEC,
                                .tick = {125000000, 3},
                                .lines = LINE_BIT(LINE_INDEX) | LINE_BIT(LINE_RDATA) |
                                         LINE_BIT(LINE_STEP),
                                .rails = 1u << RAIL_V5 | 1u << RAIL_V12,
                                .role = "inline",
                                .tap = "drive-end",
                                .sample_fs = 41666667,
                                .detail = "invented bench"};
    return info;
}

static unsigned next_noise(unsigned *noise)
{
    *noise = *noise * 1664525u + 1013904223u;
    return *noise >> 16;
}

/* Three chunks' worth: pulses of read data, an index, a line that is lost for a while, and two
 * rails. */
static void write_sample(struct capture_writer *w, int64_t pulses, struct err_msg *e)
{
    unsigned noise = 7;
    int64_t t = 10;
    assert_int_equal(capture_writer_edge(w, 0, LINE_RDATA, LEVEL_HIGH, e), ERR_OK);
    assert_int_equal(capture_writer_edge(w, 0, LINE_STEP, LEVEL_HIGH, e), ERR_OK);
    assert_int_equal(capture_writer_rail(w, 0, RAIL_V5, 4980, e), ERR_OK);
    assert_int_equal(capture_writer_rail(w, 3, RAIL_V12, -15, e), ERR_OK);
    for (int64_t i = 0; i < pulses; i++) {
        t += 96 * (2 + next_noise(&noise) % 3) / 2;
        assert_int_equal(capture_writer_edge(w, t, LINE_RDATA, LEVEL_LOW, e), ERR_OK);
        if (i % 100 == 0)
            assert_int_equal(
                capture_writer_edge(w, t, LINE_INDEX, i % 200 == 0 ? LEVEL_LOW : LEVEL_HIGH, e),
                ERR_OK);
        if (i % 1000 == 0)
            assert_int_equal(
                capture_writer_edge(w, t, LINE_STEP, (enum level)(i / 1000 % 3), e), ERR_OK);
        if (i % 500 == 0)
            assert_int_equal(capture_writer_rail(w, t, RAIL_V5, 4900 + (int32_t)(i % 7), e),
                             ERR_OK);
        assert_int_equal(capture_writer_edge(w, t + 10, LINE_RDATA, LEVEL_HIGH, e), ERR_OK);
    }
    assert_int_equal(capture_writer_finish(w, t + 1000000, e), ERR_OK);
}

/* A few items told one by one. */
static void write_small(struct capture_writer *w, struct err_msg *e)
{
    static const struct {
        int64_t tick;
        enum line line;
        enum level level;
    } EDGES[] = {
        {0, LINE_RDATA, LEVEL_HIGH},     {0, LINE_STEP, LEVEL_HIGH},
        {154, LINE_RDATA, LEVEL_LOW},    {154, LINE_INDEX, LEVEL_LOW},
        {154, LINE_STEP, LEVEL_LOW},     {164, LINE_RDATA, LEVEL_HIGH},
        {164, LINE_RDATA, LEVEL_LOW},    {164, LINE_RDATA, LEVEL_HIGH},
        {900, LINE_STEP, LEVEL_UNKNOWN}, {INT64_C(4000000000000), LINE_STEP, LEVEL_HIGH}};
    assert_int_equal(capture_writer_rail(w, 0, RAIL_V5, 4980, e), ERR_OK);
    for (size_t i = 0; i < sizeof EDGES / sizeof EDGES[0]; i++) {
        assert_int_equal(
            capture_writer_edge(w, EDGES[i].tick, EDGES[i].line, EDGES[i].level, e), ERR_OK);
        if (i == 5)
            assert_int_equal(capture_writer_rail(w, 164, RAIL_V12, -15, e), ERR_OK);
    }
    assert_int_equal(capture_writer_finish(w, INT64_C(4000000000001), e), ERR_OK);
}

/* The sample in `format` as bytes (0 pulses: the small one); yours: buf_release. */
static void make_sample(enum capture_format format, int64_t pulses, struct buf *out)
{
    struct capture_writer *w = NULL;
    struct capture_info info = made_info();
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_writer_open(PATH, format, &info, true, &w, &e), ERR_OK);
    if (pulses > 0)
        write_sample(w, pulses, &e);
    else
        write_small(w, &e);
    buf_init(out, 64u << 20);
    assert_int_equal(file_read(PATH, out, &e), ERR_OK);
    unlink(PATH);
}

#define SMALL_READS                                                                            \
    "STEP=1@0 RDATA=1@0 V5=4980@0 STEP=0@154 INDEX=0@154 RDATA=0@154 RDATA=1@164 RDATA=0@164 " \
    "RDATA=1@164 V12=-15@164 STEP=x@900 STEP=1@4000000000000 end@4000000000001"

static void everything_comes_back(void **state)
{
    (void)state;
    struct buf wec;
    struct capture *c = NULL;
    struct err_msg e = {.code = ERR_OK};
    make_sample(CAPTURE_WEC, 0, &wec);
    assert_int_equal(capture_open_memory("it", wec.data, wec.len, NULL, &c, &e), ERR_OK);
    const struct capture_info *got = capture_info(c);
    struct capture_info want = made_info();
    assert_int_equal(got->format, CAPTURE_WEC);
    assert_true(got->tick.fs_num == want.tick.fs_num && got->tick.fs_den == want.tick.fs_den);
    assert_true(got->lines == want.lines && got->rails == want.rails && got->ignored == 0);
    assert_string_equal(got->role, want.role);
    assert_string_equal(got->tap, want.tap);
    assert_string_equal(got->detail, want.detail);
    assert_true(got->sample_fs == want.sample_fs);
    capture_close(c);
    char *says = capture_text_of(wec.data, wec.len, NULL);
    assert_string_equal(says, SMALL_READS);
    free(says);
    buf_release(&wec);
}

static void the_same_capture_gives_the_same_bytes(void **state)
{
    (void)state;
    struct buf one;
    struct buf two;
    make_sample(CAPTURE_WEC, 3000, &one);
    make_sample(CAPTURE_WEC, 3000, &two);
    assert_int_equal(one.len, two.len);
    assert_memory_equal(one.data, two.data, one.len);
    buf_release(&one);
    buf_release(&two);
}

/* How many whole chunks lie in the first `len` bytes, walking by the documented frame. */
static size_t whole_chunks(const uint8_t *p, size_t len)
{
    size_t at = WEC_MAGIC_BYTES + 1;
    size_t count = 0;
    struct wec_frame f;
    while (at + WEC_FRAME_BYTES <= len && wec_frame_get(p + at, &f) &&
           at + WEC_FRAME_BYTES + f.packed_len <= len) {
        at += WEC_FRAME_BYTES + f.packed_len;
        count++;
    }
    return count;
}

static void a_file_cut_at_any_byte_reads_to_its_last_whole_chunk(void **state)
{
    (void)state;
    struct buf wec;
    make_sample(CAPTURE_WEC, 40000, &wec); /* 80,000 edges: two full chunks and the end */
    char *all = capture_text_of(wec.data, wec.len, NULL);
    size_t chunks = whole_chunks((const uint8_t *)wec.data, wec.len);
    assert_in_range(chunks, 4, 10);
    size_t before = 0;
    char *said = NULL;
    for (size_t cut = 0; cut < wec.len; cut++) {
        size_t whole = whole_chunks((const uint8_t *)wec.data, cut);
        if (cut > 600 && whole == before && cut % 9973 != 0 && cut + 300 < wec.len)
            continue; /* far from any border every 9973rd will do */
        free(said);
        said = capture_text_of(wec.data, cut, NULL);
        before = whole;
        if (whole == 0) {
            assert_memory_equal(said, "error: ", 7);
            continue;
        }
        size_t len = strlen(said);
        assert_string_equal(said + len - 4, " cut");
        char *end = strstr(said, "end@");
        assert_non_null(end);
        assert_memory_equal(said, all, (size_t)(end - said));
        assert_true(whole < 2 || end - said > 1000);
    }
    free(said);
    free(all);
    buf_release(&wec);
}

static void a_small_file_cut_or_changed_at_every_byte_never_lies(void **state)
{
    (void)state;
    struct buf wec;
    make_sample(CAPTURE_WEC, 0, &wec);
    char *all = capture_text_of(wec.data, wec.len, NULL);
    for (size_t i = 0; i < wec.len; i++) {
        char *cut = capture_text_of(wec.data, i, NULL);
        assert_string_not_equal(cut, all);
        free(cut);
        for (unsigned bit = 1; bit < 256; bit <<= 4) {
            wec.data[i] = (char)(wec.data[i] ^ (char)bit);
            char *changed = capture_text_of(wec.data, wec.len, NULL);
            if (strstr(changed, "error: ") == NULL)
                fail_msg("byte %zu, bit %u: %s", i, bit, changed);
            free(changed);
            wec.data[i] = (char)(wec.data[i] ^ (char)bit);
        }
    }
    free(all);
    buf_release(&wec);
}

static void damage_in_the_middle_is_told_after_the_chunks_before_it(void **state)
{
    (void)state;
    struct buf wec;
    make_sample(CAPTURE_WEC, 40000, &wec);
    struct wec_frame f;
    size_t at = WEC_MAGIC_BYTES + 1;
    for (int i = 0; i < 2; i++) { /* behind the header and the first chunk of edges */
        assert_true(wec_frame_get((const uint8_t *)wec.data + at, &f));
        at += WEC_FRAME_BYTES + f.packed_len;
    }
    wec.data[at + WEC_FRAME_BYTES + 100] ^= 1;
    char *says = capture_text_of(wec.data, wec.len, NULL);
    char want[100];
    snprintf(want, sizeof want, "error: it: damaged at byte %zu: the chunk's checksum is wrong",
             at + WEC_FRAME_BYTES);
    char *error = strstr(says, "error: ");
    assert_non_null(error);
    assert_string_equal(error, want);
    assert_true(error - says > 100000);
    free(says);
    buf_release(&wec);
}

/* A chunk of our own making behind `out`. */
static void add_chunk(struct buf *out, const char *type, uint32_t sequence, int64_t first,
                      int64_t last, const void *plain, size_t len)
{
    uint8_t packed[4096];
    uLongf packed_len = len > 0 ? sizeof packed : 0;
    if (len > 0)
        assert_int_equal(compress(packed, &packed_len, plain, len), Z_OK);
    struct wec_frame f = {.sequence = sequence,
                          .packed_len = (uint32_t)packed_len,
                          .plain_len = (uint32_t)len,
                          .first_tick = first,
                          .last_tick = last,
                          .payload_crc = (uint32_t)crc32(0, packed, (uInt)packed_len)};
    memcpy(f.type, type, 4);
    uint8_t head[WEC_FRAME_BYTES];
    wec_frame_put(&f, head);
    assert_int_equal(buf_add(out, head, sizeof head), ERR_OK);
    assert_int_equal(buf_add(out, packed, packed_len), ERR_OK);
}

static void begin_file(struct buf *out, const char *header)
{
    buf_init(out, 1u << 20);
    assert_int_equal(buf_add(out, WEC_MAGIC "\x01", WEC_MAGIC_BYTES + 1), ERR_OK);
    add_chunk(out, "HEAD", 0, 0, 0, header, strlen(header));
}

#define HEADER "tick 1000000/1\nlines STEP INDEX\nrails V5\n"

static void assert_file_says(struct buf *file, const char *want)
{
    char *says = capture_text_of(file->data, file->len, NULL);
    assert_string_equal(says, want);
    free(says);
    buf_release(file);
}

/* The worked example of the layout, byte by byte. */
static void the_documented_layout_is_what_is_read(void **state)
{
    (void)state;
    static const uint8_t EDGES[] = {
        3,                          /* groups */
        0, 1, 3, 0, 0x90, 0x4e, 20, /* STEP: high first, +0 and +10000 in planes, then +20 */
        1, 2, 2, 0, 2,    5,    6,  /* INDEX: low at 5, not recorded at 11 */
        2, 0, 2, 0, 0xe8, 0x4d, 7,  0x03, /* V5: 4980 mV at 0, -2 mV at 7 */
    };
    struct buf file;
    begin_file(&file, HEADER "a-key-of-later-days with a value\n");
    add_chunk(&file, "EDGE", 1, 100, 20000, EDGES, sizeof EDGES);
    add_chunk(&file, "NOTE", 2, 20000, 20000, "anything", 8);
    add_chunk(&file, "END ", 3, 30000, 30000, NULL, 0);
    assert_file_says(&file,
                     "STEP=1@100 V5=4980@100 INDEX=0@105 V5=-2@107 INDEX=x@111 STEP=0@120 "
                     "STEP=1@10120 end@30000");
}

static void payloads_that_contradict_themselves_are_refused(void **state)
{
    (void)state;
    static const struct {
        uint8_t bytes[16];
        size_t len;
    } BAD[] = {
        {{0}, 0},                               /* no count */
        {{1}, 1},                               /* a group missing */
        {{1, 3, 0, 1, 0}, 5},                   /* no such channel */
        {{2, 0, 0, 1, 0, 0, 0, 1, 0}, 9},       /* a channel twice */
        {{1, 0, 3, 1, 0}, 5},                   /* no such form */
        {{1, 0, 2, 1, 3, 0}, 6},                /* no such level */
        {{1, 0, 0, 2, 0}, 5},                   /* a delta missing */
        {{1, 0, 0, 1, 0, 0}, 6},                /* a byte too many */
        {{1, 0, 0, 1, 101}, 5},                 /* beyond the last tick */
        {{1, 0, 0, 0xff, 0xff, 0xff, 0x7f}, 7}, /* more edges than a chunk holds */
        {{1, 0, 0, 1, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 1}, 14},
        {{1, 2, 1, 1, 0, 0}, 6},   /* a rail of a form that is none */
        {{1, 2, 0, 1, 101, 0}, 6}, /* a sample beyond the last tick */
        {{1, 2, 0, 1, 0}, 5},      /* a voltage missing */
    };
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++) {
        struct buf file;
        begin_file(&file, HEADER);
        size_t at = file.len;
        char want[100];
        add_chunk(&file, "EDGE", 1, 0, 100, BAD[i].bytes, BAD[i].len);
        snprintf(want, sizeof want,
                 "error: it: damaged at byte %zu: a chunk contradicts itself", at);
        assert_file_says(&file, want);
    }
}

static void chunks_out_of_order_are_refused(void **state)
{
    (void)state;
    static const uint8_t NONE[] = {0};
    struct buf file;
    begin_file(&file, HEADER);
    size_t at = file.len;
    char want[100];
    add_chunk(&file, "EDGE", 2, 0, 100, NONE, 1);
    snprintf(want, sizeof want,
             "error: it: damaged at byte %zu: a chunk is missing or out of order", at);
    assert_file_says(&file, want);
    begin_file(&file, HEADER);
    add_chunk(&file, "EDGE", 1, 50, 100, NONE, 1);
    at = file.len;
    add_chunk(&file, "EDGE", 2, 99, 100, NONE, 1);
    snprintf(want, sizeof want, "error: it: damaged at byte %zu: time runs backwards", at);
    assert_file_says(&file, want);
}

static void bad_headers_are_refused(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        const char *key;
    } BAD[] = {
        {"lines INDEX\n", "tick"},
        {"tick 0/1\nlines INDEX\n", "tick"},
        {"tick 10\nlines INDEX\n", "tick"},
        {"tick 99999999999999999999/1\nlines INDEX\n", "tick"},
        {"tick 10/1\nlines INDEX HUM\n", "lines"},
        {"tick 10/1\nlines INDEX INDEX\n", "lines"},
        {"tick 10/1\nlines INDEX\nrails V6\n", "rails"},
        {"tick 10/1\nlines INDEX\ntap somewhere\n", "tap"},
        {"tick 10/1\nlines INDEX\nrole a-role-that-is-far-too-long\n", "role"},
        {"tick 10/1\nlines INDEX\nsample-fs many\n", "sample-fs"},
    };
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++) {
        struct buf file;
        char want[100];
        begin_file(&file, BAD[i].text);
        snprintf(want, sizeof want, "error: it: the header's \"%s\" is not understood",
                 BAD[i].key);
        assert_file_says(&file, want);
    }
}

static void a_later_layout_is_refused_by_name(void **state)
{
    (void)state;
    struct buf file;
    begin_file(&file, HEADER);
    file.data[WEC_MAGIC_BYTES] = 2;
    assert_file_says(&file, "error: it: layout 2 of a .wec file; this program knows layout 1");
}

static void lines_of_a_wec_can_be_mapped(void **state)
{
    (void)state;
    static const uint8_t EDGES[] = {2, 0, 1, 1, 0, 1, 0, 2, 7, 1};
    struct buf file;
    begin_file(&file, HEADER);
    add_chunk(&file, "EDGE", 1, 0, 100, EDGES, sizeof EDGES);
    add_chunk(&file, "END ", 2, 100, 100, NULL, 0);
    char *says = capture_text_of(file.data, file.len, MAP("SECTOR=INDEX:high"));
    assert_string_equal(says, "STEP=1@0 SECTOR=1@7 SECTOR=0@8 end@100");
    free(says);
    says = capture_text_of(file.data, file.len, MAP("SECTOR=INDEX", "READY=INDEX"));
    assert_string_equal(says,
                        "error: it: one line of the file cannot be two: READY and SECTOR");
    free(says);
    buf_release(&file);
}

static void read_data_takes_less_than_1_6_bytes_a_pulse(void **state)
{
    (void)state;
    /* MFM-like: cells of 2 us in 10 ns ticks, jitter of 50 ns rms or so, pulses 420 to 440 ns
     */
    struct capture_info info = {.tick = {10000000, 1}, .lines = LINE_BIT(LINE_RDATA)};
    struct capture_writer *w = NULL;
    struct err_msg e = {.code = ERR_OK};
    struct buf out;
    unsigned noise = 3;
    int64_t t = 1000;
    const int64_t pulses = 100000;
    assert_int_equal(capture_writer_open(PATH, CAPTURE_WEC, &info, true, &w, &e), ERR_OK);
    for (int64_t i = 0; i < pulses; i++) {
        static const int64_t CELLS[] = {2, 2, 3, 2, 4, 3, 2, 2};
        int64_t jitter = 0;
        for (int k = 0; k < 6; k++)
            jitter += next_noise(&noise) % 7;
        assert_int_equal(capture_writer_edge(w, t + jitter - 18, LINE_RDATA, LEVEL_LOW, &e),
                         ERR_OK);
        assert_int_equal(capture_writer_edge(w, t + jitter - 18 + 42 + next_noise(&noise) % 3,
                                             LINE_RDATA, LEVEL_HIGH, &e),
                         ERR_OK);
        t += 200 * CELLS[next_noise(&noise) % 8];
    }
    assert_int_equal(capture_writer_finish(w, t, &e), ERR_OK);
    buf_init(&out, 16u << 20);
    assert_int_equal(file_read(PATH, &out, &e), ERR_OK);
    double bytes = (double)out.len / (double)pulses;
    print_message("%.3f bytes a pulse\n", bytes);
    assert_true(bytes < 1.6);
    buf_release(&out);
    unlink(PATH);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(everything_comes_back),
        cmocka_unit_test(the_same_capture_gives_the_same_bytes),
        cmocka_unit_test(a_file_cut_at_any_byte_reads_to_its_last_whole_chunk),
        cmocka_unit_test(a_small_file_cut_or_changed_at_every_byte_never_lies),
        cmocka_unit_test(damage_in_the_middle_is_told_after_the_chunks_before_it),
        cmocka_unit_test(the_documented_layout_is_what_is_read),
        cmocka_unit_test(payloads_that_contradict_themselves_are_refused),
        cmocka_unit_test(chunks_out_of_order_are_refused),
        cmocka_unit_test(bad_headers_are_refused),
        cmocka_unit_test(a_later_layout_is_refused_by_name),
        cmocka_unit_test(lines_of_a_wec_can_be_mapped),
        cmocka_unit_test(read_data_takes_less_than_1_6_bytes_a_pulse),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
