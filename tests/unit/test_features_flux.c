/* What the read signal of a session says, from surveys made up for it (invented). */
#include "evidence/feature_make.h"
#include "profile_parts.h"

#include <stdio.h>
#include <string.h>

#define VISITS 6

struct made {
    struct parts parts;
    struct case_file c;
    struct case_capture cap;
    struct survey s;
    struct visit visit[VISITS];
    enum line name[SIG_COUNT];
    struct feature_list list;
};

/* Visits of MFM at 500 kbit/s, all alike. */
static void make(struct made *m)
{
    *m = (struct made){.cap = {.name = "d", .tap = TAP_DRIVE_END}};
    load_parts(&m->parts, "controller-wd179x", "drive-8", "ribbon-50");
    m->c.machine = m->parts.machine;
    m->c.drive = m->parts.drive;
    m->c.cable = m->parts.cable;
    m->c.capture = &m->cap;
    m->c.capture_count = 1;
    for (int i = 0; i < SIG_COUNT; i++)
        m->name[i] = i == SIG_RDATA ? LINE_RDATA : LINE_NONE;
    for (int i = 0; i < VISITS; i++)
        m->visit[i] = (struct visit){
            .start_ns = i * INT64_C(1000000000),
            .end_ns = i * INT64_C(1000000000) + 500000000,
            .selected = true,
            .motor = true,
            .settled = true,
            .since_motor_ns = -1,
            .transitions = 50000,
            .ids_good = 10,
            .data_good = 10,
            .quality = {.encoding = ENC_MFM, .data_rate = 500000, .cell_ns = 1000}};
    m->s.visit = m->visit;
    m->s.visit_count = VISITS;
    m->s.flux_recorded = m->s.flux_usable = true;
    m->s.story.line[LINE_RDATA].state = LINE_TOGGLES;
}

/* The feature of a kind; NULL where there is none. Lives until drop(). */
static const struct feature *say(struct made *m, enum feature_kind kind)
{
    struct feature_from f = {.c = &m->c, .cap = &m->cap, .s = &m->s, .name = m->name};
    feature_list_release(&m->list);
    assert_int_equal(features_flux(&f, &m->list), ERR_OK);
    for (size_t i = 0; i < m->list.count; i++)
        if (m->list.item[i].kind == kind)
            return &m->list.item[i];
    return NULL;
}

static void drop(struct made *m)
{
    feature_list_release(&m->list);
    free_parts(&m->parts);
}

/* A first track in FM, as 8-inch disks have it: its cell is twice as long and right all the
 * same.
 */
static void each_code_is_held_to_its_own_cell(void **state)
{
    struct made m;
    (void)state;
    make(&m);
    for (int i = 0; i < 2; i++)
        m.visit[i].quality =
            (struct flux_quality){.encoding = ENC_FM, .data_rate = 250000, .cell_ns = 2000};
    assert_true(say(&m, FEATURE_CELL)->soft[0] > 0.99);
    assert_true(say(&m, FEATURE_RATE)->soft[0] > 0.99);
    drop(&m);
}

static void a_rate_is_one_of_the_drive_of_the_trade_or_of_none(void **state)
{
    static const struct {
        double stretch;
        int answer;
    } cases[] = {{1, 0}, {1.04, 0}, {6.0 / 5, 1}, {1.18, 1}, {1.35, 2}};
    struct made m;
    (void)state;
    make(&m);
    for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
        for (int i = 0; i < VISITS; i++)
            m.visit[i].quality.cell_ns = 1000 * cases[k].stretch;
        assert_true(say(&m, FEATURE_RATE)->soft[cases[k].answer] > 0.99);
    }
    drop(&m);
}

static void a_cell_that_differs_from_visit_to_visit_is_no_rate(void **state)
{
    struct made m;
    (void)state;
    make(&m);
    for (int i = 0; i < VISITS; i++)
        m.visit[i].quality.cell_ns = i % 2 ? 1000 : 1150;
    assert_true(say(&m, FEATURE_CELL)->soft[3] > 0.99);
    assert_null(say(&m, FEATURE_RATE));
    drop(&m);
}

/* The first visit begins as the motor starts; what lasts tells all the same. */
static void a_spindle_that_comes_up_to_speed_tells_no_cell(void **state)
{
    struct made m;
    (void)state;
    make(&m);
    for (int i = 0; i < VISITS; i++) {
        m.visit[i].since_motor_ns = 0;
        m.visit[i].end_ns = m.visit[i].start_ns + 200000000;
        m.visit[i].quality.cell_ns = 1200;
    }
    assert_null(say(&m, FEATURE_CELL));
    m.visit[0].end_ns = m.visit[0].start_ns + INT64_C(100000000000);
    m.visit[0].quality.cell_ns = 1000;
    assert_true(say(&m, FEATURE_CELL)->soft[0] > 0.99);
    drop(&m);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_code_is_held_to_its_own_cell),
        cmocka_unit_test(a_rate_is_one_of_the_drive_of_the_trade_or_of_none),
        cmocka_unit_test(a_cell_that_differs_from_visit_to_visit_is_no_rate),
        cmocka_unit_test(a_spindle_that_comes_up_to_speed_tells_no_cell),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
