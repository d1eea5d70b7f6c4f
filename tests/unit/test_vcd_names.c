/* Which variables become lines: the contract's rule for names, and the map made by hand. */
#include "capture_text.h"

#define VARS(v) "$timescale 1ns $end " v " $enddefinitions $end "

/* Code of the next entry that line_map_add and open give, with the message. */
static enum err open_with(const char *text, const char *from, const char *line,
                          const char *spec, struct err_msg *e)
{
    struct line_map map = {.from = from};
    struct capture *c = NULL;
    enum err err = line_map_add(&map, line, spec, 7, e);
    if (err == ERR_OK)
        err = capture_open_memory("it", text, strlen(text), &map, &c, e);
    capture_close(c);
    line_map_release(&map);
    return err;
}

static void check_automatic(const char *name, const char *want)
{
    char text[300];
    snprintf(text, sizeof text,
             VARS("$var wire 1 ! %s $end $var wire 1 & DENSITY $end") "#0 0! 1&\n", name);
    assert_reads(text, NULL, want);
}

static void affixes_of_the_contract_are_taken(void **state)
{
    (void)state;
    static const char *const NAMES[] = {
        "STEP",   "step",   "Step",   "/STEP",   "nSTEP",    "n_x",        "STEP#",
        "STEP_n", "STEP_N", "step_b", "STEP[0]", "STEP [0]", "/step_n[0]", "nstep [0]"};
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++)
        check_automatic(NAMES[i], strcmp(NAMES[i], "n_x") == 0 ? "DENSITY=1@0 end@0"
                                                               : "STEP=0@0 DENSITY=1@0 end@0");
}

static void other_names_are_ignored_and_counted(void **state)
{
    (void)state;
    const char *text =
        VARS("$var wire 1 ! INDEX $end $var wire 1 % D3 $end $var wire 8 & bus $end "
             "$var real 64 ' temp $end $var wire 1 ( INDEXER $end $var wire 1 ) "
             "STEP[1] $end") "#0 1! 1% b0 & r1 ' 1( 1)\n";
    struct capture *c = NULL;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_open_memory("it", text, strlen(text), NULL, &c, &e), ERR_OK);
    assert_int_equal(capture_info(c)->ignored, 5);
    assert_true(capture_info(c)->lines == LINE_BIT(LINE_INDEX));
    capture_close(c);
    assert_reads(text, NULL, "INDEX=1@0 end@0");
}

static void a_variable_is_mapped_by_hand(void **state)
{
    (void)state;
    const char *text =
        VARS("$var wire 1 ! 0 $end $var wire 1 \" 1 $end") "#0 1! 0\" #5 0! #9\n";
    assert_reads(text, MAP("RDATA=0"), "RDATA=1@0 RDATA=0@5 end@9");
    assert_reads(text, MAP("RDATA=0", "index=1"), "RDATA=1@0 INDEX=0@0 RDATA=0@5 end@9");
}

static void high_turns_the_levels_over_but_not_what_is_unknown(void **state)
{
    (void)state;
    assert_reads(VARS("$var wire 1 ! INDEX $end") "#0 1! #5 0! #6 x! #9\n",
                 MAP("INDEX=INDEX:high"), "INDEX=0@0 INDEX=1@5 INDEX=x@6 end@9");
    assert_reads(VARS("$var wire 1 longer D0 $end") "#0 1longer #5 0longer #6 xlonger #9\n",
                 MAP("INDEX=D0:high"), "INDEX=0@0 INDEX=1@5 INDEX=x@6 end@9");
}

static void one_variable_may_be_mapped_to_two_lines(void **state)
{
    (void)state;
    assert_reads(VARS("$var wire 1 ! D0 $end") "#0 1!\n", MAP("INDEX=D0", "SECTOR=D0:high"),
                 "SECTOR=0@0 INDEX=1@0 end@0");
}

static void a_name_mapped_by_hand_is_not_taken_by_the_rule_as_well(void **state)
{
    (void)state;
    assert_reads(VARS("$var wire 1 ! INDEX $end $var wire 1 % STEP $end") "#0 1! 0%\n",
                 MAP("SECTOR=INDEX"), "SECTOR=1@0 STEP=0@0 end@0");
    /* nor under another name that the same signal has */
    assert_reads(VARS("$var wire 1 ! INDEX $end $var wire 1 ! D0 $end") "#0 1!\n",
                 MAP("SECTOR=D0"), "SECTOR=1@0 end@0");
}

