/* Writing VCD and CSV, and ways there and back between all formats. */
#include "base/file.h"
#include "capture_text.h"

#include <sys/stat.h>

#define VCD_PATH TEST_BINARY_DIR "/test_capture_write.tmp.vcd"
#define GZ_PATH  TEST_BINARY_DIR "/test_capture_write.tmp.vcd.gz"
#define CSV_PATH TEST_BINARY_DIR "/test_capture_write.tmp.csv"
#define WEC_PATH TEST_BINARY_DIR "/test_capture_write.tmp.wec"

/* Copy a capture in memory to a file; what the file reads as. */
static char *through(const char *text, const char *path, enum capture_format format)
{
    struct capture *in = NULL;
    struct capture_writer *w = NULL;
    struct err_msg e = {.code = ERR_OK};
    struct buf out;
    assert_int_equal(capture_open_memory("it", text, strlen(text), NULL, &in, &e), ERR_OK);
    assert_int_equal(capture_writer_open(path, format, capture_info(in), true, &w, &e), ERR_OK);
    assert_int_equal(capture_copy(in, w, &e), ERR_OK);
    capture_close(in);
    assert_int_equal(capture_open(path, NULL, &in, &e), ERR_OK);
    buf_init(&out, 1u << 20);
    say_capture(&out, in);
    return out.data;
}

static char *file_text(const char *path)
{
    struct buf out;
    struct err_msg e = {.code = ERR_OK};
    buf_init(&out, 1u << 20);
    assert_int_equal(file_read(path, &out, &e), ERR_OK);
    unlink(path);
    return out.data;
}

#define SAMPLE                                                                                 \
    "$timescale 10 ns $end $var wire 1 ! INDEX $end $var wire 1 % STEP $end $var real 64 & "   \
    "V5 $end "                                                                                 \
    "$enddefinitions $end #0 1! #4 0% r4.98 & #5 0! 1% #6 x! #9 1! 0! 1! r-0.25 & #12\n"
#define SAMPLE_READS                                                                           \
    "INDEX=1@0 STEP=0@4 V5=4980@4 INDEX=0@5 STEP=1@5 INDEX=x@6 INDEX=1@9 INDEX=0@9 INDEX=1@9 " \
    "V5=-250@9 end@12"

static void vcd_is_written_as_the_handbook_advises(void **state)
{
    (void)state;
    /* VCW-1 to VCW-3: the whole text, item by item */
    char *says = through(SAMPLE, VCD_PATH, CAPTURE_VCD);
    assert_string_equal(says, SAMPLE_READS);
    free(says);
    char *text = file_text(VCD_PATH);
    assert_string_equal(
        text, "$version whichend $end\n$comment VCD $end\n$timescale 10 ns $end\n"
              "$scope module bus $end\n$var wire 1 + STEP $end\n$var wire 1 > INDEX $end\n"
              "$var real 64 I V5 $end\n$upscope $end\n$enddefinitions $end\n"
              "#0\n$dumpvars\nx+\n1>\n$end\n#4\nr4.980 I\n0+\n#5\n0>\n1+\n#6\nx>\n"
              "#9\nr-0.250 I\n1>\n0>\n1>\n#12\n");
    free(text);
}

static void csv_rows_are_states(void **state)
{
    (void)state;
    char *says = through(SAMPLE, CSV_PATH, CAPTURE_CSV);
    assert_string_equal(
        says, "INDEX=1@0 STEP=0@40000 V5=4980@40000 STEP=1@50000 INDEX=0@50000 INDEX=x@60000 "
              "INDEX=1@90000 INDEX=0@90000 INDEX=1@90000 V5=-250@90000 end@120000");
    free(says);
    char *text = file_text(CSV_PATH);
    assert_string_equal(
        text,
        "time,STEP,INDEX,V5\n0.000000000,x,1,\n0.000000040,0,1,4.980\n0.000000050,1,0,4.980\n"
        "0.000000060,1,x,4.980\n0.000000090,1,1,-0.250\n0.000000090,1,0,-0.250\n"
        "0.000000090,1,1,-0.250\n0.000000120,1,1,-0.250\n");
    free(text);
}

static void wec_keeps_every_edge(void **state)
{
    (void)state;
    char *says = through(SAMPLE, WEC_PATH, CAPTURE_WEC);
    assert_string_equal(
        says, "INDEX=1@0 STEP=0@4 V5=4980@4 STEP=1@5 INDEX=0@5 INDEX=x@6 INDEX=1@9 INDEX=0@9 "
              "INDEX=1@9 V5=-250@9 end@12");
    free(says);
    unlink(WEC_PATH);
}

