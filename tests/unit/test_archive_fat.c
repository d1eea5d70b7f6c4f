/* A FAT volume on an image: what hangs together and what does not. The volume is made here,
 * field by field as ECMA-107 has the boot record, tables and directory entries. */
#include "archive/fat.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define SECTOR  512
#define SECTORS 64
#define BYTES   (SECTOR * SECTORS)
#define TABLE   (1 * SECTOR)
#define COPY    (2 * SECTOR)
#define ROOT    (3 * SECTOR)
#define DATA    (4 * SECTOR) /* cluster 2; one sector a cluster */

struct volume {
    uint8_t image[BYTES];
    uint8_t state[BYTES / FAT_STATE_UNIT];
};

static void put16(uint8_t *p, unsigned v)
{
    p[0] = (uint8_t)v;
    p[1] = (uint8_t)(v >> 8);
}

/* Twelve bits of both tables. */
static void link_cluster(struct volume *v, unsigned n, unsigned next)
{
    for (size_t table = TABLE; table <= COPY; table += SECTOR) {
        uint8_t *p = v->image + table + n * 3 / 2;
        unsigned old = (unsigned)(p[0] | p[1] << 8);
        put16(p, (n & 1) != 0 ? (old & 0xF) | next << 4 : (old & 0xF000) | next);
    }
}

static void name(uint8_t *entry, const char *eight_three, unsigned attributes, unsigned first,
                 unsigned bytes)
{
    memcpy(entry, eight_three, 11);
    entry[11] = (uint8_t)attributes;
    put16(entry + 22, 12 << 11 | 30 << 5);
    put16(entry + 24, (2031 - 1980) << 9 | 3 << 5 | 1);
    put16(entry + 26, first);
    put16(entry + 28, bytes);
}

/* A file of three sectors (clusters 2, 3, 5), a folder (4) with a file of one (6). */
static void make(struct volume *v)
{
    memset(v, 0, sizeof *v);
    memset(v->state, FIELD_GOOD, sizeof v->state);
    uint8_t *b = v->image;
    put16(b + 11, SECTOR);
    b[13] = 1;         /* sectors a cluster */
    put16(b + 14, 1);  /* before the tables */
    b[16] = 2;         /* tables */
    put16(b + 17, 16); /* entries of the root directory */
    put16(b + 19, SECTORS);
    b[21] = 0xF9;
    put16(b + 22, 1); /* sectors a table */
    put16(b + 24, 8);
    put16(b + 26, 2);
    b[38] = 0x29;
    memcpy(b + 43, "LETTERS    ", 11);
    b[TABLE] = b[COPY] = 0xF9;
    b[TABLE + 1] = b[TABLE + 2] = b[COPY + 1] = b[COPY + 2] = 0xFF;
    link_cluster(v, 2, 3);
    link_cluster(v, 3, 5);
    link_cluster(v, 5, 0xFFF);
    link_cluster(v, 4, 0xFFF);
    link_cluster(v, 6, 0xFFF);
    name(b + ROOT, "LETTERS    ", 0x08, 0, 0);
    name(b + ROOT + 32, "SPRING  TXT", 0x20, 2, 1300);
    name(b + ROOT + 64, "\xE5OLD    TXT", 0x20, 9, 100); /* gone */
    name(b + ROOT + 96, "FOLDER     ", 0x10, 4, 0);
    name(b + DATA + 2 * SECTOR, ".          ", 0x10, 4, 0);
    name(b + DATA + 2 * SECTOR + 32, "..         ", 0x10, 0, 0);
    name(b + DATA + 2 * SECTOR + 64, "NOTE       ", 0x20, 6, 10);
}

static struct fat_volume read_volume(const struct volume *v)
{
    struct fat_image image = {v->image, BYTES, v->state};
    struct fat_volume out;
    assert_int_equal(fat_read(&image, &out), ERR_OK);
    return out;
}

static void a_sound_volume_lists_its_files(void **state)
{
    struct volume v;
    (void)state;
    make(&v);
    struct fat_volume f = read_volume(&v);
    assert_int_equal(f.bits, 12);
    assert_string_equal(f.label, "LETTERS");
    assert_int_equal(f.differ, 0);
    assert_int_equal(f.lost, 0);
    assert_int_equal(f.used, 5);
    assert_int_equal(f.count, 3);
    assert_string_equal(f.file[0].path, "SPRING.TXT");
    assert_int_equal(f.file[0].bytes, 1300);
    assert_int_equal(f.file[0].clusters, 3);
    assert_int_equal(f.file[0].touched[FIELD_GOOD], 3);
    assert_true(f.file[1].folder);
    assert_string_equal(f.file[2].path, "FOLDER/NOTE");
    for (size_t i = 0; i < f.count; i++)
        assert_false(fat_file_touched(&f.file[i]));
    fat_release(&f);
}

