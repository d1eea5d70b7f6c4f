/* Cables: pins, names at both plugs, and files that describe no cable. */
#include "base/buf.h"
#include "profile/profile.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#define COUNT(a) (sizeof(a) / sizeof(a)[0])

static struct profile *load(const char *name)
{
    struct profile_path *path;
    struct profile *p = NULL;
    struct err_msg e = {0};
    assert_int_equal(profile_path_make(TEST_SOURCE_DIR "/profiles", &path, &e), ERR_OK);
    if (profile_load(path, PROFILE_CABLE, name, &p, &e) != ERR_OK)
        fail_msg("%s", e.text);
    profile_path_free(path);
    return p;
}

struct pin_row {
    int pin;
    enum line line;
};

/* Source: leaflet 9419 of a 5.25in dual-speed drive, p.10-11 (selects, MOTOR, DIR, WDATA); the
 * rest from memory. */
static const struct pin_row PINS34[] = {
    {8, LINE_INDEX},   {10, LINE_SELECT0}, {12, LINE_SELECT1}, {14, LINE_SELECT2},
    {6, LINE_SELECT3}, {16, LINE_MOTOR},   {18, LINE_DIR},     {20, LINE_STEP},
    {22, LINE_WDATA},  {24, LINE_WGATE},   {26, LINE_TRK00},   {28, LINE_WPROT},
    {30, LINE_RDATA},  {32, LINE_SIDE}};

/* Source: SA800/850 pin list, from memory. */
static const struct pin_row PINS50[] = {
    {14, LINE_SIDE},    {18, LINE_HLOAD},   {20, LINE_INDEX},   {22, LINE_READY},
    {26, LINE_SELECT0}, {28, LINE_SELECT1}, {34, LINE_DIR},     {36, LINE_STEP},
    {38, LINE_WDATA},   {40, LINE_WGATE},   {42, LINE_TRK00},   {44, LINE_WPROT},
    {46, LINE_RDATA},   {12, LINE_DSKCHG},  {10, LINE_TWOSIDED}};

static void straight(const char *name, int pins, const struct pin_row *row, size_t rows)
{
    struct profile *c = load(name);
    assert_int_equal(cable_pins(c), pins);
    assert_int_equal(cable_drive_pins(c), pins);
    for (size_t i = 0; i < rows; i++) {
        assert_int_equal(cable_machine_pin(c, row[i].line), row[i].pin);
        assert_int_equal(cable_drive_pin(c, row[i].line), row[i].pin);
        assert_int_equal(cable_machine_line(c, row[i].pin), row[i].line);
        assert_int_equal(cable_drive_line(c, row[i].pin), row[i].line);
        assert_int_equal(cable_to_drive(c, row[i].line), row[i].line);
        assert_int_equal(cable_to_machine(c, row[i].line), row[i].line);
    }
    for (int pin = 1; pin <= pins; pin += 2)
        assert_int_equal(cable_machine_line(c, pin), LINE_NONE);
    assert_int_equal(cable_machine_line(c, 0), LINE_NONE);
    assert_int_equal(cable_machine_line(c, -5), LINE_NONE);
    assert_int_equal(cable_machine_line(c, 1000), LINE_NONE);
    assert_int_equal(cable_machine_pin(c, LINE_NONE), 0);
    assert_int_equal(cable_to_drive(c, LINE_NONE), LINE_NONE);
    profile_free(c);
}

static void straight_ribbons_keep_every_name(void **state)
{
    (void)state;
    straight("ribbon-34-straight", 34, PINS34, COUNT(PINS34));
    straight("ribbon-50", 50, PINS50, COUNT(PINS50));
    struct profile *c = load("ribbon-34-straight");
    /* One pin, two uses: both find it, the map keeps the name that was asked for. */
    assert_int_equal(cable_machine_pin(c, LINE_READY), 34);
    assert_int_equal(cable_machine_pin(c, LINE_DSKCHG), 34);
    assert_int_equal(cable_to_drive(c, LINE_DSKCHG), LINE_DSKCHG);
    assert_int_equal(cable_to_machine(c, LINE_READY), LINE_READY);
    assert_int_equal(cable_to_drive(c, LINE_MOTOR0), LINE_NONE);
    profile_free(c);
}

/* Handbook 34-way bus: conductors 10 to 16 turned over as a block, 10<->16, 11<->15, 12<->14,
 * 13 stays. */
