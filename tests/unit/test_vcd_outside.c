/* VCD files that others made: what tools wrote, two captures of real drives, and traces of a
 * controller core. Source: the outside data beside the project (see its README); skipped where
 * it is not there. */
#include "base/file.h"
#include "capture_text.h"

#define SHARED    TEST_SHARED_DIR "/data"
#define WEC_PATH  TEST_BINARY_DIR "/test_vcd_outside.tmp.wec"
#define BACK_PATH TEST_BINARY_DIR "/test_vcd_outside.tmp.vcd.gz"

/* The text of a file; NULL where it is not there. Yours: free. */
static char *say_file(const char *path, const char *const *spec)
{
    struct line_map map = {.count = 0};
    struct capture *c = NULL;
    struct err_msg e = {.code = ERR_OK};
    struct buf out;
    if (!shared_is_there(path))
        return NULL;
    buf_init(&out, 1u << 20);
    map_by_hand(&map, spec);
    if (capture_open(path, &map, &c, &e) == ERR_OK)
        say_capture(&out, c);
    else
        buf_printf(&out, "error: %s", e.text);
    line_map_release(&map);
    return out.data;
}

static void what_each_tool_wrote_is_read(void **state)
{
    (void)state;
    /* Expected values read off the files by eye. */
    static const struct {
        const char *name;
        const char *spec[3];
        const char *want;
    } FILES[] = {
        {"canon.vcd",
         {"TRK00=track0_n"},
         "INDEX=1@0 INDEX=0@1000 TRK00=0@1000 INDEX=1@3500000 end@200000000"},
        {"iverilog.vcd",
         {"INDEX=clk", "STEP=one"},
         "STEP=1@0 INDEX=0@0 INDEX=1@50 INDEX=0@100 INDEX=x@150 STEP=x@150 STEP=1@250 "
         "INDEX=1@250 "},
        {"ghdl.vcd",
         {"INDEX=clk", "STEP=b"},
         "INDEX=0@0 STEP=0@0 STEP=1@5000000 INDEX=1@10000000 end@15000000"},
        {"verilator.vcd",
         {"INDEX=clk"},
         "INDEX=0@0 INDEX=1@10 INDEX=0@20 INDEX=1@30 INDEX=0@40 INDEX=1@50 "},
        {"systemc.vcd", {"INDEX=c"}, "INDEX=0@0 INDEX=1@5 INDEX=0@10 end@15"},
        {"yosys.vcd",
         {"INDEX=clk"},
         "INDEX=0@5 INDEX=1@10 INDEX=0@15 INDEX=1@20 INDEX=0@25 INDEX=1@30 end@32"},
        {"sigrok.vcd",
         {"INDEX=D0", "STEP=D3:high"},
         "INDEX=1@0 STEP=0@0 INDEX=0@1 STEP=1@1 INDEX=1@4 STEP=0@4 INDEX=0@8 STEP=1@9 "
         "STEP=0@11 INDEX=1@12 "
         "STEP=1@16 INDEX=0@17 STEP=0@17 STEP=1@19 INDEX=1@20 STEP=0@21 end@24"},
        {"edge_crlf_repeat.vcd", {"INDEX=a"}, "INDEX=0@0 INDEX=1@0 INDEX=0@7 INDEX=1@9 end@9"},
        {"edge_ids.vcd", {"INDEX=a"}, "INDEX=0@0 INDEX=1@5 INDEX=0@6 end@6"},
        {"edge_oneline.vcd", {"INDEX=a"}, "INDEX=1@0 INDEX=0@5 INDEX=1@9 end@9"},
        {"edge_back.vcd", {"INDEX=a"}, "INDEX=1@0 INDEX=0@5 error: "},
        {"edge_big.vcd", {"INDEX=a"}, "INDEX=0@0 INDEX=1@9223372036854775807 error: "},
    };
    for (size_t i = 0; i < sizeof FILES / sizeof FILES[0]; i++) {
        char path[500];
        snprintf(path, sizeof path, SHARED "/vcd/%s", FILES[i].name);
        char *says = say_file(path, FILES[i].spec);
        if (says == NULL)
            skip();
        if (strncmp(says, FILES[i].want, strlen(FILES[i].want)) != 0)
            fail_msg("%s: %s", FILES[i].name, says);
        free(says);
    }
}