static void gzip_output_is_the_same_every_time(void **state)
{
    (void)state;
    struct buf one;
    struct buf two;
    struct err_msg e = {.code = ERR_OK};
    buf_init(&one, 1u << 20);
    buf_init(&two, 1u << 20);
    char *says = through(SAMPLE, GZ_PATH, CAPTURE_VCD);
    assert_string_equal(says, SAMPLE_READS);
    free(says);
    assert_int_equal(file_read(GZ_PATH, &one, &e), ERR_OK);
    free(through(SAMPLE, GZ_PATH, CAPTURE_VCD));
    assert_int_equal(file_read(GZ_PATH, &two, &e), ERR_OK);
    assert_int_equal(one.len, two.len);
    assert_memory_equal(one.data, two.data, one.len);
    /* RFC 1952: magic, method, no flags, no time */
    assert_memory_equal(one.data, "\x1f\x8b\x08\x00\x00\x00\x00\x00", 8);
    buf_release(&one);
    buf_release(&two);
    unlink(GZ_PATH);
}

/* The timescale that a tick is written with, and the stamp that tick 1000 gets. */
static void check_timescale(int64_t num, int64_t den, const char *timescale, const char *stamp)
{
    struct capture_info info = {.tick = {num, den}, .lines = LINE_BIT(LINE_INDEX)};
    struct capture_writer *w = NULL;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_writer_open(VCD_PATH, CAPTURE_VCD, &info, true, &w, &e), ERR_OK);
    assert_int_equal(capture_writer_edge(w, 1000, LINE_INDEX, LEVEL_LOW, &e), ERR_OK);
    assert_int_equal(capture_writer_finish(w, 1000, &e), ERR_OK);
    char *text = file_text(VCD_PATH);
    if (strstr(text, timescale) == NULL || strstr(text, stamp) == NULL)
        fail_msg("%s and %s expected in: %s", timescale, stamp, text);
    free(text);
}

static void the_timescale_holds_the_tick_or_is_far_finer(void **state)
{
    (void)state;
    check_timescale(1, 1, "$timescale 1 fs $end", "#1000\n");
    check_timescale(1000000, 1, "$timescale 1 ns $end", "#1000\n");
    check_timescale(100000000, 1, "$timescale 100 ns $end", "#1000\n");
    check_timescale(FS_PER_S, 1, "$timescale 1 s $end", "#1000\n");
    check_timescale(100 * FS_PER_S, 1, "$timescale 100 s $end", "#1000\n");
    check_timescale(6666000, 1, "$timescale 1 ps $end", "#6666000\n");
    check_timescale(25000000, 1, "$timescale 1 ns $end", "#25000\n");
    /* 24 MHz: 41.6 recurring ns; 1000 ticks are 41666666.6 ps */
    check_timescale(125000000, 3, "$timescale 10 ps $end", "#4166667\n");
    check_timescale(1, 3, "$timescale 1 fs $end", "#333\n");
}

static void edges_on_a_rational_tick_come_back_within_half_a_unit(void **state)
{
    (void)state;
    struct capture_info info = {.tick = {125000000, 3}, .lines = LINE_BIT(LINE_RDATA)};
    struct capture_writer *w = NULL;
    struct capture *c = NULL;
    struct chunk k;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_writer_open(VCD_PATH, CAPTURE_VCD, &info, true, &w, &e), ERR_OK);
    for (int64_t i = 1; i <= 30000; i++)
        assert_int_equal(capture_writer_edge(w, 37 * i, LINE_RDATA, (enum level)(i & 1), &e),
                         ERR_OK);
    assert_int_equal(capture_writer_finish(w, 37 * 30000, &e), ERR_OK);
    assert_int_equal(capture_open(VCD_PATH, NULL, &c, &e), ERR_OK);
    assert_int_equal(capture_next(c, &k, &e), ERR_OK);
    assert_int_equal(k.count, 30000);
    for (size_t i = 0; i < k.count; i++) { /* in fs: 10 ps units against the exact place */
        int64_t off = edge_tick(&k, i) * 10000 - (int64_t)(i + 1) * 37 * 125000000 / 3;
        assert_true(off <= 5001 && off >= -5001);
    }
    capture_close(c);
    unlink(VCD_PATH);
}

static void a_line_that_is_not_in_the_file_is_our_own_mistake(void **state)
{
    (void)state;
    struct capture_info info = {.tick = {1000000, 1}, .lines = LINE_BIT(LINE_INDEX)};
    struct capture_writer *w = NULL;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_writer_open(VCD_PATH, CAPTURE_VCD, &info, true, &w, &e), ERR_OK);
    assert_int_equal(capture_writer_edge(w, 0, LINE_STEP, LEVEL_LOW, NULL), ERR_INTERNAL);
    assert_int_equal(capture_writer_rail(w, 0, RAIL_V5, 5000, NULL), ERR_INTERNAL);
    assert_int_equal(capture_writer_edge(w, 5, LINE_INDEX, LEVEL_LOW, NULL), ERR_OK);
    assert_int_equal(capture_writer_edge(w, 4, LINE_INDEX, LEVEL_HIGH, NULL), ERR_INTERNAL);
    capture_writer_abort(w);
    assert_int_equal(access(VCD_PATH, F_OK), -1);
}

