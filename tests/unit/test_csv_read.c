/* CSV: a header row that names the lines, times in seconds held to a picosecond. */
#include "capture_text.h"

static void rows_are_changes_or_samples(void **state)
{
    (void)state;
    assert_reads(
        "time,INDEX,STEP\n0,1,1\n0.000001,1,0\n0.000002,1,1\n0.000003,0,1\n", NULL,
        "INDEX=1@0 STEP=1@0 STEP=0@1000000 STEP=1@2000000 INDEX=0@3000000 end@3000000");
}

static void affixes_and_map_apply_to_columns(void **state)
{
    (void)state;
    assert_reads(
        "Time [s],/index_n,D3,D4\n0,1,0,1\n1,0,1,1\n", MAP("RDATA=D3:high"),
        "INDEX=1@0 RDATA=1@0 INDEX=0@1000000000000 RDATA=0@1000000000000 end@1000000000000");
}

static void separators_quotes_and_comments(void **state)
{
    (void)state;
    static const char *const SAME[] = {
        "time,INDEX,x\n0.5,1,9\n",
        "time;INDEX;x\n0,5;1;9\n",
        "time;INDEX;x\n0.5;1;9\n",
        "time\tINDEX\tx\n0.5\t1\t9\n",
        "\"time\",\"INDEX\",\"x,y\"\n0.5,1,9\n",
        " time , INDEX , x \r\n 0.5 , 1 , 9 \r\n",
        "; made by hand\n# twice\n\ntime,INDEX,x\n\n0.5,1,9\n\n",
        "time,INDEX,x,\n0.5,1,9,\n",
        "time,INDEX,x\n0.5,1,9",
        "time,INDEX,x\n5e-1,1,9\n",
    };
    for (size_t i = 0; i < sizeof SAME / sizeof SAME[0]; i++)
        assert_reads(SAME[i], NULL, "INDEX=1@500000000000 end@500000000000");
}

static void empty_and_x_are_not_recorded(void **state)
{
    (void)state;
    assert_reads(
        "t,INDEX,STEP\n0,,x\n1,1,0\n2,x,\n3,0,Z\n", NULL,
        "INDEX=1@1000000000000 STEP=0@1000000000000 INDEX=x@2000000000000 STEP=x@2000000000000 "
        "INDEX=0@3000000000000 end@3000000000000");
}

static void rails_are_in_volts(void **state)
{
    (void)state;
    assert_reads("t,V5,V12,INDEX\n0,4.98,12.0004,1\n1e-12,4.98,11.9996,1\n2e-12,,-0.0125,1\n3e-"
                 "12,nan,x,1\n",
                 NULL, "INDEX=1@0 V5=4980@0 V12=12000@0 V12=-13@2 end@3");
}

static void times_are_exact_to_a_picosecond(void **state)
{
    (void)state;
    assert_reads("t,INDEX\n0.1,1\n0.30000000000000004,0\n1000000.000000000001,1\n", NULL,
                 "INDEX=1@100000000000 INDEX=0@300000000000 INDEX=1@1000000000000000001 "
                 "end@1000000000000000001");
    assert_reads("t,INDEX\n1E-6,1\n+2.5e-6,0\n.000003,1\n4.e-6,0\n", NULL,
                 "INDEX=1@1000000 INDEX=0@2500000 INDEX=1@3000000 INDEX=0@4000000 end@4000000");
}

static void a_time_before_zero_at_the_start_shifts_all(void **state)
{
    (void)state;
    assert_reads("t,INDEX\n-0.000000000010,1\n0,0\n0.000000000005,1\n", NULL,
                 "INDEX=1@0 INDEX=0@10 INDEX=1@15 end@15");
}

static void bad_rows_are_told_with_line_and_column(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        const char *says;
    } BAD[] = {
        {"t,INDEX\n0,1\n2,0\n1,1\n",
         "error: it:4: column 1: \"1\" is earlier than the row before: time runs backwards"},
        {"t,INDEX\n0,1\n1,2\n", "error: it:3: column 2: \"2\" is no level: 0, 1 or x"},
        {"t,INDEX\n0,1\n1,high\n", "error: it:3: column 2: \"high\" is no level"},
        {"t,INDEX\n0,1\nsoon,1\n", "error: it:3: column 1: \"soon\" is no time in seconds"},
        {"t,INDEX\n0,1\n,1\n", "error: it:3: column 1: \"\" is no time in seconds"},
        {"t,INDEX\n0,1\n1.2.3,1\n", "error: it:3: column 1: \"1.2.3\" is no time in seconds"},
        {"t,INDEX\n0,1\n1e99,1\n",
         "error: it:3: column 1: \"1e99\" is a time beyond 2^63-1 ps"},
        {"t,INDEX,STEP\n0,1\n", "error: it:2: the row has fewer columns than the header"},
        {"t,INDEX\n0,1,1\n", "error: it:2: the row has more columns than the header"},
        {"t,INDEX,V5\n0,1,hot\n", "error: it:2: column 3: \"hot\" is no voltage"},
        {"t,INDEX,V5\n0,1,1e6\n", "error: it:2: column 3: \"1e6\" is no voltage"},
    };
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++)
        assert_says(BAD[i].text, NULL, BAD[i].says);
}

static void bad_headers_are_told(void **state)
{
    (void)state;
    assert_says("0,1\n1,0\n", NULL,
                "error: it:1: column 1: \"0\" stands where a header row must name the lines");
    assert_says("INDEX,STEP\n1,0\n", NULL,
                "error: it:1: column 1: \"INDEX\" stands where the time must be");
    assert_says("Time (ms),INDEX\n1,0\n", NULL,
                "error: it:1: column 1: \"Time (ms)\" is the time, but seconds are needed");
    assert_says("t,left,right\n1,0,1\n", NULL,
                "names no line of the drive bus; it has left, right:");
    assert_says("t,INDEX,nINDEX\n1,0,1\n", NULL,
                "two columns are INDEX: INDEX and nINDEX; choose one with --line");
    assert_says("# nothing, but a comment\n", NULL, "error: it: not a capture");
    assert_reads("t,INDEX,nINDEX\n1e-12,0,1\n", MAP("INDEX=nINDEX"), "INDEX=1@1 end@1");
}

static void other_columns_are_counted(void **state)
{
    (void)state;
    const char *text = "t,INDEX,D1,comment,V5\n0,1,0,hello,5\n";
    struct capture *c = NULL;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_open_memory("it", text, strlen(text), NULL, &c, &e), ERR_OK);
    assert_int_equal(capture_info(c)->ignored, 2);
    assert_int_equal(capture_info(c)->rails, 1u << RAIL_V5);
    assert_int_equal(capture_info(c)->format, CAPTURE_CSV);
    capture_close(c);
}

static void a_header_alone_is_an_empty_capture(void **state)
{
    (void)state;
    assert_reads("t,INDEX\n", NULL, "end@0");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_are_changes_or_samples),
        cmocka_unit_test(affixes_and_map_apply_to_columns),
        cmocka_unit_test(separators_quotes_and_comments),
        cmocka_unit_test(empty_and_x_are_not_recorded),
        cmocka_unit_test(rails_are_in_volts),
        cmocka_unit_test(times_are_exact_to_a_picosecond),
        cmocka_unit_test(a_time_before_zero_at_the_start_shifts_all),
        cmocka_unit_test(bad_rows_are_told_with_line_and_column),
        cmocka_unit_test(bad_headers_are_told),
        cmocka_unit_test(other_columns_are_counted),
        cmocka_unit_test(a_header_alone_is_an_empty_capture),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
