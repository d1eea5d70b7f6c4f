/* Faults of drive, disk and supply: each changes what it should, in the right amount. */
#include "sim_bench.h"

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

static void heads_lose_what_their_fault_takes(void **state)
{
    (void)state;
    static const char *const faults[] = {"drive.head.dead", "drive.head.weak",
                                         "drive.head.dirty", "drive.head1.dead"};
    for (size_t i = 0; i < 4; i++) {
        for (uint64_t seed = 41; seed < 43; seed++) {
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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_spindle_runs_as_its_fault_says),
        cmocka_unit_test(a_slipping_hub_shows_in_the_flux_only),
        cmocka_unit_test(sensors_fail_the_way_they_are_named),
        cmocka_unit_test(heads_lose_what_their_fault_takes),
        cmocka_unit_test(disks_fail_as_their_fault_says),
        cmocka_unit_test(turned_over_and_hard_sectored_disks_show_in_the_index),
        cmocka_unit_test(supplies_take_the_drive_with_them),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
