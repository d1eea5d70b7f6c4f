/* The page on the adapter protocol in DEVELOPERS.md says the numbers of protocol.h: a stranger
 * builds by the page. Each row names its constant behind the number. */
#include "adapter/protocol.h"
#include "base/buf.h"
#include "base/file.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

struct row {
    unsigned value;
    const char *name;
    bool hex;
};
#define AT(n)                                                                                  \
    {                                                                                          \
        n, #n, false                                                                           \
    }
#define CODE(n)                                                                                \
    {                                                                                          \
        n, #n, true                                                                            \
    }

static const struct row rows[] = {
    CODE(REQ_IDENTIFY),  CODE(REQ_STATUS),     CODE(REQ_ALIVE),        CODE(REQ_ROLE),
    CODE(REQ_LIMITS),    CODE(REQ_START),      CODE(REQ_STOP),         CODE(REQ_RELEASE),
    CODE(REQ_DRIVE),     CODE(REQ_STEP),       CODE(REQ_PULL_UPS),     CODE(REQ_ARM_ONE),
    CODE(REQ_ARM_TWO),   CODE(REQ_DISARM),     CODE(REQ_WRITE),        CODE(REQ_PLAY),
    CODE(REQ_PIN),       CODE(REQ_PIN_LEVELS), AT(CAP_MAGIC),          AT(CAP_MAJOR),
    AT(CAP_MINOR),       AT(CAP_LENGTH),       AT(CAP_FLAGS),          AT(CAP_LINES_IN),
    AT(CAP_LINES_OUT),   AT(CAP_ROLES),        AT(CAP_TICK_HZ),        AT(CAP_BUFFER),
    AT(CAP_PLAY),        AT(CAP_RAILS),        AT(CAP_WATCHDOG_MS),    AT(CAP_PULSE),
    AT(CAP_PINS),        AT(STATUS_ROLE),      AT(STATUS_FLAGS),       AT(STATUS_REFUSAL),
    AT(STATUS_RELEASED), AT(STATUS_DRIVEN),    AT(STATUS_LEVELS),      AT(STATUS_TICK),
    AT(STATUS_LOST),     AT(STATUS_QUEUED),    AT(STATUS_PEAK),        AT(STATUS_CHALLENGE),
    AT(STATUS_CYLINDER), AT(STATUS_PLAY_FREE), AT(STATUS_RAILS),       AT(LIMITS_LAST_CYLINDER),
    AT(LIMITS_STEP_US),  AT(LIMITS_TURN_US),   AT(LIMITS_STEP_LOW_US), AT(LIMITS_SETTLE_US),
    AT(LIMITS_ERASE_US), AT(LIMITS_GATE_US),   CODE(REC_STATE),        CODE(REC_EVENTS),
    CODE(REC_WIDTHS),    CODE(REC_LOST),       CODE(REC_MARK),         CODE(REC_RAILS),
};

