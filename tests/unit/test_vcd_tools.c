/* What tools really write into a VCD, one test each: the deviations VDV-... of the standards
 * handbook, chapter 8, which names the tool or the issue that each was seen in. The texts here
 * are our own. */
#include "capture_text.h"

#define ONE_LINE                                                                               \
    "$timescale 1 ns $end\n$scope module t $end\n$var wire 1 ! INDEX $end\n$upscope $end\n"    \
    "$enddefinitions $end\n"
#define BODY       "#0\n1!\n#5\n0!\n#9\n"
#define BODY_READS "INDEX=1@0 INDEX=0@5 end@9"

static struct capture_info info_of(const char *text)
{
    struct capture *c = NULL;
    struct err_msg e = {.code = ERR_OK};
    assert_int_equal(capture_open_memory("it", text, strlen(text), NULL, &c, &e), ERR_OK);
    struct capture_info info = *capture_info(c);
    capture_close(c);
    return info;
}

static void check_timescale(const char *words, int64_t fs)
{
    char text[200];
    snprintf(text, sizeof text,
             "$timescale%s$end $var wire 1 ! INDEX $end $enddefinitions $end #0 1!\n", words);
    struct capture_info info = info_of(text);
    assert_int_equal(info.tick.fs_num, fs);
    assert_int_equal(info.tick.fs_den, 1);
}

static void vdv_ts_split_timescale_on_one_line_or_several(void **state)
{
    (void)state;
    check_timescale(" 1 ns ", 1000000);
    check_timescale(" 1ns ", 1000000);
    check_timescale("\n\t100ps\n", 100000);
    check_timescale("\n     1\n  us\n", 1000000000);
}

static void every_timescale_from_1_fs_to_100_s_is_read(void **state)
{
    (void)state;
    static const char *const UNITS[] = {"fs", "ps", "ns", "us", "ms", "s"};
    int64_t fs = 1;
    for (size_t i = 0; i < 6; i++, fs *= 1000) {
        char words[32];
        int64_t number = 1;
        for (int k = 0; k < 3; k++, number *= 10) {
            snprintf(words, sizeof words, " %d %s ", (int)number, UNITS[i]);
            check_timescale(words, number * fs);
        }
    }
}

static void vdv_ts_none_missing_timescale_is_1_ns_and_said(void **state)
{
    (void)state;
    struct capture_info info = info_of("$var wire 1 ! INDEX $end $enddefinitions $end #0 1!\n");
    assert_int_equal(info.tick.fs_num, 1000000);
    assert_non_null(strstr(info.detail, "1 ns assumed"));
}

static void vdv_ts_odd_numbers_other_than_1_10_100(void **state)
{
    (void)state;
    check_timescale(" 6666ps ", 6666000);
    check_timescale(" 41666667 fs ", 41666667);
}

static void vdv_nodate_date_and_version_may_be_missing(void **state)
{
    (void)state;
    assert_reads(ONE_LINE BODY, NULL, BODY_READS);
    assert_reads("$date today $end\n$version a tool $end\n" ONE_LINE BODY, NULL, BODY_READS);
}

static void vdv_nodumpvars_values_straight_after_the_first_mark(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0\n1!\n#5\n0!\n#9\n", NULL, BODY_READS);
}

static void vdv_dv_notime_dumpvars_before_any_mark_is_the_start(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "$dumpvars\n1!\n$end\n#5\n0!\n#9\n", NULL, BODY_READS);
}

static void vdv_dv_noend_dumpvars_without_end(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0\n$dumpvars\n1!\n#5\n0!\n#9\n", NULL, BODY_READS);
}

static void vdv_comment_comments_stand_anywhere(void **state)
{
    (void)state;
    assert_reads("$comment #3 0! $end " ONE_LINE
                 "$comment\n  all $dumpvars #7 1! below\n$end\n#0 1!\n"
                 "$comment x $end #5 $comment y $end 0! #9 $comment z $end\n",
                 NULL, BODY_READS);
}

static void vdv_oneline_many_items_on_one_line(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0 1! #5 0! #9\n", NULL, BODY_READS);
    assert_reads("$timescale 1ns $end $var wire 1 ! INDEX $end $var wire 1 \" STEP $end "
                 "$enddefinitions $end $dumpvars 1! 0\" $end #1 0! 1\" #4 1!\n",
                 NULL, "INDEX=1@0 STEP=0@0 INDEX=0@1 STEP=1@1 INDEX=1@4 end@4");
}

