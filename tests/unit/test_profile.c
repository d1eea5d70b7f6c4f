/* Profiles: the search, the reading, the checking, and the questions to a cable. */
#include "base/buf.h"
#include "profile/profile.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

static char folder[] = TEST_BINARY_DIR "/test-profile-XXXXXX";
static struct profile_path *shipped;

static int set_up(void **state)
{
    (void)state;
    unsetenv("WHICHEND_PROFILES");
    struct err_msg e = {0};
    if (mkdtemp(folder) == NULL || chdir(folder) != 0)
        return 1;
    /* A config folder without profiles, so that this machine's own do not matter. */
    setenv("XDG_CONFIG_HOME", folder, 1);
    return profile_path_make(TEST_SOURCE_DIR "/profiles", &shipped, &e) != ERR_OK;
}

static int tear_down(void **state)
{
    (void)state;
    profile_path_free(shipped);
    char command[sizeof folder + 20];
    snprintf(command, sizeof command, "rm -r -- '%s'", folder);
    return chdir("/") != 0 || system(command) != 0;
}

static void put(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    fputs(text, f);
    assert_int_equal(fclose(f), 0);
}

static struct profile *load(enum profile_kind kind, const char *name)
{
    struct profile *p = NULL;
    struct err_msg e = {0};
    if (profile_load(shipped, kind, name, &p, &e) != ERR_OK)
        fail_msg("%s", e.text);
    return p;
}

/* Contract, "Profile names that must exist". */
static const char *const DRIVES[] = {
    "drive-35-dd",     "drive-35-hd",  "drive-35-hd-360",         "drive-525-dd-40",
    "drive-525-dd-80", "drive-525-hd", "drive-525-hd-dual-speed", "drive-3",
    "drive-8"};
static const char *const MACHINES[] = {"controller-wd177x", "controller-wd179x",
                                       "controller-upd765", "controller-82077",
                                       "controller-generic"};
static const char *const CABLES[] = {
    "ribbon-34-straight", "ribbon-34-twisted", "ribbon-50", "ribbon-26", "din-14", "dsub-23",
    "adapter-50-34"};
#define COUNT(a) (sizeof(a) / sizeof(a)[0])

static void all_sound(enum profile_kind kind, const char *const *name, size_t names)
{
    for (size_t i = 0; i < names; i++) {
        struct profile *p = load(kind, name[i]);
        assert_string_equal(profile_name(p), name[i]);
        assert_true(strlen(profile_title(p)) > 5);
        assert_int_equal(profile_kind_of(p), kind);
        struct buf b;
        buf_init(&b, 10000);
        size_t problems = 99;
        struct err_msg e = {0};
        assert_int_equal(profile_check_file(profile_file(p), kind, &b, &problems, &e), ERR_OK);
        if (problems > 0)
            fail_msg("%s", b.data);
        const struct limit *l;
        for (size_t n = profile_limits(p, &l), k = 0; k < n; k++)
            assert_true(l[k].source != NULL && l[k].place > 0);
        buf_release(&b);
        profile_free(p);
    }
    char **list;
    size_t count;
    struct err_msg e = {0};
    assert_int_equal(profile_list(shipped, kind, &list, &count, &e), ERR_OK);
    assert_int_equal(count, names);
    for (size_t i = 1; i < count; i++)
        assert_true(strcmp(list[i - 1], list[i]) < 0);
    profile_names_free(list, count);
}

static void every_profile_of_the_contract_is_sound(void **state)
{
    (void)state;
    all_sound(PROFILE_DRIVE, DRIVES, COUNT(DRIVES));
    all_sound(PROFILE_CONTROLLER, MACHINES, COUNT(MACHINES));
    all_sound(PROFILE_CABLE, CABLES, COUNT(CABLES));
}

