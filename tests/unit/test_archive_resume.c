/* What an archive is read back from: the journal it grows in, and image and map. */
#include "archive/journal.h"
#include "base/file.h"
#include "report/archive.h"
#include "unit/archive_make.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#define JOURNAL_FILE TEST_BINARY_DIR "/test_archive_resume.part"

static void fill(struct archive *a)
{
    for (int c = 0; c < 3; c++)
        for (int n = 1; n <= 9; n++) {
            take_read(a, c, 0, made(c, 0, n, 0, (uint8_t)c, n != 4), 0);
            take_read(a, c, 0, made(c, 0, n, 1, (uint8_t)c, n != 4), 0);
        }
    take_read(a, 1, 0, made(1, 0, 2, 2, 99, true), 1); /* contradicts */
    take_read(a, 1, 0, made(7, 0, 3, 2, 55, true), 1); /* of another cylinder */
    (void)snprintf(a->pass[0].file, sizeof a->pass[0].file, "first.wec");
    (void)snprintf(a->pass[1].risk, sizeof a->pass[1].risk, "nothing to lose");
    assert_int_equal(archive_object_set(&a->object, 0, "2031-7"), ERR_OK);
    a->tracks.track[2].turns = 2.5;
    a->tracks.track[2].code = ENC_MFM;
}

static void same_sector(const struct archive_sector *x, const struct archive_sector *y)
{
    assert_int_equal(x->number, y->number);
    assert_int_equal(x->id_cylinder, y->id_cylinder);
    assert_int_equal(x->content, y->content);
    assert_int_equal(x->seen, y->seen);
    assert_int_equal(x->agreed, y->agreed);
    assert_int_equal(x->failed, y->failed);
    assert_int_equal(x->contradicted, y->contradicted);
    assert_int_equal(x->first.pass, y->first.pass);
    assert_int_equal(x->first.ns, y->first.ns);
    assert_int_equal(x->second.pass, y->second.pass);
    assert_int_equal(x->last.ns, y->last.ns);
    if (x->bytes != NULL)
        assert_memory_equal(x->bytes, y->bytes, 512);
    if (x->rival != NULL)
        assert_memory_equal(x->rival, y->rival, 512);
}

static void same_archive(const struct archive *a, const struct archive *b)
{
    assert_int_equal(a->pass_count, b->pass_count);
    assert_string_equal(a->object.value[0], b->object.value[0]);
    for (size_t i = 0; i < a->pass_count; i++) {
        assert_string_equal(a->pass[i].file, b->pass[i].file);
        assert_string_equal(a->pass[i].risk, b->pass[i].risk);
        assert_true(a->pass[i].print == b->pass[i].print);
    }
    assert_int_equal(a->tracks.count, b->tracks.count);
    for (size_t i = 0; i < a->tracks.count; i++) {
        const struct archive_track *x = &a->tracks.track[i];
        const struct archive_track *y =
            archive_track_find(&b->tracks, x->key.at[0], x->key.at[1]);
        assert_non_null(y);
        assert_int_equal(x->count, y->count);
        assert_int_equal((int)(100 * x->turns), (int)(100 * y->turns));
        assert_int_equal(x->code, y->code);
        for (size_t n = 0; n < x->count; n++) {
            size_t k = 0;
            while (k < y->count && (y->sector[k].number != x->sector[n].number ||
                                    y->sector[k].id_cylinder != x->sector[n].id_cylinder))
                k++;
            assert_true(k < y->count);
            same_sector(&x->sector[n], &y->sector[k]);
        }
    }
}

static void a_journal_gives_back_all_that_it_was_told(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive b = {.pass_count = 0};
    struct journal j;
    struct err_msg e = {0};
    bool cut = true;
    (void)state;
    fill(&a);
    assert_int_equal(journal_begin(&j, JOURNAL_FILE, &a, &e), ERR_OK);
    take_read(&a, 2, 0, made(2, 0, 4, 5, 66, true), 1); /* a track grows */
    assert_int_equal(journal_track(&j, archive_track_find(&a.tracks, 2, 0), &e), ERR_OK);
    journal_close(&j);
    assert_int_equal(journal_read(JOURNAL_FILE, &b, &cut, &e), ERR_OK);
    assert_false(cut);
    same_archive(&a, &b);
    archive_release(&a);
    archive_release(&b);
}

/* An archive, and the bytes of its journal. */
static void journal_of(struct archive *a, struct buf *bytes)
{
    struct journal j;
    struct err_msg e = {0};
    fill(a);
    assert_int_equal(journal_begin(&j, JOURNAL_FILE, a, &e), ERR_OK);
    journal_close(&j);
    buf_init(bytes, 1 << 20);
    assert_int_equal(file_read(JOURNAL_FILE, bytes, &e), ERR_OK);
}