/* Numbers in running words. */
static const struct {
    unsigned value;
    const char *words; /* # stands for it, in hex behind 0x */
} said[] = {
    {PROTO_MAJOR, "Version #.0"},
    {PROTO_MINOR, "Version 1.#"},
    {PROTO_CLASS, "class 0x#,"},
    {PROTO_SUBCLASS, "subclass 0x#,"},
    {PROTO_PROTOCOL, "protocol 0x# with"},
    {PROTO_CONTROL_MAX, "longer than # bytes"},
    {CAP_BYTES, "in, # and more | capabilities"},
    {STATUS_BYTES, "in, # and more | status"},
    {LIMITS_BYTES, "out, # | once after each role"},
    {PIN_LEVELS_BYTES, "in, # | both-plugs"},
    {ARM_NAME_MAX, "out, 1 to # bytes | name"},
    {PROTO_WATCHDOG_MS, "releases: 1 to # |"},
    {PROTO_HEARTBEAT_MS, "frame every #"},
    {PROTO_FRAME_MIN, "of # to 512 bytes"},
    {PROTO_FRAME_MAX, "of 28 to # bytes"},
    {PROTO_BLOCK_MIN, "Blocks of # to 512 bytes"},
    {PROTO_SYNC0, "u8, u8 | 0x# 0x57"},
    {PROTO_SYNC1, "u8, u8 | 0xb6 0x#"},
    {PROTO_FRAME_HEAD, "| # | records |"},
    {LOST_BYTES, "`REC_LOST` | # |"},
    {MARK_BYTES, "`REC_MARK` | # |"},
    {4 * WIRE_RAILS, "`REC_RAILS` | # |"},
    {EVENT_SHORT, "0x00-0xef | 1 | RDATA falls code ticks later |\n| 0x#-"},
    {EVENT_SHORT, "falls # + (code"},
    {EVENT_MIDDLE_TOP, "0xf0-0x# |"},
    {EVENT_MIDDLE_END - 1 - 2000, "240 to 2,# |"},
    {EVENT_LONG, "| 0x# | 2-6"},
    {EVENT_LINE, "| 0x# | 3-7"},
    {LIMITS_OUTWARD_MORE, "at most # more outward"},
    {LIMITS_STEP_US_MIN, "least time between steps, # and more"},
    {CAPF_WIDTHS, "# sends WIDTHS"},
    {CAPF_PULL_UPS, "# has switched pull-ups"},
    {CAPF_WRITE_LINK, "# the link of the write gate"},
    {CAPF_GROUNDS_APART, "# ground pins"},
    {CAPF_PINS_FLOAT, "# can look"},
    {STATF_STREAMING, "# streaming"},
    {STATF_ARMED_ONE, "# first arming holds"},
    {STATF_ARMED_TWO, "# second, 8"},
    {STATF_PULL_UPS, "# pull-ups on"},
    {STATF_PLAYING, "# playing"},
    {STATF_WRITING, "# writing"},
    {STATF_STEPPING, "# stepping"},
    {REFUSE_LINE, "# a line that may not be driven"},
    {REFUSE_VOLTAGE, "# a conductor carries voltage"},
    {REFUSE_ERASE_DELAY, "# erase delay"},
    {REFUSALS - 1, "# no INDEX"},
    {RELEASE_SILENCE, "# the host was silent"},
    {RELEASES - 1, "# TRK00 stays active"},
    {WIRE_ROLE_AS_MACHINE, "# as-machine"},
    {WIRE_ROLE_LOOP, "# loop"},
    {MARK_UNDERRUN, "# underrun"},
    {LOST_SAMPLER, "# the sampler"},
};

static struct buf page;

static int load(void **state)
{
    struct err_msg e = {0};
    (void)state;
    buf_init(&page, 1 << 20);
    if (file_read(TEST_SOURCE_DIR "/DEVELOPERS.md", &page, &e) != ERR_OK)
        return -1;
    /* words that a line's end cuts apart still belong together; rows of tables stay */
    for (char *c = page.data; *c != '\0'; c++)
        if (*c == '\n' && c[1] != '|' && c[1] != '\n')
            *c = ' ';
    return 0;
}

static int unload(void **state)
{
    (void)state;
    buf_release(&page);
    return 0;
}

static void test_each_row_has_the_number_of_its_name(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[80];
        (void)snprintf(text, sizeof text, rows[i].hex ? "| 0x%02x | `%s` |" : "| %u | `%s` |",
                       rows[i].value, rows[i].name);
        if (strstr(page.data, text) == NULL)
            fail_msg("the page has no row \"%s\"", text);
    }
}

static void with_number(const char *words, unsigned value, char *out, size_t room)
{
    const char *at = strchr(words, '#');
    bool hex = at - words >= 2 && at[-1] == 'x';
    int len = (int)(at - words);
    (void)snprintf(out, room, hex ? "%.*s%02x%s" : "%.*s%u%s", len, words, value, at + 1);
}

static void test_numbers_in_words_are_those_of_the_header(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof said / sizeof said[0]; i++) {
        char text[120];
        with_number(said[i].words, said[i].value, text, sizeof text);
        if (strstr(page.data, text) == NULL)
            fail_msg("the page does not say \"%s\"", text);
    }
}

static void test_lines_are_numbered_as_in_the_header(void **state)
{
    (void)state;
    assert_non_null(strstr(page.data, "| 0-3 | 4-6 | 7-11 | 12-16 | 17-21 | 22-26 |"));
    assert_int_equal(WIRE_SELECT3, 3);
    assert_int_equal(WIRE_MOTOR1, 6);
    assert_int_equal(WIRE_WDATA, 11);
    assert_int_equal(WIRE_FAULTRESET, 16);
    assert_int_equal(WIRE_READY, 21);
    assert_int_equal(WIRE_FAULT, 26);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_each_row_has_the_number_of_its_name),
        cmocka_unit_test(test_numbers_in_words_are_those_of_the_header),
        cmocka_unit_test(test_lines_are_numbered_as_in_the_header),
    };
    return cmocka_run_group_tests(tests, load, unload);
}