static void the_twist_exchanges_selects_and_motors(void **state)
{
    (void)state;
    static const struct {
        enum line machine;
        int machine_pin;
        enum line drive;
        int drive_pin;
    } ROWS[] = {
        {LINE_MOTOR0, 10, LINE_MOTOR, 16},    {LINE_SELECT1, 12, LINE_SELECT2, 14},
        {LINE_SELECT0, 14, LINE_SELECT1, 12}, {LINE_MOTOR1, 16, LINE_SELECT0, 10},
        {LINE_DIR, 18, LINE_DIR, 18},         {LINE_INDEX, 8, LINE_INDEX, 8},
        {LINE_DSKCHG, 34, LINE_DSKCHG, 34},
    };
    struct profile *c = load("ribbon-34-twisted");
    for (size_t i = 0; i < COUNT(ROWS); i++) {
        assert_int_equal(cable_machine_pin(c, ROWS[i].machine), ROWS[i].machine_pin);
        assert_int_equal(cable_drive_pin(c, ROWS[i].drive), ROWS[i].drive_pin);
        assert_int_equal(cable_to_drive(c, ROWS[i].machine), ROWS[i].drive);
        assert_int_equal(cable_to_machine(c, ROWS[i].drive), ROWS[i].machine);
    }
    assert_int_equal(cable_to_drive(c, LINE_MOTOR), LINE_NONE);
    assert_int_equal(cable_to_machine(c, LINE_SELECT3), LINE_NONE);
    assert_true(profile_flag(c, "twist", false));
    profile_free(c);
}

/* Contract, bench practice 10: a line that a port does not carry is never evidence. */
static void what_a_cable_lacks_goes_nowhere(void **state)
{
    (void)state;
    struct profile *c = load("din-14");
    assert_int_equal(cable_pins(c), 14);
    assert_int_equal(cable_drive_pins(c), 34);
    assert_int_equal(cable_machine_pin(c, LINE_INDEX), 4);
    assert_int_equal(cable_drive_pin(c, LINE_INDEX), 8);
    assert_int_equal(cable_to_drive(c, LINE_WPROT), LINE_WPROT);
    static const enum line LACKS[] = {LINE_READY, LINE_DSKCHG, LINE_DENSITY};
    for (size_t i = 0; i < COUNT(LACKS); i++) {
        assert_int_equal(cable_machine_pin(c, LACKS[i]), 0);
        assert_int_equal(cable_to_machine(c, LACKS[i]), LINE_NONE);
    }
    profile_free(c);
    c = load("adapter-50-34");
    assert_int_equal(cable_to_drive(c, LINE_INDEX), LINE_INDEX);
    assert_int_equal(cable_machine_pin(c, LINE_INDEX), 20);
    assert_int_equal(cable_drive_pin(c, LINE_INDEX), 8);
    assert_int_equal(cable_to_machine(c, LINE_MOTOR), LINE_NONE);
    assert_int_equal(cable_to_drive(c, LINE_READY), LINE_NONE);
    profile_free(c);
}

/* Every line of every shipped cable comes back through the map to where it went in. */
static void there_and_back_is_the_same_line(void **state)
{
    (void)state;
    static const char *const CABLES[] = {"ribbon-34-straight",
                                         "ribbon-34-twisted",
                                         "ribbon-50",
                                         "ribbon-26",
                                         "din-14",
                                         "dsub-23",
                                         "adapter-50-34"};
    for (size_t i = 0; i < COUNT(CABLES); i++) {
        struct profile *c = load(CABLES[i]);
        int carried = 0;
        for (int l = 0; l < LINE_COUNT; l++) {
            enum line at_drive = cable_to_drive(c, (enum line)l);
            if (at_drive == LINE_NONE)
                continue;
            carried++;
            enum line back = cable_to_machine(c, at_drive);
            assert_int_equal(cable_machine_pin(c, back), cable_machine_pin(c, (enum line)l));
        }
        assert_in_range(carried, 10, LINE_COUNT);
        profile_free(c);
    }
}

static bool has_pair(const struct profile *c, enum line a, enum line b)
{
    enum line x[64], y[64];
    size_t n = cable_neighbours(c, x, y, 64);
    assert_in_range(n, 1, 64);
    for (size_t i = 0; i < n; i++)
        if (x[i] == a && y[i] == b)
            return true;
    return false;
}

static void neighbours_are_two_pins_apart_at_the_drive(void **state)
{
    (void)state;
    struct profile *c = load("ribbon-34-twisted");
    assert_true(has_pair(c, LINE_DIR, LINE_STEP));
    assert_true(has_pair(c, LINE_SELECT0, LINE_SELECT1));
    assert_true(has_pair(c, LINE_MOTOR, LINE_DIR));
    assert_true(has_pair(c, LINE_SIDE, LINE_DSKCHG));
    assert_true(has_pair(c, LINE_SIDE, LINE_READY));
    assert_false(has_pair(c, LINE_STEP, LINE_DIR));
    assert_false(has_pair(c, LINE_DIR, LINE_WDATA));
    enum line a[2], b[2];
    size_t all = cable_neighbours(c, a, b, 2);
    assert_true(all > 2);
    assert_int_equal(cable_neighbours(c, NULL, NULL, 0), all);
    profile_free(c);
}