static void vdv_indent_spaces_and_empty_lines(void **state)
{
    (void)state;
    assert_reads(
        "\n\n $timescale   1ns   $end\n\n  $scope   module  t  $end\n   $var  wire   1  !   "
        "INDEX  "
        "$end\n $upscope  $end\n$enddefinitions   $end\n\n\n#0\n  1!\n\n#5\n\t0!\n\n#9\n",
        NULL, BODY_READS);
}

static void vdv_multidecl_declarations_on_one_line(void **state)
{
    (void)state;
    assert_reads("$timescale 1 ns $end $scope module t $end $var wire 1 ! INDEX $end $var wire "
                 "1 % q $end "
                 "$upscope $end $enddefinitions $end\n#0\n1!\n0%\n#5\n0!\n#9\n",
                 NULL, BODY_READS);
}

static void vdv_crlf_line_ends(void **state)
{
    (void)state;
    assert_reads("$timescale 1 ns $end\r\n$var wire 1 ! INDEX $end\r\n$enddefinitions "
                 "$end\r\n#0\r\n1!\r\n"
                 "#5\r\n0!\r\n#9\r\n",
                 NULL, BODY_READS);
}

static void vdv_nonl_last_line_without_end_or_cut(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0\n1!\n#5\n0!\n#9", NULL, BODY_READS);
    assert_reads(ONE_LINE "#0\n1!\n#5\n0!", NULL, "INDEX=1@0 INDEX=0@5 end@5");
    /* "#7" may be what is left of "#7000": it ends the capture no earlier than what was seen */
    assert_reads(ONE_LINE "#0\n1!\n#500\n0!\n#7", NULL, "INDEX=1@0 INDEX=0@500 end@500");
    assert_reads(ONE_LINE "#0\n1!\n#500\n0!\n#", NULL, "INDEX=1@0 INDEX=0@500 end@500");
    assert_reads(ONE_LINE "#0\n1!\n#500\n0!\n#600\n1", NULL, "INDEX=1@0 INDEX=0@500 end@600");
    assert_reads(ONE_LINE "#0\n1!\n#500\n0!\n#600\nb1", NULL, "INDEX=1@0 INDEX=0@500 end@600");
    assert_reads(ONE_LINE "#0\n1!\n#500\n0!\n$dumpa", NULL, "INDEX=1@0 INDEX=0@500 end@500");
}

static void vdv_idhash_codes_that_look_like_other_words(void **state)
{
    (void)state;
    assert_reads("$timescale 1ns $end $var wire 1 # INDEX $end $var wire 8 $ v $end $var wire "
                 "4 #5 w $end\n"
                 "$var wire 1 b STEP $end $var wire 1 r SIDE $end $var wire 1 $end1 DIR $end\n"
                 "$enddefinitions $end\n#0\n0#\nb0 $\nb1 #5\n1b\n0r\n1$end1\n#5\n1#\nb11 "
                 "$\nb10 #5\n#6\n0#\n"
                 "bx $\n",
                 NULL, "INDEX=0@0 STEP=1@0 SIDE=0@0 DIR=1@0 INDEX=1@5 INDEX=0@6 end@6");
}

static void vdv_idword_codes_of_several_characters(void **state)
{
    (void)state;
    assert_reads("$timescale 1ns $end $var wire 1 aaaab INDEX $end $var wire 1 n2 STEP $end\n"
                 "$var wire 1 s10 SIDE $end $var wire 1 averylongidentifiercode DIR $end "
                 "$enddefinitions $end\n"
                 "#0\n1aaaab\n0n2\n1s10\n0averylongidentifiercode\n#2\n0aaaab\n1n2\n",
                 NULL, "INDEX=1@0 STEP=0@0 SIDE=1@0 DIR=0@0 INDEX=0@2 STEP=1@2 end@2");
}

static void vdv_idshare_one_code_under_several_scopes(void **state)
{
    (void)state;
    const char *text = "$timescale 1ns $end $scope module a $end $var wire 1 ! INDEX $end "
                       "$scope module b $end $var wire 1 ! INDEX_n $end $var wire 1 ! other "
                       "$end $upscope $end "
                       "$upscope $end $enddefinitions $end #0 1! #5 0! #9\n";
    assert_reads(text, NULL, BODY_READS);
    assert_int_equal(info_of(text).ignored, 0);
}

