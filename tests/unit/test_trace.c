/* What a page draws of the edges: levels by column, intervals, rails, whatever the length. */
#include "report/trace.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static struct trace *traced(const char *csv, size_t len)
{
    struct trace *t = calloc(1, sizeof *t);
    struct capture *c = NULL;
    struct err_msg e = {0};
    struct chunk chunk = {0};
    assert_non_null(t);
    assert_int_equal(capture_open_memory("test.csv", csv, len, NULL, &c, &e), ERR_OK);
    while (!chunk.last) {
        assert_int_equal(capture_next(c, &chunk, &e), ERR_OK);
        trace_chunk(t, capture_info(c), &chunk);
    }
    capture_close(c);
    return t;
}

static void a_line_keeps_its_levels_by_column(void **state)
{
    static const char csv[] = "time,INDEX,TRK00\n"
                              "0.000,1,0\n"
                              "0.100,0,0\n"
                              "0.200,1,0\n"
                              "1.000,1,0\n";
    struct trace *t = traced(csv, sizeof csv - 1);
    (void)state;
    size_t columns = trace_columns(t);
    double s = trace_column_s(t);
    assert_true(columns > TRACE_COLUMNS / 2 && columns <= TRACE_COLUMNS);
    assert_true((double)columns * s >= 1.0 && (double)(columns - 1) * s <= 1.0);
    for (size_t i = 0; i < columns; i++) {
        double from = (double)i * s;
        double to = from + s;
        uint8_t seen = t->line[LINE_INDEX].seen[i];
        assert_int_equal(t->line[LINE_TRK00].seen[i], SEEN_LOW);
        assert_int_equal((seen & SEEN_LOW) != 0, to > 0.1 && from <= 0.2);
        assert_int_equal((seen & SEEN_HIGH) != 0, from <= 0.1 || to > 0.2);
    }
    assert_false(t->line[LINE_STEP].started);
    free(t);
}

static void a_stretch_that_was_not_recorded_is_kept_apart(void **state)
{
    static const char csv[] = "time,INDEX\n0.0,1\n0.5,x\n1.0,x\n";
    struct trace *t = traced(csv, sizeof csv - 1);
    (void)state;
    assert_int_equal(t->line[LINE_INDEX].seen[0], SEEN_HIGH);
    assert_int_equal(t->line[LINE_INDEX].seen[trace_columns(t) - 2], SEEN_GAP);
    free(t);
}

/* Falls 4, 6, 8 us apart, then one while the machine writes, which does not count. */
static void intervals_are_counted_while_nothing_writes(void **state)
{
    char csv[20000];
    size_t at = (size_t)snprintf(csv, sizeof csv, "time,RDATA,WGATE\n0,1,1\n");
    double us = 10;
    (void)state;
    for (int i = 0; i <= 30; i++) {
        at += (size_t)snprintf(csv + at, sizeof csv - at, "%.9f,0,1\n%.9f,1,1\n", us * 1e-6,
                               (us + 0.4) * 1e-6);
        us += i == 30 ? 1 : 4 + 2 * (i % 3);
    }
    at += (size_t)snprintf(csv + at, sizeof csv - at, "%.9f,1,0\n", us * 1e-6);
    at += (size_t)snprintf(csv + at, sizeof csv - at, "%.9f,0,0\n", (us + 1) * 1e-6);
    struct trace *t = traced(csv, at);
    assert_int_equal(t->intervals, 30);
    assert_int_equal(t->interval[4000 / TRACE_BIN_NS], 10);
    assert_int_equal(t->interval[6000 / TRACE_BIN_NS], 10);
    assert_int_equal(t->interval[8000 / TRACE_BIN_NS], 10);
    assert_int_equal(t->interval[TRACE_BINS - 1], 0);
    free(t);
}

static void a_rail_keeps_lowest_and_highest_of_each_column(void **state)
{
    char csv[60000];
    size_t at = (size_t)snprintf(csv, sizeof csv, "time,INDEX,V5\n");
    int32_t low = INT32_MAX;
    int32_t high = INT32_MIN;
    (void)state;
    for (int i = 0; i < 2000; i++) {
        at += (size_t)snprintf(csv + at, sizeof csv - at, "%.3f,1,%.2f\n", i * 0.001,
                               i == 777     ? 4.1
                               : i % 2 != 0 ? 5.02
                                            : 4.98);
    }
    struct trace *t = traced(csv, at);
    size_t columns = trace_columns(t);
    for (size_t i = 0; i < columns; i++) {
        assert_true(t->rail[RAIL_V5].seen[i]);
        low = t->rail[RAIL_V5].low_mv[i] < low ? t->rail[RAIL_V5].low_mv[i] : low;
        high = t->rail[RAIL_V5].high_mv[i] > high ? t->rail[RAIL_V5].high_mv[i] : high;
    }
    assert_int_equal(low, 4100);
    assert_int_equal(high, 5020);
    assert_int_equal(t->rail[RAIL_V5].low_mv[(size_t)(0.777 / trace_column_s(t))], 4100);
    assert_false(t->rail[RAIL_V12].started);
    free(t);
}

static void a_capture_of_ages_needs_no_more_columns(void **state)
{
    static const char csv[] = "time,INDEX\n0,1\n0.0001,0\n10000,1\n1000000,1\n";
    struct trace *t = traced(csv, sizeof csv - 1);
    (void)state;
    assert_true(trace_columns(t) <= TRACE_COLUMNS);
    assert_int_equal(t->line[LINE_INDEX].seen[trace_columns(t) - 1], SEEN_HIGH);
    assert_int_equal(t->line[LINE_INDEX].seen[0], SEEN_HIGH | SEEN_LOW);
    free(t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_line_keeps_its_levels_by_column),
        cmocka_unit_test(a_stretch_that_was_not_recorded_is_kept_apart),
        cmocka_unit_test(intervals_are_counted_while_nothing_writes),
        cmocka_unit_test(a_rail_keeps_lowest_and_highest_of_each_column),
        cmocka_unit_test(a_capture_of_ages_needs_no_more_columns),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