#define HEAD "[profile]\ntitle = t\nkind = cable\n"
#define MPLUG                                                                                  \
    "[machine-plug]\npins = 6\nrows = 2\nground = odd\n2 = STEP\n4 = DIR\nsource = s\n"
#define DPLUG "[drive-plug]\nlike = machine-plug\nsource = s\n"
#define MAP   "[map]\nmap = straight\nsource = s\n"

static void files_that_are_no_cable_are_told(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        size_t count;
        const char *want;
    } ROWS[] = {
        {HEAD MPLUG DPLUG MAP, 0, ""},
        {HEAD MPLUG "8 = SIDE\n" DPLUG MAP, 1, "x.ini:11: pin 8 is off the 6-way plug"},
        {HEAD MPLUG "6 = STEP\n" DPLUG MAP, 2, "STEP is on pin 2 and on pin 6"},
        {HEAD MPLUG "02 = SIDE\n" DPLUG MAP, 1, "pin 2 stands on line 8 already"},
        {HEAD MPLUG "3 = SIDE\n" DPLUG MAP, 1, "x.ini:11: pin 3 is a line and a ground"},
        {HEAD MPLUG "6 = side-select\n" DPLUG MAP, 1, "\"side-select\" is no line"},
        {HEAD MPLUG "65 = SIDE\n" DPLUG MAP, 1, "unknown key or value in [machine-plug]: 65"},
        {HEAD MPLUG "pin = 2\n" DPLUG MAP, 1, "unknown key or value in [machine-plug]: pin"},
        {HEAD "[machine-plug]\npins = 6\nrows = 2\n2 = STEP\n" DPLUG MAP, 1,
         "[machine-plug] has no source"},
        {HEAD "[machine-plug]\n2 = STEP\nsource = s\n" DPLUG MAP, 3,
         "[machine-plug] needs pins and rows"},
        {HEAD MPLUG DPLUG, 1, "[map] is missing"},
        {HEAD MPLUG MAP, 1, "[drive-plug] is missing"},
        {HEAD MPLUG DPLUG MAP "2 = 4\n", 1, "pins 2 and 4 both go to pin 4"},
        {HEAD MPLUG DPLUG MAP "2 = 3\n", 2, "joins a line and a ground"},
        {HEAD MPLUG DPLUG MAP "2 = 9\n", 1, "pin 2 to 9 is off a plug"},
        {HEAD MPLUG DPLUG MAP "2 = x\n", 1, "pin 2 goes to a pin or to none"},
        {HEAD MPLUG DPLUG "[map]\nsource = s\n", 1,
         "[map] needs map = straight or map = listed"},
        {HEAD MPLUG DPLUG MAP "[twist]\nword = maybe\nsource = s\n", 1,
         "does not know \"maybe\""},
        {HEAD MPLUG DPLUG MAP "[cylinders]\n", 1, "unknown section [cylinders]"},
    };
    for (size_t i = 0; i < COUNT(ROWS); i++) {
        char path[] = TEST_BINARY_DIR "/test-cable-XXXXXX";
        int fd = mkstemp(path);
        assert_true(fd >= 0);
        assert_int_equal(write(fd, ROWS[i].text, strlen(ROWS[i].text)), strlen(ROWS[i].text));
        close(fd);
        struct buf b;
        buf_init(&b, 10000);
        size_t n = 99;
        struct err_msg e = {0};
        assert_int_equal(profile_check_file(path, PROFILE_CABLE, &b, &n, &e), ERR_OK);
        unlink(path);
        const char *want = ROWS[i].want + (strncmp(ROWS[i].want, "x.ini", 5) == 0 ? 5 : 0);
        if (n != ROWS[i].count || (n > 0 && strstr(b.data, want) == NULL))
            fail_msg("row %zu: %zu problems: %s", i, n, n > 0 ? b.data : "");
        buf_release(&b);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(straight_ribbons_keep_every_name),
        cmocka_unit_test(the_twist_exchanges_selects_and_motors),
        cmocka_unit_test(what_a_cable_lacks_goes_nowhere),
        cmocka_unit_test(there_and_back_is_the_same_line),
        cmocka_unit_test(neighbours_are_two_pins_apart_at_the_drive),
        cmocka_unit_test(files_that_are_no_cable_are_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