static void the_line_to_blame_is_named(void **state)
{
    (void)state;
    char *back = say_file(SHARED "/vcd/edge_back.vcd", MAP("INDEX=a"));
    char *big = say_file(SHARED "/vcd/edge_big.vcd", MAP("INDEX=a"));
    if (back == NULL || big == NULL)
        skip();
    assert_non_null(strstr(back, "edge_back.vcd:11: time runs backwards, from 5 to 3"));
    assert_non_null(
        strstr(big, "edge_big.vcd:10: time stamp #18446744073709551615 is beyond 2^63-1"));
    free(back);
    free(big);
}

struct counts {
    size_t falling[LINE_COUNT];
    size_t edges;
    int64_t end;
};

static struct counts count_edges(const char *path, const char *const *spec)
{
    struct line_map map = {.count = 0};
    struct capture *c = NULL;
    struct chunk k = {.last = false};
    struct err_msg e = {.code = ERR_OK};
    struct counts n = {.edges = 0};
    uint8_t level[LINE_COUNT];
    memset(level, LEVEL_UNKNOWN, sizeof level);
    map_by_hand(&map, spec);
    assert_int_equal(capture_open(path, &map, &c, &e), ERR_OK);
    while (!k.last) {
        assert_int_equal(capture_next(c, &k, &e), ERR_OK);
        n.edges += k.count;
        for (size_t i = 0; i < k.count; i++) {
            enum line line = edge_line(k.edge[i]);
            n.falling[line] += edge_level(k.edge[i]) == LEVEL_LOW && level[line] == LEVEL_HIGH;
            level[line] = (uint8_t)edge_level(k.edge[i]);
        }
    }
    n.end = k.end_tick;
    capture_close(c);
    line_map_release(&map);
    return n;
}

static void captures_of_real_drives_hold_the_pulses_counted_by_others(void **state)
{
    (void)state;
    /* README of the outside data: 47,033 pulses in 233.29 ms; 35,137 in 233.33 ms; 1 is active
     */
    if (!shared_is_there(SHARED "/captures/fdd_mfm.vcd.gz"))
        skip();
    struct counts mfm = count_edges(SHARED "/captures/fdd_mfm.vcd.gz", MAP("RDATA=0:high"));
    struct counts fm = count_edges(SHARED "/captures/fdd_fm.vcd.gz", MAP("RDATA=0:high"));
    assert_int_equal(mfm.falling[LINE_RDATA], 47033);
    assert_int_equal(mfm.end / 100000, 23328); /* ticks of 100 ps */
    assert_int_equal(fm.falling[LINE_RDATA], 35137);
    assert_int_equal(fm.end / 100000, 23332);
}

static void a_trace_holds_the_edges_that_its_label_counts(void **state)
{
    (void)state;
    /* label.json of the trace: falling edges counted during the simulation; RDATA over the full
     * run, so not here */
    static const struct {
        const char *name;
        enum line line;
    } COUNTED[] = {{"\"INDEX\":", LINE_INDEX},
                   {"\"STEP\":", LINE_STEP},
                   {"\"WDATA\":", LINE_WDATA},
                   {"\"TRK00\":", LINE_TRK00},
                   {"\"WGATE\":", LINE_WGATE}};
    if (!shared_is_there(SHARED "/traces/healthy-9/label.json"))
        skip();
    struct buf label;
    struct err_msg e = {.code = ERR_OK};
    buf_init(&label, 1u << 20);
    assert_int_equal(file_read(SHARED "/traces/healthy-9/label.json", &label, &e), ERR_OK);
    struct counts n = count_edges(SHARED "/traces/healthy-9/drive-end.vcd.gz", NULL);
    const char *at = strstr(label.data, "\"falling_edges_at_tap\"");
    assert_non_null(at);
    for (size_t i = 0; i < sizeof COUNTED / sizeof COUNTED[0]; i++) {
        const char *value = strstr(at, COUNTED[i].name);
        assert_non_null(value);
        assert_int_equal(n.falling[COUNTED[i].line],
                         strtol(value + strlen(COUNTED[i].name), NULL, 10));
    }
    buf_release(&label);
}

