/* A sheet of an acceptance test comes back from its file as it was, and two are compared. */
#include "report/accept.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

/* A line of every state, with everything that a line can say. */
static void fill(struct accept_sheet *s)
{
    (void)snprintf(s->drive, sizeof s->drive, "drive-35-dd");
    (void)snprintf(s->serial, sizeof s->serial, "H \"17\"");
    for (int i = 0; i < ACCEPT_ITEMS; i++) {
        struct accept_line *l = &s->line[i];
        l->state = (enum accept_state)(i % ACCEPT_STATES);
        if (l->state == ACCEPT_ABSENT)
            continue;
        l->has_value = l->state != ACCEPT_NOT_MEASURED;
        l->wanting = !l->has_value;
        l->value = l->has_value ? 1.5 * i : 0;
        l->uncertainty = l->has_value ? 0.25 : 0;
        l->has_limit = l->state == ACCEPT_PASS;
        if (l->has_limit)
            l->limit = (struct accept_limit){true, true, -1, 200, "a maker's page"};
        l->close = i == ACCEPT_SPEED;
        (void)snprintf(l->text, sizeof l->text, "how %d was measured", i);
    }
    s->place[s->place_count++] =
        (struct accept_place){79, 1, 52.5, 0.5, 640, 4, -3, 2.5, true, 5357.5, 9, 8};
    s->place[s->place_count++] = (struct accept_place){.cylinder = 3, .sectors = 9};
}

static struct accept_sheet *read_back(const char *text, size_t len, enum err want)
{
    char path[] = "/tmp/whichend-sheet-XXXXXX";
    struct err_msg e = {0};
    struct accept_sheet *s = calloc(1, sizeof *s);
    int file = mkstemp(path);
    assert_non_null(s);
    assert_true(file >= 0);
    assert_int_equal(write(file, text, len), (ssize_t)len);
    close(file);
    assert_int_equal(report_accept_read(path, s, &e), want);
    unlink(path);
    return s;
}

static void sheet_comes_back_from_its_file(void **state)
{
    struct buf text;
    struct buf again;
    struct accept_sheet *s = calloc(1, sizeof *s);
    (void)state;
    assert_non_null(s);
    fill(s);
    buf_init(&text, 1 << 22);
    buf_init(&again, 1 << 22);
    assert_int_equal(report_accept_json(s, &text), ERR_OK);
    struct accept_sheet *back = read_back(text.data, text.len, ERR_OK);
    assert_int_equal(report_accept_json(back, &again), ERR_OK);
    assert_string_equal(text.data, again.data);
    for (int i = 0; i < ACCEPT_ITEMS; i++)
        assert_int_equal(back->line[i].state, s->line[i].state);
    buf_release(&text);
    buf_release(&again);
    free(back);
    free(s);
}

static void what_is_no_sheet_is_refused(void **state)
{
    static const char *const bad[] = {
        "",
        "[]",
        "{\"schema\": \"whichend.verdict/1\"}",
        "{\"schema\": \"whichend.accept/1\", \"lines\": [3]}",
        "{\"schema\": \"whichend.accept/1\", \"lines\": [{\"line\": \"speed.mean\"}]}",
        "{\"schema\": \"whichend.accept/1\", \"lines\": [{\"line\": \"speed.mean\", \"state\": "
        "\"pass\", "
        "\"uncertainty\": -1}]}"};
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        free(read_back(bad[i], strlen(bad[i]), ERR_FORMAT));
    const char *later =
        "{\"schema\": \"whichend.accept/1\", \"lines\": [{\"line\": \"of.tomorrow\", "
        "\"state\": \"pass\"}]}";
    free(read_back(later, strlen(later), ERR_OK));
}

static void comparison_says_what_was_mended(void **state)
{
    (void)state;
    struct accept_sheet *s = calloc(2, sizeof *s);
    struct accept_difference d[ACCEPT_ITEMS];
    assert_non_null(s);
    s[0].line[ACCEPT_SPEED] =
        (struct accept_line){.state = ACCEPT_FAIL, .has_value = true, .value = 330};
    s[1].line[ACCEPT_SPEED] =
        (struct accept_line){.state = ACCEPT_PASS, .has_value = true, .value = 300};
    s[0].line[ACCEPT_READ_0] = (struct accept_line){
        .state = ACCEPT_PASS, .has_value = true, .value = 700, .uncertainty = 3};
    s[1].line[ACCEPT_READ_0] = (struct accept_line){
        .state = ACCEPT_PASS, .has_value = true, .value = 704, .uncertainty = 3};
    s[0].line[ACCEPT_SETTLE].state = ACCEPT_PASS;
    accept_compare(&s[0], &s[1], d);
    assert_int_equal(d[ACCEPT_SPEED].change, ACCEPT_MENDED);
    assert_int_equal(d[ACCEPT_READ_0].change, ACCEPT_SAME);
    assert_int_equal(d[ACCEPT_SETTLE].change, ACCEPT_LOST);
    s[1].line[ACCEPT_READ_0].value = 705;
    accept_compare(&s[0], &s[1], d);
    assert_int_equal(d[ACCEPT_READ_0].change, ACCEPT_MOVED);
    free(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sheet_comes_back_from_its_file),
        cmocka_unit_test(what_is_no_sheet_is_refused),
        cmocka_unit_test(comparison_says_what_was_mended),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
