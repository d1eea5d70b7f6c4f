/* Where a capture comes from: found by content, through gzip, and refused where it is none. */
#include "capture_text.h"

#include <sys/stat.h>

#include <zlib.h>

#define VCD                                                                                    \
    "$timescale 1ns $end\n$var wire 1 ! INDEX $end\n$enddefinitions "                          \
    "$end\n#0\n1!\n#5\n0!\n#9\n"
#define VCD_READS "INDEX=1@0 INDEX=0@5 end@9"
#define PATH      TEST_BINARY_DIR "/test_capture_source.tmp"

/* One gzip member. Yours: free. */
static uint8_t *gzip_of(const void *data, size_t len, size_t *out_len)
{
    z_stream z = {0};
    assert_int_equal(deflateInit2(&z, 6, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
    size_t room = len + 1000;
    uint8_t *out = malloc(room);
    assert_non_null(out);
    z.next_in = (Bytef *)(uintptr_t)data;
    z.avail_in = (uInt)len;
    z.next_out = out;
    z.avail_out = (uInt)room;
    assert_int_equal(deflate(&z, Z_FINISH), Z_STREAM_END);
    *out_len = z.total_out;
    deflateEnd(&z);
    return out;
}

static enum err open_path(const char *path, struct err_msg *e)
{
    struct capture *c = NULL;
    e->code = ERR_OK;
    e->text[0] = '\0';
    enum err err = capture_open(path, NULL, &c, e);
    capture_close(c);
    return err;
}

static void a_plain_file_is_read(void **state)
{
    (void)state;
    struct capture *c = NULL;
    struct err_msg e = {.code = ERR_OK};
    struct buf out;
    write_file(PATH, VCD, strlen(VCD));
    assert_int_equal(capture_open(PATH, NULL, &c, &e), ERR_OK);
    buf_init(&out, 1000);
    say_capture(&out, c);
    assert_string_equal(out.data, VCD_READS);
    buf_release(&out);
    unlink(PATH);
}

static void gzip_is_found_by_content_whatever_its_name(void **state)
{
    (void)state;
    size_t len;
    uint8_t *packed = gzip_of(VCD, strlen(VCD), &len);
    char *says = capture_text_of(packed, len, NULL);
    assert_string_equal(says, VCD_READS);
    free(says);
    free(packed);
}

static void gzip_members_follow_one_another(void **state)
{
    (void)state;
    uint8_t all[2000];
    size_t at = 0;
    const size_t cut[] = {0, 1, 30, 31, strlen(VCD)};
    for (size_t i = 0; i + 1 < sizeof cut / sizeof cut[0]; i++) {
        size_t len;
        uint8_t *packed = gzip_of(&VCD[cut[i]], cut[i + 1] - cut[i], &len);
        memcpy(all + at, packed, len);
        at += len;
        free(packed);
    }
    memset(all + at, 0, 512); /* padding, as tapes and tools leave it */
    char *says = capture_text_of(all, at + 512, NULL);
    assert_string_equal(says, VCD_READS);
    free(says);
    all[at] = 'x';
    says = capture_text_of(all, at + 1, NULL);
    assert_non_null(strstr(says, "something other than gzip follows"));
    free(says);
}

static void a_cut_gzip_is_told_with_its_place(void **state)
{
    (void)state;
    size_t len;
    uint8_t *packed = gzip_of(VCD, strlen(VCD), &len);
    for (size_t cut = 3; cut < len; cut++) {
        char want[100];
        snprintf(want, sizeof want,
                 "error: it: byte %zu: the gzip data end early: the file was cut short", cut);
        char *says = capture_text_of(packed, cut, NULL);
        if (strstr(says, want) == NULL)
            fail_msg("cut at %zu: %s", cut, says);
        free(says);
    }
    free(packed);
}

static void damaged_gzip_is_told(void **state)
{
    (void)state;
    size_t len;
    uint8_t *packed = gzip_of(VCD, strlen(VCD), &len);
    packed[len - 6] ^= 0x40; /* its check */
    char *says = capture_text_of(packed, len, NULL);
    assert_non_null(strstr(says, "damaged gzip data"));
    free(says);
    free(packed);
}

static void edges_before_the_damage_are_delivered(void **state)
{
    (void)state;
    struct buf text;
    buf_init(&text, 8u << 20);
    assert_int_equal(
        buf_str(&text, "$timescale 1ns $end $var wire 1 ! INDEX $end $enddefinitions $end\n"),
        ERR_OK);
    unsigned noise = 1;
    long long t = 0;
    for (int i = 0; i < 100000; i++) {
        noise = noise * 1664525u + 1013904223u;
        t += 1 + (noise >> 20);
        assert_int_equal(buf_printf(&text, "#%lld\n%d!\n", t, i & 1), ERR_OK);
    }
    size_t len;
    uint8_t *packed = gzip_of(text.data, text.len, &len);
    struct capture *c = NULL;
    struct chunk k = {.last = false};
    struct err_msg e = {.code = ERR_OK};
    size_t edges = 0;
    assert_int_equal(capture_open_memory("it", packed, len / 2, NULL, &c, &e), ERR_OK);
    while (capture_next(c, &k, &e) == ERR_OK) {
        assert_false(k.last);
        edges += k.count;
    }
    assert_int_equal(e.code, ERR_FORMAT);
    assert_in_range(edges, 40000, 60000);
    /* and the error stays */
    assert_int_equal(capture_next(c, &k, &e), ERR_FORMAT);
    capture_close(c);
    free(packed);
    buf_release(&text);
}

static void what_is_missing_is_no_input(void **state)
{
    (void)state;
    struct err_msg e;
    assert_int_equal(open_path(TEST_BINARY_DIR "/no-such-file.vcd", &e), ERR_NO_INPUT);
    assert_non_null(strstr(e.text, "no-such-file.vcd: No such file"));
}

static void what_is_no_capture_is_refused(void **state)
{
    (void)state;
    static const uint8_t BINARY[] = {0x7f, 'E', 'L', 'F', 2, 1, 1, 0, 0, ',', ',', 0};
    char *says = capture_text_of(BINARY, sizeof BINARY, NULL);
    assert_string_equal(says, "error: it: not a capture: neither VCD nor CSV nor .wec");
    free(says);
    assert_says("", NULL, "error: it: not a capture: the file is empty");
    assert_says("\n", NULL, "error: it: not a capture");
    assert_says("only words\nand more words\n", NULL, "error: it: not a capture");
    assert_says("1,2,3\n4,5,6\n", NULL,
                "error: it:1: column 1: \"1\" stands where a header row must name the lines");
}

static void folders_and_pipes_are_refused_and_not_waited_for(void **state)
{
    (void)state;
    struct err_msg e;
    assert_int_equal(open_path(TEST_BINARY_DIR, &e), ERR_FORMAT);
    assert_non_null(strstr(e.text, "a folder, not a capture file"));
    unlink(PATH);
    assert_int_equal(mkfifo(PATH, 0600), 0);
    assert_int_equal(open_path(PATH, &e), ERR_FORMAT);
    assert_non_null(strstr(e.text, "not a regular file"));
    unlink(PATH);
}

static void a_byte_order_mark_is_passed_over(void **state)
{
    (void)state;
    assert_reads("\xef\xbb\xbf" VCD, NULL, VCD_READS);
    assert_reads("\xef\xbb\xbftime,INDEX\n0,1\n", NULL, "INDEX=1@0 end@0");
}

static void progress_runs_from_nothing_to_all(void **state)
{
    (void)state;
    struct capture *c = NULL;
    struct chunk k = {.last = false};
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_open_memory("it", VCD, strlen(VCD), NULL, &c, &e), ERR_OK);
    while (!k.last)
        assert_int_equal(capture_next(c, &k, &e), ERR_OK);
    assert_true(capture_progress(c) >= 1.0);
    capture_close(c);
}

static void chunks_have_a_ceiling_and_join_without_a_gap(void **state)
{
    (void)state;
    struct buf text;
    buf_init(&text, 64u << 20);
    assert_int_equal(
        buf_str(&text, "$timescale 1ns $end $var wire 1 ! INDEX $end $enddefinitions $end\n"),
        ERR_OK);
    for (int i = 1; i <= 500000; i++)
        assert_int_equal(buf_printf(&text, "#%d %d!\n", 7 * i, i & 1), ERR_OK);
    struct capture *c = NULL;
    struct chunk k = {.last = false};
    struct err_msg e = {.code = ERR_OK};
    int64_t expected = 0;
    assert_int_equal(capture_open_memory("it", text.data, text.len, NULL, &c, &e), ERR_OK);
    while (!k.last) {
        assert_int_equal(capture_next(c, &k, &e), ERR_OK);
        assert_true(k.count <= CHUNK_EDGES_MAX);
        for (size_t i = 0; i < k.count; i++) {
            expected += 7;
            assert_true(edge_tick(&k, i) == expected);
        }
        assert_true(k.end_tick == expected);
    }
    assert_true(expected == 3500000);
    capture_close(c);
    buf_release(&text);
}

static void a_gap_of_more_than_56_bits_starts_a_new_chunk(void **state)
{
    (void)state;
    assert_reads(
        "$timescale 1 fs $end $var wire 1 ! INDEX $end $enddefinitions $end\n"
        "#1 1! #2 0! #72057594037927999 1! #9000000000000000000 0! #9000000000000000001 1!\n",
        NULL,
        "INDEX=1@1 INDEX=0@2 INDEX=1@72057594037927999 INDEX=0@9000000000000000000 "
        "INDEX=1@9000000000000000001 end@9000000000000000001");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plain_file_is_read),
        cmocka_unit_test(gzip_is_found_by_content_whatever_its_name),
        cmocka_unit_test(gzip_members_follow_one_another),
        cmocka_unit_test(a_cut_gzip_is_told_with_its_place),
        cmocka_unit_test(damaged_gzip_is_told),
        cmocka_unit_test(edges_before_the_damage_are_delivered),
        cmocka_unit_test(what_is_missing_is_no_input),
        cmocka_unit_test(what_is_no_capture_is_refused),
        cmocka_unit_test(folders_and_pipes_are_refused_and_not_waited_for),
        cmocka_unit_test(a_byte_order_mark_is_passed_over),
        cmocka_unit_test(progress_runs_from_nothing_to_all),
        cmocka_unit_test(chunks_have_a_ceiling_and_join_without_a_gap),
        cmocka_unit_test(a_gap_of_more_than_56_bits_starts_a_new_chunk),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
