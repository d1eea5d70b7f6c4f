/* Index pulses of one pass over a capture: which are missing and which a gate of the drive hid.
 */
#include "base/buf.h"
#include "evidence/survey.h"
#include "profile/profile.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define CUT_OPEN_10US  160 /* a gate opens that long behind the fall */
#define CUT_CLOSE_10US 101 /* a gate closes that long behind it */

static struct profile *load_drive(const char *name)
{
    struct err_msg e = {0};
    struct profile_path *profiles = NULL;
    struct profile *drive = NULL;
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &profiles, &e), ERR_OK);
    assert_int_equal(profile_load(profiles, PROFILE_DRIVE, name, &drive, &e), ERR_OK);
    profile_path_free(profiles);
    return drive;
}

static void done(struct survey *s)
{
    survey_release(s);
    free(s);
}

/* Invented: turns of 200 ms and pulses of 3 ms, one flag a turn: '|' seen, '.' missing, 'o'
 * missing while READY is inactive, '<' cut short by the gate that opens late in it, '>' by the
 * one that closes in it, 's' by SELECT that comes late in it. The head makes the seeks given:
 * first step, number of steps, 3 ms apart. drive_name NULL: not known. */
struct seek_of {
    int at_ms, steps;
};
static struct survey *survey_turns(const char *turns, const struct seek_of *seek, size_t seeks,
                                   const char *drive_name)
{
    struct profile *drive = drive_name != NULL ? load_drive(drive_name) : NULL;
    struct survey_options o = {.drive = drive};
    struct survey *s = calloc(1, sizeof *s);
    struct capture *c = NULL;
    struct err_msg e = {0};
    struct buf text;
    buf_init(&text, 1 << 16);
    assert_non_null(s);
    assert_int_equal(buf_str(&text, "$timescale 10 us $end $var wire 1 i INDEX $end "
                                    "$var wire 1 s STEP $end $var wire 1 y READY $end "
                                    "$var wire 1 u SELECT0 $end "
                                    "$enddefinitions $end\n#0\n1i\n1s\n0y\n0u\n"),
                     ERR_OK);
    for (int at = 0; at < 100 * 200 * (int)strlen(turns); at++) {
        int turn = at / 20000;
        int in = at % 20000 - 5000;
        char kind = turns[turn];
        int fall = kind == '<' || kind == 's' ? CUT_OPEN_10US : 0;
        bool seen = strchr("|<>s", kind) != NULL;
        const char *index = seen && in == fall                           ? "0i\n"
                            : in == (kind == '>' ? CUT_CLOSE_10US : 300) ? "1i\n"
                                                                         : "";
        const char *select = kind != 's' ? "" : in == -5000 ? "1u\n" : in == fall ? "0u\n" : "";
        const char *ready = in != -5000 ? "" : kind == 'o' ? "1y\n" : "0y\n";
        const char *step = "";
        for (size_t i = 0; i < seeks; i++) {
            int since = at - 100 * seek[i].at_ms;
            bool steps = since >= 0 && since % 300 == 0 && since / 300 < seek[i].steps;
            step = steps ? "0s\n1s\n" : step;
        }
        if (*index != 0 || *ready != 0 || *step != 0 || *select != 0) {
            assert_int_equal(buf_printf(&text, "#%d\n%s%s%s%s", at, select, index, ready, step),
                             ERR_OK);
        }
    }
    assert_int_equal(capture_open_memory("turns", text.data, text.len, NULL, &c, &e), ERR_OK);
    assert_int_equal(survey_run(c, &o, s, &e), ERR_OK);
    capture_close(c);
    profile_free(drive);
    buf_release(&text);
    return s;
}

/* Source: timing.csv d35dd.idx_gate.fd05hf: INDEX comes only while the drive is selected, ready
 * and its seek is complete, up to 17.9 ms behind the last STEP. */
static void pulses_that_a_seek_hides_are_not_missing(void **state)
{
    /* pulses 5 to 9 of a long seek, one of a short one */
    static const struct seek_of SEEK[] = {{1000, 300}, {2440, 2}};
    (void)state;
    struct survey *s = survey_turns("|||||.....||.||||||", SEEK, 2, "drive-35-dd");
    assert_int_equal(s->index.pulses, 13);
    assert_int_equal(s->index.missing, 0);
    assert_int_equal(s->index.extra, 0);
    assert_int_equal(s->rotation.revolutions, 10);
    assert_true(fabs(s->rotation.rpm - 300) < 0.01);
    done(s);
}

static void pulses_of_a_drive_that_is_not_ready_are_not_missing(void **state)
{
    (void)state;
    struct survey *s = survey_turns("||||o||||", NULL, 0, "drive-35-dd");
    assert_int_equal(s->index.missing, 0);
    assert_int_equal(s->rotation.revolutions, 6);
    done(s);
    s = survey_turns("||||o|.||", NULL, 0, "drive-35-dd");
    assert_int_equal(s->index.missing, 1);
    done(s);
    /* Source: its profile, index_gate: select alone */
    s = survey_turns("||||o||||", NULL, 0, "drive-525-dd-40");
    assert_int_equal(s->index.missing, 1);
    done(s);
}

