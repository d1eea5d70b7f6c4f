/* Whole sessions: a sound bench does what drives and machines do, and the same seed plays the
 * same. */
#include "base/file.h"
#include "sim/separator.h"
#include "sim_session.h"

#include <stdio.h>
#include <unistd.h>

struct decoded {
    int ids, bad_ids, data, bad_data;
    unsigned sides; /* bit per head byte */
};

/* Read pulses of a tap through a separator that follows 8 %. */
static void decode(const struct session *s, int tap, double cell_ns, bool fm,
                   struct decoded *out)
{
    const struct seen_line *l = &s->line[tap][LINE_RDATA];
    struct separator sep;
    *out = (struct decoded){0};
    sim_separator_start(&sep, fm, cell_ns, 0.08, 0, 0);
    for (size_t i = 1; i < l->count; i++) {
        if (l->edge[i].level != LEVEL_LOW || l->edge[i - 1].level != LEVEL_HIGH)
            continue;
        sim_separator_pulse(&sep, l->edge[i].ns);
        if (sep.id_new) {
            out->ids += sep.id.good;
            out->bad_ids += !sep.id.good;
            out->sides |= sep.id.good ? 1u << sep.id.head : 0;
        }
        if (sep.data_new) {
            out->data += sep.data_good;
            out->bad_data += !sep.data_good;
        }
        sep.id_new = sep.data_new = false;
    }
}

static void a_sound_bench_works_and_keeps_the_standards(void **state)
{
    (void)state;
    struct parts p;
    load_parts(&p, "controller-wd177x", "drive-35-dd", "ribbon-34-straight");
    for (uint64_t seed = 1; seed <= 3; seed++) {
        struct sim_options o = options_of(&p, NULL, seed);
        struct session s;
        size_t all = 0;
        run_session(&o, &s);
        assert_string_equal(s.result.outcome, "worked");
        /* d35dd.idx of the timing table: 200 ms +/-1.5 %; the first pulse is cut by READY */
        size_t good = periods_within(&s, TAP_DRIVE_END, LINE_INDEX, 197000000, 203000000, &all);
        assert_true(all >= 10 && good >= all - 1);
        assert_int_equal(falls(&s, TAP_MACHINE_END, LINE_STEP), s.result.steps_given);
        assert_int_equal(falls(&s, TAP_MACHINE_END, LINE_WGATE), 0);
        assert_true(falls(&s, TAP_MACHINE_END, LINE_TRK00) >= 1);
        struct decoded d;
        decode(&s, TAP_MACHINE_END, 2000, false, &d);
        assert_true(d.ids > 80 && d.data > 80);
        assert_true(d.bad_ids + d.bad_data <= 8); /* cut by changes of side */
        assert_int_equal(d.sides, 3);
        free_session(&s);
    }
    free_parts(&p);
}

/* Steps outward before TRK00, then inward to the first cylinder: the restore limit is not
 * reached. */
static void restore_ends_at_track_zero(void **state)
{
    (void)state;
    struct parts p;
    struct session s;
    load_parts(&p, "controller-upd765", "drive-35-dd", "ribbon-34-straight");
    struct sim_options o = options_of(&p, NULL, 5);
    o.asked = ASKED_RESTORE;
    run_session(&o, &s);
    assert_true(s.result.steps_given >= 3 && s.result.steps_given <= 32);
    assert_int_equal(falls(&s, TAP_DRIVE_END, LINE_DIR), 0);
    assert_int_equal(falls(&s, TAP_DRIVE_END, LINE_TRK00), 1);
    free_session(&s);
    free_parts(&p);
}

static void whole_conductors_show_the_same_at_both_ends(void **state)
{
    (void)state;
    struct parts p;
    struct session s;
    load_parts(&p, "controller-82077", "drive-35-hd", "ribbon-34-twisted");
    struct sim_options o = options_of(&p, NULL, 8);
    run_session(&o, &s);
    assert_string_equal(s.result.outcome, "worked");
    assert_int_equal(falls(&s, TAP_MACHINE_END, LINE_RDATA),
                     falls(&s, TAP_DRIVE_END, LINE_RDATA));
    /* the twist: MOTOR0 and SELECT0 of the machine are MOTOR and SELECT1 of the drive */
    assert_int_equal(falls(&s, TAP_MACHINE_END, LINE_MOTOR0),
                     falls(&s, TAP_DRIVE_END, LINE_MOTOR));
    assert_int_equal(falls(&s, TAP_MACHINE_END, LINE_SELECT0),
                     falls(&s, TAP_DRIVE_END, LINE_SELECT1));
    assert_int_equal(falls(&s, TAP_DRIVE_END, LINE_MOTOR), 1);
    free_session(&s);
    free_parts(&p);
}