static void the_map_beats_the_rule(void **state)
{
    (void)state;
    assert_reads(VARS("$var wire 1 ! INDEX $end $var wire 1 % D3 $end") "#0 1! 0%\n",
                 MAP("INDEX=D3"), "INDEX=0@0 end@0");
}

#define TWO_TAPS                                                                               \
    VARS("$scope module top $end $scope module drive $end $var wire 1 ! INDEX $end $upscope "  \
         "$end "                                                                               \
         "$scope module machine $end $var wire 1 % nINDEX $end $upscope $end $upscope $end")

static void two_variables_for_one_line_are_an_error_that_names_both(void **state)
{
    (void)state;
    const char *text = TWO_TAPS "#0 1! 0%\n";
    assert_says(text, NULL, "error: it: two variables are INDEX");
    assert_says(text, NULL, "top.drive.INDEX");
    assert_says(text, NULL, "top.machine.nINDEX");
    assert_says(text, NULL, "--line INDEX=");
    assert_reads(text, MAP("INDEX=top.drive.INDEX"), "INDEX=1@0 end@0");
    assert_reads(text, MAP("INDEX=drive.INDEX"), "INDEX=1@0 end@0");
    assert_reads(text, MAP("INDEX=machine.nINDEX:high"), "INDEX=1@0 end@0");
    /* the other one can be used up as another line too */
    assert_reads(text, MAP("SECTOR=machine.nINDEX"), "INDEX=1@0 SECTOR=0@0 end@0");
}

static void two_names_of_one_signal_are_no_conflict(void **state)
{
    (void)state;
    assert_reads(
        VARS("$scope module a $end $var wire 1 ! INDEX $end $upscope $end $scope module b $end "
             "$var wire 1 ! INDEX $end $upscope $end") "#0 1!\n",
        NULL, "INDEX=1@0 end@0");
}

static void a_mapped_name_that_two_signals_have_needs_its_scope(void **state)
{
    (void)state;
    const char *text = VARS("$scope module a $end $var wire 1 ! D0 $end $upscope $end "
                            "$scope module b $end $var wire 1 % D0 $end $upscope $end "
                            "$var wire 1 & b.c $end $scope module x $end $var wire 1 ' b.c "
                            "$end $upscope $end") "#0 1! 0% 1& 0'\n";
    assert_says(text, MAP("INDEX=D0"), "two variables of that name, a.D0 and b.D0");
    assert_reads(text, MAP("INDEX=b.D0"), "INDEX=0@0 end@0");
    /* the whole path beats the end of one */
    assert_reads(text, MAP("INDEX=b.c"), "INDEX=1@0 end@0");
    assert_reads(text, MAP("INDEX=x.b.c"), "INDEX=0@0 end@0");
}

static void a_range_may_be_left_out_of_a_mapped_name(void **state)
{
    (void)state;
    const char *text = VARS("$var wire 1 ! D [3] $end $var wire 1 % E[0] $end") "#0 1! 0%\n";
    assert_reads(text, MAP("INDEX=D", "STEP=E"), "INDEX=1@0 STEP=0@0 end@0");
    assert_reads(text, MAP("INDEX=D[3]", "STEP=E[0]"), "INDEX=1@0 STEP=0@0 end@0");
    assert_says(text, MAP("INDEX=D[4]"), "has no variable D[4]; it has D[3], E[0]");
}

static void names_with_spaces_can_be_mapped(void **state)
{
    (void)state;
    assert_reads(VARS("$var wire 1 ! read data $end") "#0 1!\n", MAP("RDATA=read data"),
                 "RDATA=1@0 end@0");
}

static void rails_are_reals_and_can_be_mapped(void **state)
{
    (void)state;
    const char *text =
        VARS("$var real 64 ! supply $end $var wire 1 % V5 $end $var real 64 & INDEX $end "
             "$var real 64 ' v12 $end") "#0 r5.1 ! 1% r1 & r12 '\n";
    assert_reads(text, MAP("V5=supply"), "V5=5100@0 V12=12000@0 end@0");
    assert_reads(text, NULL, "V12=12000@0 end@0");
}

