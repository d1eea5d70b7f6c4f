/* Whatever a text holds, it stays a text on the page, and the page stays well-formed. */
#include "report/html.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define BAD "\xef\xbf\xbd"

static void becomes(const char *in, const char *expected)
{
    struct buf b;
    buf_init(&b, 100000);
    assert_int_equal(html_text(&b, in), ERR_OK);
    assert_string_equal(b.len > 0 ? b.data : "", expected);
    buf_release(&b);
}

static void marks_of_the_language_are_escaped(void **state)
{
    (void)state;
    becomes("<script>alert(\"1\")</script>",
            "&lt;script&gt;alert(&quot;1&quot;)&lt;/script&gt;");
    becomes("' onload='x' a&b &amp; ]]>", "&#39; onload=&#39;x&#39; a&amp;b &amp;amp; ]]&gt;");
    becomes("", "");
}

static void control_bytes_are_shown_as_unknown(void **state)
{
    (void)state;
    becomes("a\x01\x1b[31mb\x7f\t\n", "a" BAD BAD "[31mb" BAD BAD BAD);
    becomes("\xc2\x85", BAD); /* a control character of two bytes */
}

/* RFC 3629: what is no UTF-8. */
static void bytes_that_are_no_utf8_are_shown_as_unknown(void **state)
{
    (void)state;
    becomes("\xff\xfe", BAD BAD);
    becomes("\xc0\xaf", BAD BAD);                 /* overlong '/' */
    becomes("\xe0\x80\xbc", BAD BAD BAD);         /* overlong '<' */
    becomes("\xed\xa0\x80", BAD BAD BAD);         /* half of a pair */
    becomes("\xf4\x90\x80\x80", BAD BAD BAD BAD); /* past the end */
    becomes("caf\xc3", "caf" BAD);                /* cut short */
    becomes("caf\xc3\xa9 \xf0\x9f\x92\xbe", "caf\xc3\xa9 \xf0\x9f\x92\xbe");
}

/* XML 1.0, 2.2: U+FFFE and U+FFFF are no characters of a document. */
static void what_xml_cannot_hold_is_shown_as_unknown(void **state)
{
    (void)state;
    becomes("\xef\xbf\xbe\xef\xbf\xbf", BAD BAD);
}

/* A name must not read backwards: Unicode's bidirectional controls. */
static void marks_that_turn_the_writing_are_shown_as_unknown(void **state)
{
    (void)state;
    becomes("a\xe2\x80\xae"
            "b\xe2\x81\xa6",
            "a" BAD "b" BAD);
}

static void a_long_text_ends_in_an_ellipsis(void **state)
{
    char long_text[3 * HTML_TEXT_MAX + 1];
    struct buf b;
    (void)state;
    memset(long_text, '<', sizeof long_text - 1);
    long_text[sizeof long_text - 1] = '\0';
    buf_init(&b, 100000);
    assert_int_equal(html_text(&b, long_text), ERR_OK);
    assert_int_equal(b.len, HTML_TEXT_MAX * strlen("&lt;") + 3);
    assert_string_equal(b.data + b.len - 3, "\xe2\x80\xa6");
    buf_release(&b);
}

static void an_element_closes_by_its_name_alone(void **state)
{
    struct buf b;
    (void)state;
    buf_init(&b, 1000);
    assert_int_equal(html_elf(&b, "td class=\"n\"", "%d < %d", 1, 2), ERR_OK);
    assert_string_equal(b.data, "<td class=\"n\">1 &lt; 2</td>\n");
    buf_release(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(marks_of_the_language_are_escaped),
        cmocka_unit_test(control_bytes_are_shown_as_unknown),
        cmocka_unit_test(bytes_that_are_no_utf8_are_shown_as_unknown),
        cmocka_unit_test(what_xml_cannot_hold_is_shown_as_unknown),
        cmocka_unit_test(marks_that_turn_the_writing_are_shown_as_unknown),
        cmocka_unit_test(a_long_text_ends_in_an_ellipsis),
        cmocka_unit_test(an_element_closes_by_its_name_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
