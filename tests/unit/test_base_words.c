/* Names of lines, asked words, errors and buffers. */
#include "base/asked.h"
#include "base/buf.h"
#include "base/err.h"
#include "base/line.h"

#include <ctype.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static enum line variable(const char *name)
{
    return line_by_variable(name, strlen(name));
}

/* Contract, "Words": the trade names, as they stand there. */
static void every_line_of_the_contract_is_known(void **state)
{
    (void)state;
    static const char *const NAMES[] = {
        "SELECT0", "SELECT1", "SELECT2",    "SELECT3", "MOTOR",    "MOTOR0",  "MOTOR1",
        "DIR",     "STEP",    "SIDE",       "WGATE",   "WDATA",    "DENSITY", "HLOAD",
        "INUSE",   "LOWCUR",  "FAULTRESET", "INDEX",   "TRK00",    "WPROT",   "RDATA",
        "READY",   "DSKCHG",  "HDOUT",      "SECTOR",  "TWOSIDED", "FAULT"};
    assert_int_equal(sizeof NAMES / sizeof NAMES[0], LINE_COUNT);
    for (size_t i = 0; i < LINE_COUNT; i++) {
        enum line line = line_by_name(NAMES[i]);
        assert_int_equal(line, i);
        assert_string_equal(line_name(line), NAMES[i]);
        assert_int_equal(line_from_machine(line), i < 17);
    }
    assert_string_equal(line_name(LINE_NONE), "?");
    assert_string_equal(rail_name(RAIL_NONE), "?");
    assert_int_equal(rail_by_name("v12"), RAIL_V12);
    assert_int_equal(rail_by_name("V3"), RAIL_NONE);
    assert_true(line_is_select(LINE_SELECT3));
    assert_false(line_is_select(LINE_MOTOR));
    assert_true(line_is_motor(LINE_MOTOR1));
    assert_false(line_is_motor(LINE_DIR));
    assert_false(line_from_machine(LINE_NONE));
    assert_false(line_is_select(LINE_NONE));
}

/* Contract, "Files it reads": affixes say nothing and are taken off. */
static void affixes_are_taken_off_every_line(void **state)
{
    (void)state;
    static const char *const BEFORE[] = {"", "/", "n"};
    static const char *const BEHIND[] = {"",      "#",    "_n",    "_b",  "[0]",
                                         "_n[0]", "#[0]", "_b[0]", " [0]"};
    for (size_t l = 0; l < LINE_COUNT; l++)
        for (size_t i = 0; i < sizeof BEFORE / sizeof BEFORE[0]; i++)
            for (size_t j = 0; j < sizeof BEHIND / sizeof BEHIND[0]; j++) {
                char name[40];
                snprintf(name, sizeof name, "%s%s%s", BEFORE[i], line_name((enum line)l),
                         BEHIND[j]);
                assert_int_equal(variable(name), l);
                for (char *p = name; *p != '\0'; p++)
                    *p = (char)tolower((unsigned char)*p);
                assert_int_equal(variable(name), l);
                assert_int_equal(line_by_variable("INDEXes", 5), LINE_INDEX);
            }
}

static void other_names_are_no_lines(void **state)
{
    (void)state;
    static const char *const OTHER[] = {
        "",          "n",       "/",        "#",        "_n",        "[0]",
        "n_n",       "STEP_2",  "STEP2",    "IN",       "DEX",       "XINDEX",
        "INDEX_",    "INDEX_x", "INDEX[1]", "INDEX[",   "nnINDEX",   "//INDEX",
        "INDEX_n_n", "SELECT",  "SELECT4",  "SELECT00", "INDEX0",    "RDATA D3",
        " INDEX",    "INDEX\t", "TRK0",     "SIDE_n#n", "top.INDEX", "[0]INDEX"};
    for (size_t i = 0; i < sizeof OTHER / sizeof OTHER[0]; i++)
        if (variable(OTHER[i]) != LINE_NONE)
            fail_msg("\"%s\" was taken for %s", OTHER[i], line_name(variable(OTHER[i])));
    assert_int_equal(line_by_name("nINDEX"), LINE_NONE);
    /* The name need not end where len says. */
    assert_int_equal(line_by_variable("INDEX", 4), LINE_NONE);
    assert_int_equal(line_by_variable("INDEX", 0), LINE_NONE);
}

