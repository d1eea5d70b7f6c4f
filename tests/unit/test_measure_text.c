/* measure for people: sides beside each other, cylinders that say the same in one row, 80
 * columns. */
#include "report/report.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define CYLINDERS 40
#define SECTORS   9

/* A disk read on both sides, sound everywhere. */
static struct survey *sound_disk(void)
{
    struct survey *s = calloc(1, sizeof *s);
    assert_non_null(s);
    s->track_count = s->place_count = 2 * CYLINDERS;
    s->track = calloc(s->track_count, sizeof s->track[0]);
    s->place = calloc(s->place_count, sizeof s->place[0]);
    assert_true(s->track != NULL && s->place != NULL);
    s->flux_recorded = s->flux_usable = true;
    s->flux.cell_ns = 2000;
    for (int i = 0; i < 2 * CYLINDERS; i++) {
        struct track *t = &s->track[i];
        *t = (struct track){.cylinder = i / 2, .side = i % 2, .revolutions = 3 + 0.1 * (i % 3)};
        t->sector = calloc(SECTORS, sizeof t->sector[0]);
        assert_non_null(t->sector);
        t->sector_count = SECTORS;
        for (uint8_t k = 0; k < SECTORS; k++) {
            t->sector[k] = (struct track_sector){.cylinder = (uint8_t)(i / 2),
                                                 .side = (uint8_t)(i % 2),
                                                 .sector = (uint8_t)(k + 1),
                                                 .id_good = true,
                                                 .data = FIELD_GOOD};
        }
        s->place[i] = (struct place_figures){
            .cylinder = i / 2,
            .side = i % 2,
            .quality = {
                .cell_ns = 2000, .jitter_ns = 90, .jitter_u_ns = 0.2, .margin_percent = 70}};
    }
    return s;
}

static char *text_of(const struct survey *s, bool verbose)
{
    struct text_style style = {false, verbose};
    struct buf out;
    buf_init(&out, 1000000);
    assert_int_equal(report_measure_text("disk.wec", s, &style, &out), ERR_OK);
    for (const char *at = out.data; *at != '\0'; at += strcspn(at, "\n") + 1) {
        assert_true(strcspn(at, "\n") <= 80);
    }
    return out.data; /* to be freed */
}

static int lines_with(const char *text, const char *what)
{
    int n = 0;
    for (const char *at = text; (at = strstr(at, what)) != NULL; at += strlen(what)) {
        n++;
    }
    return n;
}

static void cylinders_that_say_the_same_are_one_row(void **state)
{
    struct survey *s = sound_disk();
    char *text = text_of(s, false);
    (void)state;
    assert_non_null(strstr(text, "\n    0 to 39"));
    assert_int_equal(lines_with(text, "9 of 9, 3.0 to 3.2 turns"), 2);
    assert_null(strstr(text, "not good"));
    free(text);
    survey_release(s);
    free(s);
}

static void what_is_not_good_has_a_row_of_its_own_and_is_named(void **state)
{
    struct survey *s = sound_disk();
    (void)state;
    s->track[2 * 17 + 1].sector[4].data = FIELD_DAMAGED;
    s->track[2 * 17 + 1].sector[6].deleted = true;
    s->track[2 * 20].sector[0].twice = true;
    char *text = text_of(s, false);
    assert_non_null(strstr(text, "\n    0 to 16"));
    assert_non_null(strstr(text, "\n   17       9 of 9, 3.1 turns"));
    assert_non_null(strstr(text, "8 of 9, 3.2 turns\n"
                                 "            side 1  not good: 5 (damaged)\n"
                                 "            side 1  1 sector is marked as deleted data\n"
                                 "   18 to 19"));
    assert_non_null(strstr(text, "side 0  1 identifier comes more than once a turn\n"));
    assert_non_null(strstr(text, "\n   21 to 39"));
    free(text);
    survey_release(s);
    free(s);
}

static void a_side_that_was_not_read_is_a_dash(void **state)
{
    struct survey *s = sound_disk();
    (void)state;
    free(s->track[1].sector);
    memmove(&s->track[1], &s->track[2], (s->track_count - 2) * sizeof s->track[0]);
    s->track_count--;
    char *text = text_of(s, false);
    assert_non_null(strstr(text, "\n    0       9 of 9, 3.0 turns                -\n"));
    assert_non_null(strstr(text, "\n    1 to 39"));
    free(text);
    survey_release(s);
    free(s);
}

static void verbose_lists_every_cylinder_and_the_order_of_its_sectors(void **state)
{
    struct survey *s = sound_disk();
    char *text = text_of(s, true);
    (void)state;
    assert_int_equal(lines_with(text, "in order: 1 2 3 4 5 6 7 8 9"), 2 * CYLINDERS);
    assert_int_equal(lines_with(text, "90+/-1  70+/-0"), 2 * CYLINDERS);
    free(text);
    survey_release(s);
    free(s);
}

/* An uncertainty is never shown smaller than it is; the worst cylinder is never stepped over.
 */
static void the_cylinder_with_the_least_margin_is_among_those_shown(void **state)
{
    struct survey *s = sound_disk();
    (void)state;
    s->place[2 * 23].quality.margin_percent = 31;
    char *text = text_of(s, false);
    assert_non_null(strstr(text, "\n  23  90+/-1  31+/-0"));
    assert_non_null(strstr(text, "\n  39  90+/-1"));
    assert_null(strstr(text, "\n  22  90"));
    assert_non_null(strstr(text, "the least margin"));
    free(text);
    survey_release(s);
    free(s);
}

/* A tenth of a cell, and surely so; then so little that it is none, and then none that is sure.
 */
static void a_sure_asymmetry_is_told_with_what_makes_it(void **state)
{
    static const double ns[] = {200, 20, 200}, sure_to[] = {5, 5, 150};
    (void)state;
    for (int i = 0; i < 3; i++) {
        struct survey *s = sound_disk();
        s->flux.asymmetry_ns = ns[i];
        s->flux.asymmetry_u_ns = sure_to[i];
        s->flux.encoding = ENC_MFM;
        char *text = text_of(s, false);
        assert_int_equal(strstr(text, "magnetised head") != NULL, i == 0);
        free(text);
        survey_release(s);
        free(s);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cylinders_that_say_the_same_are_one_row),
        cmocka_unit_test(what_is_not_good_has_a_row_of_its_own_and_is_named),
        cmocka_unit_test(a_side_that_was_not_read_is_a_dash),
        cmocka_unit_test(verbose_lists_every_cylinder_and_the_order_of_its_sectors),
        cmocka_unit_test(a_sure_asymmetry_is_told_with_what_makes_it),
        cmocka_unit_test(the_cylinder_with_the_least_margin_is_among_those_shown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
