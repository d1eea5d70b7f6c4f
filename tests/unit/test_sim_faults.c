/* Each fault changes what it should, at the tap where it should, and in the right amount. */
#include "sim_session.h"

struct bench {
    struct parts parts;
    struct sim_options options;
    struct session session;
};

static void play(struct bench *b, const char *machine, const char *drive, const char *cable,
                 const char *fault, uint64_t seed, unsigned asked)
{
    load_parts(&b->parts, machine, drive, cable);
    b->options = options_of(&b->parts, fault, seed);
    b->options.asked = asked;
    run_session(&b->options, &b->session);
}

static void play_dd(struct bench *b, const char *fault, unsigned asked)
{
    play(b, "controller-wd177x", "drive-35-dd", "ribbon-34-straight", fault, 31, asked);
}

static void done(struct bench *b)
{
    free_session(&b->session);
    free_parts(&b->parts);
}

static bool alive(const struct bench *b, int tap, enum line line)
{
    return falls(&b->session, tap, line) > 0;
}

static bool always_low(const struct bench *b, int tap, enum line line)
{
    return low_ns(&b->session, tap, line) == b->session.result.seconds_ns;
}

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
        play_dd(&b, open[i].fault, ASKED_READ | ASKED_WRITE);
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

static void the_spindle_runs_as_its_fault_says(void **state)
{
    (void)state;
    struct bench b;
    size_t all = 0;
    play_dd(&b, "drive.motor.dead", ASKED_READ);
    assert_false(alive(&b, TAP_DRIVE_END, LINE_INDEX));
    done(&b);
    play_dd(&b, "drive.speed.fast", ASKED_READ);
    assert_true(
        periods_within(&b.session, TAP_DRIVE_END, LINE_INDEX, 176000000, 185500000, &all) + 1 >=
        all);
    done(&b);
    play_dd(&b, "drive.speed.slow", ASKED_READ);
    assert_true(
        periods_within(&b.session, TAP_DRIVE_END, LINE_INDEX, 218000000, 232000000, &all) + 1 >=
        all);
    done(&b);
    play_dd(&b, "drive.speed.unsteady", ASKED_READ);
    assert_true(periods_within(&b.session, TAP_DRIVE_END, LINE_INDEX, 197000000, 203000000,
                               &all) < all / 2);
    done(&b);
    play_dd(&b, "drive.index.weak", ASKED_READ);
    size_t whole =
        periods_within(&b.session, TAP_DRIVE_END, LINE_INDEX, 197000000, 203000000, &all);
    size_t twice =
        periods_within(&b.session, TAP_DRIVE_END, LINE_INDEX, 396000000, 404000000, &all);
    assert_true(whole >= 1 && twice >= 2);
    done(&b);
}

/* The rotor's index keeps its time while the disk falls behind: fewer transitions a turn pass
 * the head. */
static void a_slipping_hub_shows_in_the_flux_only(void **state)
{
    (void)state;
    struct bench sound;
    struct bench slips;
    size_t all = 0;
    play_dd(&sound, NULL, ASKED_READ);
    play_dd(&slips, "drive.hub.slips", ASKED_READ);
    assert_true(
        periods_within(&slips.session, TAP_DRIVE_END, LINE_INDEX, 197000000, 203000000, &all) +
            1 >=
        all);
    double rate[2];
    const struct bench *b[2] = {&sound, &slips};
    for (int i = 0; i < 2; i++)
        rate[i] = (double)falls(&b[i]->session, TAP_DRIVE_END, LINE_RDATA) /
                  (double)low_ns(&b[i]->session, TAP_DRIVE_END, LINE_READY);
    assert_true(rate[1] < 0.97 * rate[0]);
    done(&sound);
    done(&slips);
}