static void one_code_may_feed_two_lines(void **state)
{
    (void)state;
    const char *text =
        "$timescale 1ns $end $scope module a $end $var wire 1 ! INDEX $end $upscope $end "
        "$scope module b $end $var wire 1 ! SECTOR $end $upscope $end $enddefinitions $end "
        "#0 1! #5 0!\n";
    assert_reads(text, NULL, "SECTOR=1@0 INDEX=1@0 SECTOR=0@5 INDEX=0@5 end@5");
}

static void vdv_range_own_word_glued_or_absent(void **state)
{
    (void)state;
    assert_reads(
        "$timescale 1ns $end $var wire 1 ! INDEX [0] $end $var wire 1 % STEP[0] $end "
        "$var wire 1 & DIR [0:0] $end $var wire 8 ' v [7:0] $end $var wire 8 ( w[7:0] $end "
        "$enddefinitions $end #0 1! 0% 1& b0 ' b1 (\n",
        NULL, "INDEX=1@0 STEP=0@0 DIR=1@0 end@0");
}

static void vdv_indexed_and_odd_names_are_carried(void **state)
{
    (void)state;
    const char *head =
        "$timescale 1ns $end $scope begin blk[0] $end $var reg 1 ) q $end $upscope $end "
        "$scope begin blk[1] $end $var reg 1 * q $end $upscope $end "
        "$var wire 4 + mem[0] [3:0] $end $var wire 1 , a.b:c(d) $end "
        "$enddefinitions $end #0 0) 1* b0 + 1,\n";
    assert_reads(head, MAP("INDEX=blk[1].q"), "INDEX=1@0 end@0");
    assert_reads(head, MAP("INDEX=blk[0].q", "STEP=a.b:c(d)"), "INDEX=0@0 STEP=1@0 end@0");
}

static void vdv_negrange_negative_or_rising_bounds(void **state)
{
    (void)state;
    assert_reads(
        "$timescale 1ns $end $var wire 1 ! INDEX $end $var wire 4 % n [-1:-4] $end "
        "$var wire 4 & up [0:3] $end $enddefinitions $end #0 1! b1010 % b1 & #5 0! #9\n",
        NULL, BODY_READS);
}

static void vdv_escaped_names_with_a_backslash(void **state)
{
    (void)state;
    const char *text =
        "$timescale 1ns $end $var wire 1 ! \\INDEX# $end $var wire 1 % \\esc[1].x $end "
        "$enddefinitions $end #0 1! 0% #5 0! #9\n";
    assert_reads(text, NULL, BODY_READS);
    assert_reads(text, MAP("STEP=\\esc[1].x"), "INDEX=1@0 STEP=0@0 INDEX=0@5 end@9");
}

static void vdv_types_outside_the_list(void **state)
{
    (void)state;
    assert_reads("$timescale 1ns $end $var logic 1 ! INDEX $end $var string 1 % name $end "
                 "$var event 1 & STEP $end $attrbegin misc 02 x 1 $end $enddefinitions $end "
                 "#0 1! shello % 1& #5 0! #9\n",
                 NULL, BODY_READS);
}

static void vdv_string_values_are_passed_over(void **state)
{
    (void)state;
    assert_reads("$timescale 1ns $end $var wire 1 ! INDEX $end $var string 0 0! s $end "
                 "$enddefinitions $end "
                 "#0 1! s0!text 0! s 0! Sx 0!\n#5 0! #9\n",
                 NULL, BODY_READS);
}

static void vdv_9state_weak_levels_count_and_the_rest_is_unknown(void **state)
{
    (void)state;
    assert_reads(
        ONE_LINE "#0 1! #1 L! #2 H! #3 U! #4 l! #5 W! #6 h! #7 -! #8 0! #9 u! #10 1! #11 w!\n",
        NULL,
        "INDEX=1@0 INDEX=0@1 INDEX=1@2 INDEX=x@3 INDEX=0@4 INDEX=x@5 INDEX=1@6 INDEX=x@7 "
        "INDEX=0@8 INDEX=x@9 INDEX=1@10 INDEX=x@11 end@11");
    assert_reads(ONE_LINE "#0 bL ! #1 bH ! #2 bU ! #3 bUUWLH-ZX1 !\n", NULL,
                 "INDEX=0@0 INDEX=1@1 INDEX=x@2 INDEX=1@3 end@3");
}

