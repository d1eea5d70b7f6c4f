/* INI text: what is read, what is refused, and on which line. */
#include "base/buf.h"
#include "base/ini_file.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static enum err parse(const char *text, size_t len, struct ini_file *f, struct err_msg *e)
{
    *e = (struct err_msg){0};
    *f = (struct ini_file){0};
    return ini_file_parse("x.ini", text, len, f, e);
}

/* Refused with ERR_FORMAT, and the message begins so. */
static void refused(const char *text, const char *message)
{
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(text, strlen(text), &f, &e), ERR_FORMAT);
    assert_null(f.entry);
    if (strncmp(e.text, message, strlen(message)) != 0)
        fail_msg("\"%s\" does not begin with \"%s\"", e.text, message);
}

static void entries_come_in_order_with_their_lines(void **state)
{
    (void)state;
    static const char TEXT[] = "; a comment\n"
                               "# another\n"
                               "[case]\n"
                               "title = Nothing reads ; said at the counter\n"
                               "\n"
                               "  machine=controller-wd177x\n"
                               "[empty]  ; nothing in it\n"
                               "[lines at-machine]\n"
                               "RDATA = D3:high\n";
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(TEXT, sizeof TEXT - 1, &f, &e), ERR_OK);
    assert_int_equal(f.count, 6);
    static const struct ini_entry WANT[] = {
        {"case", NULL, NULL, 3},
        {"case", "title", "Nothing reads", 4},
        {"case", "machine", "controller-wd177x", 6},
        {"empty", NULL, NULL, 7},
        {"lines at-machine", NULL, NULL, 8},
        {"lines at-machine", "RDATA", "D3:high", 9},
    };
    for (size_t i = 0; i < 6; i++) {
        assert_string_equal(f.entry[i].section, WANT[i].section);
        assert_int_equal(f.entry[i].line, WANT[i].line);
        assert_int_equal(f.entry[i].key == NULL, WANT[i].key == NULL);
        if (WANT[i].key != NULL) {
            assert_string_equal(f.entry[i].key, WANT[i].key);
            assert_string_equal(f.entry[i].value, WANT[i].value);
        }
    }
    assert_string_equal(ini_file_get(&f, "case", "machine"), "controller-wd177x");
    assert_null(ini_file_get(&f, "case", "drive"));
    assert_null(ini_file_get(&f, "none", "title"));
    ini_file_release(&f);
}

/* Contract, "A case": '#' starts a comment only at a line's start. */
static void comment_signs_count_only_in_their_places(void **state)
{
    (void)state;
    static const char TEXT[] =
        "[a]\na = 1 # 2\nb = x;y\nc = x ;y\nd = # 5\ne =;z\nf = ; nothing\ng =\n";
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(TEXT, sizeof TEXT - 1, &f, &e), ERR_OK);
    assert_string_equal(ini_file_get(&f, "a", "a"), "1 # 2");
    assert_string_equal(ini_file_get(&f, "a", "b"), "x;y");
    assert_string_equal(ini_file_get(&f, "a", "c"), "x");
    assert_string_equal(ini_file_get(&f, "a", "d"), "# 5");
    assert_string_equal(ini_file_get(&f, "a", "e"), ";z");
    assert_string_equal(ini_file_get(&f, "a", "f"), "");
    assert_string_equal(ini_file_get(&f, "a", "g"), "");
    ini_file_release(&f);
}

static void byte_order_mark_and_crlf_are_nothing_special(void **state)
{
    (void)state;
    static const char TEXT[] = "\xef\xbb\xbf[a]\r\nk = v\r\n\r\n[b]\r\n";
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(TEXT, sizeof TEXT - 1, &f, &e), ERR_OK);
    assert_int_equal(f.count, 3);
    assert_string_equal(ini_file_get(&f, "a", "k"), "v");
    assert_int_equal(f.entry[2].line, 4);
    ini_file_release(&f);
    assert_int_equal(parse("", 0, &f, &e), ERR_OK);
    assert_int_equal(f.count, 0);
    ini_file_release(&f);
}

/* Debian's libinih 55 takes an indented line for more of the value above (INI_ALLOW_MULTILINE),
 * and cuts lines at 200 and names at 50 bytes: none of that may show. */
static void a_line_is_never_more_of_the_line_above(void **state)
{
    (void)state;
    refused("[a]\nk = 1\n  and more\n", "x.ini:3: ");
    static const char TEXT[] = "[a]\nk = 1\n  m = 2\n";
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(TEXT, sizeof TEXT - 1, &f, &e), ERR_OK);
    assert_string_equal(ini_file_get(&f, "a", "k"), "1");
    assert_string_equal(ini_file_get(&f, "a", "m"), "2");
    ini_file_release(&f);
}

static void values_of_every_length_come_back_whole(void **state)
{
    (void)state;
    char text[1100], value[1000];
    for (size_t len = 1; len <= 990; len++) {
        for (size_t i = 0; i < len; i++)
            value[i] = i % 7 == 3 && i + 1 < len ? ' ' : (char)('a' + i % 26);
        value[len] = '\0';
        int n = snprintf(text, sizeof text, "[s]\nk = %s\nnext = here\n", value);
        struct ini_file f;
        struct err_msg e;
        assert_int_equal(parse(text, (size_t)n, &f, &e), ERR_OK);
        assert_int_equal(f.count, 3);
        assert_string_equal(f.entry[1].value, value);
        assert_string_equal(f.entry[2].value, "here");
        assert_int_equal(f.entry[2].line, 3);
        ini_file_release(&f);
    }
}

