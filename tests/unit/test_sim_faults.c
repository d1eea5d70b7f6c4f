/* Faults of cable, machine side and bench: each changes what it should, at the tap where it
 * should. */
#include "sim_bench.h"

/* An open conductor: the sender's levels at its own end, high at the other. */
static void open_conductors_show_at_one_end_only(void **state)
{
    (void)state;
    static const struct {
        enum line line;
        const char *fault, *outcome;
    } open[] = {
        {LINE_SELECT0, "cable.SELECT0.open", "hangs"},
        {LINE_MOTOR, "cable.MOTOR.open", "hangs"},
        {LINE_DIR, "cable.DIR.open", "failed"},
        {LINE_STEP, "cable.STEP.open", "failed"},
        {LINE_SIDE, "cable.SIDE.open", "wrong-data"},
        {LINE_WGATE, "cable.WGATE.open", "wrong-data"},
        {LINE_WDATA, "cable.WDATA.open", "failed"},
        {LINE_INDEX, "cable.INDEX.open", "hangs"},
        {LINE_TRK00, "cable.TRK00.open", "failed"},
        {LINE_WPROT, "cable.WPROT.open", "wrong-data"},
        {LINE_RDATA, "cable.RDATA.open", "failed"},
        {LINE_READY, "cable.READY.open", "worked"},
    };
    for (size_t i = 0; i < sizeof open / sizeof open[0]; i++) {
        struct bench b;
        int sender = line_from_machine(open[i].line) ? TAP_MACHINE_END : TAP_DRIVE_END;
        bool writes = open[i].line == LINE_WGATE || open[i].line == LINE_WDATA ||
                      open[i].line == LINE_WPROT;
        play_dd(&b, open[i].fault, writes ? ASKED_WRITE : ASKED_READ);
        if (!alive(&b, sender, open[i].line))
            fail_msg("%s: nothing at the sender", open[i].fault);
        if (low_ns(&b.session, 1 - sender, open[i].line) != 0 && open[i].line != LINE_READY)
            fail_msg("%s: seen at the receiver", open[i].fault);
        bool hang = strcmp(open[i].outcome, "hangs") == 0;
        bool as_meant = strcmp(b.session.result.outcome, open[i].outcome) == 0 ||
                        (hang && strcmp(b.session.result.outcome, "failed") == 0);
        if (!as_meant)
            fail_msg("%s: %s", open[i].fault, b.session.result.outcome);
        done(&b);
    }
}

static void shorted_conductors_are_low_at_both_ends(void **state)
{
    (void)state;
    static const char *const faults[] = {"cable.INDEX.short", "cable.STEP.short",
                                         "cable.WPROT.short"};
    static const enum line lines[] = {LINE_INDEX, LINE_STEP, LINE_WPROT};
    for (size_t i = 0; i < 3; i++) {
        struct bench b;
        play_dd(&b, faults[i], ASKED_READ);
        assert_true(always_low(&b, TAP_MACHINE_END, lines[i]));
        assert_true(always_low(&b, TAP_DRIVE_END, lines[i]));
        done(&b);
    }
}

static void joined_conductors_move_together(void **state)
{
    (void)state;
    struct bench b;
    play_dd(&b, "cable.DIR+STEP.short", ASKED_READ);
    assert_int_equal(falls(&b.session, TAP_DRIVE_END, LINE_DIR),
                     falls(&b.session, TAP_DRIVE_END, LINE_STEP));
    assert_int_equal(low_ns(&b.session, TAP_DRIVE_END, LINE_DIR),
                     low_ns(&b.session, TAP_MACHINE_END, LINE_STEP));
    done(&b);
}