static void the_same_seed_plays_the_same(void **state)
{
    (void)state;
    struct parts p;
    struct session a;
    struct session b;
    struct session c;
    load_parts(&p, "controller-wd179x", "drive-525-dd-80", "ribbon-34-straight");
    struct sim_options o = options_of(&p, "drive.head.weak", 11);
    struct sim_options other = options_of(&p, "drive.head.weak", 12);
    run_session(&o, &a);
    run_session(&o, &b);
    run_session(&other, &c);
    assert_true(a.hash == b.hash);
    assert_true(a.hash != c.hash);
    free_session(&a);
    free_session(&b);
    free_session(&c);
    free_parts(&p);
}

static void every_pair_that_fits_works(void **state)
{
    (void)state;
    static const struct {
        const char *machine, *drive, *cable;
        double cell_ns;
        uint64_t seed;
    } pair[] = {
        {"controller-wd177x", "drive-525-dd-40", "ribbon-34-straight", 2000, 1},
        {"controller-wd177x", "drive-3", "ribbon-26", 2000, 2},
        {"controller-wd177x", "drive-35-dd", "din-14", 2000, 3},
        {"controller-wd177x", "drive-35-dd", "dsub-23", 2000, 3},
        {"controller-wd179x", "drive-525-dd-80", "ribbon-34-straight", 2000, 4},
        {"controller-upd765", "drive-3", "ribbon-34-straight", 2000, 5},
        {"controller-82077", "drive-525-hd", "ribbon-34-twisted", 1000, 6},
        {"controller-82077", "drive-525-hd-dual-speed", "ribbon-34-twisted", 1000, 6},
        {"controller-82077", "drive-35-hd-360", "ribbon-34-straight", 1000, 7},
        {"controller-generic", "drive-35-hd", "ribbon-34-straight", 1000, 8},
    };
    for (size_t i = 0; i < sizeof pair / sizeof pair[0]; i++) {
        struct parts p;
        struct session s;
        struct decoded d;
        load_parts(&p, pair[i].machine, pair[i].drive, pair[i].cable);
        struct sim_options o = options_of(&p, NULL, pair[i].seed);
        o.flux_seconds = 0.2; /* from the start of each read: no flux of a moving head */
        run_session(&o, &s);
        if (strcmp(s.result.outcome, "worked") != 0)
            fail_msg("%s with %s: %s %s", pair[i].machine, pair[i].drive, s.result.outcome,
                     s.result.error);
        decode(&s, TAP_MACHINE_END, pair[i].cell_ns, false, &d);
        if (d.data < 15 || d.bad_data + d.bad_ids > d.data / 8)
            fail_msg("%s with %s: %d fields good, %d bad", pair[i].machine, pair[i].drive,
                     d.data, d.bad_data);
        free_session(&s);
        free_parts(&p);
    }
}

static void a_written_sector_reads_back(void **state)
{
    (void)state;
    struct parts p;
    struct session s;
    load_parts(&p, "controller-wd177x", "drive-35-dd", "ribbon-34-straight");
    struct sim_options o = options_of(&p, NULL, 21);
    o.asked = ASKED_WRITE | ASKED_FORMAT;
    run_session(&o, &s);
    assert_string_equal(s.result.outcome, "worked");
    assert_int_equal(falls(&s, TAP_DRIVE_END, LINE_WGATE), 3); /* two sectors and one track */
    assert_true(falls(&s, TAP_DRIVE_END, LINE_WDATA) > 30000);
    free_session(&s);
    free_parts(&p);
}

