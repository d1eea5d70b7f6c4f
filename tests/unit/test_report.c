/* Text and JSON say the same, fit the page, and JSON is always one valid document. */
#include "report/json.h"
#include "report/report.h"
#include "report/text.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define OUT_MAX 1000000

static struct verdict *sample(void)
{
    static struct fault_share faults[] = {
        {"cable.INDEX.open", END_CABLE, LINE_INDEX, 0.981, "INDEX conductor open"},
        {"drive.INDEX.dead", END_DRIVE, LINE_INDEX, 0.007, "index output dead"},
        {"disk.absent", END_DISK, LINE_NONE, 0.00001, "no disk"},
    };
    static struct finding findings[2];
    static struct next_test next[1];
    struct verdict *v = calloc(1, sizeof *v);
    assert_non_null(v);
    snprintf(v->title, sizeof v->title, "Drawer seven");
    v->grade = GRADE_DECIDED;
    v->leading = END_CABLE;
    v->probability = 0.988;
    snprintf(v->fault, sizeof v->fault, "cable.INDEX.open");
    v->line = LINE_INDEX;
    snprintf(v->explains_complaint, sizeof v->explains_complaint, "yes");
    snprintf(v->summary, sizeof v->summary,
             "INDEX moves at the drive's plug and never at the machine's, so the conductor "
             "between them "
             "is open.");
    v->end[END_CABLE] = 0.988;
    v->end[END_DRIVE] = 0.008;
    v->end[END_CONTROLLER] = 0.004;
    v->also[END_DISK] = 0.04;
    v->also[END_CABLE] = 0.99;
    v->fault_list = faults;
    v->fault_count = 3;
    memset(findings, 0, sizeof findings);
    snprintf(findings[0].id, FINDING_ID_MAX, "index.state");
    snprintf(findings[0].from, FINDING_ID_MAX, "at-machine");
    snprintf(findings[0].text, FINDING_TEXT_MAX, "INDEX never moves while the spindle turns");
    findings[0].weight[END_CABLE] = 12.4;
    findings[0].weight[END_DRIVE] = -3.1;
    snprintf(findings[1].id, FINDING_ID_MAX, "observed.lamp");
    snprintf(findings[1].from, FINDING_ID_MAX, "observed");
    snprintf(findings[1].text, FINDING_TEXT_MAX, "the drive's lamp lights: on-access");
    findings[1].observation = true;
    findings[1].has_value = true;
    findings[1].value = NAN; /* must not reach the page */
    findings[1].weight[END_CABLE] = -4;
    v->finding = findings;
    v->finding_count = 2;
    memset(next, 0, sizeof next);
    snprintf(next[0].test, sizeof next[0].test,
             "ring the conductor of pin 8 through with a meter");
    snprintf(next[0].risk, sizeof next[0].risk, "none");
    next[0].minutes = 2;
    next[0].bits = 0.81;
    snprintf(next[0].needs[0], sizeof next[0].needs[0], "meter");
    next[0].need_count = 1;
    v->next = next;
    v->next_count = 1;
    snprintf(v->untested[0], VERDICT_TEXT_MAX, "writing");
    v->untested_count = 1;
    return v;
}

static json_t *loaded(const struct buf *text)
{
    json_error_t why;
    json_t *j = json_loads(text->data, JSON_REJECT_DUPLICATES, &why);
    if (j == NULL) {
        fail_msg("no JSON: %s", why.text);
    }
    return j;
}

/* Source: the contract, "whichend judge --json": keys, their order of magnitude, null where
 * none is meant. */
