/* case.ini: what is read, what is refused and where, and how a line is set. */
#include "evidence/case_file.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

static enum err parse(const char *text, struct case_file *c, struct err_msg *e)
{
    memset(e, 0, sizeof *e);
    return case_file_parse("bench/case.ini", ".", text, strlen(text), NULL, c, e);
}

/* The text is refused as wrong input, with `why` in the message. */
static void refused(const char *text, const char *why)
{
    struct case_file c = {.title = "left alone"};
    struct err_msg e;
    assert_int_equal(parse(text, &c, &e), ERR_FORMAT);
    if (strstr(e.text, why) == NULL) {
        fail_msg("'%s' does not say '%s'", e.text, why);
    }
    assert_string_equal(c.title, "left alone"); /* written only on success */
}

/* Source: the contract's own example of a case. */
static void example_of_the_contract_is_read(void **state)
{
    (void)state;
    struct case_file c;
    struct err_msg e;
    assert_int_equal(
        parse("[case]\n"
              "title   = Nothing reads since the move\n"
              "machine = controller-wd177x      ; a profile by name, see profiles/\n"
              "drive   = drive-35-dd\n"
              "cable   = ribbon-34-straight\n"
              "disk    = known-good             ; known-good | unknown | blank | none\n"
              "scratch = no\n"
              "drives-attached = 1\n"
              "[lines]\n"
              "RDATA = D3\n"
              "[capture at-machine]\n"
              "file    = at-machine.vcd.gz\n"
              "role    = inline\n"
              "tap     = machine-end\n"
              "pull-up = 2200                   ; none | ohms\n"
              "run     = one\n"
              "asked   = read, boot,power-on\n"
              "outcome = failed\n"
              "worked-times = 3/10\n"
              "[observed]\n"
              "lamp          = on-access\n"
              "spindle       = turns\n"
              "head-at-start = moves\n"
              "[swap other-drive]\n"
              "part      = drive\n"
              "condition = known-good\n"
              "outcome   = failed\n"
              "into = good-chain\n"
              "reseated = yes\n",
              &c, &e),
        ERR_OK);
    assert_string_equal(c.title, "Nothing reads since the move");
    assert_string_equal(c.machine_name, "controller-wd177x");
    assert_int_equal(c.disk, DISK_KNOWN_GOOD);
    assert_false(c.scratch);
    assert_int_equal(c.drives_attached, 1);
    assert_int_equal(c.capture_count, 1);
    const struct case_capture *cap = &c.capture[0];
    assert_string_equal(cap->name, "at-machine");
    assert_string_equal(cap->path, "./at-machine.vcd.gz");
    assert_int_equal(cap->role, ROLE_INLINE);
    assert_int_equal(cap->tap, TAP_MACHINE_END);
    assert_int_equal(cap->pull_up_ohm, 2200);
    assert_string_equal(cap->run, "one");
    assert_int_equal(cap->asked, ASKED_READ | ASKED_BOOT | ASKED_POWER_ON);
    assert_int_equal(cap->outcome, OUTCOME_FAILED);
    assert_int_equal(cap->disk, DISK_KNOWN_GOOD); /* the case's */
    assert_int_equal(cap->worked, 3);
    assert_int_equal(cap->tried, 10);
    assert_int_equal(cap->unit, -1);
    assert_int_equal(cap->map.count, 1);
    assert_string_equal(case_told(&c, "observed", "spindle"), "turns");
    assert_null(case_told(&c, "observed", "noise"));
    assert_int_equal(c.swap_count, 1);
    assert_string_equal(c.swap[0].part, "drive");
    assert_true(c.swap[0].known_good);
    assert_int_equal(c.swap[0].reseated, 1);
    assert_null(c.swap[0].back);
    case_file_release(&c);
}

static void unknown_words_are_refused_with_their_place(void **state)
{
    (void)state;
    refused("[case]\ntitle = t\nmashine = x\n",
            "bench/case.ini:3: unknown key 'mashine' in [case], did you mean 'machine'?");
    refused("[case]\n[observd]\n", "bench/case.ini:2: unknown section [observd]");
    refused("[case]\n[quite-other]\n", "bench/case.ini:2: unknown section [quite-other]");
    refused("[case]\ndisk = good\n", "bench/case.ini:2: 'disk' cannot be 'good'");
    refused("[case]\ndrives-attached = 7\n", "bench/case.ini:2");
    refused("[case]\ndrives-attached = 1.5\n", "bench/case.ini:2");
    refused("[case]\n[capture a]\nfile = a.vcd\nasked = read, dance\n", "bench/case.ini:4");
    refused("[case]\n[capture a]\nfile = a.vcd\nworked-times = 4/3\n", "bench/case.ini:4");
    refused("[case]\n[capture a]\nfile = a.vcd\npull-up = -3\n", "bench/case.ini:4");
    refused("[case]\n[meter a]\nvalue = 5\n", "bench/case.ini:3");
    refused("[case]\n[lines]\nREADDATA = D1\n", "bench/case.ini:3");
    refused("[case]\ntitle =\n", "'title' has no value");
}