static void asked_words_and_bits_belong_together(void **state)
{
    (void)state;
    static const char *const WORDS[ASKED_WORDS] = {"nothing", "motor",   "seek",   "restore",
                                                   "read",    "write",   "format", "verify",
                                                   "boot",    "power-on"};
    for (unsigned i = 0; i < ASKED_WORDS; i++) {
        assert_int_equal(asked_bit(WORDS[i]), 1u << i);
        assert_string_equal(asked_word(1u << i), WORDS[i]);
    }
    assert_int_equal(asked_bit("Read"), 0);
    assert_int_equal(asked_bit(""), 0);
    assert_null(asked_word(0));
    assert_null(asked_word(ASKED_READ | ASKED_SEEK));
    assert_null(asked_word(1024));
}

/* Contract, "Exit status". */
static void every_error_has_its_exit_status(void **state)
{
    (void)state;
    assert_int_equal(err_exit_status(ERR_OK), 0);
    assert_int_equal(err_exit_status(ERR_USAGE), 64);
    assert_int_equal(err_exit_status(ERR_FORMAT), 65);
    assert_int_equal(err_exit_status(ERR_NO_INPUT), 66);
    assert_int_equal(err_exit_status(ERR_ADAPTER), 69);
    assert_int_equal(err_exit_status(ERR_INTERNAL), 70);
    assert_int_equal(err_exit_status(ERR_MEMORY), 70);
    assert_int_equal(err_exit_status(ERR_CREATE), 73);
    assert_int_equal(err_exit_status(ERR_IO), 74);
    assert_int_equal(err_exit_status(ERR_INTERRUPTED), 130);
    assert_int_equal(err_exit_status((enum err)99), 70);
    assert_non_null(err_text((enum err)99));
}

static void the_first_error_stands_and_is_clean(void **state)
{
    (void)state;
    struct err_msg e = {0};
    assert_int_equal(err_set(&e, ERR_FORMAT, "name \"%s\"", "a\x1b[2J\n\x7f"), ERR_FORMAT);
    assert_string_equal(e.text, "name \"a?[2J??\"");
    assert_int_equal(err_set(&e, ERR_IO, "later"), ERR_IO);
    assert_int_equal(e.code, ERR_FORMAT);
    assert_string_equal(e.text, "name \"a?[2J??\"");
    assert_int_equal(err_set(NULL, ERR_IO, "nobody listens"), ERR_IO);
    char big[2000];
    memset(big, 'x', sizeof big);
    big[sizeof big - 1] = '\0';
    e = (struct err_msg){0};
    err_set(&e, ERR_USAGE, "%s", big);
    assert_int_equal(strlen(e.text), ERR_TEXT_MAX - 1);
}

static void a_buffer_keeps_its_ceiling(void **state)
{
    (void)state;
    struct buf b;
    buf_init(&b, 10);
    assert_null(b.data);
    assert_int_equal(buf_str(&b, "12345"), ERR_OK);
    assert_int_equal(buf_printf(&b, "%d", 67890), ERR_OK);
    assert_string_equal(b.data, "1234567890");
    assert_int_equal(buf_add(&b, "x", 1), ERR_MEMORY);
    assert_int_equal(buf_printf(&b, "%s", "x"), ERR_MEMORY);
    assert_int_equal(buf_add(&b, "x", SIZE_MAX), ERR_MEMORY);
    assert_string_equal(b.data, "1234567890");
    assert_int_equal(b.len, 10);
    buf_release(&b);
    assert_null(b.data);
    assert_int_equal(buf_add(&b, "", 0), ERR_OK);
    assert_string_equal(b.data, "");
    buf_release(&b);
}

static void an_array_grows_to_its_end_and_no_further(void **state)
{
    (void)state;
    int *a = NULL;
    size_t cap = 0;
    for (size_t i = 0; i < 1000; i++) {
        void *items = a;
        assert_int_equal(array_grow(&items, &cap, i + 1, sizeof *a, 1000), ERR_OK);
        a = items;
        assert_in_range(cap, i + 1, 1000);
        a[i] = (int)i;
    }
    void *items = a;
    assert_int_equal(array_grow(&items, &cap, 1001, sizeof *a, 1000), ERR_MEMORY);
    assert_int_equal(array_grow(&items, &cap, SIZE_MAX / 2, sizeof *a, SIZE_MAX), ERR_MEMORY);
    assert_ptr_equal(items, a);
    assert_int_equal(cap, 1000);
    assert_int_equal(a[999], 999);
    free(a);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_line_of_the_contract_is_known),
        cmocka_unit_test(affixes_are_taken_off_every_line),
        cmocka_unit_test(other_names_are_no_lines),
        cmocka_unit_test(asked_words_and_bits_belong_together),
        cmocka_unit_test(every_error_has_its_exit_status),
        cmocka_unit_test(the_first_error_stands_and_is_clean),
        cmocka_unit_test(a_buffer_keeps_its_ceiling),
        cmocka_unit_test(an_array_grows_to_its_end_and_no_further),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