static void values_come_back_as_they_stand(void **state)
{
    (void)state;
    struct profile *p = load(PROFILE_DRIVE, "drive-35-dd");
    assert_float_equal(profile_number(p, "speed_rpm", 0), 300, 0);
    assert_float_equal(profile_min(p, "speed_rpm", 0), 295.5, 0);
    assert_float_equal(profile_max(p, "speed_rpm", 0), 304.5, 0);
    /* No typ: the middle; one bound: that one; none: the fallback. */
    assert_float_equal(profile_number(p, "index_width_us", 0), 3250, 0);
    assert_float_equal(profile_number(p, "dir_hold_us", 0), 0.8, 0);
    assert_float_equal(profile_max(p, "dir_hold_us", 7), 7, 0);
    assert_float_equal(profile_number(p, "head_load_ms", -1), -1, 0);
    assert_string_equal(profile_word(p, "step_edge", "?"), "trailing");
    assert_string_equal(profile_word(p, "speed_rpm", "?"), "?");
    assert_true(profile_flag(p, "has_motor_line", false));
    assert_true(profile_flag(p, "speed_rpm", true));
    assert_true(profile_has_word(p, "index_gate", "ready"));
    assert_false(profile_has_word(p, "index_gate", "read"));
    assert_string_equal(profile_limit(p, "speed_rpm")->unit, "rpm");
    assert_null(profile_limit(p, "rpm"));
    assert_true(profile_lines(p) & LINE_BIT(LINE_MOTOR));
    assert_false(profile_lines(p) & LINE_BIT(LINE_TWOSIDED));
    profile_free(p);
    p = load(PROFILE_DRIVE, "drive-8");
    assert_false(profile_flag(p, "has_motor_line", true));
    assert_false(profile_lines(p) & LINE_BIT(LINE_MOTOR));
    profile_free(p);
    assert_float_equal(profile_number(NULL, "speed_rpm", 5), 5, 0);
    profile_free(NULL);
}

static enum err load_from(const char *dir, enum profile_kind kind, const char *name,
                          char *title)
{
    struct profile_path *path;
    struct profile *p = NULL;
    struct err_msg e = {0};
    assert_int_equal(profile_path_make(dir, &path, &e), ERR_OK);
    enum err r = profile_load(path, kind, name, &p, &e);
    assert_int_equal(e.code, r);
    snprintf(title, 100, "%s", p == NULL ? "" : profile_title(p));
    profile_free(p);
    profile_path_free(path);
    return r;
}

static void write_drive(const char *place, const char *name, const char *title)
{
    char path[200];
    mkdir(place, 0700);
    snprintf(path, sizeof path, "%s/drives", place);
    mkdir(path, 0700);
    snprintf(path, sizeof path, "%s/drives/%s.ini", place, name);
    char text[600];
    snprintf(text, sizeof text,
             "[profile]\ntitle = %s\nkind = drive\nlines = SELECT0 STEP INDEX\n"
             "[cylinders]\ntyp = 40\nunit = cylinders\nsource = invented\n"
             "[sides]\ntyp = 1\nunit = sides\nsource = invented\n"
             "[track_density_tpi]\ntyp = 48\nunit = tpi\nsource = invented\n"
             "[data_rate_kbps]\ntyp = 250\nunit = kbit/s\nsource = invented\n",
             title);
    put(path, text);
}

/* Contract, "Verbs": --profiles, $WHICHEND_PROFILES, the user's folder, the data folder, the
 * source tree. */
static void the_first_place_that_has_it_wins(void **state)
{
    (void)state;
    char title[100];
    assert_int_equal(mkdir("whichend", 0700), 0);
    write_drive("whichend/profiles", "drive-8", "the user's");
    write_drive("env", "drive-8", "the environment's");
    write_drive("option", "drive-8", "the option's");
    write_drive("option", "drive-mine", "mine");
    assert_int_equal(load_from(NULL, PROFILE_DRIVE, "drive-8", title), ERR_OK);
    assert_string_equal(title, "the user's");
    setenv("WHICHEND_PROFILES", "env", 1);
    assert_int_equal(load_from(NULL, PROFILE_DRIVE, "drive-8", title), ERR_OK);
    assert_string_equal(title, "the environment's");
    assert_int_equal(load_from("option", PROFILE_DRIVE, "drive-8", title), ERR_OK);
    assert_string_equal(title, "the option's");
    assert_int_equal(load_from("option", PROFILE_DRIVE, "drive-mine", title), ERR_OK);
    assert_int_equal(load_from("option", PROFILE_CABLE, "ribbon-50", title), ERR_OK);
    unsetenv("WHICHEND_PROFILES");
    struct profile_path *path;
    struct err_msg e = {0};
    assert_int_equal(profile_path_make("no-such-folder", &path, &e), ERR_NO_INPUT);
    assert_int_equal(system("rm -r whichend env option"), 0);
}

