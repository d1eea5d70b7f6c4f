/* VCD files that must be refused: the line that is to blame, and why. What came before it is
 * delivered. */
#include "capture_text.h"

#define HEAD                                                                                   \
    "$timescale 1ns $end\n$var wire 1 ! INDEX $end\n$var real 64 & V5 $end\n$enddefinitions "  \
    "$end\n"

static void vdv_back_time_running_backwards(void **state)
{
    (void)state;
    assert_reads(HEAD "#0\n1!\n#5\n0!\n#3\n1!\n#9\n0!\n", NULL,
                 "INDEX=1@0 INDEX=0@5 error: it:9: time runs backwards, from 5 to 3");
}

static void vdv_bigtime_stamps_beyond_63_bits(void **state)
{
    (void)state;
    static const char *const STAMPS[] = {"9223372036854775808", "18446744073709551615",
                                         "18446744073709551616",
                                         "99999999999999999999999999999999999999"};
    for (size_t i = 0; i < sizeof STAMPS / sizeof STAMPS[0]; i++) {
        char text[300];
        char want[300];
        snprintf(text, sizeof text, HEAD "#0\n1!\n#%s\n0!\n", STAMPS[i]);
        snprintf(want, sizeof want, "INDEX=1@0 error: it:7: time stamp #%.39s is beyond 2^63-1",
                 STAMPS[i]);
        assert_reads(text, NULL, want);
    }
}

static void vdv_floattime_marks_that_are_no_whole_number(void **state)
{
    (void)state;
    assert_reads(HEAD "#0\n1!\n#1.5\n0!\n", NULL,
                 "INDEX=1@0 error: it:7: time mark \"#1.5\" is not a whole number");
    assert_reads(HEAD "#0\n1!\n#-nan\n0!\n", NULL,
                 "INDEX=1@0 error: it:7: time mark \"#-nan\" is not a whole number");
    assert_reads(HEAD "#0\n1!\n#\n0!\n", NULL,
                 "INDEX=1@0 error: it:7: time mark \"#\" is not a whole number");
    assert_reads(HEAD "#-1\n1!\n", NULL,
                 "error: it:5: time mark \"#-1\" is not a whole number");
    assert_reads(HEAD "#0\n1!\n#1e9", NULL,
                 "INDEX=1@0 error: it:7: time mark \"#1e9\" is not a whole number");
}

static void a_value_for_an_undeclared_code(void **state)
{
    (void)state;
    assert_reads(HEAD "#0\n1!\n1?\n", NULL,
                 "INDEX=1@0 error: it:7: a value for \"?\", which no $var declares");
    assert_reads(HEAD "#0\n1!\n1??\n", NULL,
                 "INDEX=1@0 error: it:7: a value for \"??\", which no $var declares");
    assert_reads(HEAD "#0\n1!\nb0 none\n", NULL,
                 "INDEX=1@0 error: it:7: a value for \"none\", which no $var declares");
    assert_reads(HEAD "#0\n1!\nr1 none\n", NULL,
                 "INDEX=1@0 error: it:7: a value for \"none\", which no $var declares");
    assert_reads(HEAD "#0\n1!\n0 !\n", NULL,
                 "INDEX=1@0 error: it:7: a value for \"\", which no $var declares");
}

static void words_that_are_neither_time_nor_value(void **state)
{
    (void)state;
    assert_reads(HEAD "#0\n1!\nq!\n", NULL,
                 "INDEX=1@0 error: it:7: \"q!\" is neither a time nor a value");
    assert_reads(HEAD "#0\n1!\nb9 !\n", NULL, "INDEX=1@0 error: it:7: \"b9\" is no value");
    assert_reads(HEAD "#0\n1!\n$scope\n", NULL,
                 "INDEX=1@0 error: it:7: \"$scope\" among the values");
    assert_says(HEAD "#0\n1!\n\x01\x1b[31mred\n", NULL, "7: \"[31mred\" is neither");
}

static void values_of_the_wrong_kind(void **state)
{
    (void)state;
    assert_reads(HEAD "#0\nr1 !\n", NULL, "error: it:6: a real value for line INDEX");
    assert_reads(HEAD "#0\nrhot &\n", NULL, "error: it:6: \"hot\" is no voltage for V5");
    assert_reads(HEAD "#0\nr1e9 &\n", NULL, "error: it:6: \"1e9\" is no voltage for V5");
}