static void names_of_49_bytes_are_whole_and_of_50_refused(void **state)
{
    (void)state;
    char name[60], text[200];
    memset(name, 'n', sizeof name);
    name[49] = '\0';
    int n = snprintf(text, sizeof text, "[%s]\n%s = 1\n", name, name);
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(text, (size_t)n, &f, &e), ERR_OK);
    assert_string_equal(f.entry[1].section, name);
    assert_string_equal(f.entry[1].key, name);
    ini_file_release(&f);
    name[49] = 'n';
    name[50] = '\0';
    snprintf(text, sizeof text, "[%s]\n", name);
    refused(text, "x.ini:1: section's name is too long");
    snprintf(text, sizeof text, "[s]\n%s = 1\n", name);
    refused(text, "x.ini:2: key's name is too long");
}

static void what_is_no_ini_is_refused_by_line(void **state)
{
    (void)state;
    refused("k = v\n", "x.ini:1: a key before any section");
    refused("[a\n", "x.ini:1: a section without its ']'");
    refused("[a]\n\n[b\nk = v\n", "x.ini:3: a section without its ']'");
    refused("[a] k = v\n", "x.ini:1: text behind a section's ']'");
    refused("[]\n", "x.ini:1: section's name is empty");
    refused("[ a ]\n", "x.ini:1: white space beside a section's name");
    refused("[a ;b]\n", "x.ini:1: a comment inside a section's name");
    refused("[a]\nword\n", "x.ini:2: a line that is no section");
    refused("[a]\nword ; = 3\n", "x.ini:2: a line that is no section");
    refused("[a]\nk: v\n", "x.ini:2: a line that is no section");
    refused("[a]\nk:m = v\n", "x.ini:2: a ':' in a key's name");
    refused("[a]\n = v\n", "x.ini:2: key's name is empty");
    refused("[a]\nk = \x1b[31m\n", "x.ini:2: a control byte");
    refused("[a]\nk = \xff\xfe\n", "x.ini:2: not UTF-8 text");
    refused("[a]\nk = \xc0\xaf\n", "x.ini:2: not UTF-8 text");
}

static void doubles_are_refused_with_both_lines(void **state)
{
    (void)state;
    refused("[a]\nk = 1\nm = 2\nk = 1\n", "x.ini:4: key \"k\" of [a] stands on line 2 already");
    refused("[a]\n[b]\n[a]\n", "x.ini:3: section [a] stands on line 1 already");
    static const char TEXT[] = "[a]\nk = 1\n[b]\nk = 1\n";
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(TEXT, sizeof TEXT - 1, &f, &e), ERR_OK);
    ini_file_release(&f);
}

static void nul_bytes_are_refused(void **state)
{
    (void)state;
    static const char TEXT[] = "[a]\nk = v\0w\n";
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(TEXT, sizeof TEXT - 1, &f, &e), ERR_FORMAT);
    assert_string_equal(e.text, "x.ini:2: a NUL byte");
}

static void huge_lines_and_files_are_refused(void **state)
{
    (void)state;
    size_t len = (size_t)INI_FILE_BYTES_MAX + 1;
    char *big = malloc(len + 1);
    assert_non_null(big);
    memset(big, 'x', len);
    big[len] = '\0';
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(big, len, &f, &e), ERR_FORMAT);
    assert_int_equal(parse(big, 1 << 20, &f, &e), ERR_FORMAT);
    assert_string_equal(e.text, "x.ini:1: a line that is too long");
    /* More entries than the ceiling, in a file below its own. */
    struct buf text;
    buf_init(&text, INI_FILE_BYTES_MAX);
    assert_int_equal(buf_str(&text, "[a]\n"), ERR_OK);
    for (int i = 0; i < INI_ENTRIES_MAX; i++)
        assert_int_equal(buf_printf(&text, "k%d=1\n", i), ERR_OK);
    assert_int_equal(parse(text.data, text.len, &f, &e), ERR_FORMAT);
    assert_string_equal(e.text, "x.ini:100001: too many entries");
    buf_release(&text);
    free(big);
}

/* One comment sign that no cut may bring to a piece's start. */
static void a_value_of_comment_signs_is_whole_or_refused(void **state)
{
    (void)state;
    char text[600] = "[a]\nk = a";
    size_t len = strlen(text);
    memset(text + len, ';', 400);
    text[len + 400] = '\n';
    struct ini_file f;
    struct err_msg e;
    assert_int_equal(parse(text, len + 401, &f, &e), ERR_FORMAT);
    assert_string_equal(e.text, "x.ini:2: a value that is too long to take apart");
    text[len + 100] = '\n';
    assert_int_equal(parse(text, len + 101, &f, &e), ERR_OK);
    assert_int_equal(strlen(f.entry[1].value), 101);
    ini_file_release(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(entries_come_in_order_with_their_lines),
        cmocka_unit_test(comment_signs_count_only_in_their_places),
        cmocka_unit_test(byte_order_mark_and_crlf_are_nothing_special),
        cmocka_unit_test(a_line_is_never_more_of_the_line_above),
        cmocka_unit_test(values_of_every_length_come_back_whole),
        cmocka_unit_test(names_of_49_bytes_are_whole_and_of_50_refused),
        cmocka_unit_test(what_is_no_ini_is_refused_by_line),
        cmocka_unit_test(doubles_are_refused_with_both_lines),
        cmocka_unit_test(nul_bytes_are_refused),
        cmocka_unit_test(huge_lines_and_files_are_refused),
        cmocka_unit_test(a_value_of_comment_signs_is_whole_or_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