static void verdict_json_has_the_keys_of_the_contract(void **state)
{
    (void)state;
    static const char *const keys[] = {"schema",   "case",     "verdict",  "ends",
                                       "also",     "faults",   "findings", "next",
                                       "untested", "cautions", "warnings"};
    struct verdict *v = sample();
    struct buf out;
    buf_init(&out, OUT_MAX);
    assert_int_equal(report_verdict_json(v, &out), ERR_OK);
    json_t *j = loaded(&out);
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        assert_non_null(json_object_get(j, keys[i]));
    }
    assert_string_equal(json_string_value(json_object_get(j, "schema")), "whichend.verdict/1");
    json_t *verdict = json_object_get(j, "verdict");
    assert_string_equal(json_string_value(json_object_get(verdict, "end")), "cable");
    assert_true(json_is_true(json_object_get(verdict, "decided")));
    assert_string_equal(json_string_value(json_object_get(verdict, "line")), "INDEX");
    double sum = 0;
    double last = 2;
    json_t *ends = json_object_get(j, "ends");
    assert_int_equal(json_array_size(ends), END_COUNT);
    for (size_t i = 0; i < json_array_size(ends); i++) {
        double p = json_number_value(json_object_get(json_array_get(ends, i), "probability"));
        sum += p;
        assert_true(p <= last);
        last = p;
    }
    assert_true(fabs(sum - 1) < 1e-5);
    json_t *lamp = json_array_get(json_object_get(j, "findings"), 1);
    assert_true(json_is_null(json_object_get(lamp, "value"))); /* NaN never */
    assert_true(json_is_null(json_object_get(lamp, "limit")));
    assert_non_null(json_object_get(json_object_get(lamp, "weight"), "controller"));
    json_decref(j);
    buf_release(&out);
    free(v);
}

static void undecided_names_no_end(void **state)
{
    (void)state;
    struct verdict *v = sample();
    struct buf out;
    v->grade = GRADE_UNDECIDED;
    v->fault[0] = '\0';
    v->line = LINE_NONE;
    buf_init(&out, OUT_MAX);
    assert_int_equal(report_verdict_json(v, &out), ERR_OK);
    json_t *j = loaded(&out);
    json_t *verdict = json_object_get(j, "verdict");
    assert_string_equal(json_string_value(json_object_get(verdict, "end")), "undecided");
    assert_true(json_is_false(json_object_get(verdict, "decided")));
    assert_true(json_is_null(json_object_get(verdict, "fault")));
    assert_true(json_is_null(json_object_get(verdict, "line")));
    json_decref(j);
    buf_release(&out);
    free(v);
}

static void fits_80_columns(const char *text)
{
    for (const char *line = text; *line != '\0';) {
        size_t len = strcspn(line, "\n");
        size_t columns = 0;
        for (size_t i = 0; i < len; i++) {
            columns += ((unsigned char)line[i] & 0xc0) != 0x80;
        }
        if (columns > TEXT_COLUMNS) {
            fail_msg("%zu columns: %.*s", columns, (int)len, line);
        }
        line += len + (line[len] == '\n');
    }
}

static void verdict_text_gives_the_answer_first_and_fits_the_page(void **state)
{
    (void)state;
    struct verdict *v = sample();
    struct text_style plain = {false, false};
    struct text_style loud = {false, true};
    struct text_style tinted = {true, false};
    struct buf out;
    buf_init(&out, OUT_MAX);
    assert_int_equal(report_verdict_text(v, &plain, &out), ERR_OK);
    static const char first[] =
        "At fault: the cable - INDEX conductor open (decided, 98.8 %)\n";
    assert_int_equal(strncmp(out.data, first, strlen(first)), 0);
    fits_80_columns(out.data);
    assert_null(strchr(out.data, '\033'));
    assert_non_null(strstr(out.data, "clear")); /* 12.4 decibans in a word */
    assert_null(strstr(out.data, "12.4"));
    buf_release(&out);
    assert_int_equal(report_verdict_text(v, &loud, &out), ERR_OK);
    assert_non_null(strstr(out.data, "+12.4"));
    fits_80_columns(out.data);
    buf_release(&out);
    assert_int_equal(report_verdict_text(v, &tinted, &out), ERR_OK);
    assert_non_null(strchr(out.data, '\033'));
    buf_release(&out);
    free(v);
}