static void names_that_are_no_names_are_refused(void **state)
{
    (void)state;
    static const char *const BAD[] = {"",        ".",           "..",       "../drives/drive-8",
                                      "a/b",     "/etc/passwd", "a..b",     ".hidden",
                                      "drive 8", "drive-8\n",   "drive-99", "drive-8.ini",
                                      "Drive-8"};
    struct profile *p = NULL;
    for (size_t i = 0; i < COUNT(BAD); i++) {
        struct err_msg e = {0};
        assert_int_equal(profile_load(shipped, PROFILE_DRIVE, BAD[i], &p, &e), ERR_USAGE);
        assert_true(strlen(e.text) > 0);
    }
    char big[5000];
    memset(big, 'a', sizeof big);
    big[sizeof big - 1] = '\0';
    struct err_msg e = {0};
    assert_int_equal(profile_load(shipped, PROFILE_DRIVE, big, &p, &e), ERR_USAGE);
    /* A machine is no drive. */
    e = (struct err_msg){0};
    assert_int_equal(profile_load(shipped, PROFILE_DRIVE, "controller-82077", &p, &e),
                     ERR_USAGE);
    char *path;
    e = (struct err_msg){0};
    assert_int_equal(profile_file_find(shipped, "cables", "din-14", &path, &e), ERR_OK);
    assert_int_equal(access(path, R_OK), 0);
    free(path);
}

#define HEAD  "[profile]\ntitle = t\nkind = drive\nlines = STEP\n"
#define VALUE "\nsource = s\n"
#define REST                                                                                   \
    "[cylinders]\ntyp = 40\nunit = cylinders" VALUE "[sides]\ntyp = 1\nunit = sides" VALUE     \
    "[track_density_tpi]\ntyp = 48\nunit = tpi" VALUE                                          \
    "[data_rate_kbps]\ntyp = 250\nunit = kbit/s" VALUE

/* Exactly `count` problems, one of them ending so. */
static void problems_of(enum profile_kind kind, const char *text, size_t count,
                        const char *want)
{
    put("x.ini", text);
    struct buf b;
    buf_init(&b, 10000);
    size_t n = 99;
    struct err_msg e = {0};
    assert_int_equal(profile_check_file("x.ini", kind, &b, &n, &e), ERR_OK);
    if (n != count || (count > 0 && strstr(b.data, want) == NULL))
        fail_msg("%zu problems, not %zu with \"%s\": %s", n, count, want,
                 count > 0 ? b.data : "");
    buf_release(&b);
}

