/* Files: whole reads, outputs that appear whole, paths that stay inside. */
#include "base/file.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

static char folder[] = TEST_BINARY_DIR "/test-base-file-XXXXXX";

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL || chdir(folder) != 0;
}

static int remove_folder(void **state)
{
    (void)state;
    char command[sizeof folder + 20];
    snprintf(command, sizeof command, "rm -r -- '%s'", folder);
    return chdir("/") != 0 || system(command) != 0;
}

static void put(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    fputs(text, f);
    assert_int_equal(fclose(f), 0);
}

static void assert_holds(const char *path, const char *text)
{
    struct buf b;
    buf_init(&b, 1000);
    struct err_msg e = {0};
    assert_int_equal(file_read(path, &b, &e), ERR_OK);
    assert_string_equal(b.data, text);
    buf_release(&b);
}

static size_t files_here(void)
{
    FILE *p = popen("ls -A | wc -l", "r");
    assert_non_null(p);
    size_t n = 0;
    assert_int_equal(fscanf(p, "%zu", &n), 1);
    pclose(p);
    return n;
}

static enum err read_code(const char *path, size_t max)
{
    struct buf b;
    buf_init(&b, max);
    struct err_msg e = {0};
    enum err r = file_read(path, &b, &e);
    assert_int_equal(e.code, r);
    buf_release(&b);
    return r;
}

static void reading_is_whole_or_says_why_not(void **state)
{
    (void)state;
    put("five", "12345");
    put("empty", "");
    assert_holds("five", "12345");
    assert_holds("empty", "");
    assert_int_equal(read_code("five", 5), ERR_OK);
    assert_int_equal(read_code("five", 4), ERR_FORMAT);
    assert_int_equal(read_code("missing", 5), ERR_NO_INPUT);
    assert_int_equal(read_code(".", 5), ERR_FORMAT);
    /* A pipe without a writer must not make the program wait. */
    assert_int_equal(mkfifo("pipe", 0600), 0);
    assert_int_equal(read_code("pipe", 5), ERR_FORMAT);
    unlink("pipe");
    unlink("five");
    unlink("empty");
}

static void an_output_appears_at_commit_and_not_before(void **state)
{
    (void)state;
    struct out_file f;
    struct err_msg e = {0};
    assert_int_equal(out_file_open(&f, "out", false, &e), ERR_OK);
    fputs("whole", f.stream);
    fflush(f.stream);
    assert_int_equal(access("out", F_OK), -1);
    assert_int_equal(out_file_commit(&f, &e), ERR_OK);
    assert_holds("out", "whole");
    assert_int_equal(files_here(), 1);
    out_file_abort(&f);
    assert_holds("out", "whole");
    unlink("out");
}

static void an_aborted_output_leaves_nothing(void **state)
{
    (void)state;
    put("old", "before");
    struct out_file f;
    struct err_msg e = {0};
    assert_int_equal(out_file_open(&f, "old", true, &e), ERR_OK);
    fputs("half", f.stream);
    out_file_abort(&f);
    assert_holds("old", "before");
    assert_int_equal(files_here(), 1);
    struct out_file zero = {0};
    out_file_abort(&zero);
    unlink("old");
}

static void nothing_is_replaced_without_leave(void **state)
{
    (void)state;
    put("old", "before");
    struct out_file f;
    struct err_msg e = {0};
    assert_int_equal(out_file_open(&f, "old", false, &e), ERR_CREATE);
    e = (struct err_msg){0};
    /* It may appear between open and commit too. */
    assert_int_equal(out_file_open(&f, "late", false, &e), ERR_OK);
    fputs("mine", f.stream);
    put("late", "theirs");
    assert_int_equal(out_file_commit(&f, &e), ERR_CREATE);
    assert_holds("late", "theirs");
    e = (struct err_msg){0};
    assert_int_equal(out_file_open(&f, "old", true, &e), ERR_OK);
    fputs("after", f.stream);
    assert_int_equal(out_file_commit(&f, &e), ERR_OK);
    assert_holds("old", "after");
    assert_int_equal(files_here(), 2);
    unlink("old");
    unlink("late");
}

static void a_full_disk_changes_nothing(void **state)
{
    (void)state;
    if (access("/dev/full", W_OK) != 0) {
        print_message("skipped: this system has no /dev/full\n");
        skip();
    }
    put("old", "before");
    struct out_file f;
    struct err_msg e = {0};
    assert_int_equal(out_file_open(&f, "old", true, &e), ERR_OK);
    /* The same stream onto a device that is always full. */
    assert_non_null(freopen("/dev/full", "w", f.stream));
    fputs("half", f.stream);
    assert_int_equal(out_file_commit(&f, &e), ERR_IO);
    assert_holds("old", "before");
    assert_int_equal(files_here(), 1);
    unlink("old");
}