static void misplaced_plugs_ground_or_shift_the_lines(void **state)
{
    (void)state;
    struct bench b;
    play_dd(&b, "cable.plug.reversed", ASKED_READ);
    assert_true(always_low(&b, TAP_MACHINE_END, LINE_INDEX));
    assert_true(always_low(&b, TAP_DRIVE_END, LINE_STEP));
    done(&b);
    play_dd(&b, "cable.plug.off-by-row", ASKED_READ);
    /* one row meets the grounds of the other end, the other hangs in the air */
    assert_true(always_low(&b, TAP_MACHINE_END, LINE_STEP) !=
                always_low(&b, TAP_DRIVE_END, LINE_STEP));
    done(&b);
    play_dd(&b, "cable.plug.unplugged", ASKED_READ);
    assert_true(alive(&b, TAP_MACHINE_END, LINE_SELECT0));
    assert_int_equal(low_ns(&b.session, TAP_DRIVE_END, LINE_SELECT0), 0);
    done(&b);
    /* pins moved by two: the machine's SELECT0 (10) arrives as SELECT1 (12), or as INDEX (8) */
    play_dd(&b, "cable.plug.off-by-pair", ASKED_READ);
    assert_int_equal(low_ns(&b.session, TAP_DRIVE_END, LINE_SELECT0), 0);
    assert_true(alive(&b, TAP_DRIVE_END, LINE_SELECT1) || alive(&b, TAP_DRIVE_END, LINE_INDEX));
    done(&b);
    /* a straight cable on a twisted-cable machine: MOTOR0 (10) arrives as SELECT0, not as MOTOR
     */
    play(&b, "controller-82077", "drive-35-hd", "ribbon-34-twisted", "cable.twist.missing", 3,
         ASKED_READ);
    assert_int_equal(low_ns(&b.session, TAP_DRIVE_END, LINE_MOTOR), 0);
    assert_true(alive(&b, TAP_DRIVE_END, LINE_SELECT0));
    done(&b);
}

static void dead_and_stuck_parts_of_the_machine_act_at_its_own_plug(void **state)
{
    (void)state;
    struct bench b;
    play_dd(&b, "controller.driver.STEP.dead", ASKED_READ);
    assert_false(alive(&b, TAP_MACHINE_END, LINE_STEP));
    done(&b);
    play_dd(&b, "controller.chip.WGATE.stuck", ASKED_READ);
    assert_true(always_low(&b, TAP_MACHINE_END, LINE_WGATE));
    assert_int_equal(falls(&b.session, TAP_DRIVE_END, LINE_RDATA), 0);
    done(&b);
    play_dd(&b, "controller.receiver.INDEX.dead", ASKED_READ);
    assert_true(falls(&b.session, TAP_MACHINE_END, LINE_INDEX) >
                5); /* it comes, and is not counted */
    assert_string_not_equal(b.session.result.outcome, "worked");
    done(&b);
    play_dd(&b, "controller.chip.dead", ASKED_READ);
    assert_false(alive(&b, TAP_MACHINE_END, LINE_SELECT0));
    done(&b);
    play_dd(&b, "controller.separator.no-lock", ASKED_READ);
    assert_true(falls(&b.session, TAP_MACHINE_END, LINE_RDATA) > 100000);
    assert_string_equal(b.session.result.outcome, "failed");
    done(&b);
}

/* Without pull-up a read pulse takes longer to end than the next one to come: pulses merge. */
static void a_missing_pull_up_merges_read_pulses(void **state)
{
    (void)state;
    struct bench sound;
    struct bench bare;
    play_dd(&sound, NULL, ASKED_READ);
    play_dd(&bare, "controller.pull-up.RDATA.missing", ASKED_READ);
    assert_int_equal(bare.session.info[TAP_MACHINE_END].pull_up_ohm, 0);
    double whole = (double)falls(&sound.session, TAP_DRIVE_END, LINE_RDATA) /
                   (double)sound.session.result.seconds_ns;
    double merged = (double)falls(&bare.session, TAP_DRIVE_END, LINE_RDATA) /
                    (double)bare.session.result.seconds_ns;
    assert_true(merged < 0.5 * whole);
    assert_string_equal(bare.session.result.outcome, "failed");
    done(&sound);
    done(&bare);
}

static void test_gear_errs_at_its_own_tap(void **state)
{
    (void)state;
    struct bench b;
    play_dd(&b, "setup.lead.INDEX.open", ASKED_READ);
    assert_true(alive(&b, TAP_MACHINE_END, LINE_INDEX) != alive(&b, TAP_DRIVE_END, LINE_INDEX));
    assert_string_equal(b.session.result.outcome, "worked");
    done(&b);
    struct bench fast;
    play_dd(&fast, NULL, ASKED_READ);
    play_dd(&b, "setup.sampled-too-slowly", ASKED_READ);
    assert_true(b.session.info[0].sample_fs >= 500 * FS_PER_NS);
    /* pulses of 0.4 us come and go between two looks */
    assert_true(falls(&b.session, TAP_MACHINE_END, LINE_RDATA) * 100 <
                falls(&fast.session, TAP_MACHINE_END, LINE_RDATA) * 98);
    assert_string_equal(b.session.result.outcome, "worked");
    done(&b);
    done(&fast);
}