static void sections_want_names_where_they_need_them(void **state)
{
    (void)state;
    refused("[case]\n[capture]\nfile = a.vcd\n", "needs a name");
    refused("[case one]\ntitle = t\n", "takes no name");
    refused("[case]\n[capture a]\nrole = inline\n", "[capture a] names no file");
    refused("[case]\n[swap a]\npart = drive\n", "needs part and outcome");
    refused("[case]\n[lines b]\nRDATA = D1\n[capture a]\nfile = a.vcd\n",
            "there is no [capture b]");
    refused("[observed]\nlamp = never\n", "no [case] section");
    refused("", "no [case] section");
}

static void paths_stay_inside(void **state)
{
    (void)state;
    refused("[case]\n[capture a]\nfile = ../a.vcd\n", "leaves the case's folder");
    refused("[case]\n[capture a]\nfile = /etc/hostname\n", "leaves the case's folder");
    refused("[case]\n[capture a]\nfile = b/../../a.vcd\n", "leaves the case's folder");
}

static void unknown_profile_is_wrong_input_with_its_line(void **state)
{
    (void)state;
    static const char text[] = "[case]\ntitle = t\ndrive = drive-77\n";
    struct profile_path *path = NULL;
    struct case_file c;
    struct err_msg e = {0};
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    assert_int_equal(case_file_parse("case.ini", ".", text, strlen(text), path, &c, &e),
                     ERR_FORMAT);
    assert_non_null(strstr(e.text, "case.ini:3:"));
    assert_non_null(strstr(e.text, "drive-77"));
    profile_path_free(path);
}

static void missing_profiles_are_assumed_and_said_so(void **state)
{
    (void)state;
    static const char text[] = "[case]\ndrive = drive-8\ncable = ribbon-50\n";
    struct profile_path *path = NULL;
    struct case_file c;
    struct err_msg e = {0};
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    assert_int_equal(case_file_parse("case.ini", ".", text, strlen(text), path, &c, &e),
                     ERR_OK);
    assert_true(c.machine_assumed);
    assert_false(c.drive_assumed);
    assert_string_equal(profile_name(c.machine), "controller-generic");
    assert_string_equal(profile_name(c.drive), "drive-8");
    case_file_release(&c);
    profile_path_free(path);
}

static void lines_of_one_capture_override_those_of_all(void **state)
{
    (void)state;
    struct case_file c;
    struct err_msg e;
    assert_int_equal(
        parse("[case]\n[lines]\nRDATA = D3\nINDEX = D4\n[lines b]\nRDATA = D7:high\n"
              "[capture a]\nfile = x.vcd\n[capture b]\nfile = x.vcd\n",
              &c, &e),
        ERR_OK);
    assert_int_equal(c.capture_count, 2);
    assert_int_equal(c.capture[0].map.count, 2);
    assert_int_equal(c.capture[1].map.count, 2);
    for (size_t i = 0; i < 2; i++) {
        const struct line_map_entry *a = &c.capture[0].map.entry[i];
        const struct line_map_entry *b = &c.capture[1].map.entry[i];
        assert_false(a->active_high);
        assert_string_equal(a->name, a->line == LINE_RDATA ? "D3" : "D4");
        assert_string_equal(b->name, b->line == LINE_RDATA ? "D7" : "D4");
        assert_true(b->active_high == (b->line == LINE_RDATA));
    }
    case_file_release(&c);
}

/* A case that holds this one key, and what its section needs beside it. */
static void case_with(const struct case_key *key, const char *word, struct buf *out)
{
    static const char *const named[] = {"capture", "swap",   "meter",
                                        "probe",   "repair", "examined"};
    bool in_case = strcmp(key->section, "case") == 0;
    const char *name = "";
    for (size_t i = 0; i < sizeof named / sizeof *named; i++) {
        name = strcmp(key->section, named[i]) == 0 ? " one" : name;
    }
    buf_init(out, 1000);
    (void)buf_str(out, "[case]\n");
    if (!in_case) {
        (void)buf_printf(out, "[%s%s]\n", key->section, name);
    }
    if (strcmp(key->section, "capture") == 0) {
        (void)buf_str(out, "file = x.vcd\n");
    }
    if (strcmp(key->section, "swap") == 0 && strcmp(key->key, "part") != 0) {
        (void)buf_str(out, "part = drive\n");
    }
    if (strcmp(key->section, "swap") == 0 && strcmp(key->key, "outcome") != 0) {
        (void)buf_str(out, "outcome = failed\n");
    }
    (void)buf_printf(out, "%s = %s\n", key->key, word);
}