static void read_data_is_recorded_in_its_windows_only(void **state)
{
    (void)state;
    struct parts p;
    struct session s;
    int64_t known = 0;
    int windows = 0;
    load_parts(&p, "controller-wd177x", "drive-35-dd", "ribbon-34-straight");
    struct sim_options o = options_of(&p, NULL, 4);
    o.flux_seconds = 0.05;
    run_session(&o, &s);
    const struct seen_line *l = &s.line[TAP_DRIVE_END][LINE_RDATA];
    assert_int_equal(first_level(&s, TAP_DRIVE_END, LINE_RDATA), LEVEL_UNKNOWN);
    for (size_t i = 0; i + 1 < l->count; i++) {
        known += l->edge[i].level != LEVEL_UNKNOWN ? l->edge[i + 1].ns - l->edge[i].ns : 0;
        windows += l->edge[i].level == LEVEL_UNKNOWN;
    }
    assert_true(windows >= 5);
    assert_true(known >= (int64_t)(windows - 1) * 49000000 &&
                known <= (int64_t)windows * 51000000);
    free_session(&s);
    free_parts(&p);
}

static void a_second_clock_runs_a_little_off(void **state)
{
    (void)state;
    struct parts p;
    struct session s;
    load_parts(&p, "controller-wd177x", "drive-35-dd", "ribbon-34-straight");
    struct sim_options o = options_of(&p, NULL, 6);
    o.both_one_clock = false;
    run_session(&o, &s);
    int64_t machine = s.line[TAP_MACHINE_END][LINE_SELECT0].edge[1].ns;
    int64_t drive = s.line[TAP_DRIVE_END][LINE_SELECT0].edge[1].ns;
    assert_true(drive - machine > 4000000 && drive - machine < 410000000);
    free_session(&s);
    free_parts(&p);
}

static void read_whole(const char *folder, const char *name, struct buf *out)
{
    struct buf path;
    buf_init(&path, 4096);
    buf_init(out, 64u << 20);
    assert_int_equal(path_join(&path, folder, name), ERR_OK);
    assert_int_equal(file_read(path.data, out, NULL), ERR_OK);
    buf_release(&path);
}

static void rehearsals_are_the_same_bit_for_bit(void **state)
{
    (void)state;
    static const char *const names[] = {"case.ini", "machine-end.wec", "drive-end.wec"};
    char first[] = TEST_BINARY_DIR "/sim-rehearse-XXXXXX";
    char second[] = TEST_BINARY_DIR "/sim-rehearse-XXXXXX";
    struct parts p;
    struct err_msg e = {0};
    load_parts(&p, "controller-wd177x", "drive-35-dd", "ribbon-34-straight");
    struct sim_options o = options_of(&p, "cable.TRK00.open", 9);
    o.flux_seconds = 0.1;
    o.wec = true;
    assert_non_null(mkdtemp(first));
    assert_non_null(mkdtemp(second));
    assert_int_equal(sim_rehearse(&o, first, &e), ERR_OK);
    assert_int_equal(sim_rehearse(&o, second, &e), ERR_OK);
    assert_int_equal(sim_rehearse(&o, second, &e), ERR_CREATE); /* not empty any more */
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        struct buf a;
        struct buf b;
        char path[256];
        read_whole(first, names[i], &a);
        read_whole(second, names[i], &b);
        assert_int_equal(a.len, b.len);
        assert_memory_equal(a.data, b.data, a.len);
        assert_null(memmem(a.data, a.len, "TRK00.open", 10)); /* the case gives nothing away */
        buf_release(&a);
        buf_release(&b);
        (void)snprintf(path, sizeof path, "%s/%s", first, names[i]);
        assert_int_equal(unlink(path), 0);
        (void)snprintf(path, sizeof path, "%s/%s", second, names[i]);
        assert_int_equal(unlink(path), 0);
    }
    assert_int_equal(rmdir(first), 0);
    assert_int_equal(rmdir(second), 0);
    free_parts(&p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sound_bench_works_and_keeps_the_standards),
        cmocka_unit_test(restore_ends_at_track_zero),
        cmocka_unit_test(whole_conductors_show_the_same_at_both_ends),
        cmocka_unit_test(the_same_seed_plays_the_same),
        cmocka_unit_test(every_pair_that_fits_works),
        cmocka_unit_test(a_written_sector_reads_back),
        cmocka_unit_test(read_data_is_recorded_in_its_windows_only),
        cmocka_unit_test(a_second_clock_runs_a_little_off),
        cmocka_unit_test(rehearsals_are_the_same_bit_for_bit),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
