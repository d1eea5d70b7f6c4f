/* The shipped profiles against figures from outside: the handbook's table of timing facts,
 * re-read here, and arithmetic that every drive must obey. */
#include "base/buf.h"
#include "base/file.h"
#include "profile/profile.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define COUNT(a) (sizeof(a) / sizeof(a)[0])

/* A row of the handbook and the value that was taken from it; scale turns the handbook's unit
 * into ours. */
static const struct row {
    const char *key;
    enum profile_kind kind;
    const char *profile, *value;
    double scale;
} ROWS[] = {
    {"d35dd.rpm.profile", PROFILE_DRIVE, "drive-35-dd", "speed_rpm", 1},
    {"d35dd.rpm_accept.profile", PROFILE_DRIVE, "drive-35-dd", "speed_accept_rpm", 1},
    {"d35dd.isv.profile", PROFILE_DRIVE, "drive-35-dd", "isv_percent", 1},
    {"d35dd.start.profile", PROFILE_DRIVE, "drive-35-dd", "start_ms", 1},
    {"d35dd.idx_w.profile", PROFILE_DRIVE, "drive-35-dd", "index_width_us", 1000},
    {"d35dd.idx_gate2.fd05hf", PROFILE_DRIVE, "drive-35-dd", "index_gate_ms", 1},
    {"d35dd.step_pw.profile", PROFILE_DRIVE, "drive-35-dd", "step_width_us", 1},
    {"d35dd.step_rate.profile", PROFILE_DRIVE, "drive-35-dd", "step_interval_ms", 1},
    {"d35dd.step_rev.profile", PROFILE_DRIVE, "drive-35-dd", "step_reverse_ms", 1},
    {"d35dd.dir_su.profile", PROFILE_DRIVE, "drive-35-dd", "dir_setup_us", 1},
    {"d35dd.dir_h.profile", PROFILE_DRIVE, "drive-35-dd", "dir_hold_us", 1},
    {"d35dd.settle.profile", PROFILE_DRIVE, "drive-35-dd", "settle_ms", 1},
    {"d35dd.tr00_v.fd05hf", PROFILE_DRIVE, "drive-35-dd", "trk00_valid_ms", 1},
    {"d35dd.sel_valid.profile", PROFILE_DRIVE, "drive-35-dd", "select_valid_us", 1},
    {"d35dd.side_valid.profile", PROFILE_DRIVE, "drive-35-dd", "side_valid_us", 1},
    {"d35dd.rd_pw.profile", PROFILE_DRIVE, "drive-35-dd", "read_pulse_ns", 1},
    {"d35dd.wd_pw.profile", PROFILE_DRIVE, "drive-35-dd", "write_pulse_ns", 1000},
    {"d35dd.erase_off.profile", PROFILE_DRIVE, "drive-35-dd", "erase_delay_us", 1000},
    {"d35dd.wg_rd.profile", PROFILE_DRIVE, "drive-35-dd", "write_recovery_us", 1000},
    {"d35dd.winmargin.profile", PROFILE_DRIVE, "drive-35-dd", "window_margin_ns", 1},
    {"d35dd.asym.profile", PROFILE_DRIVE, "drive-35-dd", "asymmetry_ns", 1},
    {"d35dd.v5.profile", PROFILE_DRIVE, "drive-35-dd", "v5_v", 1},
    {"d35dd.pullup.profile", PROFILE_DRIVE, "drive-35-dd", "pull_up_ohm", 1000},
    {"d35hd.rpm.profile", PROFILE_DRIVE, "drive-35-hd", "speed_rpm", 1},
    {"d35hd.idx_w.profile", PROFILE_DRIVE, "drive-35-hd", "index_width_us", 1000},
    {"d35hd.settle.profile", PROFILE_DRIVE, "drive-35-hd", "settle_ms", 1},
    {"d35hd.winmargin.profile", PROFILE_DRIVE, "drive-35-hd", "window_margin_ns", 1},
    {"d35hd.track_bytes.profile", PROFILE_DRIVE, "drive-35-hd", "track_bytes", 1},
    {"d35hd360.rpm.profile", PROFILE_DRIVE, "drive-35-hd-360", "speed_rpm", 1},
    {"d35hd360.idx_w.profile", PROFILE_DRIVE, "drive-35-hd-360", "index_width_us", 1000},
    {"d525dd40.rpm.profile", PROFILE_DRIVE, "drive-525-dd-40", "speed_rpm", 1},
    {"d525dd40.isv.profile", PROFILE_DRIVE, "drive-525-dd-40", "isv_percent", 1},
    {"d525dd40.idx_w.profile", PROFILE_DRIVE, "drive-525-dd-40", "index_width_us", 1000},
    {"d525dd40.step_rate.profile", PROFILE_DRIVE, "drive-525-dd-40", "step_interval_ms", 1},
    {"d525dd40.rd_pw.profile", PROFILE_DRIVE, "drive-525-dd-40", "read_pulse_ns", 1000},
    {"d525dd40.erase_off.profile", PROFILE_DRIVE, "drive-525-dd-40", "erase_delay_us", 1000},
    {"d525dd40.v12.profile", PROFILE_DRIVE, "drive-525-dd-40", "v12_v", 1},
    {"d525dd80.rpm.profile", PROFILE_DRIVE, "drive-525-dd-80", "speed_rpm", 1},
    {"d525dd80.step_rate.profile", PROFILE_DRIVE, "drive-525-dd-80", "step_interval_ms", 1},
    {"d525dd80.settle.profile", PROFILE_DRIVE, "drive-525-dd-80", "settle_ms", 1},
    {"d525dd80.wd_pw.profile", PROFILE_DRIVE, "drive-525-dd-80", "write_pulse_ns", 1000},
    {"d525hd.rpm360.profile", PROFILE_DRIVE, "drive-525-hd", "speed_rpm", 1},
    {"d525hd.rpm360.profile", PROFILE_DRIVE, "drive-525-hd-dual-speed", "speed_rpm", 1},
    {"d525hd.rpm300.profile", PROFILE_DRIVE, "drive-525-hd-dual-speed", "speed_low_rpm", 1},
    {"d525hd.step_pw.rs237088", PROFILE_DRIVE, "drive-525-hd", "step_width_us", 1},
    {"d525hd.step_rate.rs237088", PROFILE_DRIVE, "drive-525-hd", "step_interval_ms", 1},
    {"d525hd.idx_w.profile", PROFILE_DRIVE, "drive-525-hd", "index_width_us", 1000},
    {"d525hd.wg_rd.profile", PROFILE_DRIVE, "drive-525-hd", "write_recovery_us", 1000},
    {"d3.rpm.profile", PROFILE_DRIVE, "drive-3", "speed_rpm", 1},
    {"d3.step_rate.eme150", PROFILE_DRIVE, "drive-3", "step_interval_ms", 1},
    {"d3.rd_pw.profile", PROFILE_DRIVE, "drive-3", "read_pulse_ns", 1000},
    {"d8.rpm.profile", PROFILE_DRIVE, "drive-8", "speed_rpm", 1},
    {"d8.idx_w.profile", PROFILE_DRIVE, "drive-8", "index_width_us", 1000},
    {"d8.step_rev.sa810", PROFILE_DRIVE, "drive-8", "step_reverse_ms", 1},
    {"d8.rd_pw.heliosdrive", PROFILE_DRIVE, "drive-8", "read_pulse_ns", 1},
    {"d8.erase_off.profile", PROFILE_DRIVE, "drive-8", "erase_delay_us", 1},
    {"wd177x.restore", PROFILE_CONTROLLER, "controller-wd177x", "step_limit", 1},
    {"wd177x.spinup", PROFILE_CONTROLLER, "controller-wd177x", "spinup_index_pulses", 1},
    {"wd177x.motoroff", PROFILE_CONTROLLER, "controller-wd177x", "motor_off_index_pulses", 1},
    {"wd177x.rnf_to", PROFILE_CONTROLLER, "controller-wd177x", "search_index_pulses", 1},
    {"wd177x.idx_pw", PROFILE_CONTROLLER, "controller-wd177x", "index_width_min_us", 1},
    {"fd179x.restore", PROFILE_CONTROLLER, "controller-wd179x", "step_limit", 1},
    {"fd179x.rd_pw", PROFILE_CONTROLLER, "controller-wd179x", "read_pulse_ns", 1},
    {"upd765.recal", PROFILE_CONTROLLER, "controller-upd765", "step_limit", 1},
    {"upd765.idx_to", PROFILE_CONTROLLER, "controller-upd765", "search_index_pulses", 1},
    {"upd765.dir_h", PROFILE_CONTROLLER, "controller-upd765", "dir_hold_us", 1},
    {"i82077.recal", PROFILE_CONTROLLER, "controller-82077", "step_limit", 1},
    {"i82077.idx_to", PROFILE_CONTROLLER, "controller-82077", "search_index_pulses", 1},
    {"i82077.step_pw", PROFILE_CONTROLLER, "controller-82077", "step_width_us", 1},
};