static void word_is_read(const struct case_key *key, const char *word)
{
    struct buf text;
    struct case_file c;
    struct err_msg e;
    case_with(key, word, &text);
    if (parse(text.data, &c, &e) != ERR_OK) {
        fail_msg("%s: %s", text.data, e.text);
    }
    case_file_release(&c);
    buf_release(&text);
}

static void every_word_of_the_table_is_read(void **state)
{
    (void)state;
    const struct case_key *key = NULL;
    size_t count = case_keys(&key);
    size_t words = 0;
    for (size_t i = 0; i < count; i++) {
        char allowed[CASE_VALUES_TEXT_MAX];
        assert_ptr_equal(case_key_find(key[i].section, key[i].key), &key[i]);
        assert_true(strlen(case_values_text(&key[i], allowed)) > 0);
        for (const char *v = key[i].values; strchr(key[i].values, ':') == NULL && *v != '\0';) {
            char word[64];
            size_t len = strcspn(v, "|");
            if (strchr(key[i].values, '|') == NULL) {
                break; /* "text", "path", ... */
            }
            (void)snprintf(word, sizeof word, "%.*s", (int)len, v);
            word_is_read(&key[i], word);
            words++;
            v += len + (v[len] == '|');
        }
    }
    assert_true(words > 100);
}

static void set(const char *text, const char *section, const char *key, const char *value,
                const char *expected)
{
    struct buf out;
    struct err_msg e = {0};
    buf_init(&out, 10000);
    assert_int_equal(case_text_set(text, section, key, value, &out, &e), ERR_OK);
    assert_string_equal(out.data, expected);
    buf_release(&out);
}

static void one_line_is_set_and_the_rest_stands(void **state)
{
    (void)state;
    set("[case]\ntitle = t\n", "observed", "lamp", "never",
        "[case]\ntitle = t\n\n[observed]\nlamp = never\n");
    set("[case]\n; mine\ntitle = t ; so far\n\n[observed]\nlamp=never\n", "case", "title", "u",
        "[case]\n; mine\ntitle = u ; so far\n\n[observed]\nlamp=never\n");
    set("[case]\ntitle = t\n\n[observed]\nlamp = never\n", "case", "disk", "none",
        "[case]\ntitle = t\ndisk = none\n\n[observed]\nlamp = never\n");
    set("[case]\ntitle = t", "case", "disk", "none", "[case]\ntitle = t\ndisk = none\n");
    set("[case]\r\ntitle = t\r\n", "case", "title", "u", "[case]\r\ntitle = u\r\n");
}

static void what_no_line_can_hold_is_not_written(void **state)
{
    (void)state;
    struct buf out;
    struct err_msg e = {0};
    buf_init(&out, 1000);
    assert_int_equal(case_text_set("[case]\n", "case", "title", "two\nlines", &out, &e),
                     ERR_USAGE);
    assert_int_equal(case_text_set("[case]\n", "case", "title", "a ; b", &out, &e), ERR_USAGE);
    assert_int_equal(case_text_set("[case]\n", "ca]se", "title", "a", &out, &e), ERR_USAGE);
    assert_int_equal(case_text_set("[case]\n", "case", "ti=tle", "a", &out, &e), ERR_USAGE);
    assert_int_equal(out.len, 0);
    buf_release(&out);
}

static void quantities_bear_a_unit(void **state)
{
    (void)state;
    double v = 0;
    const char *unit = NULL;
    assert_true(case_quantity("4.71 V", &v, &unit));
    assert_true(v > 4.709 && v < 4.711);
    assert_string_equal(unit, "V");
    assert_true(case_quantity("1.5kohm", &v, &unit));
    assert_true(v > 1499 && v < 1501);
    assert_string_equal(unit, "ohm");
    assert_true(case_quantity("350 mV", &v, &unit));
    assert_true(v > 0.349 && v < 0.351);
    assert_false(case_quantity("4.71", &v, &unit));
    assert_false(case_quantity("V", &v, &unit));
    assert_false(case_quantity("4,71 V", &v, &unit));
    assert_false(case_quantity("5 W", &v, &unit));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(example_of_the_contract_is_read),
        cmocka_unit_test(unknown_words_are_refused_with_their_place),
        cmocka_unit_test(sections_want_names_where_they_need_them),
        cmocka_unit_test(paths_stay_inside),
        cmocka_unit_test(unknown_profile_is_wrong_input_with_its_line),
        cmocka_unit_test(missing_profiles_are_assumed_and_said_so),
        cmocka_unit_test(lines_of_one_capture_override_those_of_all),
        cmocka_unit_test(every_word_of_the_table_is_read),
        cmocka_unit_test(one_line_is_set_and_the_rest_stands),
        cmocka_unit_test(what_no_line_can_hold_is_not_written),
        cmocka_unit_test(quantities_bear_a_unit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