static void check_names_every_problem_with_its_line(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        const char *want;
    } ROWS[] = {
        {HEAD REST "[speed]\n", "x.ini:21: unknown section [speed]\n"},
        {HEAD REST "[speed_rpm]\ntyp = 300\nunit = rpm\nfrom = x" VALUE,
         "x.ini:24: unknown key \"from\""},
        {HEAD REST "[speed_rpm]\ntyp = 300\nunit = rpm\n",
         "x.ini:21: [speed_rpm] has no source"},
        {HEAD REST "[speed_rpm]\ntyp = 300\nunit = rpm\nsource =\n",
         "x.ini:21: [speed_rpm] has no source"},
        {HEAD REST "[speed_rpm]\ntyp = 200\nunit = ms" VALUE,
         "[speed_rpm] is in \"rpm\", not in \"ms\""},
        {HEAD REST "[speed_rpm]\ntyp = 300" VALUE, "[speed_rpm] is in \"rpm\", not in \"\""},
        {HEAD REST "[speed_rpm]\nmin = 301\ntyp = 300\nunit = rpm" VALUE, "out of order"},
        {HEAD REST "[speed_rpm]\nmin = 9\nmax = 8\nunit = rpm" VALUE, "out of order"},
        {HEAD REST "[speed_rpm]\nunit = rpm" VALUE, "holds no min, typ or max"},
        {HEAD REST "[step_edge]\nword = rising" VALUE,
         "does not know \"rising\"; it knows leading"},
        {HEAD REST "[step_edge]\nword = leading trailing" VALUE, "holds 2 words"},
        {HEAD REST "[step_edge]\nword = either\ntyp = 3" VALUE,
         "does not take min, typ or max"},
        {HEAD REST "[index_gate]\nlist = select door" VALUE, "does not know \"door\""},
        {HEAD REST "[hub]\nword = cone\nconfidence = sure" VALUE,
         "confidence is high, medium or low"},
        {HEAD REST "[profile]\n", "x.ini:21: section [profile] stands on line 1 already"},
        {"[profile]\ntitle = t\nkind = drive\nlines = STEP STEP\n" REST,
         "x.ini:4: STEP stands twice"},
        {"[profile]\ntitle = t\nkind = drive\nlines = STEP nSTEP\n" REST,
         "\"nSTEP\" is no line"},
        {"[profile]\ntitle = t\nkind = cable\nlines = STEP\n" REST,
         "x.ini:3: this is the profile of a cable"},
        {"[profile]\nkind = drive\nlines = STEP\n" REST, "[profile] has no title"},
        {"[profile]\ntitle = t\nkind = drive\n" REST, "[profile] has no lines"},
        {"[profile]\ntitle = t\nlines = STEP\n" REST, "[profile] has no kind"},
        {"nothing\n", "x.ini:1: a line that is no section"},
    };
    problems_of(PROFILE_DRIVE, HEAD REST, 0, "");
    for (size_t i = 0; i < COUNT(ROWS); i++)
        problems_of(PROFILE_DRIVE, ROWS[i].text, 1, ROWS[i].want);
    problems_of(PROFILE_DRIVE, HEAD, 4, "x.ini:1: [cylinders] is missing");
}

static void numbers_that_are_none_are_refused(void **state)
{
    (void)state;
    static const char *const BAD[] = {
        "nan", "inf", "0x10", "1e999", "",
        "3 4", "12x", "1,5",  "--1",   "111111111111111111111111111111111111111111"};
    for (size_t i = 0; i < COUNT(BAD); i++) {
        char text[900];
        snprintf(text, sizeof text,
                 HEAD REST "[speed_rpm]\nmin = 1\ntyp = %s\nunit = rpm" VALUE, BAD[i]);
        problems_of(PROFILE_DRIVE, text, 1, "x.ini:23: [speed_rpm] typ is no number");
    }
}

static void damaged_files_do_not_load(void **state)
{
    (void)state;
    char title[100];
    write_drive("bad", "drive-bad",
                "t\n[speed_rpm]\ntyp = fast\nunit = rpm\nsource = s\n[hub]\nsource = s\nword = "
                "cone\n;");
    struct profile_path *path;
    struct profile *p = NULL;
    struct err_msg e = {0};
    assert_int_equal(profile_path_make("bad", &path, &e), ERR_OK);
    assert_int_equal(profile_load(path, PROFILE_DRIVE, "drive-bad", &p, &e), ERR_FORMAT);
    assert_string_equal(e.text,
                        "bad/drives/drive-bad.ini:4: [speed_rpm] typ is no number: \"fast\"");
    assert_null(p);
    profile_path_free(path);
    assert_int_equal(mkdir("bad/drives/drive-folder.ini", 0700), 0);
    assert_int_equal(load_from("bad", PROFILE_DRIVE, "drive-folder", title), ERR_FORMAT);
    size_t n;
    struct buf b;
    buf_init(&b, 100);
    e = (struct err_msg){0};
    assert_int_equal(profile_check_file("missing.ini", PROFILE_DRIVE, &b, &n, &e),
                     ERR_NO_INPUT);
    assert_int_equal(system("rm -r bad"), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_profile_of_the_contract_is_sound),
        cmocka_unit_test(values_come_back_as_they_stand),
        cmocka_unit_test(the_first_place_that_has_it_wins),
        cmocka_unit_test(names_that_are_no_names_are_refused),
        cmocka_unit_test(check_names_every_problem_with_its_line),
        cmocka_unit_test(numbers_that_are_none_are_refused),
        cmocka_unit_test(damaged_files_do_not_load),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