static struct profile *load(enum profile_kind kind, const char *name)
{
    struct profile_path *path;
    struct profile *p = NULL;
    struct err_msg e = {0};
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    if (profile_load(path, kind, name, &p, &e) != ERR_OK)
        fail_msg("%s", e.text);
    profile_path_free(path);
    return p;
}

/* Next field of a CSV line, quoted or not. */
static const char *field(const char *at, char *out, size_t size)
{
    size_t n = 0;
    bool quoted = *at == '"';
    at += quoted ? 1 : 0;
    while (*at != '\0' && *at != '\n' && (quoted || *at != ',')) {
        if (quoted && *at == '"') {
            if (at[1] != '"')
                break;
            at++;
        }
        if (n + 1 < size)
            out[n++] = *at;
        at++;
    }
    out[n] = '\0';
    at += quoted && *at == '"' ? 1 : 0;
    return *at == ',' ? at + 1 : at;
}

/* A bound of the handbook against the profile's; text in the handbook ("2 to 4") says nothing
 * here. */
static bool compare(const struct row *r, const char *which, const char *text, bool has,
                    double ours)
{
    char *end;
    double v = strtod(text, &end);
    if (end == text || *end != '\0')
        return false;
    if (!has || fabs(ours - v * r->scale) > 1e-9 * fabs(ours))
        fail_msg("%s: %s %s is %g here, %s x %g there", r->key, r->value, which, ours, text,
                 r->scale);
    return true;
}