static void x_and_z_are_not_recorded(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0 x! #1 1! #2 z! #3 0! #4 X! #5 1! #6 Z! #7\n", NULL,
                 "INDEX=1@1 INDEX=x@2 INDEX=0@3 INDEX=x@4 INDEX=1@5 INDEX=x@6 end@7");
}

static void vdv_1bitvec_one_bit_signals_in_vector_form(void **state)
{
    (void)state;
    assert_reads("$timescale 1ns $end $var wire 1 n1 INDEX $end $enddefinitions $end "
                 "#0\nbx n1\n#1\nb1 n1\n#5\nB0 n1\n#9\n",
                 NULL, "INDEX=1@1 INDEX=0@5 end@9");
}

static void vdv_padded_leading_zeros(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0\nb00000001 !\n#5\nb0000 !\n#9\n", NULL, BODY_READS);
}

static void vdv_emptyvec_no_digits_say_nothing(void **state)
{
    (void)state;
    assert_reads("$timescale 1ns $end $var wire 1 ! INDEX $end $var wire 0 % none $end "
                 "$enddefinitions $end "
                 "#0 1! b % #5 b !\n",
                 NULL, "INDEX=1@0 INDEX=x@5 end@5");
}

static void vdv_realsize_rails_declared_with_size_1_or_64(void **state)
{
    (void)state;
    assert_reads("$timescale 1ns $end $var real 1 ! V5 $end $var real 64 % v12 $end $var "
                 "realtime 64 & V24 $end "
                 "$var real 64 ' temp $end $enddefinitions $end "
                 "#0 r5 ! r11.9876 % r24 & r20 ' #7 r4.98 !\n",
                 NULL, "V5=5000@0 V12=11988@0 V24=24000@0 V5=4980@7 end@7");
}

static void vdv_nan_is_no_voltage(void **state)
{
    (void)state;
    assert_reads(
        "$timescale 1ns $end $var real 1 ! V5 $end $enddefinitions $end "
        "#0 rnan ! #1 rNaN ! #2 r5.0 ! #3 rinf ! #4 r-inf ! #5 rInfinity ! #6 r-nan !\n",
        NULL, "V5=5000@2 end@6");
}

static void vdv_realexp_exponents(void **state)
{
    (void)state;
    assert_reads("$timescale 1ns $end $var real 1 ! V5 $end $enddefinitions $end "
                 "#0 r2.5e-1 ! #1 r1.0e-20 ! #2 r0.05E2 ! #3 r-1.5e+0 !\n",
                 NULL, "V5=250@0 V5=0@1 V5=5000@2 V5=-1500@3 end@3");
}

static void vdv_repeat_the_same_mark_twice_is_one_time(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0\n1!\n#0\n#5\n#5\n0!\n#5\n#9\n", NULL, BODY_READS);
}

static void vdv_emptymark_gives_the_end_time(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0\n1!\n#3\n#5\n0!\n#7\n#9\n", NULL, BODY_READS);
}

static void vdv_nochg_a_value_already_held_is_no_edge(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0\n1!\n#3\n1!\n#5\n0!\n#6\nb0 !\n#9\n0!\n", NULL, BODY_READS);
}

static void vdv_glitch_changes_at_one_mark_keep_their_order(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0\n1!\n#5\n0!\n1!\n1!\n0!\n#9\n", NULL,
                 "INDEX=1@0 INDEX=0@5 INDEX=1@5 INDEX=0@5 end@9");
}

static void vdv_emptyscope_scopes_with_nothing_in_them(void **state)
{
    (void)state;
    assert_reads("$scope module standard $end $upscope $end $scope module $end $upscope $end "
                 "$upscope $end " ONE_LINE BODY,
                 NULL, BODY_READS);
}

static void vcd_dumpoff_leaves_all_unknown_until_dumpon(void **state)
{
    (void)state;
    /* VCD-DUMPOFF, VCD-DUMPON, VDV-EVENTGONE: values inside say nothing either */
    assert_reads(
        "$timescale 1ns $end $var wire 1 ! INDEX $end $var wire 1 % STEP $end $var real 64 & "
        "V5 $end "
        "$enddefinitions $end #0 1! 0% r5 & #10 $dumpoff x! $end #20 0! b1 % r4 & #30 $comment "
        "$dumpon "
        "$end #40 $dumpon 0! 1% r4.9 & $end #50 1!\n",
        NULL,
        "INDEX=1@0 STEP=0@0 V5=5000@0 STEP=x@10 INDEX=x@10 INDEX=0@40 STEP=1@40 V5=4900@40 "
        "INDEX=1@50 end@50");
}

