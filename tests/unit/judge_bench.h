/* Cases for the judge, from the text of a case.ini in a test. */
#ifndef TEST_UNIT_JUDGE_BENCH_H
#define TEST_UNIT_JUDGE_BENCH_H

#include "judge/judge.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

/* Judges the text of a case.ini whose captures lie in a folder, under the profiles of another.
 * The verdict is yours. */
static inline void judge_with(const char *text, const char *folder, const char *profiles,
                              struct verdict *v)
{
    struct err_msg e = {0};
    struct profile_path *path = NULL;
    struct case_file c;
    struct judge_options o = {0};

    assert_int_equal(profile_path_make(profiles, &path, &e), ERR_OK);
    if (case_file_parse("case.ini", folder, text, strlen(text), path, &c, &e) != ERR_OK)
        fail_msg("%s\n%s", e.text, text);
    o.profiles = path;
    if (judge_case(&c, &o, v, &e) != ERR_OK)
        fail_msg("%s", e.text);
    case_file_release(&c);
    profile_path_free(path);
}

/* The text of a folder's case.ini. */
static inline void read_case(const char *folder, char *text, size_t max)
{
    char path[400];
    FILE *f;

    snprintf(path, sizeof path, "%s/case.ini", folder);
    f = fopen(path, "r");
    assert_non_null(f);
    text[fread(text, 1, max - 1, f)] = 0;
    fclose(f);
}

/* A shell command that must succeed. */
static inline void run(const char *fmt, ...) PRINTF_LIKE(1, 2);
static inline void run(const char *fmt, ...)
{
    char command[2048];
    va_list ap;

    va_start(ap, fmt);
    vsnprintf(command, sizeof command, fmt, ap);
    va_end(ap);
    assert_int_equal(system(command), 0);
}

static inline double fault_share(const struct verdict *v, const char *fault)
{
    for (size_t i = 0; i < v->fault_count; i++)
        if (!strcmp(v->fault_list[i].fault, fault))
            return v->fault_list[i].probability;
    return 0;
}

#endif