/* Source: the handbook's timing.csv (columns key, class, parameter, min, typ, max, unit,
 * source, confidence). */
static void figures_are_those_of_the_handbook(void **state)
{
    (void)state;
    struct buf csv;
    struct err_msg e = {0};
    buf_init(&csv, 4 << 20);
    if (file_read(TEST_SHARED_DIR "/handbook/timing.csv", &csv, &e) != ERR_OK) {
        print_message("skipped: no handbook beside the source tree\n");
        skip();
    }
    size_t bounds = 0;
    for (size_t i = 0; i < COUNT(ROWS); i++) {
        char start[80], name[3][300], min[40], typ[40], max[40];
        snprintf(start, sizeof start, "\n%s,", ROWS[i].key);
        const char *at = strstr(csv.data, start);
        if (at == NULL)
            fail_msg("%s is not in the handbook", ROWS[i].key);
        at++;
        for (size_t f = 0; f < 3; f++)
            at = field(at, name[f], sizeof name[f]);
        field(field(field(at, min, sizeof min), typ, sizeof typ), max, sizeof max);
        struct profile *p = load(ROWS[i].kind, ROWS[i].profile);
        const struct limit *l = profile_limit(p, ROWS[i].value);
        if (l == NULL)
            fail_msg("%s has no %s", ROWS[i].profile, ROWS[i].value);
        bool any = compare(&ROWS[i], "min", min, l->has_min, l->min);
        any |= compare(&ROWS[i], "typ", typ, l->has_typ, l->typ);
        any |= compare(&ROWS[i], "max", max, l->has_max, l->max);
        if (!any)
            fail_msg("%s holds no number to compare with", ROWS[i].key);
        bounds++;
        profile_free(p);
    }
    assert_int_equal(bounds, COUNT(ROWS));
    buf_release(&csv);
}