static void sensors_fail_the_way_they_are_named(void **state)
{
    (void)state;
    struct bench b;
    play_dd(&b, "drive.track0.dead", ASKED_READ);
    assert_int_equal(low_ns(&b.session, TAP_DRIVE_END, LINE_TRK00), 0);
    assert_true(falls(&b.session, TAP_MACHINE_END, LINE_STEP) >= 255); /* wd177x.restore */
    done(&b);
    play_dd(&b, "drive.track0.stuck", ASKED_RESTORE);
    assert_int_equal(falls(&b.session, TAP_MACHINE_END, LINE_STEP), 0); /* wd177x.restore_low */
    assert_true(alive(&b, TAP_DRIVE_END, LINE_TRK00));
    done(&b);
    play_dd(&b, "drive.index.dead", ASKED_READ);
    assert_int_equal(low_ns(&b.session, TAP_DRIVE_END, LINE_INDEX), 0);
    done(&b);
    play_dd(&b, "drive.wprot.stuck", ASKED_WRITE);
    assert_true(alive(&b, TAP_DRIVE_END, LINE_WPROT));
    assert_false(alive(&b, TAP_MACHINE_END, LINE_WGATE));
    assert_string_equal(b.session.result.error, "write protected");
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

static void heads_lose_what_their_fault_takes(void **state)
{
    (void)state;
    static const char *const faults[] = {"drive.head.dead", "drive.head.weak",
                                         "drive.head.dirty", "drive.head1.dead"};
    for (size_t i = 0; i < 4; i++) {
        for (uint64_t seed = 41; seed < 44; seed++) {
            struct bench b;
            play(&b, "controller-wd177x", "drive-35-dd", "ribbon-34-straight", faults[i], seed,
                 ASKED_READ);
            if (strcmp(b.session.result.outcome, "worked") == 0)
                fail_msg("%s does no harm with seed %d", faults[i], (int)seed);
            assert_true(falls(&b.session, TAP_DRIVE_END, LINE_INDEX) > 5);
            done(&b);
        }
    }
}

static void disks_fail_as_their_fault_says(void **state)
{
    (void)state;
    struct bench b;
    size_t all = 0;
    play_dd(&b, "disk.medium.absent", ASKED_READ);
    assert_false(alive(&b, TAP_DRIVE_END, LINE_INDEX));
    assert_true(alive(&b, TAP_DRIVE_END, LINE_WPROT));
    done(&b);
    /* noise has no cells: many intervals that 4, 6 and 8 us with their shifts do not give */
    play_dd(&b, "disk.medium.blank", ASKED_READ);
    size_t four = periods_within(&b.session, TAP_DRIVE_END, LINE_RDATA, 3500, 4500, &all);
    size_t odd = periods_within(&b.session, TAP_DRIVE_END, LINE_RDATA, 9000, 30000, &all);
    assert_true(all > 20000 && four < all / 4 && odd > all / 4);
    done(&b);
    play_dd(&b, "disk.density.wrong", ASKED_READ);
    size_t two = periods_within(&b.session, TAP_DRIVE_END, LINE_RDATA, 1700, 2300, &all);
    assert_true(two > all / 3);
    done(&b);
    play_dd(&b, "disk.medium.worn", ASKED_READ);
    assert_string_not_equal(b.session.result.outcome, "worked");
    done(&b);
}

static void turned_over_and_hard_sectored_disks_show_in_the_index(void **state)
{
    (void)state;
    struct bench b;
    size_t all = 0;
    play(&b, "controller-wd177x", "drive-525-dd-40", "ribbon-34-straight",
         "setup.disk-upside-down", 5, ASKED_READ);
    assert_false(alive(&b, TAP_DRIVE_END, LINE_INDEX));
    done(&b);
    play(&b, "controller-wd177x", "drive-525-dd-40", "ribbon-34-straight",
         "setup.hard-sectored-disk", 5, ASKED_READ);
    size_t sector =
        periods_within(&b.session, TAP_DRIVE_END, LINE_INDEX, 12000000, 20500000, &all);
    assert_true(sector > 10);
    done(&b);
    /* identifiers of half the head's cylinder: the machine finds none of its own */
    play(&b, "controller-wd177x", "drive-525-dd-80", "ribbon-34-straight",
         "setup.track-density", 5, ASKED_READ);
    assert_string_equal(b.session.result.error, "record not found");
    done(&b);
}

static void supplies_take_the_drive_with_them(void **state)
{
    (void)state;
    struct bench b;
    play_dd(&b, "power.5v.missing", ASKED_READ);
    assert_int_equal(low_ns(&b.session, TAP_DRIVE_END, LINE_WPROT) +
                         low_ns(&b.session, TAP_DRIVE_END, LINE_TRK00),
                     0);
    done(&b);
    play(&b, "controller-82077", "drive-525-dd-80", "ribbon-34-straight", "power.12v.missing",
         4, ASKED_READ);
    assert_false(alive(&b, TAP_DRIVE_END, LINE_INDEX));
    assert_true(alive(&b, TAP_DRIVE_END, LINE_STEP));
    done(&b);
    /* resets follow one another: at each the change line is set anew */
    play(&b, "controller-82077", "drive-35-hd", "ribbon-34-straight", "power.supply.sags", 4,
         ASKED_READ);
    assert_true(falls(&b.session, TAP_DRIVE_END, LINE_DSKCHG) >= 4);
    assert_true(falls(&b.session, TAP_MACHINE_END, LINE_MOTOR) <= 2);
    done(&b);
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
        cmocka_unit_test(the_spindle_runs_as_its_fault_says),
        cmocka_unit_test(a_slipping_hub_shows_in_the_flux_only),
        cmocka_unit_test(sensors_fail_the_way_they_are_named),
        cmocka_unit_test(dead_and_stuck_parts_of_the_machine_act_at_its_own_plug),
        cmocka_unit_test(a_missing_pull_up_merges_read_pulses),
        cmocka_unit_test(heads_lose_what_their_fault_takes),
        cmocka_unit_test(disks_fail_as_their_fault_says),
        cmocka_unit_test(turned_over_and_hard_sectored_disks_show_in_the_index),
        cmocka_unit_test(supplies_take_the_drive_with_them),
        cmocka_unit_test(test_gear_errs_at_its_own_tap),
        cmocka_unit_test(straps_and_terminators),
        cmocka_unit_test(two_faults_act_together),
        cmocka_unit_test(faults_that_cannot_be_are_refused_with_a_reason),
        cmocka_unit_test(every_listed_fault_plays),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
