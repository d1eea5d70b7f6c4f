/* A capture as one line of text, so that a test reads as "this file says that":
 *
 *   INDEX=1@0 INDEX=0@1000 V5=4980@1000 end@2000
 *
 * Levels are 0, 1 and x, voltages millivolts, times ticks. Where reading fails, what came
 * before is followed by "error: " and the message. For the tests of src/capture only.
 */
#ifndef TEST_CAPTURE_TEXT_H
#define TEST_CAPTURE_TEXT_H

#include "base/buf.h"
#include "capture/capture.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

/* Map entries as on the command line, "RDATA=D3" each. */
static inline void map_by_hand(struct line_map *m, const char *const *spec)
{
    for (; spec != NULL && *spec != NULL; spec++) {
        struct err_msg e = {.code = ERR_OK};
        char line[32];
        size_t len = strcspn(*spec, "=");
        assert_true(len < sizeof line);
        memcpy(line, *spec, len);
        line[len] = '\0';
        assert_int_equal(line_map_add(m, line, *spec + len + 1, 0, &e), ERR_OK);
    }
}

static inline void say_rail(struct buf *out, const struct rail_sample *r)
{
    assert_int_equal(
        buf_printf(out, "%s=%d@%lld ", rail_name(r->rail), r->millivolt, (long long)r->tick),
        ERR_OK);
}

static inline void say_chunk(struct buf *out, const struct chunk *c)
{
    size_t r = 0;
    for (size_t i = 0; i < c->count; i++) {
        for (; r < c->rail_count && c->rail[r].tick < edge_tick(c, i); r++)
            say_rail(out, &c->rail[r]);
        assert_int_equal(buf_printf(out, "%s=%c@%lld ", line_name(edge_line(c->edge[i])),
                                    "01x"[edge_level(c->edge[i])], (long long)edge_tick(c, i)),
                         ERR_OK);
    }
    for (; r < c->rail_count; r++)
        say_rail(out, &c->rail[r]);
}

/* Read to the end and close. */
static inline void say_capture(struct buf *out, struct capture *c)
{
    struct chunk k = {.last = false};
    struct err_msg e = {.code = ERR_OK};
    while (!k.last && e.code == ERR_OK) {
        if (capture_next(c, &k, &e) == ERR_OK)
            say_chunk(out, &k);
    }
    if (e.code != ERR_OK)
        buf_printf(out, "error: %s", e.text);
    else
        buf_printf(out, "end@%lld%s", (long long)k.end_tick,
                   capture_info(c)->cut_short ? " cut" : "");
    capture_close(c);
}

/* The text of a capture in memory; yours: free. */
static inline char *capture_text_of(const void *data, size_t len, const char *const *spec)
{
    struct line_map map = {.count = 0};
    struct capture *c = NULL;
    struct err_msg e = {.code = ERR_OK};
    struct buf out;
    buf_init(&out, 64u << 20);
    map_by_hand(&map, spec);
    if (capture_open_memory("it", data, len, &map, &c, &e) == ERR_OK)
        say_capture(&out, c);
    else
        buf_printf(&out, "error: %s", e.text);
    line_map_release(&map);
    return out.data;
}

#define MAP(...)                                                                               \
    (const char *const[])                                                                      \
    {                                                                                          \
        __VA_ARGS__, NULL                                                                      \
    }

/* The capture in `data` (text) reads as `want`. */
#define assert_reads(data, spec, want)                                                         \
    do {                                                                                       \
        char *text_ = capture_text_of(data, strlen(data), spec);                               \
        assert_string_equal(text_, want);                                                      \
        free(text_);                                                                           \
    } while (0)

/* What reading it says holds `part`. */
#define assert_says(data, spec, part)                                                          \
    do {                                                                                       \
        char *text_ = capture_text_of(data, strlen(data), spec);                               \
        if (strstr(text_, part) == NULL)                                                       \
            fail_msg("\"%s\" is not in \"%s\"", part, text_);                                  \
        free(text_);                                                                           \
    } while (0)

/* A file that stays open of its own name in the test's folder; removed by the caller. */
static inline void write_file(const char *path, const void *data, size_t len)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(data, 1, len, f), len);
    assert_int_equal(fclose(f), 0);
}

/* false, with a clear word, where the outside data are not there. */
static inline bool shared_is_there(const char *path)
{
    if (access(path, R_OK) == 0)
        return true;
    print_message("skipped: %s is not there\n", path);
    return false;
}

#endif