static void straps_and_terminators(void **state)
{
    (void)state;
    struct bench b;
    play_dd(&b, "setup.strap.wrong", ASKED_READ);
    assert_true(alive(&b, TAP_DRIVE_END, LINE_SELECT0));
    assert_false(alive(&b, TAP_DRIVE_END, LINE_INDEX));
    done(&b);
    play_dd(&b, "setup.terminator.missing", ASKED_READ);
    assert_true(falls(&b.session, TAP_DRIVE_END, LINE_STEP) >
                (size_t)b.session.result.steps_given + 5);
    done(&b);
    play_dd(&b, "cable.ground.open", ASKED_READ);
    assert_true(falls(&b.session, TAP_MACHINE_END, LINE_SIDE) > 100);
    done(&b);
    /* two drives at once: two index marks a turn, or another drive's lines */
    play(&b, "controller-wd177x", "drive-35-dd", "ribbon-34-straight", "setup.select.shared",
         31, ASKED_READ);
    size_t all = 0;
    size_t turn =
        periods_within(&b.session, TAP_DRIVE_END, LINE_INDEX, 197000000, 203000000, &all);
    assert_true(all > 10 && turn < all / 2);
    done(&b);
}

static void two_faults_act_together(void **state)
{
    (void)state;
    struct bench b;
    load_parts(&b.parts, "controller-wd177x", "drive-35-dd", "ribbon-34-straight");
    b.options = options_of(&b.parts, "cable.TRK00.open", 2);
    b.options.fault[1] = "drive.speed.fast";
    run_session(&b.options, &b.session);
    size_t all = 0;
    assert_int_equal(low_ns(&b.session, TAP_MACHINE_END, LINE_TRK00), 0);
    assert_true(alive(&b, TAP_DRIVE_END, LINE_TRK00));
    assert_true(
        periods_within(&b.session, TAP_DRIVE_END, LINE_INDEX, 176000000, 185500000, &all) + 1 >=
        all);
    done(&b);
}

static void faults_that_cannot_be_are_refused_with_a_reason(void **state)
{
    (void)state;
    static const char *const bad[] = {"cable.twist.missing",    "setup.hard-sectored-disk",
                                      "cable.STEP+INDEX.short", "controller.latch.SELECT0.dead",
                                      "drive.HLOAD.dead",       "cable.FAULT.open"};
    struct parts p;
    load_parts(&p, "controller-wd177x", "drive-35-dd", "ribbon-34-straight");
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct sim_options o = options_of(&p, bad[i], 1);
        struct sim_play *play_of = NULL;
        struct err_msg e = {0};
        assert_int_equal(sim_play_open(&o, &play_of, &e), ERR_USAGE);
        assert_true(e.text[0] != '\0');
    }
    free_parts(&p);
}

/* Every name plays with one of two benches, without a failure of the simulator itself. */
static void every_listed_fault_plays(void **state)
{
    (void)state;
    static const char *const bench[][3] = {
        {"controller-wd177x", "drive-35-dd", "ribbon-34-straight"},
        {"controller-82077", "drive-525-hd", "ribbon-34-twisted"},
        {"controller-wd179x", "drive-525-dd-80", "ribbon-34-straight"},
        {"controller-generic", "drive-35-hd", "ribbon-34-straight"},
    };
    const char *const *name = NULL;
    size_t count = sim_faults(&name);
    for (size_t i = 0; i < count; i++) {
        bool played = false;
        for (size_t k = 0; k < 4 && !played; k++) {
            struct parts p;
            struct sim_play *play_of = NULL;
            struct err_msg e = {0};
            load_parts(&p, bench[k][0], bench[k][1], bench[k][2]);
            struct sim_options o = options_of(&p, name[i], 1);
            played = sim_play_open(&o, &play_of, &e) == ERR_OK;
            sim_play_close(play_of);
            free_parts(&p);
        }
        if (!played)
            fail_msg("%s plays on no bench", name[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(open_conductors_show_at_one_end_only),
        cmocka_unit_test(shorted_conductors_are_low_at_both_ends),
        cmocka_unit_test(joined_conductors_move_together),
        cmocka_unit_test(misplaced_plugs_ground_or_shift_the_lines),
        cmocka_unit_test(dead_and_stuck_parts_of_the_machine_act_at_its_own_plug),
        cmocka_unit_test(a_missing_pull_up_merges_read_pulses),
        cmocka_unit_test(test_gear_errs_at_its_own_tap),
        cmocka_unit_test(straps_and_terminators),
        cmocka_unit_test(two_faults_act_together),
        cmocka_unit_test(faults_that_cannot_be_are_refused_with_a_reason),
        cmocka_unit_test(every_listed_fault_plays),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