static void files_that_touch_damaged_sectors_are_named(void **state)
{
    struct volume v;
    (void)state;
    make(&v);
    memset(v.state + (DATA + SECTOR) / FAT_STATE_UNIT, FIELD_DAMAGED, 4);      /* cluster 3 */
    memset(v.state + (DATA + 4 * SECTOR) / FAT_STATE_UNIT, FIELD_REPAIRED, 4); /* cluster 6 */
    struct fat_volume f = read_volume(&v);
    assert_int_equal(f.file[0].touched[FIELD_DAMAGED], 1);
    assert_int_equal(f.file[0].touched[FIELD_GOOD], 2);
    assert_int_equal(f.file[2].touched[FIELD_REPAIRED], 1);
    assert_true(fat_file_touched(&f.file[0]));
    assert_false(fat_file_touched(&f.file[1]));
    assert_true(fat_file_touched(&f.file[2]));
    fat_release(&f);
}

static void a_damaged_table_is_read_from_the_other(void **state)
{
    struct volume v;
    (void)state;
    make(&v);
    memset(v.image + TABLE + 3, 0x55, 40);
    memset(v.state + TABLE / FAT_STATE_UNIT, FIELD_DAMAGED, 4);
    struct fat_volume f = read_volume(&v);
    assert_int_equal(f.bits, 12);
    assert_true(f.differ > 0);
    assert_int_equal(f.differ_good, 0);
    assert_int_equal(f.file[0].clusters, 3);
    assert_null(f.file[0].problem);
    fat_release(&f);
}

static void tables_that_differ_in_good_sectors_are_told(void **state)
{
    struct volume v;
    (void)state;
    make(&v);
    v.image[COPY + 3] ^= 1; /* entry 2 of the second */
    struct fat_volume f = read_volume(&v);
    assert_int_equal(f.differ, 1);
    assert_int_equal(f.differ_good, 1);
    fat_release(&f);
}

static void chains_that_do_not_hold_are_told(void **state)
{
    static const struct {
        unsigned from, to;
        const char *problem;
    } bad[] = {
        {3, 3, "its chain runs into a cluster that is taken already"},
        {3, 2, "its chain runs into a cluster that is taken already"},
        {3, 0xFFF, "its chain is shorter than its length"},
        {5, 7, "its chain runs into a free cluster"},
        {3, 900, "its chain leaves the volume"},
    };
    struct volume v;
    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        make(&v);
        link_cluster(&v, bad[i].from, bad[i].to);
        struct fat_volume f = read_volume(&v);
        assert_non_null(f.file[0].problem);
        assert_string_equal(f.file[0].problem, bad[i].problem);
        fat_release(&f);
    }
}

static void a_folder_inside_itself_ends(void **state)
{
    struct volume v;
    (void)state;
    make(&v);
    name(v.image + DATA + 2 * SECTOR + 96, "AGAIN      ", 0x10, 4, 0);
    struct fat_volume f = read_volume(&v);
    assert_int_equal(f.count, 4);
    assert_string_equal(f.file[3].problem,
                        "its chain runs into a cluster that is taken already");
    fat_release(&f);
}

static void what_is_no_volume_is_none(void **state)
{
    struct volume v;
    (void)state;
    make(&v);
    v.image[TABLE] = v.image[COPY] = 0; /* does not repeat the medium's descriptor */
    assert_int_equal(read_volume(&v).bits, 0);
    make(&v);
    v.image[13] = 3; /* no power of two */
    assert_int_equal(read_volume(&v).bits, 0);
    make(&v);
    v.state[0] = FIELD_DAMAGED;
    assert_int_equal(read_volume(&v).bits, 0);
    make(&v);
    put16(v.image + 22, 0xFFFF); /* tables larger than the volume */
    assert_int_equal(read_volume(&v).bits, 0);
}

static void a_volume_larger_than_the_image_is_told(void **state)
{
    struct volume v;
    (void)state;
    make(&v);
    put16(v.image + 19, 1440 / 10);
    struct fat_volume f = read_volume(&v);
    assert_true(f.short_image);
    fat_release(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sound_volume_lists_its_files),
        cmocka_unit_test(files_that_touch_damaged_sectors_are_named),
        cmocka_unit_test(a_damaged_table_is_read_from_the_other),
        cmocka_unit_test(tables_that_differ_in_good_sectors_are_told),
        cmocka_unit_test(chains_that_do_not_hold_are_told),
        cmocka_unit_test(a_folder_inside_itself_ends),
        cmocka_unit_test(what_is_no_volume_is_none),
        cmocka_unit_test(a_volume_larger_than_the_image_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