/* Arithmetic: a track holds rate x turn / 8 bytes (handbook, calc.bytes_*), within the rounding
 * of a maker. */
static void track_bytes_are_rate_times_turn(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        double kbps, rpm;
    } CASES[] = {{"drive-35-dd", 250, 300},     {"drive-35-hd", 500, 300},
                 {"drive-35-hd-360", 500, 360}, {"drive-525-dd-40", 250, 300},
                 {"drive-525-hd", 500, 360},    {"drive-3", 250, 300}};
    for (size_t i = 0; i < COUNT(CASES); i++) {
        struct profile *p = load(PROFILE_DRIVE, CASES[i].name);
        assert_float_equal(profile_number(p, "data_rate_kbps", 0), CASES[i].kbps, 0);
        assert_float_equal(profile_number(p, "speed_rpm", 0), CASES[i].rpm, 0);
        double bytes = CASES[i].kbps * 1000 / 8 * 60 / CASES[i].rpm;
        assert_float_equal(profile_number(p, "track_bytes", 0), bytes, 1);
        profile_free(p);
    }
}

/* Handbook, bench practice 15: the shop's limit lies inside the maker's, for every drive that
 * has both. */
static void the_shop_is_never_laxer_than_the_maker(void **state)
{
    (void)state;
    static const char *const DRIVES[] = {
        "drive-35-dd",     "drive-35-hd",  "drive-35-hd-360",         "drive-525-dd-40",
        "drive-525-dd-80", "drive-525-hd", "drive-525-hd-dual-speed", "drive-3",
        "drive-8"};
    for (size_t i = 0; i < COUNT(DRIVES); i++) {
        struct profile *p = load(PROFILE_DRIVE, DRIVES[i]);
        assert_true(profile_min(p, "speed_accept_rpm", 0) > profile_min(p, "speed_rpm", 1e9));
        assert_true(profile_max(p, "speed_accept_rpm", 1e9) < profile_max(p, "speed_rpm", 0));
        /* A step cannot take longer than a turn round, and what is read must have settled. */
        assert_true(profile_min(p, "step_interval_ms", 1e9) <=
                    profile_number(p, "step_reverse_ms", 0));
        assert_true(profile_min(p, "settle_ms", 0) > 0);
        profile_free(p);
    }
}

/* controller-generic stands for a machine of which nothing is known: no machine may fall
 * outside it. */
static void the_generic_machine_holds_all_others(void **state)
{
    (void)state;
    static const char *const MACHINES[] = {"controller-wd177x", "controller-wd179x",
                                           "controller-upd765", "controller-82077"};
    static const char *const KEYS[] = {
        "step_limit",          "step_interval_ms", "step_width_us",  "dir_setup_us",
        "settle_ms",           "read_pulse_ns",    "write_pulse_ns", "precomp_ns",
        "search_index_pulses", "wgate_to_wdata_us"};
    struct profile *g = load(PROFILE_CONTROLLER, "controller-generic");
    for (size_t i = 0; i < COUNT(MACHINES); i++) {
        struct profile *p = load(PROFILE_CONTROLLER, MACHINES[i]);
        assert_int_equal(
            profile_lines(p) & ~profile_lines(g) &
                ~(LINE_BIT(LINE_FAULT) | LINE_BIT(LINE_FAULTRESET) | LINE_BIT(LINE_TWOSIDED)),
            0);
        for (size_t k = 0; k < COUNT(KEYS); k++) {
            const struct limit *l = profile_limit(p, KEYS[k]);
            if (l == NULL)
                continue;
            double number = profile_number(p, KEYS[k], 0);
            double low = l->has_min ? l->min : number, high = l->has_max ? l->max : number;
            if (low < profile_min(g, KEYS[k], 1e9) || high > profile_max(g, KEYS[k], -1e9))
                fail_msg("%s: %s is outside controller-generic", MACHINES[i], KEYS[k]);
        }
        profile_free(p);
    }
    profile_free(g);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(figures_are_those_of_the_handbook),
        cmocka_unit_test(track_bytes_are_rate_times_turn),
        cmocka_unit_test(the_shop_is_never_laxer_than_the_maker),
        cmocka_unit_test(the_generic_machine_holds_all_others),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