static void nothing_is_overwritten_unless_asked(void **state)
{
    (void)state;
    struct capture_info info = {.tick = {1000000, 1}, .lines = LINE_BIT(LINE_INDEX)};
    struct capture_writer *w = NULL;
    struct err_msg e = {.code = ERR_OK};
    write_file(VCD_PATH, "mine", 4);
    assert_int_equal(capture_writer_open(VCD_PATH, CAPTURE_VCD, &info, false, &w, &e),
                     ERR_CREATE);
    e.code = ERR_OK;
    assert_int_equal(capture_writer_open(TEST_BINARY_DIR "/no/such/folder/x.vcd", CAPTURE_VCD,
                                         &info, false, &w, &e),
                     ERR_CREATE);
    char *text = file_text(VCD_PATH);
    assert_string_equal(text, "mine");
    free(text);
}

static void a_capture_that_breaks_off_leaves_no_file(void **state)
{
    (void)state;
    const char *text =
        "$timescale 1ns $end $var wire 1 ! INDEX $end $enddefinitions $end #5 1! #6 0! #4 1!\n";
    struct capture *in = NULL;
    struct capture_writer *w = NULL;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_open_memory("it", text, strlen(text), NULL, &in, &e), ERR_OK);
    assert_int_equal(capture_writer_open(WEC_PATH, CAPTURE_WEC, capture_info(in), true, &w, &e),
                     ERR_OK);
    assert_int_equal(capture_copy(in, w, &e), ERR_FORMAT);
    assert_non_null(strstr(e.text, "time runs backwards"));
    assert_int_equal(access(WEC_PATH, F_OK), -1);
    capture_close(in);
}

static void a_comment_cannot_break_out_of_the_vcd(void **state)
{
    (void)state;
    struct capture_info info = {
        .tick = {1000000, 1}, .lines = LINE_BIT(LINE_INDEX), .detail = "a $end #5\n1!"};
    struct capture_writer *w = NULL;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_writer_open(VCD_PATH, CAPTURE_VCD, &info, true, &w, &e), ERR_OK);
    assert_int_equal(capture_writer_finish(w, 7, &e), ERR_OK);
    char *text = file_text(VCD_PATH);
    assert_reads(text, NULL, "end@7");
    free(text);
}

static void every_line_and_rail_has_a_code_of_its_own(void **state)
{
    (void)state;
    struct capture_info info = {.tick = {1000000, 1},
                                .lines = LINE_BIT(LINE_COUNT) - 1,
                                .rails = (1u << RAIL_COUNT) - 1};
    struct capture_writer *w = NULL;
    struct capture *c = NULL;
    struct chunk k;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_writer_open(VCD_PATH, CAPTURE_VCD, &info, true, &w, &e), ERR_OK);
    for (size_t i = 0; i < LINE_COUNT; i++)
        assert_int_equal(capture_writer_edge(w, (int64_t)i, (enum line)i, LEVEL_LOW, &e),
                         ERR_OK);
    for (size_t i = 0; i < RAIL_COUNT; i++)
        assert_int_equal(capture_writer_rail(w, 100, (enum rail)i, (int32_t)i, &e), ERR_OK);
    assert_int_equal(capture_writer_finish(w, 100, &e), ERR_OK);
    assert_int_equal(capture_open(VCD_PATH, NULL, &c, &e), ERR_OK);
    assert_true(capture_info(c)->lines == info.lines && capture_info(c)->rails == info.rails);
    assert_int_equal(capture_next(c, &k, &e), ERR_OK);
    assert_int_equal(k.count, LINE_COUNT);
    for (size_t i = 0; i < k.count; i++)
        assert_true((size_t)edge_line(k.edge[i]) == i && edge_tick(&k, i) == (int64_t)i);
    assert_int_equal(k.rail_count, RAIL_COUNT);
    capture_close(c);
    unlink(VCD_PATH);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(vcd_is_written_as_the_handbook_advises),
        cmocka_unit_test(csv_rows_are_states),
        cmocka_unit_test(wec_keeps_every_edge),
        cmocka_unit_test(gzip_output_is_the_same_every_time),
        cmocka_unit_test(the_timescale_holds_the_tick_or_is_far_finer),
        cmocka_unit_test(edges_on_a_rational_tick_come_back_within_half_a_unit),
        cmocka_unit_test(a_line_that_is_not_in_the_file_is_our_own_mistake),
        cmocka_unit_test(nothing_is_overwritten_unless_asked),
        cmocka_unit_test(a_capture_that_breaks_off_leaves_no_file),
        cmocka_unit_test(a_comment_cannot_break_out_of_the_vcd),
        cmocka_unit_test(every_line_and_rail_has_a_code_of_its_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