static void timescales_out_of_range(void **state)
{
    (void)state;
    static const char *const BAD[] = {
        "0 ns", "1000 s", "101 s", "1.5 ns", "-1 ns",
        "ns",   "1",      "1 as",  "1 nsx",  "99999999999999999999 fs",
        ""};
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++) {
        char text[200];
        snprintf(text, sizeof text,
                 "$date now $end\n$timescale %s $end\n$var wire 1 ! INDEX $end\n"
                 "$enddefinitions $end\n#0\n",
                 BAD[i]);
        assert_says(text, NULL, "error: it:2: a timescale of \"");
    }
}

static void headers_that_are_not_whole(void **state)
{
    (void)state;
    assert_says("$timescale 1ns $end\n$var wire 1 ! INDEX $end\n", NULL,
                "error: it:3: the file ends within its header");
    assert_says("$timescale 1ns $end\n$var wire 1 ! INDEX", NULL,
                "the file ends within its header");
    assert_says("$var wire 1 $end\n$enddefinitions $end\n", NULL,
                "error: it:1: a $var without an identifier code");
    assert_says("$var wire 1 ! INDEX $end\n#0\n1!\n", NULL,
                "error: it:2: \"#0\" in the header, before $enddefinitions");
    assert_says("$var wire 1 ! INDEX $end\n$dumpvars\n1!\n", NULL,
                "error: it:2: values before $enddefinitions");
}

static void line_numbers_hold_deep_in_a_large_file(void **state)
{
    (void)state;
    struct buf text;
    buf_init(&text, 64u << 20);
    assert_int_equal(buf_str(&text, HEAD), ERR_OK);
    for (int i = 1; i <= 300000; i++)
        assert_int_equal(buf_printf(&text, "#%d\n%d!\n", i, i & 1), ERR_OK);
    assert_int_equal(buf_str(&text, "1?\n"), ERR_OK);
    char *says = capture_text_of(text.data, text.len, NULL);
    assert_non_null(strstr(says, "INDEX=0@300000 error: it:600005: a value for \"?\""));
    free(says);
    buf_release(&text);
}

static void a_word_without_end_is_refused(void **state)
{
    (void)state;
    size_t len = 3u << 20;
    char *text = malloc(len);
    assert_non_null(text);
    memset(text, '1', len);
    memcpy(text, HEAD, strlen(HEAD));
    char *says = capture_text_of(text, len, NULL);
    assert_non_null(strstr(says, "a word or line of more than"));
    free(says);
    free(text);
}

static void a_long_vector_is_passed_over(void **state)
{
    (void)state;
    size_t len = 600u << 10;
    struct buf text;
    buf_init(&text, 2u << 20);
    char *digits = calloc(1, len + 1);
    assert_non_null(digits);
    memset(digits, '1', len);
    assert_int_equal(
        buf_printf(&text,
                   "$timescale 1ns $end $var wire 1 ! INDEX $end $var wire 614400 %% v $end "
                   "$enddefinitions $end\n#0 1!\nb%s %%\n#5 0!\n",
                   digits),
        ERR_OK);
    char *says = capture_text_of(text.data, text.len, NULL);
    assert_string_equal(says, "INDEX=1@0 INDEX=0@5 end@5");
    free(says);
    free(digits);
    buf_release(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(vdv_back_time_running_backwards),
        cmocka_unit_test(vdv_bigtime_stamps_beyond_63_bits),
        cmocka_unit_test(vdv_floattime_marks_that_are_no_whole_number),
        cmocka_unit_test(a_value_for_an_undeclared_code),
        cmocka_unit_test(words_that_are_neither_time_nor_value),
        cmocka_unit_test(values_of_the_wrong_kind),
        cmocka_unit_test(timescales_out_of_range),
        cmocka_unit_test(headers_that_are_not_whole),
        cmocka_unit_test(line_numbers_hold_deep_in_a_large_file),
        cmocka_unit_test(a_word_without_end_is_refused),
        cmocka_unit_test(a_long_vector_is_passed_over),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