static void a_capture_that_names_no_line_says_what_it_has(void **state)
{
    (void)state;
    assert_says(VARS("$var wire 1 ! D0 $end $var wire 1 % D1 $end") "#0 1!\n", NULL,
                "error: it: names no line of the drive bus; it has D0, D1: say which is which "
                "with --line RDATA=D0");
    assert_says(VARS("$var wire 8 ! D0 $end") "#0 b1 !\n", NULL,
                "has no variable that could be one");
    char many[2000] = "$timescale 1ns $end ";
    for (int i = 0; i < 20; i++) {
        size_t len = strlen(many);
        snprintf(many + len, sizeof many - len, "$var wire 1 c%d D%d $end ", i, i);
    }
    strncat(many, "$enddefinitions $end #0\n", sizeof many - strlen(many) - 1);
    assert_says(many, NULL,
                "it has D0, D1, D2, D3, D4, D5, D6, D7, D8, D9, D10, D11 and 8 more:");
}

static void a_map_that_names_nothing_in_the_file(void **state)
{
    (void)state;
    const char *text = VARS("$var wire 1 ! D0 $end $var wire 8 % bus $end") "#0 1!\n";
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(open_with(text, NULL, "RDATA", "D9", &e), ERR_USAGE);
    assert_string_equal(e.text, "--line RDATA=D9: it has no variable D9; it has D0");
    e.code = ERR_OK;
    assert_int_equal(open_with(text, "case.ini", "RDATA", "D9", &e), ERR_FORMAT);
    assert_string_equal(e.text, "case.ini:7: RDATA=D9: it has no variable D9; it has D0");
    e.code = ERR_OK;
    assert_int_equal(open_with(text, NULL, "RDATA", "bus", &e), ERR_USAGE);
    assert_string_equal(e.text, "--line RDATA=bus: in it that is no one-bit variable");
}

static void bad_map_entries_are_refused(void **state)
{
    (void)state;
    static const struct {
        const char *line;
        const char *spec;
        const char *says;
    } BAD[] = {
        {"HUM", "D3", "--line HUM=D3: there is no line HUM"},
        {"INDEX", "", "the name of the variable is missing"},
        {"INDEX", ":high", "the name of the variable is missing"},
        {"V5", "D3:high", "a supply rail has no active level"},
    };
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++) {
        struct line_map map = {.count = 0};
        struct err_msg e = {.code = ERR_OK};
        assert_int_equal(line_map_add(&map, BAD[i].line, BAD[i].spec, 0, &e), ERR_USAGE);
        assert_non_null(strstr(e.text, BAD[i].says));
        assert_int_equal(map.count, 0);
        line_map_release(&map);
    }
}

static void a_line_mapped_twice_is_refused(void **state)
{
    (void)state;
    struct line_map map = {.from = "case.ini"};
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(line_map_add(&map, "INDEX", "D3", 5, &e), ERR_OK);
    assert_int_equal(line_map_add(&map, "index", "D4", 6, &e), ERR_FORMAT);
    assert_string_equal(e.text, "case.ini:6: index=D4: INDEX is already D3");
    assert_int_equal(map.count, 1);
    line_map_release(&map);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(affixes_of_the_contract_are_taken),
        cmocka_unit_test(other_names_are_ignored_and_counted),
        cmocka_unit_test(a_variable_is_mapped_by_hand),
        cmocka_unit_test(high_turns_the_levels_over_but_not_what_is_unknown),
        cmocka_unit_test(one_variable_may_be_mapped_to_two_lines),
        cmocka_unit_test(a_name_mapped_by_hand_is_not_taken_by_the_rule_as_well),
        cmocka_unit_test(the_map_beats_the_rule),
        cmocka_unit_test(two_variables_for_one_line_are_an_error_that_names_both),
        cmocka_unit_test(two_names_of_one_signal_are_no_conflict),
        cmocka_unit_test(a_mapped_name_that_two_signals_have_needs_its_scope),
        cmocka_unit_test(a_range_may_be_left_out_of_a_mapped_name),
        cmocka_unit_test(names_with_spaces_can_be_mapped),
        cmocka_unit_test(rails_are_reals_and_can_be_mapped),
        cmocka_unit_test(a_capture_that_names_no_line_says_what_it_has),
        cmocka_unit_test(a_map_that_names_nothing_in_the_file),
        cmocka_unit_test(bad_map_entries_are_refused),
        cmocka_unit_test(a_line_mapped_twice_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