/* Whatever byte the writing ended at: what is read is right, and no more is lost than the last
 * record. */
static void a_journal_that_was_cut_gives_its_whole_records(void **state)
{
    struct archive a = {.pass_count = 0};
    struct err_msg e = {0};
    struct buf bytes;
    size_t before = 0;
    (void)state;
    journal_of(&a, &bytes);
    for (size_t len = 8; len <= bytes.len; len += len % 97 == 0 ? 1 : 13) {
        struct archive b = {.pass_count = 0};
        bool cut = false;
        assert_int_equal(journal_parse("cut", (const uint8_t *)bytes.data, len, &b, &cut, &e),
                         ERR_OK);
        assert_true(b.tracks.count >= before);
        before = b.tracks.count;
        for (size_t i = 0; i < b.tracks.count; i++)
            assert_int_equal(b.tracks.track[i].count, a.tracks.track[i].count);
        archive_release(&b);
    }
    assert_true(before >= 2);
    buf_release(&bytes);
    archive_release(&a);
}

static void a_journal_with_a_changed_byte_ends_before_it(void **state)
{
    struct archive a = {.pass_count = 0};
    struct err_msg e = {0};
    struct buf bytes;
    (void)state;
    journal_of(&a, &bytes);
    for (size_t at = 8; at < bytes.len; at += 331) {
        struct archive b = {.pass_count = 0};
        bool cut = false;
        bytes.data[at] ^= 0x20;
        assert_int_equal(
            journal_parse("bad", (const uint8_t *)bytes.data, bytes.len, &b, &cut, &e), ERR_OK);
        assert_true(cut);
        bytes.data[at] ^= 0x20;
        archive_release(&b);
    }
    buf_release(&bytes);
    archive_release(&a);
    (void)unlink(JOURNAL_FILE);
}

/* ---- image and map ---- */

struct written {
    struct archive_layout layout;
    uint8_t *image;
    struct buf json;
};

static void write_out(const struct archive *a, struct written *w)
{
    const struct archive_extent least = {0, 0};
    struct fat_volume volume = {.bits = 0};
    assert_int_equal(archive_layout_make(a, &least, &w->layout), ERR_OK);
    assert_int_equal(archive_image(&w->layout, &w->image), ERR_OK);
    struct archive_view v = {a, &w->layout, "folder", "", w->image, &volume};
    buf_init(&w->json, 4 << 20);
    assert_int_equal(report_archive_json(&v, &w->json), ERR_OK);
}

static void written_release(struct written *w)
{
    archive_layout_release(&w->layout);
    free(w->image);
    buf_release(&w->json);
}

static void image_and_map_give_back_the_archive(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive b = {.pass_count = 0};
    struct written w;
    struct err_msg e = {0};
    size_t lost = 9;
    (void)state;
    fill(&a);
    write_out(&a, &w);
    assert_int_equal(archive_json_read("disk.json", w.json.data, w.json.len, w.image,
                                       w.layout.bytes, &b, &lost, &e),
                     ERR_OK);
    assert_int_equal(lost, 0);
    same_archive(&a, &b);
    written_release(&w);
    archive_release(&a);
    archive_release(&b);
}

static void a_sector_whose_bytes_were_changed_counts_as_never_read(void **state)
{
    struct archive a = {.pass_count = 0};
    struct archive b = {.pass_count = 0};
    struct written w;
    struct err_msg e = {0};
    size_t lost = 0;
    (void)state;
    fill(&a);
    write_out(&a, &w);
    w.image[2 * 9 * 512 + 100] ^= 1; /* cylinder 2, sector 1 */
    assert_int_equal(archive_json_read("disk.json", w.json.data, w.json.len, w.image,
                                       w.layout.bytes, &b, &lost, &e),
                     ERR_OK);
    assert_int_equal(lost, 1);
    for (size_t i = 0; i < archive_track_find(&b.tracks, 2, 0)->count; i++)
        assert_int_not_equal(archive_track_find(&b.tracks, 2, 0)->sector[i].number, 1);
    written_release(&w);
    archive_release(&a);
    archive_release(&b);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_journal_gives_back_all_that_it_was_told),
        cmocka_unit_test(a_journal_that_was_cut_gives_its_whole_records),
        cmocka_unit_test(a_journal_with_a_changed_byte_ends_before_it),
        cmocka_unit_test(image_and_map_give_back_the_archive),
        cmocka_unit_test(a_sector_whose_bytes_were_changed_counts_as_never_read),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