/* Copy a capture to a file. */
static void convert(const char *from, const char *to, enum capture_format format,
                    const char *const *spec)
{
    struct line_map map = {.count = 0};
    struct capture *in = NULL;
    struct capture_writer *w = NULL;
    struct err_msg e = {.code = ERR_OK};
    map_by_hand(&map, spec);
    assert_int_equal(capture_open(from, &map, &in, &e), ERR_OK);
    assert_int_equal(capture_writer_open(to, format, capture_info(in), true, &w, &e), ERR_OK);
    assert_int_equal(capture_copy(in, w, &e), ERR_OK);
    capture_close(in);
    line_map_release(&map);
}

/* Edges of one line of a capture, one after another. */
struct lane {
    struct capture *c;
    struct chunk k;
    size_t i;
    enum line line;
};

static bool next_edge(struct lane *l, int64_t *tick, enum level *level)
{
    struct err_msg e = {.code = ERR_OK};
    for (;;) {
        while (l->i == l->k.count) {
            if (l->k.last)
                return false;
            assert_int_equal(capture_next(l->c, &l->k, &e), ERR_OK);
            l->i = 0;
        }
        packed_edge edge = l->k.edge[l->i++];
        *tick = edge_tick(&l->k, l->i - 1);
        *level = edge_level(edge);
        if (edge_line(edge) == l->line)
            return true;
    }
}

static size_t compare_line(const char *one, const char *const *spec, const char *two,
                           enum line line)
{
    struct line_map map = {.count = 0};
    struct err_msg e = {.code = ERR_OK};
    struct lane a = {.line = line};
    struct lane b = {.line = line};
    int64_t ta = 0;
    int64_t tb = 0;
    enum level la = LEVEL_UNKNOWN;
    enum level lb = LEVEL_UNKNOWN;
    size_t count = 0;
    map_by_hand(&map, spec);
    assert_int_equal(capture_open(one, &map, &a.c, &e), ERR_OK);
    assert_int_equal(capture_open(two, NULL, &b.c, &e), ERR_OK);
    while (next_edge(&a, &ta, &la)) {
        assert_true(next_edge(&b, &tb, &lb));
        assert_true(ta == tb && la == lb);
        count++;
    }
    assert_false(next_edge(&b, &tb, &lb));
    assert_true(a.k.end_tick == b.k.end_tick);
    capture_close(a.c);
    capture_close(b.c);
    line_map_release(&map);
    return count;
}

static void vcd_to_wec_to_vcd_is_the_same_edge_by_edge(void **state)
{
    (void)state;
    static const struct {
        const char *path;
        const char *spec[2];
        size_t edges;
    } FILES[] = {{SHARED "/captures/fdd_mfm.vcd.gz", {"RDATA=0:high"}, 94067},
                 {SHARED "/captures/fdd_fm.vcd.gz", {"RDATA=0:high"}, 70275},
                 {SHARED "/traces/healthy-9/drive-end.vcd.gz", {NULL}, 341980}};
    for (size_t i = 0; i < sizeof FILES / sizeof FILES[0]; i++) {
        if (!shared_is_there(FILES[i].path))
            skip();
        struct buf wec;
        struct err_msg e = {.code = ERR_OK};
        size_t edges = 0;
        convert(FILES[i].path, WEC_PATH, CAPTURE_WEC, FILES[i].spec);
        convert(WEC_PATH, BACK_PATH, CAPTURE_VCD, NULL);
        for (size_t line = 0; line < LINE_COUNT; line++)
            edges += compare_line(FILES[i].path, FILES[i].spec, BACK_PATH, (enum line)line);
        assert_int_equal(edges, FILES[i].edges);
        buf_init(&wec, 16u << 20);
        assert_int_equal(file_read(WEC_PATH, &wec, &e), ERR_OK);
        print_message("%s: %.3f bytes a pair of edges\n", FILES[i].path + strlen(SHARED),
                      2.0 * (double)wec.len / (double)edges);
        buf_release(&wec);
        unlink(WEC_PATH);
        unlink(BACK_PATH);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_each_tool_wrote_is_read),
        cmocka_unit_test(the_line_to_blame_is_named),
        cmocka_unit_test(captures_of_real_drives_hold_the_pulses_counted_by_others),
        cmocka_unit_test(a_trace_holds_the_edges_that_its_label_counts),
        cmocka_unit_test(vcd_to_wec_to_vcd_is_the_same_edge_by_edge),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