static void outputs_that_cannot_be_are_refused(void **state)
{
    (void)state;
    struct out_file f;
    static const char *const BAD[] = {"", "no/such/folder/x", "folder/", "folder", "/dev/null"};
    assert_int_equal(mkdir("folder", 0700), 0);
    for (size_t i = 0; i < sizeof BAD / sizeof BAD[0]; i++) {
        struct err_msg e = {0};
        assert_int_equal(out_file_open(&f, BAD[i], true, &e), ERR_CREATE);
        assert_int_equal(e.code, ERR_CREATE);
    }
    rmdir("folder");
}

static void a_link_stays_a_link(void **state)
{
    (void)state;
    put("real", "before");
    assert_int_equal(symlink("real", "link"), 0);
    struct out_file f;
    struct err_msg e = {0};
    assert_int_equal(out_file_open(&f, "link", true, &e), ERR_OK);
    fputs("after", f.stream);
    assert_int_equal(out_file_commit(&f, &e), ERR_OK);
    struct stat st;
    assert_int_equal(lstat("link", &st), 0);
    assert_true(S_ISLNK(st.st_mode));
    assert_holds("real", "after");
    unlink("link");
    unlink("real");
}

static void paths_are_joined_with_one_slash(void **state)
{
    (void)state;
    static const char *const ROWS[][3] = {
        {"a", "b", "a/b"}, {"a/", "b", "a/b"}, {"", "b", "b"}, {"/", "b", "/b"}};
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct buf b;
        assert_int_equal(path_join(&b, ROWS[i][0], ROWS[i][1]), ERR_OK);
        assert_string_equal(b.data, ROWS[i][2]);
        buf_release(&b);
    }
}

static void names_that_leave_the_folder_are_seen(void **state)
{
    (void)state;
    assert_int_equal(mkdir("case", 0700), 0);
    assert_int_equal(mkdir("case/sub", 0700), 0);
    assert_int_equal(mkdir("case-other", 0700), 0);
    put("case/a.vcd", "x");
    put("case/sub/b.vcd", "x");
    put("case-other/c.vcd", "x");
    static const char *const INSIDE[] = {
        "a.vcd",       "sub/b.vcd",       "./a.vcd", "sub//b.vcd", "sub/missing",
        "missing/too", "a.vcd/not-there", "..a",     "sub/...",    "sub/"};
    static const char *const OUTSIDE[] = {
        "", "/etc/passwd", "..", "../a.vcd", "sub/../../case/a", "sub/..", "sub/../a.vcd"};
    for (size_t i = 0; i < sizeof INSIDE / sizeof INSIDE[0]; i++)
        if (!path_stays_inside("case", INSIDE[i]))
            fail_msg("%s is inside", INSIDE[i]);
    for (size_t i = 0; i < sizeof OUTSIDE / sizeof OUTSIDE[0]; i++)
        if (path_stays_inside("case", OUTSIDE[i]))
            fail_msg("%s is not inside", OUTSIDE[i]);
    assert_false(path_stays_inside("no-such-folder", "a"));
}

static void links_that_leave_the_folder_are_seen(void **state)
{
    (void)state;
    assert_int_equal(symlink("a.vcd", "case/good"), 0);
    assert_int_equal(symlink("/etc/passwd", "case/file-out"), 0);
    assert_int_equal(symlink("../case-other", "case/folder-out"), 0);
    assert_int_equal(symlink("../nowhere", "case/dangling"), 0);
    assert_int_equal(symlink("loop", "case/loop"), 0);
    assert_int_equal(symlink("../../case/a.vcd", "case/sub/back"), 0);
    assert_true(path_stays_inside("case", "good"));
    assert_true(path_stays_inside("case", "sub/back"));
    assert_false(path_stays_inside("case", "file-out"));
    assert_false(path_stays_inside("case", "folder-out/c.vcd"));
    assert_false(path_stays_inside("case", "folder-out/missing"));
    assert_false(path_stays_inside("case", "dangling"));
    assert_false(path_stays_inside("case", "loop"));
    /* A link to the case's own folder is no way out. */
    assert_int_equal(symlink("case", "case-link"), 0);
    assert_true(path_stays_inside("case-link", "a.vcd"));
    assert_false(path_stays_inside("case-link", "file-out"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reading_is_whole_or_says_why_not),
        cmocka_unit_test(an_output_appears_at_commit_and_not_before),
        cmocka_unit_test(an_aborted_output_leaves_nothing),
        cmocka_unit_test(nothing_is_replaced_without_leave),
        cmocka_unit_test(a_full_disk_changes_nothing),
        cmocka_unit_test(outputs_that_cannot_be_are_refused),
        cmocka_unit_test(a_link_stays_a_link),
        cmocka_unit_test(paths_are_joined_with_one_slash),
        cmocka_unit_test(names_that_leave_the_folder_are_seen),
        cmocka_unit_test(links_that_leave_the_folder_are_seen),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