static void machine_side_is_never_called_plain_controller(void **state)
{
    (void)state;
    struct verdict *v = sample();
    struct text_style plain = {false, false};
    struct buf out;
    v->leading = END_CONTROLLER;
    v->fault[0] = '\0';
    buf_init(&out, OUT_MAX);
    assert_int_equal(report_verdict_text(v, &plain, &out), ERR_OK);
    assert_int_equal(strncmp(out.data, "At fault: the machine side (", 28), 0);
    buf_release(&out);
    free(v);
}

static void what_a_capture_cannot_show_is_null(void **state)
{
    (void)state;
    struct survey *s = calloc(1, sizeof *s);
    struct buf out;
    assert_non_null(s);
    s->info.tick = (struct tick){FS_PER_NS, 1};
    s->info.lines = LINE_BIT(LINE_STEP);
    s->rotation.rpm = NAN;
    buf_init(&out, OUT_MAX);
    assert_int_equal(report_measure_json(s, &out), ERR_OK);
    json_t *j = loaded(&out);
    assert_true(json_is_null(json_object_get(j, "rotation")));
    assert_true(json_is_null(json_object_get(j, "index")));
    assert_true(json_is_null(json_object_get(j, "flux")));
    assert_true(json_is_null(json_object_get(j, "supply")));
    assert_int_equal(json_array_size(json_object_get(j, "tracks")), 0);
    json_t *step = json_array_get(json_object_get(j, "lines"), 0);
    assert_string_equal(json_string_value(json_object_get(step, "state")), "not-recorded");
    assert_true(json_is_null(json_object_get(step, "low_percent")));
    json_decref(j);
    buf_release(&out);
    free(s);
}

static void numbers_are_finite_and_rounded(void **state)
{
    (void)state;
    static const struct {
        double value;
        int decimals;
        const char *text;
    } row[] = {{1.0 / 3, 3, "0.333"}, {-0.0001, 2, "0.0"},    {1e20, 3, "1e20"},
               {NAN, 3, "null"},      {-INFINITY, 3, "null"}, {299.914999, 2, "299.91"}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        json_t *j = json_number(row[i].value, row[i].decimals);
        char *text = json_dumps(j, JSON_ENCODE_ANY | JSON_REAL_PRECISION(15));
        assert_string_equal(text, row[i].text);
        free(text);
        json_decref(j);
    }
}

static void text_that_is_no_utf8_still_makes_json(void **state)
{
    (void)state;
    json_t *j = json_text("caf\xe9");
    assert_string_equal(json_string_value(j), "caf?");
    json_decref(j);
}

static void words_wrap_by_characters_and_control_bytes_are_shown(void **state)
{
    (void)state;
    struct buf out;
    buf_init(&out, OUT_MAX);
    assert_int_equal(text_wrap(&out, 2, "-", 4, "one \033[31m two"), ERR_OK);
    assert_string_equal(out.data, "  - one ?[31m two\n");
    buf_release(&out);
    char digits[TEXT_COUNT_MAX];
    assert_string_equal(text_count(-1234567, digits), "-1,234,567");
    assert_string_equal(text_count(0, digits), "0");
    assert_string_equal(text_count(999, digits), "999");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(verdict_json_has_the_keys_of_the_contract),
        cmocka_unit_test(undecided_names_no_end),
        cmocka_unit_test(verdict_text_gives_the_answer_first_and_fits_the_page),
        cmocka_unit_test(machine_side_is_never_called_plain_controller),
        cmocka_unit_test(what_a_capture_cannot_show_is_null),
        cmocka_unit_test(numbers_are_finite_and_rounded),
        cmocka_unit_test(text_that_is_no_utf8_still_makes_json),
        cmocka_unit_test(words_wrap_by_characters_and_control_bytes_are_shown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