static void turns_with_all_their_pulses_count_whatever_was_stepped(void **state)
{
    static const struct seek_of SEEK[] = {{480, 10}, {860, 10}, {1070, 20}, {1500, 7}};
    (void)state;
    struct survey *s = survey_turns("||||||||||", SEEK, 4, "drive-35-dd");
    assert_int_equal(s->index.missing, 0);
    assert_int_equal(s->rotation.revolutions, 9);
    done(s);
}

static void pulses_missing_outside_the_gates_stay_missing(void **state)
{
    static const struct seek_of SEEK[] = {{1040, 4}};
    (void)state;
    struct survey *s = survey_turns("|||||.|||..||", SEEK, 1, "drive-35-dd");
    assert_int_equal(s->index.missing, 2);
    done(s);
    /* this drive holds INDEX back for no seek. Source: its profile, index_gate */
    s = survey_turns("|||||.|||||||", SEEK, 1, "drive-525-dd-40");
    assert_int_equal(s->index.missing, 1);
    done(s);
}

static void a_pulse_that_a_gate_cut_tells_neither_speed_nor_width(void **state)
{
    static const struct seek_of SEEK[] = {{1025, 4}};
    (void)state;
    struct survey *s = survey_turns("|||||<|||||", SEEK, 1, "drive-35-dd");
    assert_int_equal(s->index.missing, 0);
    assert_int_equal(s->rotation.revolutions, 10);
    assert_true(s->rotation.spread_percent < 0.01);
    assert_true(fabs(s->index.width_us - 3000) < 20);
    done(s);
}

/* The gate of the first seek opens just before pulse 6, which the second seek cuts. */
static void a_pulse_cut_between_two_seeks_tells_no_width(void **state)
{
    static const struct seek_of SEEK[] = {{1051, 62}, {1251, 4}};
    static const char *const DRIVE[] = {"drive-35-dd", NULL};
    (void)state;
    for (size_t i = 0; i < sizeof DRIVE / sizeof DRIVE[0]; i++) {
        struct survey *s = survey_turns("|||||>>|||||", SEEK, 2, DRIVE[i]);
        assert_int_equal(s->index.pulses, 12);
        assert_int_equal(s->index.missing, 0);
        assert_int_equal(s->rotation.revolutions, 11);
        assert_true(s->rotation.spread_percent < 0.01);
        assert_true(fabs(s->index.width_us - 3000) < 1);
        assert_true(s->index.width_sd_us < 1);
        done(s);
    }
}

static void a_drive_that_is_not_known_may_cut_pulses_too(void **state)
{
    static const struct seek_of SEEK[] = {{1025, 4}};
    (void)state;
    struct survey *s = survey_turns("|||||<|||||", SEEK, 1, NULL);
    assert_true(fabs(s->index.width_us - 3000) < 1);
    assert_true(s->index.width_sd_us < 1);
    done(s);
    /* nothing moved that could gate: the narrow pulse is the sensor's own */
    s = survey_turns("|||||>|||||", NULL, 0, NULL);
    assert_true(s->index.width_sd_us > 100);
    done(s);
}

/* Source: its profile, index_gate: select */
static void a_pulse_that_select_cut_tells_neither_speed_nor_width(void **state)
{
    static const char *const DRIVE[] = {"drive-35-dd", "drive-525-dd-40", NULL};
    (void)state;
    for (size_t i = 0; i < sizeof DRIVE / sizeof DRIVE[0]; i++) {
        struct survey *s = survey_turns("|||||s|||||", NULL, 0, DRIVE[i]);
        assert_int_equal(s->index.pulses, 11);
        assert_int_equal(s->rotation.revolutions, 8);
        assert_true(s->rotation.spread_percent < 0.01);
        assert_true(fabs(s->index.width_us - 3000) < 1);
        done(s);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pulses_that_a_seek_hides_are_not_missing),
        cmocka_unit_test(pulses_of_a_drive_that_is_not_ready_are_not_missing),
        cmocka_unit_test(turns_with_all_their_pulses_count_whatever_was_stepped),
        cmocka_unit_test(pulses_missing_outside_the_gates_stay_missing),
        cmocka_unit_test(a_pulse_that_a_gate_cut_tells_neither_speed_nor_width),
        cmocka_unit_test(a_pulse_cut_between_two_seeks_tells_no_width),
        cmocka_unit_test(a_drive_that_is_not_known_may_cut_pulses_too),
        cmocka_unit_test(a_pulse_that_select_cut_tells_neither_speed_nor_width),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