static void vcd_dumpall_does_not_move_time(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0 1! #5 0! #7 $dumpall 0! $end #9\n", NULL, BODY_READS);
}

static void a_line_without_a_value_has_no_edges(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0\n#1000\n", NULL, "end@1000");
    assert_reads(ONE_LINE, NULL, "end@0");
}

static void stamps_up_to_2_63_less_1_are_held(void **state)
{
    (void)state;
    assert_reads(ONE_LINE "#0 1! #9223372036854775806 0! #9223372036854775807 1!\n", NULL,
                 "INDEX=1@0 INDEX=0@9223372036854775806 INDEX=1@9223372036854775807 "
                 "end@9223372036854775807");
    assert_reads(ONE_LINE "#00000000000000000000000000005 1!\n", NULL, "INDEX=1@5 end@5");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(vdv_ts_split_timescale_on_one_line_or_several),
        cmocka_unit_test(every_timescale_from_1_fs_to_100_s_is_read),
        cmocka_unit_test(vdv_ts_none_missing_timescale_is_1_ns_and_said),
        cmocka_unit_test(vdv_ts_odd_numbers_other_than_1_10_100),
        cmocka_unit_test(vdv_nodate_date_and_version_may_be_missing),
        cmocka_unit_test(vdv_nodumpvars_values_straight_after_the_first_mark),
        cmocka_unit_test(vdv_dv_notime_dumpvars_before_any_mark_is_the_start),
        cmocka_unit_test(vdv_dv_noend_dumpvars_without_end),
        cmocka_unit_test(vdv_comment_comments_stand_anywhere),
        cmocka_unit_test(vdv_oneline_many_items_on_one_line),
        cmocka_unit_test(vdv_indent_spaces_and_empty_lines),
        cmocka_unit_test(vdv_multidecl_declarations_on_one_line),
        cmocka_unit_test(vdv_crlf_line_ends),
        cmocka_unit_test(vdv_nonl_last_line_without_end_or_cut),
        cmocka_unit_test(vdv_idhash_codes_that_look_like_other_words),
        cmocka_unit_test(vdv_idword_codes_of_several_characters),
        cmocka_unit_test(vdv_idshare_one_code_under_several_scopes),
        cmocka_unit_test(one_code_may_feed_two_lines),
        cmocka_unit_test(vdv_range_own_word_glued_or_absent),
        cmocka_unit_test(vdv_indexed_and_odd_names_are_carried),
        cmocka_unit_test(vdv_negrange_negative_or_rising_bounds),
        cmocka_unit_test(vdv_escaped_names_with_a_backslash),
        cmocka_unit_test(vdv_types_outside_the_list),
        cmocka_unit_test(vdv_string_values_are_passed_over),
        cmocka_unit_test(vdv_9state_weak_levels_count_and_the_rest_is_unknown),
        cmocka_unit_test(x_and_z_are_not_recorded),
        cmocka_unit_test(vdv_1bitvec_one_bit_signals_in_vector_form),
        cmocka_unit_test(vdv_padded_leading_zeros),
        cmocka_unit_test(vdv_emptyvec_no_digits_say_nothing),
        cmocka_unit_test(vdv_realsize_rails_declared_with_size_1_or_64),
        cmocka_unit_test(vdv_nan_is_no_voltage),
        cmocka_unit_test(vdv_realexp_exponents),
        cmocka_unit_test(vdv_repeat_the_same_mark_twice_is_one_time),
        cmocka_unit_test(vdv_emptymark_gives_the_end_time),
        cmocka_unit_test(vdv_nochg_a_value_already_held_is_no_edge),
        cmocka_unit_test(vdv_glitch_changes_at_one_mark_keep_their_order),
        cmocka_unit_test(vdv_emptyscope_scopes_with_nothing_in_them),
        cmocka_unit_test(vcd_dumpoff_leaves_all_unknown_until_dumpon),
        cmocka_unit_test(vcd_dumpall_does_not_move_time),
        cmocka_unit_test(a_line_without_a_value_has_no_edges),
        cmocka_unit_test(stamps_up_to_2_63_less_1_are_held),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
